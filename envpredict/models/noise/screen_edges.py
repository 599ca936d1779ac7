"""The path over the top where its edges come from more than one place: obstacles, the ground, both legs of a mirror.

Paths keep their edges as a list: where each stands along the path, and how high it rises. Lists of the same paths can
be joined; the taut band over all of them together is the way over the top.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from envpredict.models.arguments import Floats
from envpredict.models.noise.compiled import compiled
from envpredict.models.noise.screen_crossings import crossed_walls
from envpredict.models.noise.screen_geometry import Obstacles
from envpredict.models.noise.screen_kernels import taut
from envpredict.models.noise.screen_scene import Ints, Ray, Scene, Work, scratch

EDGES_A_PATH = 8
"""Room that is made for the edges of each path at first."""


@dataclass(frozen=True, slots=True, eq=False)
class Edges:
    """Edges (E) on paths (N): those of path n are `starts[n]` to `starts[n + 1]`, in any order.

    `along_m` (E): plan distance from the path's source; `top_m` (E): elevation.
    """

    starts: Ints
    along_m: Floats
    top_m: Floats

    @property
    def path(self) -> Ints:
        """Return the number of the path (E) that each edge stands on."""
        return np.repeat(np.arange(len(self.starts) - 1, dtype=np.int64), np.diff(self.starts))

    def take(self, keep: NDArray[np.int64]) -> Edges:
        """Return the edges of the chosen paths, in ascending order of paths."""
        inside = np.isin(self.path, keep)
        counts = np.diff(self.starts)[keep]
        return Edges(np.concatenate([[0], np.cumsum(counts)]).astype(np.int64), self.along_m[inside],
                     self.top_m[inside])

    def joined(self, other: Edges) -> Edges:
        """Return the edges of both, which stand on the same paths."""
        path = np.concatenate([self.path, other.path])
        order = np.argsort(path, kind="stable")
        along, top = (np.concatenate([getattr(one, name) for one in (self, other)])[order]
                      for name in ("along_m", "top_m"))
        return Edges(self.starts + other.starts, along, top)


def obstacle_edges(obstacles: Obstacles, source_xyz_m: Floats, receptor_xyz_m: Floats, own: ArrayLike = -1) -> Edges:
    """Return the walls that break the sight line of each path from a source (N, 3) to its receptor (N, 3).

    Coordinates in m in the obstacles' CRS, elevations in the system of their tops. own: as in `screen_paths`.
    """
    shift = np.array([*obstacles.origin_m, 0.0])
    left_out = np.ascontiguousarray(np.broadcast_to(np.asarray(own, dtype=np.int64), (len(receptor_xyz_m),)))
    ends = (np.ascontiguousarray(source_xyz_m - shift), np.ascontiguousarray(receptor_xyz_m - shift), left_out.copy())
    starts, room = np.zeros(len(receptor_xyz_m) + 1, dtype=np.int64), EDGES_A_PATH * len(receptor_xyz_m)
    while True:
        along, top = np.empty(room), np.empty(room)
        _list(obstacles.scene, *ends, scratch(obstacles.scene), starts, along, top)
        if starts[-1] <= room:
            return Edges(starts, along[: starts[-1]].copy(), top[: starts[-1]].copy())
        room = int(starts[-1])


def over_edges(edges: Edges, plan_m: Floats, source_z_m: Floats, receptor_z_m: Floats) -> Floats:
    """Return the taut band over each path's edges: z, dss, dsr, e in m, shape (N, 4); z is -inf without an edge.

    plan_m: plan length of the paths (N); source_z_m, receptor_z_m: elevations of their ends (N). The edges rise above
    the straight line between the ends: one that doesn't isn't looked at.
    """
    out = np.empty((len(plan_m), 4))
    _over(edges.starts, edges.along_m, edges.top_m, plan_m, source_z_m, receptor_z_m, out)
    return out


@compiled
def _list(scene: Scene, sources: Floats, receptors: Floats, own: Ints, work: Work, starts: Ints, along: Floats,
          top: Floats) -> None:
    """Write the edges one path after the other as far as there is room, and where those of each path start."""
    found = 0
    for number in range(receptors.shape[0]):
        source, end = sources[number], receptors[number]
        dx, dy = end[0] - source[0], end[1] - source[1]
        plan = math.hypot(dx, dy)
        ray = Ray(source[0], source[1], source[2], end[0], end[1], end[2], number, own[number], dx / plan, dy / plan)
        hits = crossed_walls(scene, ray, work)
        for k in range(hits):
            height = scene.top[scene.obstacle[work.hit_wall[k]]]
            if height > source[2] + work.hit_at[k] * (end[2] - source[2]):
                if found < along.size:
                    along[found], top[found] = work.hit_at[k] * plan, height
                found += 1
        starts[number + 1] = found


@compiled
def _over(starts: Ints, along: Floats, top: Floats, plan: Floats, source_z: Floats, receptor_z: Floats,
          out: Floats) -> None:
    """Write z, dss, dsr, e for each path."""
    px, py = np.empty(along.size), np.empty(along.size)
    for n in range(plan.size):
        rise, count = receptor_z[n] - source_z[n], 0
        for k in range(starts[n], starts[n + 1]):
            if top[k] > source_z[n] + along[k] / plan[n] * rise:
                px[count], py[count] = along[k], top[k]
                count += 1
        out[n, 0], out[n, 1], out[n, 2], out[n, 3] = -np.inf, 0.0, 0.0, 0.0
        if count > 0:
            first, between, last = taut(px, py, count, 0.0, source_z[n], plan[n], receptor_z[n])
            out[n, 0] = max(first + between + last - math.hypot(plan[n], rise), 0.0)
            out[n, 1], out[n, 2], out[n, 3] = first, last, between
