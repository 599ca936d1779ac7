"""The loops of the screening geometry, compiled: the taut path, and the ways on a plan round what a path crosses.

The names of walls and vertices are those of `screen_scene`.
"""

from __future__ import annotations

import math

import numpy as np

from envpredict.models.arguments import Floats
from envpredict.models.noise.compiled import compiled
from envpredict.models.noise.screen_crossings import across
from envpredict.models.noise.screen_grid import orient
from envpredict.models.noise.screen_scene import MOST_GATES, Ray, Scene, Work

SAME_POINT_M = 1e-6


@compiled
def turns_sooner(ux: float, uy: float, bx: float, by: float, kx: float, ky: float, last: bool) -> bool:
    """Return whether the way on to k bends less to the left than the way on to b, all seen from where the band is.

    u is the way on which it came; `last` tells that b is the end. Points in line count so although rounding puts them
    off it: then the farther one is taken, and never one that lies back.
    """
    side = bx * ky - by * kx
    if side * side > 1e-18 * (bx * bx + by * by) * (kx * kx + ky * ky):
        return side < 0.0
    if bx * kx + by * ky < 0.0:
        return kx * ux + ky * uy > 0.0
    return not last and kx * kx + ky * ky > bx * bx + by * by


@compiled
def taut(px: Floats, py: Floats, count: int, sx: float, sy: float, rx: float,
         ry: float) -> tuple[float, float, float]:
    """Return the taut path from s to r over points that all lie left of that way: a convex hull without its chord.

    Returned are its length up to the first point, between the first and the last, and from the last to r. The order of
    the points changes.
    """
    fx, fy, ux, uy = rx, ry, rx - sx, ry - sy
    last_leg = between = 0.0
    bends = 0
    while True:
        best, bx, by = -1, sx - fx, sy - fy
        for k in range(count):
            kx, ky = px[k] - fx, py[k] - fy
            if min(kx * kx + ky * ky, (px[k] - sx) ** 2 + (py[k] - sy) ** 2) < SAME_POINT_M**2:
                continue
            if turns_sooner(ux, uy, bx, by, kx, ky, best < 0):
                best, bx, by = k, kx, ky
        leg = math.hypot(bx, by)
        if best < 0:
            return leg, between, last_leg
        if bends == 0:
            last_leg = leg
        else:
            between += leg
        bends += 1
        fx, fy, ux, uy = px[best], py[best], bx, by
        count -= 1
        px[best], py[best], px[count], py[count] = px[count], py[count], fx, fy


@compiled
def reach(scene: Scene, ray: Ray, work: Work, wall: int, side: float, mark: int, waiting: int) -> int:
    """Put the ends of a wall that lie on one side of the path onto the stack, each once; return its new height."""
    for v in (wall, scene.after[wall]):
        if work.reached[v] != mark and side * across(ray, scene.x[v], scene.y[v]) > SAME_POINT_M:
            work.reached[v] = mark
            work.stack[waiting] = v
            waiting += 1
    return waiting


@compiled
def rises(same: Floats, top: float, tall: float) -> bool:
    """Return whether a top rises above `tall`, and narrow `same` to where `tall` may lie for the same answer."""
    if top > tall:
        same[1] = min(same[1], top)
        return True
    same[0] = max(same[0], top)
    return False


@compiled
def flood(scene: Scene, ray: Ray, work: Work, hits: int, group: int, side: float, tall: float, mark: int) -> int:
    """Collect the vertices on one side of the path that hang together with walls that it crosses; return their number.

    Starts at the walls of a group, or with -1 at all that block the path, and follows walls as long as they stay on
    that side (1 left, -1 right), and from wall to wall where obstacles touch, if the next one rises above `tall` or
    blocks the path itself. Written into `px` and `py` in the path's own axes: along it, and away from it. Walls met
    that turn out to hang together come into one group. `work.same` narrows to where `tall` may lie without a change.
    """
    found = 0
    for hit in range(hits):
        if work.label[hit] < 0 or (group >= 0 and work.label[hit] != group):
            continue
        waiting = reach(scene, ray, work, work.hit_wall[hit], side, mark, 0)
        while waiting > 0:
            waiting -= 1
            v = work.stack[waiting]
            work.first_hit[v] = work.origin[found] = hit
            work.px[found] = (scene.x[v] - ray.sx) * ray.ux + (scene.y[v] - ray.sy) * ray.uy
            work.py[found] = side * across(ray, scene.x[v], scene.y[v])
            found += 1
            for wall in (v, scene.before[v]):
                if wall < 0 or scene.after[wall] < 0:
                    continue
                waiting = reach(scene, ray, work, wall, side, mark, waiting)
                for place in range(scene.contacts[wall], scene.contacts[wall + 1]):
                    away = side * across(ray, scene.contact_x[place], scene.contact_y[place])
                    other = scene.contact_wall[place]
                    obstacle = scene.obstacle[other]
                    if away <= SAME_POINT_M or obstacle == ray.own:
                        continue
                    if work.blocks[obstacle] == ray.number or rises(work.same, scene.top[obstacle], tall):
                        waiting = reach(scene, ray, work, other, side, mark, waiting)
        for v in (work.hit_wall[hit], scene.after[work.hit_wall[hit]]):
            if work.reached[v] == mark and work.label[work.first_hit[v]] != work.label[hit]:
                one, other = work.label[work.first_hit[v]], work.label[hit]
                for k in range(hits):
                    if work.label[k] in (one, other):
                        work.label[k] = min(one, other)
    return found


@compiled
def inside_ring(scene: Scene, start: int, px: float, py: float) -> bool:
    """Return whether a point lies inside the ring that holds a vertex, by the number of walls to its right."""
    inside = False
    v = start
    while True:
        u = scene.after[v]
        if (scene.y[v] > py) != (scene.y[u] > py):
            t = (py - scene.y[v]) / (scene.y[u] - scene.y[v])
            if px < scene.x[v] + t * (scene.x[u] - scene.x[v]):
                inside = not inside
        v = u
        if v == start:
            return inside


@compiled
def enclosed(scene: Scene, obstacle: int, sx: float, sy: float, rx: float, ry: float) -> bool:
    """Return whether an obstacle surrounds just one of two points: one of them stands in its courtyard."""
    for hole in range(scene.holes[obstacle], scene.holes[obstacle + 1]):
        start = scene.hole_start[hole]
        if inside_ring(scene, start, sx, sy) != inside_ring(scene, start, rx, ry):
            return True
    return False


@compiled
def start_groups(scene: Scene, ray: Ray, work: Work, hits: int) -> None:
    """Put every wall met that blocks the path into the group of its obstacle, named by the first wall; others in -1."""
    for k in range(hits):
        obstacle = scene.obstacle[work.hit_wall[k]]
        work.label[k] = -1
        if work.blocks[obstacle] == ray.number:
            first = work.met[obstacle]
            if not (0 <= first < k and scene.obstacle[work.hit_wall[first]] == obstacle):
                work.met[obstacle] = first = k
            work.label[k] = first


@compiled
def gate(scene: Scene, ray: Ray, work: Work, hits: int, group: int, tall: float) -> None:
    """Write the corners to get round to pass a group into the last row of `work.gates`.

    Columns: where the path meets the group first and last (0 to 1); for the left, then the right: the corner that makes
    the longest detour, and where the wall that it hangs on crosses the path, in the path's own axes (x, y, x); length
    of the shorter of the two detours.
    """
    plan = math.hypot(ray.rx - ray.sx, ray.ry - ray.sy)
    row = work.gates[MOST_GATES]
    row[0], row[1], row[8] = 1.0, 0.0, np.inf
    for k in range(group, hits):
        if work.label[k] == group:
            row[0], row[1] = min(row[0], work.hit_at[k]), max(row[1], work.hit_at[k])
    for side in (1.0, -1.0):
        longest, to = plan, 2 if side > 0.0 else 5
        row[to], row[to + 1], row[to + 2] = row[0] * plan, 0.0, row[0] * plan
        count = flood(scene, ray, work, hits, group, side, tall, 4 * ray.number + (3 if side > 0.0 else 2))
        for k in range(count):
            away = work.py[k] ** 2
            length = math.sqrt(work.px[k] ** 2 + away) + math.sqrt((plan - work.px[k]) ** 2 + away)
            if length > longest:
                longest, row[to], row[to + 1] = length, work.px[k], side * work.py[k]
                row[to + 2] = work.hit_at[work.origin[k]] * plan
        row[8] = min(row[8], longest)


@compiled
def gates(scene: Scene, ray: Ray, work: Work, hits: int, tall: float) -> tuple[int, bool]:
    """Write what sound must get round to pass each group of obstacles, in the order of the path (see `gate`).

    Returned is how many there are, and whether no other group can be passed on another side. Left out are those that
    another one holds between its walls, and of many those that are the easiest to pass.
    """
    found = groups = 0
    for group in range(hits):
        groups += work.label[group] == group
    new, every = work.gates[MOST_GATES], True
    for group in range(hits if groups > 1 else 0):
        if work.label[group] != group:
            continue
        gate(scene, ray, work, hits, group, tall)
        easiest, harder = 0, True
        for k in range(found):
            if work.gates[k, 0] <= new[1] and new[0] <= work.gates[k, 1]:
                harder = harder and work.gates[k, 8] < new[8]
                # what stands between another one's walls is passed on the same side
                every = every and (work.gates[k, 0] - new[0]) * (work.gates[k, 1] - new[1]) <= 0.0
            if work.gates[k, 8] < work.gates[easiest, 8]:
                easiest = k
        full = found == MOST_GATES
        every = every and not full
        if not harder or (full and work.gates[easiest, 8] >= new[8]):
            continue
        kept = 0
        for k in range(found):
            apart = work.gates[k, 0] > new[1] or new[0] > work.gates[k, 1]
            if apart and not (full and k == easiest):
                work.gates[kept] = work.gates[k]
                kept += 1
        place = kept
        while place > 0 and work.gates[place - 1, 0] > new[0]:
            work.gates[place] = work.gates[place - 1]
            place -= 1
        work.gates[place] = new
        found = kept + 1
    return found, every


@compiled
def passes(row: Floats, ax: float, ay: float, bx: float, by: float) -> int:
    """Return on which side a straight way from a to b passes a group: 1 left, 2 right, 3 unknown, 0 if it's blocked."""
    found = 3
    for side in (1, 2):
        x, y, foot = row[3 * side - 1], row[3 * side], row[3 * side + 1]
        # the wall from the path to the corner, then the line on from the corner
        if (orient(ax, ay, bx, by, x, y) * orient(ax, ay, bx, by, foot, 0.0) < 0.0
                and orient(x, y, foot, 0.0, ax, ay) * orient(x, y, foot, 0.0, bx, by) < 0.0):
            return 0
        if (ax - x) * (bx - x) < 0.0:
            beyond = ay + (x - ax) / (bx - ax) * (by - ay) - y
            if (side == 1 and beyond >= 0.0) or (side == 2 and beyond <= 0.0):
                found = side
    return found


@compiled
def way_between(rows: Floats, length: Floats, first: Floats, count: int, every: bool,
                plan: float) -> tuple[float, float]:
    """Return in plan the length, and that between the bends, of the shortest way that passes groups on both sides.

    Only the corners in `rows` are gone round, each in its turn: no real way between the obstacles is shorter. Where
    these aren't all groups (`every`), a way on one side of them may pass the rest on the other.
    """
    # by group (S before the first, R after the last), by corner, by the sides passed so far: 1 left, 2 right, 3 both
    length[: count + 2] = np.inf
    length[0, 0, 0] = 0.0
    total, between = np.inf, 0.0
    for j in range(1, count + 2):
        for b in range(1 if j > count else 2):
            bx, by = (plan, 0.0) if j > count else (rows[j - 1, 3 * b + 2], rows[j - 1, 3 * b + 3])
            # the straight way itself is blocked
            for i in range(1 if j > count else 0, j):
                for a in range(2 if i else 1):
                    ax, ay = (rows[i - 1, 3 * a + 2], rows[i - 1, 3 * a + 3]) if i else (0.0, 0.0)
                    sides = 0 if j > count else b + 1
                    for k in range(i + 1, j):
                        side = passes(rows[k - 1], ax, ay, bx, by)
                        if side == 0:
                            sides = -1
                            break
                        sides |= side
                    if sides < 0:
                        continue
                    leg = math.sqrt((bx - ax) ** 2 + (by - ay) ** 2)
                    for mask in range(4 if i else 1):
                        way = length[i, a, mask] + leg
                        if way < length[j, b, mask | sides]:
                            length[j, b, mask | sides] = way
                            first[j, b, mask | sides] = leg if i == 0 else first[i, a, mask]
                            if j > count and (mask | sides == 3 or not every) and way < total:
                                total, between = way, way - first[j, b, mask | sides] - leg
    return total, max(between, 0.0)
