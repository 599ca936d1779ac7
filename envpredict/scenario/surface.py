"""Checks the raster of ground elevations: that it can be read, covers the site, has no holes there and is in metres."""

from __future__ import annotations

import math
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from envpredict.scenario.problems import Findings

if TYPE_CHECKING:
    import geopandas as gpd
    from pyproj import CRS

METRE_WORDS = frozenset({"", "m", "metre", "meter", "metres", "meters"})
LOWEST_M, HIGHEST_M = -500.0, 9000.0
"""Ground that lies outside can't be given in metres above the sea."""
EXPORT = "export the ground elevation again, as a GeoTIFF with one band in metres"


def check_surface(path: Path, name: str, crs: CRS, frames: Sequence[gpd.GeoDataFrame], found: Findings) -> None:
    """Tell what is wrong with a raster of elevations for a site that some frames, in the scenario's system, show."""
    import rasterio  # type: ignore[import-untyped]

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a raster without a place in the world: told below, in our words
        try:
            raster = rasterio.open(path)
        except rasterio.errors.RasterioIOError as error:
            found.add(name, f"can't be read: {error}", EXPORT)
            return
    with raster:
        if raster.crs is None:
            found.add(name, "has no coordinate reference system", EXPORT)
            return
        if raster.count != 1:
            found.add(name, f"has {raster.count} bands", EXPORT)
        unit = str(raster.units[0] or "").strip().lower()
        if unit not in METRE_WORDS:
            found.add(name, f"its elevations are in '{unit}'", "convert them to metres and export it again")
        _check_cells(raster, name, _corners(raster.crs, crs, frames), found)


def _corners(raster_crs: Any, crs: CRS, frames: Sequence[gpd.GeoDataFrame]) -> tuple[float, float, float, float]:
    """Return the box of the site in the raster's system."""
    from rasterio.warp import transform_bounds  # type: ignore[import-untyped]

    boxes = np.array([frame.total_bounds for frame in frames])
    low, high = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
    west, south, east, north = transform_bounds(crs.to_wkt(), raster_crs, *low, *high)
    return float(west), float(south), float(east), float(north)


def _check_cells(raster: Any, name: str, site: tuple[float, float, float, float], found: Findings) -> None:
    """Tell of a raster that doesn't reach over the site, has holes there, or can't be in metres."""
    edge = raster.bounds
    if site[0] < edge.left or site[1] < edge.bottom or site[2] > edge.right or site[3] > edge.top:
        found.add(name, f"doesn't cover the site: it reaches from {edge.left:.6g}, {edge.bottom:.6g} to "
                  f"{edge.right:.6g}, {edge.top:.6g}, the site from {site[0]:.6g}, {site[1]:.6g} to {site[2]:.6g}, "
                  f"{site[3]:.6g}", "give a raster that holds every pile, receptor and obstacle")
        return
    (top, bottom), (left, right) = raster.window(*site).toranges()
    window = ((math.floor(top), math.ceil(bottom)), (math.floor(left), math.ceil(right)))
    cells = np.ma.masked_invalid(raster.read(1, window=window, masked=True).astype(float))
    holes = int(np.ma.getmaskarray(cells).sum())
    if holes:
        found.add(name, f"has {holes} of {cells.size} cells without an elevation inside the site",
                  "fill the holes in the GIS, or say terrain = \"flat\" under [acoustic]")
    if cells.count() and not LOWEST_M < float(cells.min()) <= float(cells.max()) < HIGHEST_M:
        found.add(name, f"its elevations run from {float(cells.min()):g} to {float(cells.max()):g}",
                  "metres above the sea are wanted: was it given in feet or millimetres?")
