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
Grid = tuple[float, float, float, int, int]
NEAR_AT_FIRST = 400
"""Room for so many walls near each place of plant, to begin with."""
OWN_FACADE_M = 1.5
"""A point before a building stands so near, or nearer, to the plane of its own facade and of those in line with it."""
PAIRS_AT_ONCE = 100_000
"""So many pairs of path and wall are reckoned at once; it bounds the memory, never the result."""
EDGE_M = 0.001
"""Walls that end so little below or above the place of a mirror are handed on: there their own check decides."""
REACH_M = 150.0
"""Walls farther than this from the source and from the receptor aren't looked at."""


def mirrors(scene: SoundScene, ends: Ends, source_z: Floats, receptor_z: Floats, *,
            between_edges: bool = False) -> tuple[Ints, Ints, Floats]:
    """Return (M,), (M,), (M, 4): paths, the walls that mirror their source, and the taut band over both legs.

    The band over what breaks the legs, unfolded: z, dss, dsr, e in m; z is -inf where both are clear.

    `source_z`, `receptor_z` (N): elevations of the ends. Whether the wall is high enough there is only looked at with
    `between_edges`, and then with a margin (`EDGE_M`): rounding decides nothing here.
    """
    walls, obstacles = scene.walls, scene.obstacles
    if not len(walls) or not len(ends):
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64), np.zeros((0, 4))
    shift = np.array([*obstacles.origin_m, 0.0])
    start, end = walls.start - shift[:2], walls.end - shift[:2]
    sources = np.column_stack([ends.source_xy, source_z]) - shift
    # plant stands at few places: the walls near each are looked up once
    place, first, place_of = np.unique(sources[:, 0] + 1j * sources[:, 1], return_index=True, return_inverse=True)
    cells, in_cell, grid = _by_cell(start, end)
    limits = np.zeros(len(place) + 1, dtype=np.int64)
    near = np.empty(len(place) * min(len(walls), NEAR_AT_FIRST), dtype=np.int64)
    while (found := int(_near_places(start, end, sources[first, :2], cells, in_cell, grid, limits, near))) > near.size:
        near = np.empty(found, dtype=np.int64)
    margin = EDGE_M if between_edges else np.inf
    inputs = ((start, end, walls.obstacle, walls.base_m - margin, walls.top_m + margin), sources,
              np.column_stack([ends.receptor_xy, receptor_z]) - shift, ends.own,
              (np.ravel(place_of).astype(np.int64), limits, near), (cells, in_cell, grid), obstacles.scene)
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
    path, wall, over = mirrors(scene, ends, source_z, receptor_z, between_edges=True)
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


def _by_cell(start: Floats, end: Floats) -> tuple[Ints, Ints, Grid]:
    """Return the walls by cell, row by row, of a grid so coarse that whatever is in reach lies in a cell next by."""
    middle = 0.5 * (start + end)
    cell = REACH_M + 0.5 * float(np.hypot(*(end - start).T).max())
    x0, y0 = (float(one) for one in middle.min(axis=0))
    columns, rows = (int(one) + 1 for one in (middle.max(axis=0) - [x0, y0]) // cell)
    number = ((middle[:, 1] - y0) // cell).astype(np.int64) * columns + ((middle[:, 0] - x0) // cell).astype(np.int64)
    counts = np.bincount(number, minlength=columns * rows)
    cells = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    return cells, np.argsort(number, kind="stable").astype(np.int64), (x0, y0, cell, columns, rows)


@compiled
def _in_reach(start: Floats, end: Floats, x: float, y: float, cells: Ints, in_cell: Ints, grid: Grid, out: Ints,
              count: int) -> int:
    """Write the walls within reach of a place, which stands before them, from `count` on; return how many there are."""
    x0, y0, cell, columns, rows = grid
    column, row = math.floor((x - x0) / cell), math.floor((y - y0) / cell)
    for r in range(max(row - 1, 0), min(row + 2, rows)):
        for c in range(max(column - 1, 0), min(column + 2, columns)):
            for item in range(cells[r * columns + c], cells[r * columns + c + 1]):
                w = in_cell[item]
                ax, ay, dx, dy = start[w, 0], start[w, 1], end[w, 0] - start[w, 0], end[w, 1] - start[w, 1]
                if dy * (x - ax) - dx * (y - ay) <= 0.0:
                    continue
                if math.hypot(ax + 0.5 * dx - x, ay + 0.5 * dy - y) - 0.5 * math.sqrt(dx * dx + dy * dy) > REACH_M:
                    continue
                if count < out.size:
                    out[count] = w
                count += 1
    return count


@compiled
def _near_places(start: Floats, end: Floats, places: Floats, cells: Ints, in_cell: Ints, grid: Grid, limits: Ints,
                 out: Ints) -> int:
    """Write the walls within reach of each place, one place after the other, and where each one's begin."""
    count = 0
    for n in range(places.shape[0]):
        limits[n] = count
        count = _in_reach(start, end, places[n, 0], places[n, 1], cells, in_cell, grid, out, count)
    limits[places.shape[0]] = count
    return count


@compiled
def _facing(start: Floats, end: Floats, obstacle: Ints, r: Place, own: int, w: int) -> bool:
    """Return whether a receptor stands before a wall that isn't its own building's, nor in line with its facade."""
    if obstacle[w] == own and own >= 0:
        return False
    dx, dy = end[w, 0] - start[w, 0], end[w, 1] - start[w, 1]
    before = (dy * (r[0] - start[w, 0]) - dx * (r[1] - start[w, 1])) / math.sqrt(dx * dx + dy * dy)
    return before > 0.0 and (own < 0 or before >= OWN_FACADE_M)


@compiled
def _mirror(start: Floats, end: Floats, w: int, s: Place, r: Place, out: Floats) -> bool:
    """Return whether a wall before which r stands mirrors s towards it on the plan, and write where.

    Columns of `out`: wall, share of the way from s, x and y of the place, length of both legs in plan.
    """
    ax, ay, dx, dy = start[w, 0], start[w, 1], end[w, 0] - start[w, 0], end[w, 1] - start[w, 1]
    # before the wall means on its right
    before_s, before_r = dy * (s[0] - ax) - dx * (s[1] - ay), dy * (r[0] - ax) - dx * (r[1] - ay)
    if before_s <= 0.0:
        return False
    share = before_s / (before_s + before_r)
    along_s, along_r = dx * (s[0] - ax) + dy * (s[1] - ay), dx * (r[0] - ax) + dy * (r[1] - ay)
    at = (along_s + share * (along_r - along_s)) / (dx * dx + dy * dy)
    x, y = ax + at * dx, ay + at * dy
    from_s, from_r = math.hypot(x - s[0], y - s[1]), math.hypot(x - r[0], y - r[1])
    out[0], out[1], out[2], out[3], out[4] = w, share, x, y, from_s + from_r
    return 0.0 <= at <= 1.0 and min(from_s, from_r) <= REACH_M


@compiled
def _roomy(values: Floats, used: int, more: int) -> Floats:
    """Return values (rows, 3) with room for more rows behind those in use."""
    if used + more <= values.shape[0]:
        return values
    larger = np.empty((2 * values.shape[0], 3))
    larger[:used] = values[:used]
    return larger


@compiled
def _crossings(s: Place, p: Place, r: Place, own: int, scene: Scene, seen: Ints, mark: int, out: Floats, count: int,
               legs: Ints) -> int:
    """Write what both legs cross behind the `count` that stand there, and where each leg's begin and end."""
    legs[0] = count
    legs[1] = _leg(s, p, own, scene, seen, mark, out, count)
    legs[2] = _leg(r, p, -2, scene, seen, mark + 1, out, legs[1])
    return int(legs[2])


@compiled
def _band(crossed: Floats, legs: Ints, s: Place, p: Place, r: Place, plan: float, px: Floats, py: Floats,
          out: Floats) -> None:
    """Write the taut band over what, of all that the two legs cross, breaks them, unfolded: z, dss, dsr, e."""
    count = 0
    for k in range(legs[0], legs[2]):
        at, along, top = crossed[k, 0], crossed[k, 1], crossed[k, 2]
        z = s[2] if k < legs[1] else r[2]
        if top > z + at * (p[2] - z):
            px[count], py[count] = along if k < legs[1] else plan - along, top
            count += 1
    out[0], out[1], out[2], out[3] = -np.inf, 0.0, 0.0, 0.0
    if count:
        first, between, last = taut(px, py, count, 0.0, s[2], plan, r[2])
        out[0] = max(first + between + last - math.hypot(plan, r[2] - s[2]), 0.0)
        out[1], out[2], out[3] = first, last, between


@compiled
def _mirrors(walls: tuple[Floats, Floats, Ints, Floats, Floats], sources: Floats, receptors: Floats, own: Ints,
             by_place: tuple[Ints, Ints, Ints], by_cell: tuple[Ints, Ints, Grid], scene: Scene,
             path_out: Ints, wall_out: Ints, over_out: Floats) -> int:
    """Write the pairs of path and mirroring wall, and the band over what breaks their legs; return how many there are.

    They are written as far as there's room. A wall mirrors between the elevations `low` and `high`. Walls that may
    mirror lie within reach of the receptor, looked up once for paths in a row that end there, or within reach of the
    source's place: `by_place` holds the number of each source's place, where the walls near each place begin, and those
    walls. Where they mirror, and what the legs cross, is looked up once for paths in a row that share their plan.
    """
    (start, end, obstacle, low, high), (place, limits, near_place), (cells, in_cell, grid) = walls, by_place, by_cell
    listed = np.full(start.shape[0], -1, dtype=np.int64)
    near = np.empty(start.shape[0], dtype=np.int64)
    seen = np.full(scene.x.size, -1, dtype=np.int64)
    px, py = np.empty(2 * scene.x.size), np.empty(2 * scene.x.size)
    places, legs = np.empty((start.shape[0] + 1, 5)), np.full((start.shape[0], 3), -1, dtype=np.int64)
    crossed = np.empty((4 * scene.x.size, 3))
    found = count = mark = there = used = group = 0
    for n in range(sources.shape[0]):
        s = (sources[n, 0], sources[n, 1], sources[n, 2])
        r = (receptors[n, 0], receptors[n, 1], receptors[n, 2])
        other = n == 0 or r[0] != receptors[n - 1, 0] or r[1] != receptors[n - 1, 1] or own[n] != own[n - 1]
        if other:
            count = _in_reach(start, end, r[0], r[1], cells, in_cell, grid, near, 0)
            group = n
            for item in range(count):
                listed[near[item]] = group
        if other or s[0] != sources[n - 1, 0] or s[1] != sources[n - 1, 1]:
            there, used, first_near = 0, 0, limits[place[n]]
            for item in range(count + limits[place[n] + 1] - first_near):
                w = near[item] if item < count else near_place[first_near + item - count]
                if (item >= count and listed[w] == group) or not _facing(start, end, obstacle, r, own[n], w):
                    continue
                there += _mirror(start, end, w, s, r, places[there])
            legs[:there] = -1
        for item in range(there):
            w, share, plan = int(places[item, 0]), places[item, 1], places[item, 4]
            p = (places[item, 2], places[item, 3], s[2] + share * (r[2] - s[2]))
            if not low[w] <= p[2] <= high[w]:
                continue
            if found < path_out.size:
                path_out[found], wall_out[found] = n, w
                if legs[item, 0] < 0:
                    crossed = _roomy(crossed, used, 2 * scene.x.size)
                    used = _crossings(s, p, r, own[n], scene, seen, mark, crossed, used, legs[item])
                    mark += 2
                _band(crossed, legs[item], s, p, r, plan, px, py, over_out[found])
            found += 1
    return found


@compiled
def _leg(s: Place, p: Place, own: int, scene: Scene, seen: Ints, mark: int, out: Floats, count: int) -> int:
    """Write what the leg from an end of the path to its point on the wall crosses on the plan.

    Columns: how far along (0 to 1, and in m), and how high it rises. Written behind the `count` that stand there;
    returned is their number. What the leg meets within the touching
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
                if nearly < at < 1.0 - nearly:
                    out[count, 0], out[count, 1], out[count, 2] = at, at * length, top
                    count += 1
    return count
