"""The paths past obstacles, ray by ray: over the top and round the sides.

Rays in a row that share both ends on the plan share what depends on the plan alone: the walls that they cross, and the
ways round the same obstacles. The names of walls and vertices are those of `screen_scene`.
"""

from __future__ import annotations

import math

import numpy as np

from envpredict.models.arguments import Floats
from envpredict.models.noise.compiled import compiled
from envpredict.models.noise.screen_crossings import crossed_walls
from envpredict.models.noise.screen_kernels import enclosed, flood, gates, start_groups, taut, way_between
from envpredict.models.noise.screen_scene import WAYS_KEPT, Ints, Ray, Scene, Work

NO_CREDIT_BELOW_M = -0.6
"""A sight line that clears an edge by a longer detour (a tenth of the longest wavelength) isn't screened at all."""


@compiled
def over_the_top(scene: Scene, ray: Ray, work: Work, hits: int, out: Floats) -> int:
    """Write the path over the top, d, z, dss, dsr, e, and mark what blocks the sight line.

    Returned is -2 where the sight line is blocked, -1 where nothing stands near it, or else the obstacle of the edge
    that it clears by the least detour: z is then negative.
    """
    plan, rise = math.hypot(ray.rx - ray.sx, ray.ry - ray.sy), ray.rz - ray.sz
    straight = math.hypot(plan, rise)
    count, clear = 0, -1
    z, first, last, between = -np.inf, 0.0, 0.0, 0.0
    for k in range(hits):
        obstacle = scene.obstacle[work.hit_wall[k]]
        top, place = scene.top[obstacle], work.hit_at[k] * plan
        if top > ray.sz + work.hit_at[k] * rise:
            work.px[count], work.py[count] = place, top
            count += 1
            work.blocks[obstacle] = ray.number
            continue
        dss, dsr = math.hypot(place, top - ray.sz), math.hypot(plan - place, ray.rz - top)
        if straight - dss - dsr > z:
            z, first, last, clear = straight - dss - dsr, dss, dsr, obstacle
    if count > 0:
        first, between, last = taut(work.px, work.py, count, 0.0, ray.sz, plan, ray.rz)
        z = max(first + between + last - straight, 0.0)
        clear = -2
    elif z < NO_CREDIT_BELOW_M:
        clear = -1
    out[0], out[1], out[2], out[3], out[4] = straight, z, first, last, between
    return clear


@compiled
def climbed(length: float, between: float, plan: float, rise: float) -> tuple[float, float]:
    """Return detour and length between the bends of a way whose lengths in plan are given.

    Unfolded onto a plane, a path round upright edges is straight: it climbs evenly.
    """
    slope = math.hypot(length, rise)
    return slope - math.hypot(plan, rise), between * slope / length


@compiled
def round_a_side(scene: Scene, ray: Ray, work: Work, hits: int, side: float,
                 tall: float) -> tuple[float, float, float]:
    """Return in plan the length of the path round one side, that between its bends, and how far obstacles reach."""
    count = flood(scene, ray, work, hits, -1, side, tall, 4 * ray.number + (1 if side > 0.0 else 0))
    farthest = 0.0
    for k in range(count):
        farthest = max(farthest, work.py[k])
    plan = math.hypot(ray.rx - ray.sx, ray.ry - ray.sy)
    first, between, last = taut(work.px, work.py, count, 0.0, 0.0, plan, 0.0)
    return first + between + last, between, farthest


@compiled
def plan_ways(scene: Scene, ray: Ray, work: Work, hits: int, tall: float, row: Floats) -> None:
    """Write the ways in plan past what blocks the path, and where `tall` may lie for them (see `Work.ways`)."""
    work.same[0], work.same[1] = -np.inf, np.inf
    start_groups(scene, ray, work, hits)
    row[0], row[1], left = round_a_side(scene, ray, work, hits, 1.0, tall)
    row[2], row[3], right = round_a_side(scene, ray, work, hits, -1.0, tall)
    row[4], row[5] = left + right, 0.0
    row[6], row[7] = np.inf, 0.0
    for k in range(hits):
        obstacle = scene.obstacle[work.hit_wall[k]]
        if row[5] == 0.0 and work.blocks[obstacle] == ray.number:
            row[5] = 1.0 if enclosed(scene, obstacle, ray.sx, ray.sy, ray.rx, ray.ry) else 0.0
    if row[5] == 0.0:
        count, every = gates(scene, ray, work, hits, tall)
        if count > 1:
            plan = math.hypot(ray.rx - ray.sx, ray.ry - ray.sy)
            row[6], row[7] = way_between(work.gates, work.length, work.first, count, every, plan)
    row[8], row[9] = work.same[0], work.same[1]


@compiled
def known_ways(scene: Scene, ray: Ray, work: Work, hits: int, tall: float, kept: int) -> int:
    """Return which of the ways kept for this plan hold for this ray: the same walls block; -1 where none does."""
    for slot in range(min(kept, WAYS_KEPT)):
        if not work.ways[slot, 8] <= tall or (tall >= work.ways[slot, 9] and work.ways[slot, 9] < np.inf):
            continue
        same = True
        for k in range(hits):
            if work.blocking[slot, k] != (work.blocks[scene.obstacle[work.hit_wall[k]]] == ray.number):
                same = False
                break
        if same:
            return slot
    return -1


@compiled
def sides_of(scene: Scene, ray: Ray, work: Work, hits: int, clear: int, kept: int, out: Floats) -> int:
    """Write the ways round both sides and the width of what screens; no way where one end is enclosed.

    Where a way between obstacles is shorter than that round all of them, it takes the place of the shorter of the two.
    Returned is how many ways are kept for this plan, of which there were `kept`; the newest take the place of the
    oldest.
    """
    if clear >= 0:
        work.blocks[clear] = ray.number
    tall = max(ray.sz, ray.rz) if clear == -2 else np.inf
    slot = known_ways(scene, ray, work, hits, tall, kept)
    if slot < 0:
        slot = kept % WAYS_KEPT
        kept += 1
        plan_ways(scene, ray, work, hits, tall, work.ways[slot])
        for k in range(hits):
            work.blocking[slot, k] = work.blocks[scene.obstacle[work.hit_wall[k]]] == ray.number
    row = work.ways[slot]
    out[9] = row[4]
    if row[5] > 0.0:
        return kept
    plan, rise = math.hypot(ray.rx - ray.sx, ray.ry - ray.sy), ray.rz - ray.sz
    for side in range(2):
        detour, separation = climbed(row[2 * side], row[2 * side + 1], plan, rise)
        out[5 + 2 * side], out[6 + 2 * side] = max(detour, 0.0), separation
    if row[6] < np.inf:
        shorter = 5 if out[5] <= out[7] else 7
        detour, separation = climbed(row[6], row[7], plan, rise)
        if detour < out[shorter]:
            out[shorter], out[shorter + 1] = detour, min(separation, out[shorter + 1])
    return kept


@compiled
def screen_rays(scene: Scene, sources: Floats, receptors: Floats, own: Ints, sides: bool, work: Work,
                out: Floats) -> None:
    """Write the paths from sources, (N, 3) or a single one (1, 3), to receptors (N, 3) into `out` (N, 10).

    Columns: slope distance, z, dss, dsr, e over the top; detour and length between bends round the left and the right;
    width of what screens. `work` comes fresh from `scratch`.
    """
    hits = kept = 0
    before = Ray(np.nan, np.nan, np.nan, np.nan, np.nan, np.nan, 0, -1, 0.0, 0.0)
    for number in range(receptors.shape[0]):
        row, source, end = out[number], sources[number % sources.shape[0]], receptors[number]
        if math.isnan(source.sum() + end.sum()):
            row[:] = np.nan
            continue
        dx, dy = end[0] - source[0], end[1] - source[1]
        plan = math.hypot(dx, dy)
        ray = Ray(source[0], source[1], source[2], end[0], end[1], end[2], number, own[number], dx / plan, dy / plan)
        row[5] = row[7] = np.inf
        row[6] = row[8] = row[9] = 0.0
        if not (ray.sx == before.sx and ray.sy == before.sy and ray.rx == before.rx and ray.ry == before.ry
                and ray.own == before.own):
            hits, kept = crossed_walls(scene, ray, work), 0
        before = ray
        clear = over_the_top(scene, ray, work, hits, row)
        if sides and clear != -1:
            kept = sides_of(scene, ray, work, hits, clear, kept, row)
