"""From obstacles on a plan to the paths that sound takes over and round them.

In the vertical plane of source and receptor the path over the top is the taut band over all walls that rise above the
sight line; in plan the path round each side is the taut band round what screens, together with obstacles that touch it
and rise above both ends. Where a choice was open:

- a path is screened where it runs through the inside of a building or crosses a screen, not where it only touches a
  corner, runs along a wall, or starts or ends on one and leads away from it;
- the side path isn't longer than the shortest way round that side, also in courts and behind wings; standing in a
  courtyard is standing behind a closed wall: there is no way round;
- where obstacles that block the sight line don't touch, sound passes one on its left and the next on its right: if such
  a way is shorter than those round all of them it takes the place of the shorter of the two. It is reckoned over one
  corner a side of the eight that are the hardest to pass, so that no real way between them is shorter, and what doesn't
  block the sight line doesn't stand in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from envpredict.models.arguments import Floats, numbers
from envpredict.models.noise.arguments import octaves, result
from envpredict.models.noise.iso9613_2_1996.screening import combined_db, screening_db, top_edge_db, wide_enough
from envpredict.models.noise.screen_grid import fill_grid, find_contacts
from envpredict.models.noise.screen_rays import screen_rays
from envpredict.models.noise.screen_scene import Ints, Scene, scratch

LEAST_LONG_DETOUR_M: Final = 10.0
KINDS: Final = ("outline", "hole", "line")
"""What a part of an obstacle is: the outer ring of a building, the ring of a courtyard, a screen."""


class Part(NamedTuple):
    """One ring or line of an obstacle: whose it is (0 to K - 1), what it is (`KINDS`), its corners (n, 2) in m."""

    obstacle: int
    kind: str
    xy_m: ArrayLike


@dataclass(frozen=True, slots=True, eq=False)
class Obstacles:
    """Obstacles prepared for many paths; made by `index_obstacles`. `origin_m`: of the plan inside, in the CRS."""

    scene: Scene
    origin_m: tuple[float, float]

    def __len__(self) -> int:
        return int(self.scene.top.size)


@dataclass(frozen=True, slots=True, eq=False)
class ScreenPaths:
    """The paths from a source to receptors (N) past the obstacles; lengths in m, arrays (N).

    `distance_m`: slope distance d. `path_difference_m`: z over the top, negative where the sight line is clear, -inf
    where no obstacle stands near it. `source_edge_m`, `receptor_edge_m`, `edge_separation_m`: dss, dsr, e over the top.
    `left_difference_m`, `left_separation_m` (and right): detour round the side and length between the bends there, the
    shorter of the two maybe between obstacles; infinite where there's no such way, or nothing to go round. `width_m`:
    extent across the path of what screens.
    """

    distance_m: Floats
    path_difference_m: Floats
    source_edge_m: Floats
    receptor_edge_m: Floats
    edge_separation_m: Floats
    left_difference_m: Floats
    left_separation_m: Floats
    right_difference_m: Floats
    right_separation_m: Floats
    width_m: Floats

    @property
    def blocked(self) -> NDArray[np.bool_]:
        """Return which sight lines an obstacle breaks."""
        return np.asarray(self.path_difference_m >= 0.0)


def _corners(part: Part, number: int) -> Floats:
    xy = numbers(part.xy_m, f"parts[{number}].xy_m")
    if part.kind not in KINDS:
        raise ValueError(f"parts[{number}].kind must be one of {', '.join(KINDS)}, not '{part.kind}'")
    if xy.ndim != 2 or xy.shape[1] != 2 or not np.isfinite(xy).all():
        raise ValueError(f"parts[{number}].xy_m must be finite corners of shape (n, 2), not shape {xy.shape}")
    ring = part.kind != "line"
    follows = np.roll(xy, -1, axis=0) if ring else np.vstack([xy[1:], np.full((1, 2), np.inf)])
    kept: Floats = xy[(xy != follows).any(axis=1)]
    if len(kept) < (3 if ring else 2):
        raise ValueError(f"parts[{number}].xy_m has only {len(kept)} different corners")
    if not ring:
        return kept
    # the inside of the building lies left of every wall: outlines run anticlockwise, courtyards clockwise
    follows = np.roll(kept, -1, axis=0) - kept[0]
    area = float(((kept[:, 0] - kept[0, 0]) * follows[:, 1] - (kept[:, 1] - kept[0, 1]) * follows[:, 0]).sum())
    return kept if (area > 0.0) == (part.kind == "outline") else np.ascontiguousarray(kept[::-1])


def _neighbours(count: int, first: int, ring: bool) -> tuple[Ints, Ints]:
    after = np.arange(first + 1, first + count + 1, dtype=np.int64)
    before = np.arange(first - 1, first + count - 1, dtype=np.int64)
    after[-1], before[0] = (first, first + count - 1) if ring else (-1, -1)
    return after, before


def _starts(counts: Ints) -> Ints:
    return np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(counts, dtype=np.int64)])


def _grid(x: Floats, y: Floats, after: Ints, touch_m: float) -> tuple[Ints, Ints, int, int, float, float, float]:
    """Return the walls by cell, the number of columns and rows, the cell's size, and the grid's corner."""
    if not x.size:
        return np.zeros(2, dtype=np.int64), np.empty(0, dtype=np.int64), 1, 1, 1.0, 0.0, 0.0
    x0, y0 = float(x.min()) - touch_m, float(y.min()) - touch_m
    width, height = float(x.max()) + touch_m - x0, float(y.max()) + touch_m - y0
    # about one cell per wall; never so small that a long thin scene has more cells than that
    cell = max(np.sqrt(width * height / x.size), max(width, height) / x.size, 1.0)
    columns, rows = int(width // cell) + 1, int(height // cell) + 1
    shape = (x0, y0, cell, columns, rows, touch_m)
    counts = np.zeros(columns * rows + 1, dtype=np.int64)
    fill_grid(x, y, after, *shape, counts, np.empty(0, dtype=np.int64))
    cells = np.cumsum(counts, dtype=np.int64)
    in_cell = np.empty(max(int(cells[-1]), 1), dtype=np.int64)
    fill_grid(x, y, after, *shape, cells, in_cell)
    return cells, in_cell, columns, rows, cell, x0, y0


def _contacts(x: Floats, y: Floats, after: Ints, obstacle: Ints, cells: Ints, in_cell: Ints,
              touch_m: float) -> tuple[Ints, Ints, Floats, Floats]:
    """Return where walls of different obstacles touch, by wall: starts, the other wall, the place."""
    nothing = np.empty(0, dtype=np.int64)
    count = find_contacts(x, y, after, obstacle, cells, in_cell, touch_m, nothing, nothing, np.empty(0), np.empty(0))
    walls, others = np.empty(count, dtype=np.int64), np.empty(count, dtype=np.int64)
    at_x, at_y = np.empty(count), np.empty(count)
    find_contacts(x, y, after, obstacle, cells, in_cell, touch_m, walls, others, at_x, at_y)
    once = np.unique(np.column_stack([walls, others, at_x, at_y]), axis=0)
    wall = once[:, 0].astype(np.int64)
    return (_starts(np.bincount(wall, minlength=x.size).astype(np.int64)), once[:, 1].astype(np.int64),
            np.ascontiguousarray(once[:, 2]), np.ascontiguousarray(once[:, 3]))


def index_obstacles(parts: Sequence[Part], top_m: ArrayLike, *, touch_m: float = 0.01) -> Obstacles:
    """Prepare obstacles for `screen_paths`.

    parts: rings and lines, in any order, rings closed or not; a courtyard is a part of its own with the kind `hole`.
    top_m: elevation of each obstacle's upper edge (K,) in m, in the system of the sources' and receptors' elevations.
    touch_m: obstacles whose walls come this near to each other touch, in m.
    Raises ValueError that names the part: fewer than three different corners of a ring or two of a line, corners or
    tops that aren't finite, an unknown kind, an obstacle without a top.
    """
    top = np.atleast_1d(numbers(top_m, "top_m")).astype(np.float64)
    if top.ndim != 1 or not np.isfinite(top).all():
        raise ValueError("top_m must be finite elevations of shape (K,)")
    corners = [_corners(part, number) for number, part in enumerate(parts)]
    for number, part in enumerate(parts):
        if not 0 <= part.obstacle < top.size:
            raise ValueError(f"parts[{number}].obstacle must be 0 to {top.size - 1}, not {part.obstacle}")
    xy = np.concatenate(corners) if corners else np.empty((0, 2))
    origin = xy.mean(axis=0).round() if corners else np.zeros(2)
    x, y = np.ascontiguousarray(xy[:, 0] - origin[0]), np.ascontiguousarray(xy[:, 1] - origin[1])
    sizes = np.array([len(one) for one in corners], dtype=np.int64)
    first = _starts(sizes)
    linked = [_neighbours(int(size), int(start), part.kind != "line")
              for size, start, part in zip(sizes, first, parts, strict=False)]
    after, before = (np.concatenate([pair[k] for pair in linked] or [np.empty(0, dtype=np.int64)]) for k in range(2))
    obstacle = np.repeat(np.array([part.obstacle for part in parts], dtype=np.int64), sizes)
    courts = sorted((part.obstacle, int(start)) for part, start in zip(parts, first, strict=False)
                    if part.kind == "hole")
    holes = _starts(np.bincount([one for one, _ in courts], minlength=top.size).astype(np.int64))
    cells, in_cell, columns, rows, cell, x0, y0 = _grid(x, y, after, touch_m)
    contacts = _contacts(x, y, after, obstacle, cells, in_cell, touch_m)
    ring = np.repeat(np.array([part.kind != "line" for part in parts], dtype=np.int64), sizes)
    scene = Scene(x, y, after, before, ring, obstacle, top, float(touch_m), holes,
                  np.array([start for _, start in courts], dtype=np.int64), cells, in_cell, columns, rows, cell, x0, y0,
                  *contacts)
    return Obstacles(scene, (float(origin[0]), float(origin[1])))


def screen_paths(obstacles: Obstacles, source_xyz_m: ArrayLike, receptor_xyz_m: ArrayLike, *,
                 own: ArrayLike = -1, sides: bool = True) -> ScreenPaths:
    """Return the paths from one source to many receptors, or from each source to its receptor.

    source_xyz_m: (3,) or (N, 3). receptor_xyz_m: (N, 3). Coordinates in m in the obstacles' CRS, elevations in the
    system of their tops. own: obstacle that stands out of account for a receptor, since the receptor belongs to it, -1
    for none; one number or (N,). sides: whether to look for ways round the sides; without them the detours are infinite
    and the width is 0. Memory: ten numbers a receptor and a few a wall. A NaN in a coordinate makes that path NaN.
    Raises ValueError for wrong shapes.
    """
    source, receptors = numbers(source_xyz_m, "source_xyz_m"), numbers(receptor_xyz_m, "receptor_xyz_m")
    if source.shape not in ((3,), receptors.shape):
        raise ValueError(f"source_xyz_m must have the shape (3,) or that of the receptors, not {source.shape}")
    if receptors.ndim != 2 or receptors.shape[1] != 3:
        raise ValueError(f"receptor_xyz_m must have the shape (N, 3), not {receptors.shape}")
    shift = np.array([*obstacles.origin_m, 0.0])
    left_out = np.ascontiguousarray(np.broadcast_to(np.asarray(own, dtype=np.int64), (len(receptors),)))
    out = np.empty((len(receptors), 10))
    screen_rays(obstacles.scene, np.atleast_2d(source - shift), np.ascontiguousarray(receptors - shift),
                left_out.copy(), sides, scratch(obstacles.scene), out)
    return ScreenPaths(*(np.ascontiguousarray(column) for column in out.T))


def long_way_db(distance_m: ArrayLike, detour_m: ArrayLike) -> Floats:
    """Return what a way round a side loses by its length beyond twice the path's, in dB, 0 or more.

    distance_m: slope distance d. detour_m: z round the side, may be infinite. In m, they broadcast. Dz holds for small
    detours, where divergence is that of the straight path; its caps would make a way of any length count for 20 dB.
    What a detour has beyond d, or beyond 10 m where the path is shorter, diverges: 20 lg((d + z) / (d + max(d, 10 m))).
    Source: `LONG_DETOUR`.

    >>> [round(float(loss), 1) for loss in long_way_db(50.0, [20.0, 50.0, 150.0, 1950.0])]
    [0.0, 0.0, 6.0, 26.0]
    """
    distance = numbers(distance_m, "distance_m")
    kept = distance + np.maximum(distance, LEAST_LONG_DETOUR_M)
    return result(20.0 * np.log10(np.maximum((distance + numbers(detour_m, "detour_m")) / kept, 1.0)))


def obstacle_attenuation_db(paths: ScreenPaths, ground_attenuation_db: ArrayLike) -> Floats:
    """Return Abar of ISO 9613-2 (1996) in octave bands for all paths together, dB, 0 or more: shape (N, 8).

    ground_attenuation_db: Agr (N, 8) of the path without the obstacles. Over the top equations (12) and (14) to (18),
    round the sides (13), and what a long way loses (`long_way_db`); energies added. An obstacle not wider than the
    wavelength doesn't screen that band.
    Raises ValueError for a wrong band axis.
    """
    agr = octaves(ground_attenuation_db, "ground_attenuation_db")
    over = screening_db(paths.distance_m, paths.path_difference_m, paths.source_edge_m, paths.receptor_edge_m,
                        edge_separation_m=paths.edge_separation_m)
    top = top_edge_db(over, agr, paths.path_difference_m)
    round_ = []
    for detour, between in ((paths.left_difference_m, paths.left_separation_m),
                            (paths.right_difference_m, paths.right_separation_m)):
        way = np.isfinite(detour) | np.isnan(detour)
        dz = screening_db(paths.distance_m, np.where(way, detour, 0.0), 0.0, 0.0, edge_separation_m=between,
                          passes="round")
        round_.append(np.where(way[:, None], dz + long_way_db(paths.distance_m, detour)[:, None], np.inf))
    together = combined_db(top, round_[0], round_[1])
    counts = wide_enough(paths.width_m) | np.isnan(together)
    return result(np.where(counts, together, 0.0))
