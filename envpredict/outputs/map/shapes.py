"""Geometry for the page: web-map metres, in whole tenths from one origin, as differences."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray

if TYPE_CHECKING:
    import geopandas as gpd

    from envpredict.outputs.map.pack import Block

PAGE_CRS = 3857
STEPS_PER_METRE = 10
NOTHING, POINT, LINE, AREA = range(4)
"""What a shape is on the page; nothing is drawn of a place that stays out."""
Shapes = NDArray[np.object_]


@dataclass(frozen=True, slots=True)
class Origin:
    """The point from which every coordinate of the page counts, in web-map metres."""

    x: float
    y: float

    def quantise(self, xy: NDArray[np.float64]) -> NDArray[np.int64]:
        """Return coordinates (N, 2) as whole tenths of a web-map metre from the origin."""
        return np.rint((xy - (self.x, self.y)) * STEPS_PER_METRE).astype(np.int64)


@dataclass(slots=True)
class Encoded:
    """Shapes as arrays: per shape its kind and number of parts, per part its number of points, then all points."""

    kinds: list[int] = field(default_factory=list)
    parts: list[int] = field(default_factory=list)
    sizes: list[int] = field(default_factory=list)
    points: list[NDArray[np.int64]] = field(default_factory=list)

    def add(self, kind: int, rings: list[NDArray[np.int64]]) -> None:
        """Add one shape; points that fall on the one before are left out."""
        self.kinds.append(kind)
        self.parts.append(len(rings))
        for ring in rings:
            moved = np.ones(len(ring), dtype=bool)
            moved[1:] = np.any(np.diff(ring, axis=0) != 0, axis=1)
            self.sizes.append(int(moved.sum()))
            self.points.append(ring[moved])

    def write(self, block: Block, name: str) -> None:
        """Write the arrays into the page's block, the points as differences from one to the next."""
        everything = np.concatenate(self.points) if self.points else np.zeros((0, 2), dtype=np.int64)
        block.add(f"{name}.kind", self.kinds, "u8")
        block.add(f"{name}.parts", self.parts, "varint")
        block.add(f"{name}.sizes", self.sizes, "varint")
        block.add(f"{name}.xy", np.diff(everything, axis=0, prepend=np.zeros((1, 2), dtype=np.int64)), "varint")


def to_page(shapes: gpd.GeoSeries) -> Shapes:
    """Return geometries in the page's coordinates."""
    return np.asarray(shapes.to_crs(PAGE_CRS).values, dtype=object)


def _rings(shape: Any, origin: Origin) -> tuple[int, list[NDArray[np.int64]]]:
    """Return what a geometry is on the page and its rings, of a mixed one only the parts of the highest dimension."""
    pieces = [piece for piece in shapely.get_parts(shape) if not piece.is_empty]
    while any(piece.geom_type == "GeometryCollection" or piece.geom_type.startswith("Multi") for piece in pieces):
        pieces = [part for piece in pieces for part in shapely.get_parts(piece)]
    if not pieces:
        return NOTHING, []
    dimension = max(int(shapely.get_dimensions(piece)) for piece in pieces)
    pieces = [piece for piece in pieces if shapely.get_dimensions(piece) == dimension]
    rings = [ring for piece in pieces for ring in (piece.exterior, *piece.interiors)] if dimension == 2 else pieces
    kind = {0: POINT, 1: LINE, 2: AREA}[dimension]
    return kind, [origin.quantise(shapely.get_coordinates(ring)) for ring in rings]


def encode(shapes: Shapes, origin: Origin, hidden: NDArray[np.bool_] | None = None) -> Encoded:
    """Return shapes (page coordinates) as arrays; of a hidden one nothing but its place in the row is kept."""
    encoded = Encoded()
    for number, shape in enumerate(shapes):
        if shape is None or shape.is_empty or (hidden is not None and hidden[number]):
            encoded.add(NOTHING, [])
        else:
            encoded.add(*_rings(shape, origin))
    return encoded


def anchors(shapes: Shapes, works: Any) -> NDArray[np.float64]:
    """Return (N, 2): where each shape's mark stands, in the page's coordinates.

    Inside an area; on a line the point nearest to the works (a geometry of all piles), where its findings are made.
    """
    areas = shapely.get_dimensions(shapes) == 2
    points = np.empty(len(shapes), dtype=object)
    points[areas] = shapely.point_on_surface(shapes[areas])
    points[~areas] = shapely.get_point(shapely.shortest_line(shapes[~areas], works), 0)
    return np.asarray(shapely.get_coordinates(points), dtype=float)
