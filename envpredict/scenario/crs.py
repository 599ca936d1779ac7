"""The scenario's coordinate reference system: projected, in metres, and true to scale at the site."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from pyproj import CRS, Proj
from pyproj.exceptions import ProjError

from envpredict.scenario.problems import Findings

if TYPE_CHECKING:
    import geopandas as gpd

SCALE_TOLERANCE = 0.002
"""Largest departure of the scale factor from 1 at the site; 0.2 % is far below the scatter of any law (practice)."""
WEB_MAP = "Pseudo Mercator"


def parsed_crs(text: str) -> CRS | None:
    """Return the system that a text names ('EPSG:32631', WKT), or None if it names none."""
    try:
        return CRS.from_user_input(text)
    except ProjError:
        return None


def utm_for(lon: float, lat: float) -> str:
    """Return the code of the UTM zone (WGS 84) at a place in degrees."""
    zone = min(max(int((lon + 180.0) // 6.0) + 1, 1), 60)
    return f"EPSG:{(32600 if lat >= 0 else 32700) + zone}"


def site_of(frame: gpd.GeoDataFrame) -> tuple[float, float] | None:
    """Return longitude and latitude of the middle of a layer, or None if that can't be told."""
    west, south, east, north = frame.total_bounds
    middle = np.array([(west + east) / 2, (south + north) / 2])
    if frame.crs is None or not np.isfinite(middle).all():
        return None
    import geopandas as gpd

    place = gpd.GeoSeries.from_xy(middle[:1], middle[1:], crs=frame.crs).to_crs(4326).iloc[0]
    inside = np.isfinite([place.x, place.y]).all() and abs(place.x) <= 180 and abs(place.y) <= 90
    return (float(place.x), float(place.y)) if inside else None


def scale_factors(crs: CRS, lon: float, lat: float) -> tuple[float, float] | None:
    """Return the scale factors along the meridian and the parallel at a place, or None where the system has none."""
    try:
        factors = Proj(crs).get_factors(lon, lat, errcheck=True)
    except ProjError:
        return None
    scales = (float(np.squeeze(factors.meridional_scale)), float(np.squeeze(factors.parallel_scale)))
    return scales if np.isfinite(scales).all() else None


def _advice(site: tuple[float, float] | None) -> str:
    if site is None:
        return "use the UTM zone of the site, for instance EPSG:32631, or a national grid in metres"
    return f"use {utm_for(*site)} (the UTM zone of the site) or a national grid in metres"


def _kind_fault(crs: CRS, text: str) -> str | None:
    """Return what is wrong with the kind of a system, if anything."""
    name = f"{text} ({crs.name})"
    if crs.is_geographic or crs.is_geocentric:
        return f"{name} is geographic: its unit is the degree, and distances are needed in metres"
    if WEB_MAP in crs.name or (crs.coordinate_operation and WEB_MAP in crs.coordinate_operation.method_name):
        return f"{name} is a web-map projection: its metres are stretched by the latitude"
    if not crs.is_projected:
        return f"{name} is not a projected system: the site can't be placed on a map"
    if any(axis.unit_conversion_factor != 1.0 for axis in crs.axis_info[:2]):
        return f"{name} is not in metres but in {crs.axis_info[0].unit_name}"
    return None


def checked_crs(text: str, site: tuple[float, float] | None, found: Findings) -> CRS | None:
    """Return the scenario's system if it's projected, in metres and true to scale at the site; else tell why not."""
    crs = parsed_crs(text)
    if crs is None:
        found.key(["crs"], f"'{text}' names no coordinate reference system", _advice(site))
        return None
    if crs.is_compound:
        crs = crs.sub_crs_list[0]
    wrong = _kind_fault(crs, text)
    if wrong is None and site is not None:
        wrong = _scale_fault(crs, text, site)
    if wrong is not None:
        found.key(["crs"], wrong, _advice(site))
        return None
    return crs


def _scale_fault(crs: CRS, text: str, site: tuple[float, float]) -> str | None:
    """Return what is wrong with a system's scale at the site, if anything."""
    lon, lat = site
    place = f"at the site ({lat:.3f}, {lon:.3f})"
    scales = scale_factors(crs, lon, lat)
    if scales is None:
        return f"{text} ({crs.name}) can't be used {place}"
    worst = max(scales, key=lambda scale: abs(scale - 1.0))
    if abs(worst - 1.0) > SCALE_TOLERANCE:
        return (f"{text} ({crs.name}) has a scale factor of {worst:.4f} {place}; distances would be wrong by more than "
                f"{SCALE_TOLERANCE:.1%}")
    return None
