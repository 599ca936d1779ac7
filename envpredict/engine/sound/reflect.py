"""First-order reflections from walls: which walls mirror a source towards a receptor, and how loud that is.

A reflection whose legs an obstacle breaks is screened like the direct sound, over the top, its way unfolded: behind a
screen, what a facade beyond the works mirrors counts as much as there. Ways round sides aren't looked for on legs. The
receptor's own building never reflects: the limit's position adds its facade. Nor does it
stand in the way from the source; but what is mirrored from behind it doesn't reach the point before its facade. A wall
in line with its facade, of a house that adjoins it, is part of that facade and doesn't count a second time.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.models.noise.compiled import compiled
from envpredict.models.noise.iso9613_2_1996 import flat_attenuation, ground_effect_db
from envpredict.models.noise.iso9613_2_1996.reflections import image_power_db, large_enough, wall_reflection
from envpredict.models.noise.iso9613_2_1996.screening import screening_db, top_edge_db
from envpredict.models.noise.screen_edges import Edges, obstacle_edges, over_edges

if TYPE_CHECKING:
    from envpredict.engine.sound.paths import Ends
    from envpredict.engine.sound.scene import SoundScene
    from envpredict.models.noise.screen_scene import Scene

Place = tuple[float, float, float]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
OWN_FACADE_M = 1.5
"""A point before a building stands so near, or nearer, to the plane of its own facade and of those in line with it."""
PAIRS_AT_ONCE = 100_000
"""So many pairs of path and wall are reckoned at once; it bounds the memory, never the result."""
REACH_M = 150.0
"""Walls farther than this from the source and from the receptor aren't looked at."""


def mirrors(scene: SoundScene, ends: Ends, source_z: Floats,
            receptor_z: Floats) -> tuple[Ints, Ints, NDArray[np.bool_]]:
    """Return (M,), (M,), (M,): paths, the walls that mirror their source, and whether an obstacle breaks a leg.

    `source_z`, `receptor_z` (N): elevations of the ends. Whether the wall is high enough there isn't looked at here.
    """
    walls, obstacles = scene.walls, scene.obstacles
    if not len(walls) or not len(ends):
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.bool_)
    shift = np.array([*obstacles.origin_m, 0.0])
    inputs = (walls.start - shift[:2], walls.end - shift[:2], walls.obstacle,
              np.column_stack([ends.source_xy, source_z]) - shift,
              np.column_stack([ends.receptor_xy, receptor_z]) - shift, ends.own, obstacles.scene)
    room = 8 * len(ends)
    while True:
        path, wall, broken = np.empty(room, np.int64), np.empty(room, np.int64), np.empty(room, np.bool_)
        found = int(_mirrors(*inputs, path, wall, broken))
        if found <= room:
            return path[:found], wall[:found], broken[:found]
        room = found


def reflected_energy(scene: SoundScene, ends: Ends, source_z: Floats, receptor_z: Floats,
                     porosity: Floats) -> tuple[Ints, Floats]:
    """Return (M,) paths and (M, 8) what each reflection brings: the energy at the receptor per energy of the source.

    `porosity` (N, 3) of the direct path's regions holds for the mirrored one too. Air and ground are reckoned over the
    length of the mirrored path, the ground as if it were flat.
    """
    path, wall, broken = mirrors(scene, ends, source_z, receptor_z)
    found = [_energy(scene, ends, source_z, receptor_z, porosity, (path[part], wall[part], broken[part]))
             for part in (slice(first, first + PAIRS_AT_ONCE) for first in range(0, len(path), PAIRS_AT_ONCE))]
    if not found:
        return path, np.zeros((0, 8))
    return np.concatenate([one for one, _ in found]), np.concatenate([energy for _, energy in found])


def _energy(scene: SoundScene, ends: Ends, source_z: Floats, receptor_z: Floats, porosity: Floats,
            pairs: tuple[Ints, Ints, NDArray[np.bool_]]) -> tuple[Ints, Floats]:
    """Return paths and energies of some pairs of path and wall: those whose wall is high enough at its place."""
    path, wall, broken = pairs
    walls, some = scene.walls, ends.take(path)
    seen = wall_reflection(np.column_stack([some.source_xy, source_z[path]]),
                           np.column_stack([some.receptor_xy, receptor_z[path]]), walls.start[wall], walls.end[wall],
                           walls.base_m[wall], walls.top_m[wall])
    real = np.flatnonzero(seen.exists)
    path, wall, some, broken = path[real], wall[real], some.take(real), broken[real]
    if not path.size:
        return path, np.zeros((0, 8))
    ends_z = source_z[path], receptor_z[path]
    source_m, receptor_m, cosine = seen.source_m[real], seen.receptor_m[real], seen.cosine[real]
    size = np.minimum(np.hypot(*(walls.end[wall] - walls.start[wall]).T), walls.top_m[wall] - walls.base_m[wall])
    plan = np.sqrt(np.maximum((source_m + receptor_m) ** 2 - (ends_z[1] - ends_z[0]) ** 2, 1.0))
    ground = dict(zip(("source_porosity", "receptor_porosity", "middle_porosity"), porosity[path].T, strict=True))
    lost = flat_attenuation(plan, some.source_height_m, some.receptor_height_m, **ground,
                            temperature_c=scene.temperature_c, humidity_percent=scene.humidity_percent)
    legs = np.flatnonzero(broken)
    if legs.size:
        agr = ground_effect_db(plan[legs], some.source_height_m[legs], some.receptor_height_m[legs],
                               **{name: one[legs] for name, one in ground.items()})
        lost[legs] += _screened_db(scene, some.take(legs), seen.point[real[legs]], ends_z[0][legs], ends_z[1][legs],
                                   plan[legs], agr)
    level = image_power_db(-lost, walls.coefficient[wall])
    counts = large_enough(source_m, receptor_m, cosine, size)
    return path, np.where(counts, 10.0 ** (level / 10.0), 0.0)


def _screened_db(scene: SoundScene, ends: Ends, point: Floats, source_z: Floats, receptor_z: Floats, plan: Floats,
                 agr: Floats) -> Floats:
    """Return (M, 8) what obstacles on the two legs of mirrored paths take off, over the top of all of them together.

    `point` (M, 3): where each is mirrored; `plan` (M): its unfolded length in plan; `agr` (M, 8): its ground effect.
    """
    source = np.column_stack([ends.source_xy, source_z])
    receptor = np.column_stack([ends.receptor_xy, receptor_z])
    first = obstacle_edges(scene.obstacles, source, point, ends.own)
    second = obstacle_edges(scene.obstacles, point, receptor)
    before = np.hypot(*(point - source)[:, :2].T)
    second = Edges(second.starts, second.along_m + before[second.path], second.top_m)
    over = over_edges(first.joined(second), plan, source_z, receptor_z)
    slope = np.hypot(plan, receptor_z - source_z)
    dz = screening_db(slope, np.maximum(over[:, 0], 0.0), over[:, 1], over[:, 2], edge_separation_m=over[:, 3])
    taken = top_edge_db(dz, agr, over[:, 0])
    return np.asarray(np.where((over[:, 0] > -np.inf)[:, None], taken, 0.0))


@compiled
def _facing(start: Floats, end: Floats, obstacle: Ints, r: Place, own: int, box: tuple[float, float, float, float],
            out: Ints) -> int:
    """Write the walls that may mirror towards a receptor: it stands before them, and they lie near it or the sources.

    `box`: west, south, east and north of all sources.
    """
    found = 0
    for w in range(start.shape[0]):
        if obstacle[w] == own and own >= 0:
            continue
        ax, ay, dx, dy = start[w, 0], start[w, 1], end[w, 0] - start[w, 0], end[w, 1] - start[w, 1]
        length = math.sqrt(dx * dx + dy * dy)
        before = (dy * (r[0] - ax) - dx * (r[1] - ay)) / length
        if before <= 0.0 or (own >= 0 and before < OWN_FACADE_M):
            continue
        mx, my = ax + 0.5 * dx, ay + 0.5 * dy
        beside = max(box[0] - mx, mx - box[2], box[1] - my, my - box[3])
        if min(math.hypot(mx - r[0], my - r[1]), beside) - 0.5 * length <= REACH_M:
            out[found] = w
            found += 1
    return found


@compiled
def _mirrors(start: Floats, end: Floats, obstacle: Ints, sources: Floats, receptors: Floats, own: Ints, scene: Scene,
             path_out: Ints, wall_out: Ints, broken_out: NDArray[np.bool_]) -> int:
    """Write the pairs of path and mirroring wall as far as there's room; return how many there are.

    Walls that may mirror are looked up once for paths in a row that end at the same receptor.
    """
    box = (sources[:, 0].min(), sources[:, 1].min(), sources[:, 0].max(), sources[:, 1].max())
    near = np.empty(start.shape[0], dtype=np.int64)
    found = count = 0
    for n in range(sources.shape[0]):
        s = (sources[n, 0], sources[n, 1], sources[n, 2])
        r = (receptors[n, 0], receptors[n, 1], receptors[n, 2])
        if n == 0 or r[0] != receptors[n - 1, 0] or r[1] != receptors[n - 1, 1] or own[n] != own[n - 1]:
            count = _facing(start, end, obstacle, r, own[n], box, near)
        for item in range(count):
            w = near[item]
            ax, ay, dx, dy = start[w, 0], start[w, 1], end[w, 0] - start[w, 0], end[w, 1] - start[w, 1]
            # before the wall means on its right
            before_s, before_r = dy * (s[0] - ax) - dx * (s[1] - ay), dy * (r[0] - ax) - dx * (r[1] - ay)
            if before_s <= 0.0:
                continue
            share = before_s / (before_s + before_r)
            along_s, along_r = dx * (s[0] - ax) + dy * (s[1] - ay), dx * (r[0] - ax) + dy * (r[1] - ay)
            at = (along_s + share * (along_r - along_s)) / (dx * dx + dy * dy)
            if not 0.0 <= at <= 1.0:
                continue
            p = (ax + at * dx, ay + at * dy, s[2] + share * (r[2] - s[2]))
            if min(math.hypot(p[0] - s[0], p[1] - s[1]), math.hypot(p[0] - r[0], p[1] - r[1])) > REACH_M:
                continue
            if found < path_out.size:
                path_out[found], wall_out[found] = n, w
                broken_out[found] = _broken(s, p, own[n], scene) or _broken(r, p, -2, scene)
            found += 1
    return found


@compiled
def _broken(s: Place, p: Place, own: int, scene: Scene) -> bool:
    """Return whether an obstacle that rises above it crosses the leg from an end of the path to its point on the wall.

    What the leg meets within the touching distance of its two ends stands at them, not in between.
    """
    cell, margin = scene.cell, 1e-6 * scene.cell
    dx, dy = p[0] - s[0], p[1] - s[1]
    length = math.hypot(dx, dy)
    if length < 2.0 * scene.touch:
        return False
    nearly = scene.touch / length
    first = max(math.floor((min(s[0], p[0]) - margin - scene.x0) / cell), 0)
    last = min(math.floor((max(s[0], p[0]) + margin - scene.x0) / cell), scene.columns - 1)
    for column in range(first, last + 1):
        low, high = 0.0, 1.0
        if abs(dx) > 1e-12:
            ta, tb = (scene.x0 + column * cell - s[0]) / dx, (scene.x0 + (column + 1) * cell - s[0]) / dx
            low, high = max(min(ta, tb), 0.0), min(max(ta, tb), 1.0)
        ya, yb = s[1] + low * dy, s[1] + high * dy
        under = max(math.floor((min(ya, yb) - margin - scene.y0) / cell), 0)
        over = min(math.floor((max(ya, yb) + margin - scene.y0) / cell), scene.rows - 1)
        for row in range(under, over + 1):
            place = row * scene.columns + column
            for item in range(scene.cells[place], scene.cells[place + 1]):
                a = scene.in_cell[item]
                b = scene.after[a]
                if scene.obstacle[a] == own:
                    continue
                ea = dx * (scene.y[a] - s[1]) - dy * (scene.x[a] - s[0])
                eb = dx * (scene.y[b] - s[1]) - dy * (scene.x[b] - s[0])
                if ea * eb > 0.0 or ea == eb:
                    continue
                t = ea / (ea - eb)
                x, y = scene.x[a] + t * (scene.x[b] - scene.x[a]), scene.y[a] + t * (scene.y[b] - scene.y[a])
                at = ((x - s[0]) * dx + (y - s[1]) * dy) / length**2
                if nearly < at < 1.0 - nearly and scene.top[scene.obstacle[a]] > s[2] + at * (p[2] - s[2]):
                    return True
    return False
