"""What the loops of the screening geometry work on.

Everything is in a plan whose origin lies near the obstacles. A wall is named by the vertex at which it starts; `after`
and `before` name a vertex's neighbours along its ring or line, -1 past the ends of a line.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from envpredict.models.arguments import Floats

Ints = NDArray[np.int64]
MOST_GATES = 8
"""So many groups of obstacles, the hardest to pass, are looked at for ways between them; fewer make no way longer."""
WAYS_KEPT = 8
"""So many ways past different obstacles on one plan are kept for rays in a row that share it; the rest is made anew."""


class Scene(NamedTuple):
    """Obstacles as the loops read them: vertices, their obstacle, tops, holes, the grid of cells, contacts by wall.

    `ring`: 1 for vertices of a ring, whose inside lies left of every wall, 0 of a line. `touch`: how near in m is on.
    `cells` (rows x columns + 1) and `in_cell`: walls by cell, row by row. `contacts` (V + 1), `contact_wall`,
    `contact_x`, `contact_y`: places where another obstacle's wall touches a wall. `holes` (K + 1), `hole_start`: the
    first vertex of each hole by obstacle.
    """

    x: Floats
    y: Floats
    after: Ints
    before: Ints
    ring: Ints
    obstacle: Ints
    top: Floats
    touch: float
    holes: Ints
    hole_start: Ints
    cells: Ints
    in_cell: Ints
    columns: int
    rows: int
    cell: float
    x0: float
    y0: float
    contacts: Ints
    contact_wall: Ints
    contact_x: Floats
    contact_y: Floats


class Ray(NamedTuple):
    """A path from s to r: its ends, its number, the obstacle left out of account (-1 for none), its way in plan."""

    sx: float
    sy: float
    sz: float
    rx: float
    ry: float
    rz: float
    number: int
    own: int
    ux: float
    uy: float


class Work(NamedTuple):
    """Scratch memory for one path at a time.

    Marks by number of the ray: walls `seen`, vertices `reached`, obstacles that `blocks`. Walls met and where (0 to 1):
    `hit_wall`, `hit_at`. Points of a band: `px`, `py`. Vertices still to follow: `stack`; from which of the walls met
    each was reached: `first_hit`, by point `origin`. The group that a wall met belongs to: `label`; the first wall met
    of an obstacle: `met`. Corners to get round by group: `gates`; of ways as far as these the `length`, and that of
    the `first` leg.

    `ways`: kept for rays that share their plan: lengths in plan round the left and between its bends, the same for the
    right, width, 1 where an end is enclosed, lengths of the way between obstacles, and from where to below where the
    height `tall` may lie for these ways, as `same` tells it of the flood at work. `blocking`: which of the walls met
    blocked them.
    """

    seen: Ints
    reached: Ints
    blocks: Ints
    hit_wall: Ints
    hit_at: Floats
    px: Floats
    py: Floats
    stack: Ints
    first_hit: Ints
    origin: Ints
    label: Ints
    met: Ints
    gates: Floats
    length: Floats
    first: Floats
    ways: Floats
    same: Floats
    blocking: NDArray[np.bool_]


def scratch(scene: Scene) -> Work:
    """Return scratch memory for the paths of one source, no mark set: some numbers for each wall."""
    walls = scene.x.size
    seen, reached, hit_wall, stack, first_hit, origin, label = (np.full(walls, -1, dtype=np.int64) for _ in range(7))
    hit_at, px, py = (np.zeros(walls) for _ in range(3))
    blocks, met = (np.full(scene.top.size, -1, dtype=np.int64) for _ in range(2))
    return Work(seen, reached, blocks, hit_wall, hit_at, px, py, stack, first_hit, origin, label, met,
                np.zeros((MOST_GATES + 1, 9)), np.zeros((MOST_GATES + 2, 2, 4)), np.zeros((MOST_GATES + 2, 2, 4)),
                np.zeros((WAYS_KEPT, 10)), np.zeros(2), np.zeros((WAYS_KEPT, walls), dtype=np.bool_))
