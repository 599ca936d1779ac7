"""Opens layers of features: file, layer, coordinate reference system and geometry, each fault with its row."""

from __future__ import annotations

import json
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from envpredict.core.words import nearest
from envpredict.scenario.columns import Column, Source, as_text, is_empty, read_columns
from envpredict.scenario.crs import parsed_crs
from envpredict.scenario.document import Document
from envpredict.scenario.problems import Findings, RowFaults
from envpredict.scenario.schema import LayerTable

if TYPE_CHECKING:
    import geopandas as gpd
    from pyproj import CRS

JSON_DRIVERS = frozenset({"GeoJSON", "GeoJSONSeq", "TopoJSON", "ESRIJSON"})
DRIVERS: dict[str, frozenset[str]] = {
    ".gpkg": frozenset({"GPKG"}), ".geojson": JSON_DRIVERS, ".json": JSON_DRIVERS,
    ".shp": frozenset({"ESRI Shapefile"}), ".fgb": frozenset({"FlatGeobuf"}),
    ".dxf": frozenset({"DXF"}), ".gml": frozenset({"GML"}),
    ".kml": frozenset({"KML", "LIBKML"}), ".gpx": frozenset({"GPX"}),
}
"""What a file must be by its ending; other endings are taken as whatever is found inside."""
SIGNATURES: tuple[tuple[bytes, str], ...] = (
    (b"SQLite format 3", "an SQLite file such as a GeoPackage"), (b"PK\x03\x04", "a zip archive, such as a workbook"),
    (b"\x89PNG", "a PNG picture"), (b"\xff\xd8\xff", "a JPEG picture"), (b"%PDF", "a PDF document"),
    (b"II*\x00", "a TIFF raster"), (b"MM\x00*", "a TIFF raster"), (b"fgb\x03", "FlatGeobuf"),
    (b"\x00\x00\x27\x0a", "a Shapefile"), (b"{", "JSON text"), (b"[", "JSON text"), (b"<", "XML or HTML text"),
)
TAB = 9  # text holds no control characters below it
POINTS = frozenset({"Point", "MultiPoint"})
LINES = frozenset({"LineString", "MultiLineString"})
POLYGONS = frozenset({"Polygon", "MultiPolygon"})


@dataclass(slots=True)
class Layer:
    """An opened layer in its own system, and how to name its rows."""

    frame: gpd.GeoDataFrame
    table: LayerTable
    place: tuple[str, str]
    faults: RowFaults
    sound: np.ndarray[Any, np.dtype[np.bool_]]

    @property
    def where(self) -> str:
        """Return the name of file and layer."""
        return self.faults.where

    def has(self, name: str) -> bool:
        """Return whether the file has a column of this name, or the scenario gives it one or a default."""
        return self.table.columns.get(name, name) in self.frame.columns or name in self.table.defaults

    def cells(self, wanted: Sequence[Column], found: Findings) -> dict[str, list[Any]]:
        """Return the wanted columns."""
        geometry = self.frame.geometry.name
        columns = {str(name): self.frame[name].tolist() for name in self.frame.columns if name != geometry}
        source = Source(columns, len(self.frame), self.table.columns, self.table.defaults, self.place)
        return read_columns(source, wanted, self.faults, found)


def looks_like(path: Path) -> str:
    """Return in words what a file looks like by its first bytes."""
    head = path.read_bytes()[:64].lstrip(b"\xef\xbb\xbf \r\n\t") if path.is_file() else b""
    if not head:
        return "an empty file"
    named = next((words for start, words in SIGNATURES if head.startswith(start)), None)
    return named or ("plain text" if min(head) >= TAB else "an unknown binary format")


def file_there(document: Document, name: str, place: Sequence[str | int], found: Findings) -> Path | None:
    """Return the path of a file that scenario.toml names, or None after telling that it isn't there."""
    path = document.folder / name
    if path.is_file() or (path.is_dir() and path.suffix == ".gdb"):
        return document.path(name)
    if path.is_dir():
        found.key(place, f"'{name}' is a folder, not a file", "name the file in it")
        return None
    parent = path.parent
    near = nearest(path.name, [file.name for file in parent.iterdir()]) if parent.is_dir() else None
    found.key(place, f"there is no file '{name}'",
              f"did you mean '{near}'?" if near else f"put it into the scenario's folder {document.folder.name}")
    return None


def open_layer(document: Document, name: str, kinds: frozenset[str], found: Findings) -> Layer | None:
    """Open one of the scenario's layers; `kinds` are the geometry types that it may hold.

    Returns None if nothing can be read. The frame has a CRS unless that is one of the faults told.
    """
    table = document.layers[name]
    place = ("layers", name)
    path = file_there(document, table.file, place, found)
    layer = _chosen_layer(path, table, place, found) if path is not None else None
    if path is None or layer is None:
        return None
    where = table.file + (f", layer '{layer}'" if table.layer else "")
    frame = _frame(path, layer, where, found)
    if frame is None:
        return None
    if not len(frame):
        found.add(where, "holds no features", "give at least one, or take the layer out of [layers]")
        return None
    frame = _with_crs(frame, path, table, place, found)
    ids = table.columns.get("id", "id")
    labels = _labels(frame[ids].tolist() if ids in frame.columns else [None] * len(frame))
    faults = RowFaults(found, where, labels)
    if path.suffix.lower() == ".dxf" and kinds & POLYGONS:
        frame = frame.set_geometry(_closed_to_polygons(frame.geometry.to_numpy()), crs=frame.crs)
    sound = _check_geometry(frame, kinds, faults)
    return Layer(frame, table, place, faults, sound)


def _labels(ids: Sequence[Any]) -> list[str]:
    return [f"{n}" + ("" if is_empty(value) else f" (id '{as_text(value)}')") for n, value in enumerate(ids, 1)]


def _chosen_layer(path: Path, table: LayerTable, place: tuple[str, str], found: Findings) -> str | None:
    """Return the layer to read, or None after telling why there is none."""
    import pyogrio

    try:
        driver = _driver(path)
        layers = [str(layer) for layer in pyogrio.list_layers(path)[:, 0]]
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, ValueError, OSError) as error:
        reason = _json_fault(path) or str(error).partition(";")[0].replace(str(path), table.file)
        found.add(table.file, f"can't be read as a layer: it looks like {looks_like(path)} ({reason})",
                  "export it again from the GIS, with all its companion files")
        return None
    expected = DRIVERS.get(path.suffix.lower())
    if expected and driver not in expected:
        found.add(table.file, f"isn't what its name says: it looks like {looks_like(path)}",
                  f"rename it to what it is, or export it again as {path.suffix}")
        return None
    if table.layer is not None:
        if table.layer in layers:
            return table.layer
        found.unknown([*place, "layer"], f"layer of {table.file}", table.layer, layers)
        return None
    if len(layers) > 1:
        found.key(place, f"{table.file} has several layers and none is named: {', '.join(layers)}",
                  f'write {place[1]} = {{ file = "{table.file}", layer = "{layers[0]}" }}')
        return None
    return layers[0] if layers else table.file


def _json_fault(path: Path) -> str | None:
    """Return where a JSON text breaks off, if that is what is wrong with it."""
    if path.suffix.lower() not in (".geojson", ".json"):
        return None
    try:
        json.loads(path.read_text(encoding="utf-8-sig"))
    except UnicodeDecodeError as error:
        return f"byte {error.start} is not UTF-8"
    except json.JSONDecodeError as error:
        return f"not valid JSON at line {error.lineno}, column {error.colno}: {error.msg}"
    return None


def _driver(path: Path) -> str:
    """Return the name of the format that is found inside a file."""
    import pyogrio

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # "more than one layer": told by the caller, in our words
        return str(pyogrio.read_info(path)["driver"])


def _frame(path: Path, layer: str, where: str, found: Findings) -> gpd.GeoDataFrame | None:
    """Return the layer's features, in the plane."""
    import geopandas as gpd
    import pyogrio

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # remarks about lists in attributes and dropped measures
            frame = pyogrio.read_dataframe(path, layer=layer, force_2d=True, on_invalid="ignore")
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, ValueError, OSError) as error:
        hint = "export it again from the GIS"
        found.add(where, f"can't be read: {error}",
                  hint + " as UTF-8" if isinstance(error, UnicodeDecodeError) else hint)
        return None
    if not isinstance(frame, gpd.GeoDataFrame):
        found.add(where, "holds no geometry", "give a layer of points, lines or polygons")
        return None
    return frame.reset_index(drop=True)


def _with_crs(frame: gpd.GeoDataFrame, path: Path, table: LayerTable, place: tuple[str, str],
              found: Findings) -> gpd.GeoDataFrame:
    """Return the frame with the system that the file states, or else the one that the scenario states for it."""
    bare_json = path.suffix.lower() in (".geojson", ".json") and table.crs is not None and not _json_states_crs(path)
    if table.crs is not None and frame.crs is not None and not bare_json:
        found.key([*place, "crs"], f"{table.file} states its own system ({_short(frame.crs)})",
                  "remove `crs`: it is allowed only where the file states none")
        return frame
    if table.crs is not None:
        crs = parsed_crs(table.crs)
        if crs is None:
            found.key([*place, "crs"], f"'{table.crs}' names no coordinate reference system",
                      'write the code of the system that the file was drawn in, as "EPSG:25832"')
            return frame.set_crs(None, allow_override=True)
        frame = frame.set_crs(crs, allow_override=True)
    if frame.crs is None:
        kind = {".dxf": "a DXF file never states one", ".shp": "its .prj file is missing"}.get(path.suffix.lower(), "")
        found.add(table.file, "has no coordinate reference system" + (f": {kind}" if kind else ""),
                  f'state the one it was drawn in: {place[1]} = {{ file = "{table.file}", crs = "EPSG:..." }}')
        return frame
    return _not_in_degrees(frame, table, place, found)


def _not_in_degrees(frame: gpd.GeoDataFrame, table: LayerTable, place: tuple[str, str],
                    found: Findings) -> gpd.GeoDataFrame:
    """Tell of coordinates that can't be the degrees that the system wants, and take the system away."""
    bounds = np.abs(np.nan_to_num(frame.total_bounds, posinf=0.0, neginf=0.0))
    if not frame.crs.is_geographic or (bounds[::2].max() <= 180.0 and bounds[1::2].max() <= 90.0):
        return frame
    x, y = next((x, y) for x, y in shapely.get_coordinates(frame.geometry.to_numpy()) if abs(x) > 180 or abs(y) > 90)
    found.add(table.file, f"its coordinates can't be degrees (for instance {x:.1f}, {y:.1f}), but its system is "
              f"{_short(frame.crs)}", "GeoJSON without a `crs` member counts as degrees; state the system: "
              f'{place[1]} = {{ file = "{table.file}", crs = "EPSG:..." }}')
    return frame.set_crs(None, allow_override=True)


def _json_states_crs(path: Path) -> bool:
    """Return whether a GeoJSON file has a `crs` member; GDAL takes any file without one as WGS 84."""
    try:
        data = json.loads(path.read_text(encoding="utf-8-sig"))
    except ValueError:
        return False
    return isinstance(data, dict) and data.get("crs") is not None


def _short(crs: CRS) -> str:
    authority = crs.to_authority()
    return ":".join(authority) if authority else str(crs.name)


def _closed_to_polygons(shapes: Any) -> list[Any]:
    """Return closed lines as polygons: a DXF file knows no others."""
    return [shapely.Polygon(shape.coords) if shape is not None and shape.geom_type == "LineString"
            and shape.is_closed and len(shape.coords) >= 4 else shape for shape in shapes]


def _check_geometry(frame: gpd.GeoDataFrame, kinds: frozenset[str], faults: RowFaults
                    ) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """Tell every row's fault of geometry; return which rows are sound."""
    shapes = frame.geometry.to_numpy()
    sound = np.zeros(len(shapes), dtype=bool)
    for row, shape in enumerate(shapes):
        if shape is None or shape.is_empty:
            faults.add(row, "has no geometry, or one that can't be built (an outline that isn't closed)",
                       "draw it, or take the feature out")
        elif not np.isfinite(shapely.get_coordinates(shape)).all():
            faults.add(row, "has a coordinate that is not a number (NaN or infinite)", "correct the vertex")
        elif shape.geom_type not in kinds:
            allowed = ", ".join(sorted(kind.lower() for kind in kinds if not kind.startswith("Multi")))
            faults.add(row, f"is a {shape.geom_type.lower()}; this layer may hold: {allowed}", "draw it as one of them")
        elif not shape.is_valid:
            faults.add(row, f"has an invalid geometry: {shapely.is_valid_reason(shape)}",
                       "mend it in the GIS (fix geometries); an outline must not cross itself")
        else:
            sound[row] = True
    return sound


def in_crs(layer: Layer, crs: CRS) -> gpd.GeoDataFrame | None:
    """Return the layer's frame in the scenario's system, or None if its own isn't known; tells what can't be moved."""
    if layer.frame.crs is None:
        return None
    moved = layer.frame.to_crs(crs)
    for row, shape in enumerate(moved.geometry.to_numpy()):
        if layer.sound[row] and not np.isfinite(shapely.get_coordinates(shape)).all():
            layer.faults.add(row, f"lies where {_short(crs)} has no coordinates", "check coordinates and system")
            layer.sound[row] = False
    return moved
