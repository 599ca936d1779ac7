"""The grid of cells in which walls are looked up, and where walls touch: compiled loops that run once per scene.

The small functions at the top serve the loops over paths too.
"""

from __future__ import annotations

import math

from envpredict.models.arguments import Floats
from envpredict.models.noise.compiled import compiled
from envpredict.models.noise.screen_scene import Ints


@compiled
def orient(ax: float, ay: float, bx: float, by: float, cx: float, cy: float) -> float:
    """Return twice the area of a triangle: above 0 where c lies left of the way from a to b."""
    return (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)


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
def from_wall(px: float, py: float, ax: float, ay: float, bx: float, by: float) -> float:
    """Return the distance of a point from a segment."""
    dx, dy = bx - ax, by - ay
    t = min(max(((px - ax) * dx + (py - ay) * dy) / (dx * dx + dy * dy), 0.0), 1.0)
    return math.hypot(px - ax - t * dx, py - ay - t * dy)


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
