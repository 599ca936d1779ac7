"""Distances between piles and receptors."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import geopandas as gpd

Floats = NDArray[np.float64]


def plan_distance_m(receptors: gpd.GeoSeries, piles: gpd.GeoSeries) -> Floats:
    """Return the horizontal distance from each pile to the nearest part of each receptor.

    receptors: (R) points, lines or polygons; piles: (P) points, both in one projected CRS in metres. Result (R, P); 0
    inside a polygon. Never the centroid: a long building is as near as its nearest wall.
    """
    import shapely

    shapes = np.asarray(receptors.values, dtype=object)
    points = np.asarray(piles.values, dtype=object)
    shapely.prepare(shapes)
    return np.asarray(shapely.distance(shapes[:, None], points[None, :]), dtype=float)


def slope_distance_m(plan_m: Floats, depth_m: Floats) -> Floats:
    """Return the distance through the ground from a point at `depth_m` to a point at the surface; arrays broadcast."""
    return np.asarray(np.sqrt(np.square(plan_m) + np.square(depth_m)))


def coordinates(points: gpd.GeoSeries) -> Floats:
    """Return (N, 2) x and y of points."""
    return np.column_stack([points.x.to_numpy(dtype=float), points.y.to_numpy(dtype=float)])


def facing_point(receptors: gpd.GeoSeries, works: Any) -> Floats:
    """Return (R, 2): the point of each receptor that is nearest to the works, a shapely geometry of all piles.

    For a polygon it lies on the wall that faces the works; for a line it's the line's nearest point.
    """
    import shapely

    shapes = np.asarray(receptors.values, dtype=object)
    nearest = shapely.shortest_line(shapes, works)
    return np.asarray(shapely.get_coordinates(shapely.get_point(nearest, 0)), dtype=float)
