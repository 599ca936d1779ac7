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
from envpredict.models.noise.screen_kernels import taut

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


def mirrors(scene: SoundScene, ends: Ends, source_z: Floats, receptor_z: Floats) -> tuple[Ints, Ints, Floats]:
    """Return (M,), (M,), (M, 4): paths, the walls that mirror their source, and the taut band over both legs.

    The band over what breaks the legs, unfolded: z, dss, dsr, e in m; z is -inf where both are clear.

    `source_z`, `receptor_z` (N): elevations of the ends. Whether the wall is high enough there isn't looked at here.
    """
    walls, obstacles = scene.walls, scene.obstacles
    if not len(walls) or not len(ends):
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64), np.zeros((0, 4))
    shift = np.array([*obstacles.origin_m, 0.0])
    inputs = (walls.start - shift[:2], walls.end - shift[:2], walls.obstacle,
              np.column_stack([ends.source_xy, source_z]) - shift,
              np.column_stack([ends.receptor_xy, receptor_z]) - shift, ends.own, obstacles.scene)
    room = 8 * len(ends)
    while True:
        path, wall, over = np.empty(room, np.int64), np.empty(room, np.int64), np.empty((room, 4))
        found = int(_mirrors(*inputs, path, wall, over))
        if found <= room:
            return path[:found], wall[:found], over[:found]
        room = found


def reflected_energy(scene: SoundScene, ends: Ends, source_z: Floats, receptor_z: Floats,
                     porosity: Floats) -> tuple[Ints, Floats]:
    """Return (M,) paths and (M, 8) what each reflection brings: the energy at the receptor per energy of the source.

    `porosity` (N, 3) of the direct path's regions holds for the mirrored one too. Air and ground are reckoned over the
    length of the mirrored path, the ground as if it were flat.
    """
    path, wall, over = mirrors(scene, ends, source_z, receptor_z)
    found = [_energy(scene, ends, source_z, receptor_z, porosity, (path[part], wall[part], over[part]))
             for part in (slice(first, first + PAIRS_AT_ONCE) for first in range(0, len(path), PAIRS_AT_ONCE))]
    if not found:
        return path, np.zeros((0, 8))
    return np.concatenate([one for one, _ in found]), np.concatenate([energy for _, energy in found])


def _energy(scene: SoundScene, ends: Ends, source_z: Floats, receptor_z: Floats, porosity: Floats,
            pairs: tuple[Ints, Ints, Floats]) -> tuple[Ints, Floats]:
    """Return paths and energies of some pairs of path and wall: those whose wall is high enough at its place."""
    path, wall, over = pairs
    walls, some = scene.walls, ends.take(path)
    seen = wall_reflection(np.column_stack([some.source_xy, source_z[path]]),
                           np.column_stack([some.receptor_xy, receptor_z[path]]), walls.start[wall], walls.end[wall],
                           walls.base_m[wall], walls.top_m[wall])
    real = np.flatnonzero(seen.exists)
    path, wall, some, over = path[real], wall[real], some.take(real), over[real]
    if not path.size:
        return path, np.zeros((0, 8))
    ends_z = source_z[path], receptor_z[path]
    source_m, receptor_m, cosine = seen.source_m[real], seen.receptor_m[real], seen.cosine[real]
    size = np.minimum(np.hypot(*(walls.end[wall] - walls.start[wall]).T), walls.top_m[wall] - walls.base_m[wall])
    plan = np.sqrt(np.maximum((source_m + receptor_m) ** 2 - (ends_z[1] - ends_z[0]) ** 2, 1.0))
    ground = dict(zip(("source_porosity", "receptor_porosity", "middle_porosity"), porosity[path].T, strict=True))
    lost = flat_attenuation(plan, some.source_height_m, some.receptor_height_m, **ground,
                            temperature_c=scene.temperature_c, humidity_percent=scene.humidity_percent)
    legs = np.flatnonzero(over[:, 0] > -np.inf)
    if legs.size:
        agr = ground_effect_db(plan[legs], some.source_height_m[legs], some.receptor_height_m[legs],
                               **{name: one[legs] for name, one in ground.items()})
        dz = screening_db(source_m[legs] + receptor_m[legs], *over[legs, :3].T, edge_separation_m=over[legs, 3])
        lost[legs] += top_edge_db(dz, agr, over[legs, 0])
    level = image_power_db(-lost, walls.coefficient[wall])
    counts = large_enough(source_m, receptor_m, cosine, size)
    return path, np.where(counts, 10.0 ** (level / 10.0), 0.0)


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
             path_out: Ints, wall_out: Ints, over_out: Floats) -> int:
    """Write the pairs of path and mirroring wall, and the band over what breaks their legs; return how many there are.

    They are written as far as there's room. Walls that may mirror are looked up once for paths in a row that end at the
    same receptor.
    """
    box = (sources[:, 0].min(), sources[:, 1].min(), sources[:, 0].max(), sources[:, 1].max())
    near = np.empty(start.shape[0], dtype=np.int64)
    seen = np.full(scene.x.size, -1, dtype=np.int64)
    px, py = np.empty(2 * scene.x.size), np.empty(2 * scene.x.size)
    found = count = mark = 0
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
                plan = math.hypot(p[0] - s[0], p[1] - s[1]) + math.hypot(p[0] - r[0], p[1] - r[1])
                edges = _leg(s, p, own[n], scene, seen, mark, px, py, 0)
                mine = edges
                edges = _leg(r, p, -2, scene, seen, mark + 1, px, py, edges)
                for k in range(mine, edges):
                    px[k] = plan - px[k]
                mark += 2
                over_out[found, 0], over_out[found, 1], over_out[found, 2], over_out[found, 3] = -np.inf, 0.0, 0.0, 0.0
                if edges:
                    first, between, last = taut(px, py, edges, 0.0, s[2], plan, r[2])
                    over_out[found, 0] = max(first + between + last - math.hypot(plan, r[2] - s[2]), 0.0)
                    over_out[found, 1], over_out[found, 2], over_out[found, 3] = first, last, between
            found += 1
    return found


@compiled
def _leg(s: Place, p: Place, own: int, scene: Scene, seen: Ints, mark: int, px: Floats, py: Floats, count: int) -> int:
    """Write what rises above the leg from an end of the path to its point on the wall: how far along, and how high.

    Written behind the `count` that stand there; returned is their number. What the leg meets within the touching
    distance of its two ends stands at them, not in between.
    """
    cell, margin = scene.cell, 1e-6 * scene.cell
    dx, dy = p[0] - s[0], p[1] - s[1]
    length = math.hypot(dx, dy)
    if length < 2.0 * scene.touch:
        return count
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
                if scene.obstacle[a] == own or seen[a] == mark:
                    continue
                seen[a] = mark
                ea = dx * (scene.y[a] - s[1]) - dy * (scene.x[a] - s[0])
                eb = dx * (scene.y[b] - s[1]) - dy * (scene.x[b] - s[0])
                if ea * eb > 0.0 or ea == eb:
                    continue
                t = ea / (ea - eb)
                x, y = scene.x[a] + t * (scene.x[b] - scene.x[a]), scene.y[a] + t * (scene.y[b] - scene.y[a])
                at = ((x - s[0]) * dx + (y - s[1]) * dy) / length**2
                top = scene.top[scene.obstacle[a]]
                if nearly < at < 1.0 - nearly and top > s[2] + at * (p[2] - s[2]):
                    px[count], py[count] = at * length, top
                    count += 1
    return count
