"""The stations as a layer beside the plan, for a map or a GIS in which they may be moved."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from envpredict.core.errors import Problem
from envpredict.monitoring.plan_fit import crs_fault

if TYPE_CHECKING:
    from envpredict.monitoring.plan_schema import Plan

STATIONS_FILE = "stations.geojson"
_SHOWN = ("id", "kind", "receptor", "position", "quantities", "instrument", "criteria")


def stations_geojson(plan: Plan) -> str:
    """Return the stations that have a position as GeoJSON in longitude and latitude (EPSG:4326).

    Nine decimals keep a tenth of a millimetre, so positions come back to the centimetre. Raises ValueError if the plan
    has no coordinate reference system.
    """
    from pyproj import Transformer

    placed = [station for station in plan.stations if station.x is not None and station.y is not None]
    if plan.crs is None:
        raise ValueError("stations have positions, but the plan has no crs")
    to_degrees = Transformer.from_crs(plan.crs, "EPSG:4326", always_xy=True)
    features = []
    for station in placed:
        lon, lat = to_degrees.transform(station.x, station.y)
        said = {key: _joined(getattr(station, key)) for key in _SHOWN}
        features.append({"type": "Feature", "properties": said,
                         "geometry": {"type": "Point", "coordinates": [round(lon, 9), round(lat, 9)]}})
    return json.dumps({"type": "FeatureCollection", "features": features}, ensure_ascii=False, indent=1) + "\n"


def _joined(value: object) -> object:
    return "; ".join(map(str, value)) if isinstance(value, tuple) else value


def with_positions(tables: Mapping[str, Any], file: Path, name: str) -> tuple[dict[str, Any], list[Problem]]:
    """Return the tables with x and y of the layer `file` put into the stations, and what is wrong with the layer."""
    crs = tables.get("crs")
    if not isinstance(crs, str):
        return dict(tables), [Problem(name, "[layers] names a stations layer, but the plan has no crs",
                                      "give crs, a projected system in metres, as EPSG:32631")]
    if crs_fault(crs):
        return dict(tables), []  # told with the key `crs`
    positions, problems = _positions(file, crs)
    rows = tables.get("stations", [])
    if problems or not isinstance(rows, list):
        return dict(tables), problems
    merged: list[Any] = []
    ids = set()
    for number, row in enumerate(rows, 1):
        station = row.get("id") if isinstance(row, Mapping) else None
        ids.add(station)
        if station not in positions or not isinstance(row, Mapping):
            merged.append(row)
            continue
        if "x" in row or "y" in row:
            problems.append(Problem(f"{name}, key 'stations[{number}].x'",
                                    f"station '{station}' has a position here and in {file.name}", "keep one of them"))
        x, y = positions[station]
        merged.append({**row, "x": x, "y": y})
    problems += [Problem(f"{file.name}, feature '{station}'", "isn't among the plan's stations",
                         "add the station to the plan, or drop the feature")
                 for station in positions if station not in ids]
    return {**tables, "stations": merged}, problems


def _positions(file: Path, crs: str) -> tuple[dict[str, tuple[float, float]], list[Problem]]:
    """Return the position of every feature by its `id`, in `crs`, rounded to the centimetre."""
    import geopandas as gpd
    from pyogrio.errors import DataSourceError

    try:
        layer = gpd.read_file(file)
    except (DataSourceError, OSError) as error:
        return {}, [Problem(file.name, f"can't be read: {str(error).splitlines()[0]}",
                            "give a layer of points with a column `id`, or drop the key layers.stations")]
    if "id" not in layer.columns:
        return {}, [Problem(file.name, "has no column 'id'", f"its columns: {', '.join(map(str, layer.columns))}")]
    if layer.crs is None:
        return {}, [Problem(file.name, "states no coordinate reference system", "save it with one")]
    problems: list[Problem] = []
    found: dict[str, tuple[float, float]] = {}
    moved = layer.to_crs(crs)
    for row, (station, point) in enumerate(zip(moved["id"].astype(str), moved.geometry, strict=True), 1):
        where = f"{file.name}, feature {row} ('{station}')"
        if point is None or point.geom_type != "Point":
            problems.append(Problem(where, "is no point", "draw each station as one point"))
        elif station in found:
            problems.append(Problem(where, f"'{station}' stands already in the layer", "give each station one point"))
        else:
            found[station] = (round(point.x, 2), round(point.y, 2))
    return found, problems
