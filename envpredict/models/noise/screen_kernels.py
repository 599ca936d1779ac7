"""The loops of the screening geometry, compiled: which walls a path crosses, and the taut paths over and round them.

The names of walls and vertices are those of `screen_scene`.
"""

from __future__ import annotations

import math

import numpy as np

from envpredict.models.arguments import Floats
from envpredict.models.noise.compiled import compiled
from envpredict.models.noise.screen_scene import Ints, Ray, Scene, Work

SAME_POINT_M = 1e-6
NO_CREDIT_BELOW_M = -0.6
"""A sight line that clears an edge by a longer detour (a tenth of the longest wavelength) isn't screened at all."""


@compiled
def orient(ax: float, ay: float, bx: float, by: float, cx: float, cy: float) -> float:
    """Return twice the area of a triangle: above 0 where c lies left of the way from a to b."""
    return (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)


@compiled
def across(ray: Ray, x: float, y: float) -> float:
    """Return how far a point lies from the path in m: above 0 left of it, below 0 right."""
    return ray.ux * (y - ray.sy) - ray.uy * (x - ray.sx)


@compiled
def rows_in_column(sx: float, sy: float, rx: float, ry: float, low: float, high: float, y0: float, cell: float,
                   rows: int, margin: float) -> tuple[int, int]:
    """Return the first and last row of cells that a segment passes between two abscissae, with a margin."""
    ya, yb = sy, ry
    if abs(rx - sx) > 1e-12:
        ta, tb = (low - sx) / (rx - sx), (high - sx) / (rx - sx)
        ya = sy + min(max(ta, 0.0), 1.0) * (ry - sy)
        yb = sy + min(max(tb, 0.0), 1.0) * (ry - sy)
    first = math.floor((min(ya, yb) - margin - y0) / cell)
    last = math.floor((max(ya, yb) + margin - y0) / cell)
    return max(first, 0), min(last, rows - 1)


@compiled
def columns_of(sx: float, rx: float, x0: float, cell: float, columns: int, margin: float) -> tuple[int, int]:
    """Return the first and last column of cells that a segment passes, with a margin."""
    first = math.floor((min(sx, rx) - margin - x0) / cell)
    last = math.floor((max(sx, rx) + margin - x0) / cell)
    return max(first, 0), min(last, columns - 1)


@compiled
def fill_grid(x: Floats, y: Floats, after: Ints, x0: float, y0: float, cell: float, columns: int, rows: int,
              margin: float, cells: Ints, in_cell: Ints) -> None:
    """Count the walls of each cell into `cells` (where `in_cell` is empty), or write them into `in_cell`."""
    count = in_cell.size == 0
    free = cells.copy()
    for wall in range(x.size):
        end = after[wall]
        if end < 0:
            continue
        first, last = columns_of(x[wall], x[end], x0, cell, columns, margin)
        for column in range(first, last + 1):
            left = x0 + column * cell
            low, high = rows_in_column(x[wall], y[wall], x[end], y[end], left - margin, left + cell + margin, y0, cell,
                                       rows, margin)
            for row in range(low, high + 1):
                place = row * columns + column
                if count:
                    cells[place + 1] += 1
                else:
                    in_cell[free[place]] = wall
                    free[place] += 1


@compiled
def from_wall(px: float, py: float, ax: float, ay: float, bx: float, by: float) -> float:
    """Return the distance of a point from a segment."""
    dx, dy = bx - ax, by - ay
    t = min(max(((px - ax) * dx + (py - ay) * dy) / (dx * dx + dy * dy), 0.0), 1.0)
    return math.hypot(px - ax - t * dx, py - ay - t * dy)


@compiled
def find_contacts(x: Floats, y: Floats, after: Ints, obstacle: Ints, cells: Ints, in_cell: Ints, touch: float,
                  walls: Ints, others: Ints, at_x: Floats, at_y: Floats) -> int:
    """Find where walls of different obstacles touch or cross; return their number, write those that find room.

    A place may be found more than once: in several cells, and from both walls.
    """
    found = 0
    for place in range(cells.size - 1):
        for i in range(cells[place], cells[place + 1]):
            for j in range(cells[place], cells[place + 1]):
                a, c = in_cell[i], in_cell[j]
                if obstacle[a] == obstacle[c]:
                    continue
                b, d = after[a], after[c]
                for k in range(2):
                    p = c if k == 0 else d
                    if from_wall(x[p], y[p], x[a], y[a], x[b], y[b]) <= touch:
                        for wall, other in ((a, c), (c, a)):
                            if found < walls.size:
                                walls[found], others[found], at_x[found], at_y[found] = wall, other, x[p], y[p]
                            found += 1
                o1, o2 = orient(x[a], y[a], x[b], y[b], x[c], y[c]), orient(x[a], y[a], x[b], y[b], x[d], y[d])
                o3, o4 = orient(x[c], y[c], x[d], y[d], x[a], y[a]), orient(x[c], y[c], x[d], y[d], x[b], y[b])
                if o1 * o2 < 0.0 and o3 * o4 < 0.0:
                    t = o3 / (o3 - o4)
                    if found < walls.size:
                        walls[found], others[found] = a, c
                        at_x[found], at_y[found] = x[a] + t * (x[b] - x[a]), y[a] + t * (y[b] - y[a])
                    found += 1
    return found


@compiled
def leads_inside(scene: Scene, v: int, x: float, y: float) -> bool:
    """Return whether the way from a corner of a ring to a point leads into the building; along a wall it doesn't."""
    p, n = scene.before[v], scene.after[v]
    vx, vy = scene.x[v], scene.y[v]
    first = orient(scene.x[p], scene.y[p], vx, vy, x, y) > 0.0
    second = orient(vx, vy, scene.x[n], scene.y[n], x, y) > 0.0
    if orient(scene.x[p], scene.y[p], vx, vy, scene.x[n], scene.y[n]) > 0.0:
        return first and second
    return first or second


@compiled
def leaves_end_inside(scene: Scene, a: int, x: float, y: float, to_x: float, to_y: float) -> bool:
    """Return whether the way from an end of the path, which lies on a wall, leads into the building."""
    b = scene.after[a]
    for v in (a, b):
        if math.hypot(scene.x[v] - x, scene.y[v] - y) <= scene.touch:
            return leads_inside(scene, v, to_x, to_y)
    return orient(scene.x[a], scene.y[a], scene.x[b], scene.y[b], to_x, to_y) > 0.0


@compiled
def screens(scene: Scene, ray: Ray, a: int, da: float, db: float) -> bool:
    """Return whether the path, which meets a wall, passes it: from outside to inside, or across a screen.

    It doesn't where it only touches a corner, runs along the wall, or begins or ends on it and leads away. `da` and
    `db` tell on which side of the path the wall's ends lie, 0 on it.
    """
    b = scene.after[a]
    ax, ay, bx, by = scene.x[a], scene.y[a], scene.x[b], scene.y[b]
    at_s = from_wall(ray.sx, ray.sy, ax, ay, bx, by) <= scene.touch
    at_r = from_wall(ray.rx, ray.ry, ax, ay, bx, by) <= scene.touch
    v = a if da == 0.0 else b
    if scene.ring[a] == 0:
        if at_s or at_r or scene.before[v] < 0 or scene.after[v] < 0:
            return not (at_s or at_r or da * db == 0.0)
        p, n = scene.before[v], scene.after[v]
        return da * db < 0.0 or across(ray, scene.x[p], scene.y[p]) * across(ray, scene.x[n], scene.y[n]) < 0.0
    if at_s and at_r:
        return False
    if at_s:
        return leaves_end_inside(scene, a, ray.sx, ray.sy, ray.rx, ray.ry)
    if at_r:
        return leaves_end_inside(scene, a, ray.rx, ray.ry, ray.sx, ray.sy)
    return da * db < 0.0 or leads_inside(scene, v, ray.rx, ray.ry) or leads_inside(scene, v, ray.sx, ray.sy)


@compiled
def crossed_walls(scene: Scene, ray: Ray, work: Work) -> int:
    """Write every wall that the path passes (see `screens`), and where (0 to 1); return how many."""
    sx, sy, rx, ry = ray.sx, ray.sy, ray.rx, ray.ry
    margin = 1e-6 * scene.cell
    found = 0
    first, last = columns_of(sx, rx, scene.x0, scene.cell, scene.columns, margin)
    for column in range(first, last + 1):
        left = scene.x0 + column * scene.cell
        low, high = rows_in_column(sx, sy, rx, ry, left - margin, left + scene.cell + margin, scene.y0, scene.cell,
                                   scene.rows, margin)
        for row in range(low, high + 1):
            place = row * scene.columns + column
            for item in range(scene.cells[place], scene.cells[place + 1]):
                a = scene.in_cell[item]
                if work.seen[a] == ray.number or scene.obstacle[a] == ray.own:
                    continue
                work.seen[a] = ray.number
                b = scene.after[a]
                ax, ay, bx, by = scene.x[a], scene.y[a], scene.x[b], scene.y[b]
                da, db = orient(sx, sy, rx, ry, ax, ay), orient(sx, sy, rx, ry, bx, by)
                ds, dr = orient(ax, ay, bx, by, sx, sy), orient(ax, ay, bx, by, rx, ry)
                if da * db > 0.0 or ds * dr > 0.0 or ds == dr or not screens(scene, ray, a, da, db):
                    continue
                work.hit_wall[found], work.hit_at[found] = a, ds / (ds - dr)
                found += 1
    return found


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

    Returned are its length up to the first point, between the first and the last, and from the last to r. The points
    are used up: their order changes.
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
        px[best], py[best] = px[count], py[count]


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
def flood(scene: Scene, ray: Ray, work: Work, hits: int, side: float, tall: float) -> int:
    """Collect the vertices on one side of the path that hang together with what blocks it; return their number.

    Starts at the walls that the path crosses and follows walls as long as they stay on that side (1 left, -1 right),
    and from wall to wall where obstacles touch, if the next one rises above `tall`. Written into `px` and `py` in the
    path's own axes: along it, and away from it.
    """
    mark = 2 * ray.number + (1 if side > 0.0 else 0)
    waiting = found = 0
    for k in range(hits):
        if work.blocks[scene.obstacle[work.hit_wall[k]]] == ray.number:
            waiting = reach(scene, ray, work, work.hit_wall[k], side, mark, waiting)
    while waiting > 0:
        waiting -= 1
        v = work.stack[waiting]
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
                if away > SAME_POINT_M and scene.top[obstacle] > tall and obstacle != ray.own:
                    waiting = reach(scene, ray, work, other, side, mark, waiting)
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
def round_a_side(scene: Scene, ray: Ray, work: Work, hits: int, side: float,
                 tall: float) -> tuple[float, float, float]:
    """Return detour and length between the bends of the path round one side, and how far the obstacles reach there."""
    count = flood(scene, ray, work, hits, side, tall)
    farthest = 0.0
    for k in range(count):
        farthest = max(farthest, work.py[k])
    plan, rise = math.hypot(ray.rx - ray.sx, ray.ry - ray.sy), ray.rz - ray.sz
    first, between, last = taut(work.px, work.py, count, 0.0, 0.0, plan, 0.0)
    total = first + between + last
    # unfolded onto a plane, a path round upright edges is straight: it climbs evenly
    slope = math.hypot(total, rise)
    return max(slope - math.hypot(plan, rise), 0.0), between * slope / total, farthest


@compiled
def sides_of(scene: Scene, ray: Ray, work: Work, hits: int, clear: int, out: Floats) -> None:
    """Write the ways round both sides and the width of what screens; no way where one end is enclosed."""
    if clear >= 0:
        work.blocks[clear] = ray.number
    tall = max(ray.sz, ray.rz) if clear == -2 else np.inf
    left = round_a_side(scene, ray, work, hits, 1.0, tall)
    right = round_a_side(scene, ray, work, hits, -1.0, tall)
    out[9] = left[2] + right[2]
    closed = False
    for k in range(hits):
        obstacle = scene.obstacle[work.hit_wall[k]]
        if not closed and work.blocks[obstacle] == ray.number:
            closed = enclosed(scene, obstacle, ray.sx, ray.sy, ray.rx, ray.ry)
    if not closed:
        out[5], out[6], out[7], out[8] = left[0], left[1], right[0], right[1]


@compiled
def screen_rays(scene: Scene, sources: Floats, receptors: Floats, own: Ints, sides: bool, work: Work,
                out: Floats) -> None:
    """Write the paths from sources, (N, 3) or a single one (1, 3), to receptors (N, 3) into `out` (N, 10).

    Columns: slope distance, z, dss, dsr, e over the top; detour and length between bends round the left and the right;
    width of what screens. `work` comes fresh from `scratch`.
    """
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
        hits = crossed_walls(scene, ray, work)
        clear = over_the_top(scene, ray, work, hits, row)
        if sides and clear != -1:
            sides_of(scene, ray, work, hits, clear, row)
