"""Which walls a path crosses, and which it only touches: compiled loops, called for every path.

The names of walls and vertices are those of `screen_scene`.
"""

from __future__ import annotations

import math

from envpredict.models.noise.compiled import compiled
from envpredict.models.noise.screen_grid import columns_of, from_wall, orient, rows_in_column
from envpredict.models.noise.screen_scene import Ray, Scene, Work


@compiled
def across(ray: Ray, x: float, y: float) -> float:
    """Return how far a point lies from the path in m: above 0 left of it, below 0 right."""
    return ray.ux * (y - ray.sy) - ray.uy * (x - ray.sx)


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
