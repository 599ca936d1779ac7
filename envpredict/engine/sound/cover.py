"""Means along straight paths of what is constant inside polygons: the ground's porosity, the share of built area."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envpredict.models.noise.compiled import compiled

if TYPE_CHECKING:
    import geopandas as gpd

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
FEW_EDGES = 48
"""So many edges are looked at one by one; more of them go into a grid of cells."""


@dataclass(frozen=True, slots=True, eq=False)
class Cover:
    """Polygons with a value each, and `base`, the value outside them all.

    `edges` (E, 4): x and y of both ends, the polygon on the left; `value` (E): the polygon's value less `base`. `cells`
    (rows x columns + 1) and `in_cell`: edges by cell, row by row; `grid`: corner x and y, size of a cell, columns,
    rows.
    """

    base: float
    edges: Floats
    value: Floats
    cells: Ints
    in_cell: Ints
    grid: tuple[float, float, float, int, int]

    @classmethod
    def of(cls, frame: gpd.GeoDataFrame | None, column: str, base: float) -> Cover:
        """Return the cover of a layer's polygons; where polygons overlap, the later one lies on top."""
        if frame is None or not len(frame):
            return cls.from_polygons((), (), base)
        return cls.from_polygons(frame.geometry.to_numpy(), frame[column].to_numpy(dtype=float), base)

    @classmethod
    def from_polygons(cls, shapes: Iterable[Any], values: Iterable[float], base: float) -> Cover:
        """Return the cover of shapely polygons with a value each."""
        pieces = [(piece, value) for piece, value in zip(_on_top(list(shapes)), values, strict=True) if value != base]
        edges = [ring for piece, _ in pieces for ring in _rings(piece)]
        counts = [sum(len(ring) for ring in _rings(piece)) for piece, _ in pieces]
        table = np.concatenate(edges) if edges else np.empty((0, 4))
        value = np.repeat(np.array([value - base for _, value in pieces], dtype=float), counts)
        return cls(base, np.ascontiguousarray(table), value, *_cells(table))

    @property
    def plain(self) -> bool:
        """Return whether the value is the same everywhere."""
        return not len(self.edges)

    def means(self, start_xy: Floats, end_xy: Floats, from_: Floats, to: Floats) -> Floats:
        """Return the means (N, M) of the value over parts of straight paths from `start_xy` (N, 2) to `end_xy` (N, 2).

        `from_`, `to` (N, M): ends of each part as shares of its path, 0 to 1; the mean over a part without length is
        the value at its start.
        """
        out = np.full(from_.shape, self.base)
        if not self.plain:
            kernel = _all_means if len(self.edges) <= FEW_EDGES else _grid_means
            kernel(self.edges, self.value, self.cells, self.in_cell, self.grid, np.ascontiguousarray(start_xy),
                   np.ascontiguousarray(end_xy), np.ascontiguousarray(from_), np.ascontiguousarray(to), out)
            # sums of jumps leave the range of the values by rounding alone
            np.clip(out, self.base + min(self.value.min(), 0.0), self.base + max(self.value.max(), 0.0), out=out)
        return out


def _on_top(shapes: list[Any]) -> list[Any]:
    """Return the polygons with those parts taken out over which a later one lies."""
    import shapely

    if len(shapes) < 2:
        return shapes
    tree = shapely.STRtree(shapes)
    found = []
    for number, shape in enumerate(shapes):
        over = [shapes[other] for other in tree.query(shape, predicate="intersects") if other > number]
        found.append(shapely.difference(shape, shapely.union_all(over)) if over else shape)
    return found


def _rings(shape: Any) -> Sequence[Floats]:
    """Return the edges (n, 4) of every ring of a polygon, the inside on their left."""
    from shapely.geometry.polygon import orient

    polygons = [part for part in getattr(shape, "geoms", [shape]) if part.geom_type == "Polygon" and not part.is_empty]
    found = []
    for polygon in polygons:
        turned = orient(polygon, 1.0)
        for ring in (turned.exterior, *turned.interiors):
            xy = np.asarray(ring.coords)[:, :2]
            found.append(np.column_stack([xy[:-1], xy[1:]]))
    return found


def _cells(edges: Floats) -> tuple[Ints, Ints, tuple[float, float, float, int, int]]:
    """Return the edges by cell of a grid with about one edge per cell: each in every cell that its box meets."""
    if not len(edges):
        return np.zeros(2, dtype=np.int64), np.zeros(1, dtype=np.int64), (0.0, 0.0, 1.0, 1, 1)
    low = np.minimum(edges[:, :2], edges[:, 2:])
    high = np.maximum(edges[:, :2], edges[:, 2:])
    corner, far = low.min(axis=0), high.max(axis=0)
    width, height = (float(side) for side in np.maximum(far - corner, 1.0))
    cell = max(math.sqrt(width * height / len(edges)), max(width, height) / len(edges), 1.0)
    columns, rows = int(width // cell) + 1, int(height // cell) + 1
    first = np.minimum((low - corner) // cell, [columns - 1, rows - 1]).astype(np.int64)
    last = np.minimum((high - corner) // cell, [columns - 1, rows - 1]).astype(np.int64)
    places = [(row * columns + column, edge) for edge in range(len(edges))
              for row in range(first[edge, 1], last[edge, 1] + 1)
              for column in range(first[edge, 0], last[edge, 0] + 1)]
    table = np.array(sorted(places), dtype=np.int64)
    counts = np.bincount(table[:, 0], minlength=columns * rows)
    starts = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    return starts, np.ascontiguousarray(table[:, 1]), (float(corner[0]), float(corner[1]), cell, columns, rows)


@compiled
def _add_edge(edge: Floats, value: float, sx: float, sy: float, dx: float, dy: float, from_: Floats, to: Floats,
              out: Floats) -> None:
    """Add what one edge changes to the means over a path's parts: the value jumps where the path's line crosses it.

    The line is followed from far before the path's start, where the value is the base: it doesn't matter on which side
    of an edge rounding puts an end that lies on it.
    """
    side_a = dx * (edge[1] - sy) - dy * (edge[0] - sx)
    side_b = dx * (edge[3] - sy) - dy * (edge[2] - sx)
    if (side_a > 0.0) == (side_b > 0.0):
        return
    share = side_a / (side_a - side_b)
    x, y = edge[0] + share * (edge[2] - edge[0]), edge[1] + share * (edge[3] - edge[1])
    at = ((x - sx) * dx + (y - sy) * dy) / (dx * dx + dy * dy)
    jump = value if side_a > 0.0 else -value
    for part in range(from_.size):
        length = to[part] - from_[part]
        if length <= 0.0:
            out[part] += jump * (at <= from_[part])
        elif at < to[part]:
            out[part] += jump * (to[part] - max(at, from_[part])) / length


@compiled
def _all_means(edges: Floats, value: Floats, cells: Ints, in_cell: Ints, grid: tuple[float, float, float, int, int],
               start: Floats, end: Floats, from_: Floats, to: Floats, out: Floats) -> None:
    """Add the edges' jumps to `out` (N, M), edge by edge."""
    for n in range(start.shape[0]):
        sx, sy = start[n, 0], start[n, 1]
        for edge in range(edges.shape[0]):
            _add_edge(edges[edge], value[edge], sx, sy, end[n, 0] - sx, end[n, 1] - sy, from_[n], to[n], out[n])


@compiled
def _grid_means(edges: Floats, value: Floats, cells: Ints, in_cell: Ints, grid: tuple[float, float, float, int, int],
                start: Floats, end: Floats, from_: Floats, to: Floats, out: Floats) -> None:
    """Add the edges' jumps to `out` (N, M): only those in cells that the path's line passes, up to the path's end."""
    x0, y0, cell, columns, rows = grid
    seen = np.full(edges.shape[0], -1, dtype=np.int64)
    margin = 1e-6 * cell
    for n in range(start.shape[0]):
        sx, sy = start[n, 0], start[n, 1]
        dx, dy = end[n, 0] - sx, end[n, 1] - sy
        steep = abs(dy) > abs(dx)
        # lanes of cells across the longer axis: columns, or rows where the path is steep
        along, across = (dy, dx) if steep else (dx, dy)
        lanes, places = (rows, columns) if steep else (columns, rows)
        u0, v0, su, sv = (y0, x0, sy, sx) if steep else (x0, y0, sx, sy)
        slope = across / along
        for lane in range(lanes):
            low, high = u0 + lane * cell, u0 + (lane + 1) * cell
            if (low - su) / along > 1.0 + 1e-9 and (high - su) / along > 1.0 + 1e-9:
                continue
            va, vb = sv + slope * (low - su), sv + slope * (high - su)
            first = max(math.floor((min(va, vb) - margin - v0) / cell), 0)
            last = min(math.floor((max(va, vb) + margin - v0) / cell), places - 1)
            for place in range(first, last + 1):
                number = lane * columns + place if steep else place * columns + lane
                for item in range(cells[number], cells[number + 1]):
                    edge = in_cell[item]
                    if seen[edge] != n:
                        seen[edge] = n
                        _add_edge(edges[edge], value[edge], sx, sy, dx, dy, from_[n], to[n], out[n])
