"""Every kind of bad input is named: the file and the row or key, what is wrong there, and how to mend it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import pytest
from scenario_folder import CRS, EAST, KNOWN, NORTH, Folder
from shapely.geometry import LineString, Point, Polygon, box

from envpredict.core.errors import InputProblems, ScenarioProblems
from envpredict.scenario.load import load_scenario
from envpredict.scenario.starter import write_starter

Break = Callable[[Folder], object]
Case = tuple[str, Break, tuple[str, ...]]


def properties(name: str, row: int, **values: object) -> Break:
    """Return a change of one feature's properties; None takes one away."""
    def change(features: list[dict[str, dict[str, object]]]) -> None:
        for key, value in values.items():
            if value is None:
                features[row]["properties"].pop(key, None)
            else:
                features[row]["properties"][key] = value
    return lambda folder: folder.features(name, change)


def geometry(name: str, row: int, value: object) -> Break:
    """Return a change of one feature's geometry."""
    return lambda folder: folder.features(name, lambda features: features[row].__setitem__("geometry", value))


def moved(name: str, east: float, crs: str | None = CRS) -> Break:
    """Return a change that moves a layer's features in metres and keeps its file."""
    def change(folder: Folder) -> None:
        frame = folder.layer(name)
        frame.set_geometry(frame.translate(east, 0.0)).to_file(folder / name, driver="GeoJSON")
    return change


def without_prj(folder: Folder) -> None:
    folder.layer("receptors.geojson").drop(columns="occupied_hours").iloc[:3].to_file(folder / "receptors.shp")
    (folder / "receptors.prj").unlink()
    folder.toml('receptors = "receptors.geojson"', 'receptors = "receptors.shp"')


def without_shx(folder: Folder) -> None:
    folder.layer("receptors.geojson").drop(columns="occupied_hours").iloc[:3].to_file(folder / "receptors.shp")
    (folder / "receptors.shx").unlink()
    folder.toml('receptors = "receptors.geojson"', 'receptors = "receptors.shp"')


def cut_names(folder: Folder) -> None:
    frame = folder.layer("receptors.geojson").iloc[:4]
    frame = frame.rename(columns={"occupied_hours": "occupied_h"})[["id", "use", "structure", "floors", "occupied_h",
                                                                    "geometry"]]
    frame.to_file(folder / "receptors.shp")
    folder.toml('receptors = "receptors.geojson"', 'receptors = "receptors.shp"')


def as_dxf(folder: Folder) -> None:
    gpd.GeoDataFrame(geometry=[LineString([(EAST, NORTH), (EAST + 24, NORTH)])], crs=CRS).to_file(
        folder / "piles.dxf", driver="DXF")
    folder.toml('piles = "piles.geojson"', 'piles = { file = "piles.dxf", defaults = { pile_type = "sheet_u", '
                'length_m = 12, spacing_m = 1.2 } }')


def two_layers(folder: Folder, named: str = "") -> None:
    for name in ("buildings", "lines"):
        folder.layer("receptors.geojson").to_file(folder / "town.gpkg", layer=name)
    folder.toml('receptors = "receptors.geojson"', 'receptors = { file = "town.gpkg" ' + named + "}")


def metres_in_geojson(folder: Folder) -> None:
    text = gpd.GeoDataFrame({"pile_type": ["sheet_u"], "length_m": [12.0]}, geometry=[Point(EAST, NORTH)]).to_json()
    (folder / "piles.geojson").write_text(text, encoding="utf-8")


def obstacles(**columns: list[object]) -> Break:
    def change(folder: Folder) -> None:
        frame = gpd.GeoDataFrame(columns, geometry=[box(EAST, NORTH + 30, EAST + 5, NORTH + 40)], crs=CRS)
        frame.to_file(folder / "obstacles.gpkg")
        folder.toml('# obstacles = "obstacles.gpkg"', 'obstacles = "obstacles.gpkg"')
    return change


def extra_layer(name: str, shape: Polygon, **columns: list[object]) -> Break:
    def change(folder: Folder) -> None:
        gpd.GeoDataFrame(columns, geometry=[shape], crs=CRS).to_file(folder / f"{name}.gpkg")
        folder.toml("[layers]", f'[layers]\n{name} = "{name}.gpkg"')
    return change


def replaced(name: str, data: bytes) -> Break:
    return lambda folder: (folder / name).write_bytes(data)


def toml(old: str, new: str) -> Break:
    return lambda folder: folder.toml(old, new)


def added(text: str) -> Break:
    return lambda folder: folder.add(text)


def csv(name: str, old: str, new: str) -> Break:
    return lambda folder: folder.text(name, old, new)


PLANT = "energy_kj = 40\n[[methods.plant]]\nid = \"service_crane\"\n"

LAYERS: list[Case] = [
    ("missing layer", toml('"receptors.geojson"', '"receptor.geojson"'),
     ("scenario.toml, line 17, key 'layers.receptors'", "there is no file 'receptor.geojson'",
      "did you mean 'receptors.geojson'")),
    ("unreadable layer", without_shx, ("receptors.shp", "can't be read", "receptors.shx", "export it again")),
    ("text in a GeoPackage", lambda folder: (replaced("receptors.gpkg", b"id;use\n1;dwelling\n")(folder), toml(
        '"receptors.geojson"', '"receptors.gpkg"')(folder)),
     ("receptors.gpkg", "can't be read as a layer", "looks like plain text")),
    ("not what its name says", lambda folder: (replaced("receptors.gpkg", (folder / "receptors.geojson").read_bytes())(
        folder), toml('"receptors.geojson"', '"receptors.gpkg"')(folder)),
     ("receptors.gpkg", "isn't what its name says", "looks like JSON text", "rename it")),
    ("broken GeoJSON", csv("piles.geojson", '"LineString",', '"LineString"'),
     ("piles.geojson", "can't be read as a layer", "not valid JSON at line 4, column")),
    ("picture as layer", replaced("piles.geojson", b"\x89PNG\r\n\x1a\n" + bytes(64)),
     ("piles.geojson", "can't be read as a layer", "looks like a PNG picture")),
    ("table without geometry", toml('"receptors.geojson"', '"baseline.csv"'),
     ("baseline.csv", "holds no geometry", "give a layer")),
    ("no CRS", without_prj, ("receptors.shp", "has no coordinate reference system", ".prj file is missing",
                             'crs = "EPSG:..."')),
    ("DXF without a stated CRS", as_dxf, ("piles.dxf", "has no coordinate reference system", "a DXF file never states",
                                          'piles = { file = "piles.dxf", crs =')),
    ("GeoJSON that can't be degrees", metres_in_geojson,
     ("piles.geojson", "its coordinates can't be degrees", "524000.0, 6150000.0", "state the system")),
    ("CRS stated twice", lambda folder: two_layers(folder, ', layer = "lines", crs = "EPSG:25831"'),
     ("key 'layers.receptors.crs'", "states its own system (EPSG:32631)", "remove `crs`")),
    ("layer's CRS unknown", toml('piles = "piles.geojson"', 'piles = { file = "piles.geojson", crs = "EPSG:nil" }'),
     ("key 'layers.piles.crs'", "'EPSG:nil' names no coordinate reference system", "write the code")),
    ("several layers", two_layers, ("key 'layers.receptors'", "has several layers and none is named: buildings, lines",
                                    'layer = "buildings"')),
    ("unknown layer in a file", lambda folder: two_layers(folder, ', layer = "building"'),
     ("key 'layers.receptors.layer'", "unknown layer of town.gpkg 'building'", "did you mean 'buildings'")),
    ("no features", lambda folder: folder.features("receptors.geojson", list.clear),
     ("receptors.geojson", "holds no features", "give at least one")),
    ("unknown layer name", toml('receptors = "receptors.geojson"', 'recepters = "receptors.geojson"'),
     ("unknown layer 'recepters'", "did you mean 'receptors'")),
    ("no receptors", toml('receptors = "receptors.geojson"', "# "),
     ("key 'layers'", "there is no layer 'receptors'", "add receptors =")),
]

GEOMETRY: list[Case] = [
    ("empty", geometry("receptors.geojson", 2, None),
     ("receptors.geojson, feature 3 (id 'H3')", "has no geometry", "take the feature out")),
    ("self-crossing", geometry("receptors.geojson", 1, {"type": "Polygon", "coordinates": [
        [[3.37, 55.49], [3.371, 55.491], [3.371, 55.49], [3.37, 55.491], [3.37, 55.49]]]}),
     ("receptors.geojson, feature 2 (id 'H2')", "has an invalid geometry: Self-intersection", "fix geometries")),
    ("an outline that can't be closed", csv("receptors.geojson", "3.37991434", "NaN"),
     ("receptors.geojson, feature 1 (id 'H1')", "has no geometry, or one that can't be built")),
    ("not a number", csv("receptors.geojson", "3.38005679", "NaN"),
     ("receptors.geojson, feature 1 (id 'H1')", "has a coordinate that is not a number", "correct the vertex")),
    ("wrong type", extra_layer("boundary", LineString([(EAST, NORTH), (EAST + 9, NORTH)]), id=["site"]),
     ("boundary.gpkg, feature 1 (id 'site')", "is a linestring; this layer may hold: polygon")),
    ("polygons as piles", geometry("piles.geojson", 0, {"type": "Polygon", "coordinates": [
        [[3.38, 55.49], [3.381, 55.491], [3.381, 55.49], [3.38, 55.49]]]}),
     ("piles.geojson, feature 1", "is a polygon; this layer may hold: linestring, point")),
]

VALUES: list[Case] = [
    ("unknown use", properties("receptors.geojson", 0, use="dweling"),
     ("receptors.geojson, feature 1 (id 'H1')", "unknown use 'dweling'", "did you mean 'dwelling'")),
    ("unknown structure", properties("receptors.geojson", 0, structure="brick"),
     ("feature 1 (id 'H1')", "unknown structure 'brick'", "known: concrete, historic, masonry")),
    ("unknown fact", properties("receptors.geojson", 2, species="watterbird"),
     ("feature 3 (id 'H3')", "unknown species 'watterbird'", "did you mean 'waterbird'")),
    ("unknown pile type", properties("piles.geojson", 0, pile_type="sheet_v"),
     ("piles.geojson, feature 1", "unknown pile_type 'sheet_v'", "did you mean 'sheet_")),
    ("several rows alike", lambda folder: [properties("receptors.geojson", n, use="home")(folder) for n in (0, 2)],
     ("receptors.geojson, features 1 (id 'H1'), 3 (id 'H3')", "unknown use 'home'")),
    ("missing column", lambda folder: folder.features("receptors.geojson", lambda rows: [
        row["properties"].__setitem__("usage", row["properties"].pop("use")) for row in rows]),
     ("receptors.geojson", "has no column 'use'", "did you mean 'usage'", 'columns = { use = "..." }')),
    ("column cut by a Shapefile", cut_names, ("receptors.shp", "column 'occupied_h' looks like 'occupied_hours'",
                                              'columns = { occupied_hours = "occupied_h" }')),
    ("mapped column missing", toml('"receptors.geojson"', '{ file = "receptors.geojson", columns = { id = "namee" } }'),
     ("key 'layers.receptors.columns.id'", "has no column 'namee'", "did you mean 'name'")),
    ("unknown own column", toml('"receptors.geojson"', '{ file = "receptors.geojson", defaults = { flors = 2 } }'),
     ("key 'layers.receptors.defaults.flors'", "unknown column 'flors'", "did you mean 'floors'")),
    ("unfit default", toml('"receptors.geojson"', '{ file = "receptors.geojson", defaults = { floors = "two" } }'),
     ("key 'layers.receptors.defaults.floors'", "floors 'two' is not a number")),
    ("no structure", properties("receptors.geojson", 0, structure=None),
     ("feature 1 (id 'H1')", "a dwelling needs a value for structure", 'defaults = { structure = "masonry" }')),
    ("no floors", properties("receptors.geojson", 3, floors=None),
     ("feature 4 (id 'S1')", "a school needs a value for floors")),
    ("no storey", properties("receptors.geojson", 3, floors=0), ("feature 4 (id 'S1')", "a school with 0 floors")),
    ("half a storey", properties("receptors.geojson", 3, floors=1.5),
     ("feature 4 (id 'S1')", "floors 1.5 is not a whole number")),
    ("hours", properties("receptors.geojson", 3, occupied_hours="8-16"),
     ("feature 4 (id 'S1')", "occupied_hours '8-16' are no clock hours", "write 08:00-18:00")),
    ("duplicate ids", properties("receptors.geojson", 2, id="H1"),
     ("receptors.geojson, features 1, 3", "receptor id 'H1' stands 2 times", "its own id")),
    ("no id", properties("receptors.geojson", 2, id=""), ("receptors.geojson, feature 3", "id is empty")),
    ("negative length", properties("piles.geojson", 0, length_m=-12.0),
     ("piles.geojson, feature 1", "length_m -12 is out of range (above 0, at most 100)")),
    ("absent length", properties("piles.geojson", 0, length_m=None),
     ("piles.geojson", "has no column 'length_m'", "defaults = { length_m = ... }")),
    ("length in millimetres", properties("piles.geojson", 0, length_m=12000),
     ("piles.geojson, feature 1", "length_m 12000 is out of range", "the unit is the metre: was it given in milli")),
    ("length as text", properties("piles.geojson", 0, length_m="12 m"),
     ("piles.geojson, feature 1", "length_m '12 m' is not a number", "decimal point and no unit")),
    ("negative spacing", properties("piles.geojson", 0, spacing_m=-1.2),
     ("piles.geojson, feature 1", "spacing_m -1.2 is out of range (at least 0.1, at most 10)")),
    ("absent spacing", properties("piles.geojson", 0, spacing_m=None),
     ("piles.geojson, feature 1", "a line of piles has no spacing_m", "spacing_m = 1.2")),
    ("spacing in centimetres", properties("piles.geojson", 0, spacing_m=120),
     ("piles.geojson, feature 1", "spacing_m 120 is out of range", "the unit is the metre")),
    ("absent height", obstacles(id=["B1"]), ("obstacles.gpkg", "has no column 'height_m'")),
    ("empty height", obstacles(height_m=[None]), ("obstacles.gpkg, feature 1", "height_m is empty")),
    ("negative height", obstacles(height_m=[-3.0]), ("obstacles.gpkg, feature 1", "height_m -3 is out of range")),
    ("height in millimetres", obstacles(height_m=[3000.0]),
     ("obstacles.gpkg, feature 1", "height_m 3000 is out of range (above 0, at most 300)", "the unit is the metre")),
    ("porosity", extra_layer("acoustic_ground", box(EAST, NORTH + 1, EAST + 9, NORTH + 9), porosity=[50.0]),
     ("acoustic_ground.gpkg, feature 1", "porosity 50 is out of range", "0 is hard")),
    ("headroom without a value", extra_layer("constraints", box(EAST, NORTH, EAST + 9, NORTH + 9), kind=["headroom"]),
     ("constraints.gpkg, feature 1", "a constraint of kind 'headroom' needs value_m")),
    ("possession without hours", extra_layer("constraints", box(EAST, NORTH, EAST + 9, NORTH + 9), kind=["possession"]),
     ("constraints.gpkg, feature 1", "needs from and to", "23:30 and 05:00")),
    ("unknown constraint", extra_layer("constraints", box(EAST, NORTH, EAST + 9, NORTH + 9), kind=["headrooms"]),
     ("constraints.gpkg, feature 1", "unknown kind 'headrooms'", "did you mean 'headroom'")),
]

DISTANCES: list[Case] = [
    ("point on a pile", lambda folder: on_pile(folder, Point(EAST + 0.3, NORTH)),
     ("receptors.geojson, feature 5 (id 'O1')", "receptor 'O1' is on top of pile 'A-001' (0.3", "at least 0.5 m")),
    ("pile in a footprint", lambda folder: on_pile(folder, box(EAST + 11, NORTH - 3, EAST + 13.5, NORTH + 5)),
     ("receptors.geojson, feature 5 (id 'O1')", "stands inside receptor 'O1'")),
    ("pipe under a pile", lambda folder: on_pile(folder, LineString([(EAST + 6, NORTH - 9), (EAST + 6, NORTH + 9)])),
     ("feature 5 (id 'O1')", "receptor 'O1' is on top of pile 'A-006'")),
    ("pile in an obstacle", extra_layer("obstacles", box(EAST + 2, NORTH - 1, EAST + 5, NORTH + 9), height_m=[6.0]),
     ("obstacles.gpkg, feature 1", "stands in obstacle '1'", "move one of them")),
    ("one receptor far away", lambda folder: on_pile(folder, Point(EAST + 40_000, NORTH)),
     ("feature 5 (id 'O1')", "receptor 'O1' is 40 km from the nearest pile", "right coordinate reference system")),
    ("all receptors far away", moved("receptors.geojson", 45_000.0),
     ("receptors.geojson", "every receptor is 45 km or more from the nearest pile")),
    ("borehole far away", csv("boreholes.csv", "524004,6150001,0.0", "24004,6150001,0.0"),
     ("boreholes.csv, line", "borehole 'BH1' changes its place")),
    ("two piles in one place", lambda folder: folder.features("piles.geojson", lambda rows: rows.append(rows[0])),
     ("piles.geojson", "stand at one place", "take one of them out")),
]


def on_pile(folder: Folder, shape: object) -> None:
    """Put the office somewhere else."""
    frame = folder.layer("receptors.geojson")
    frame = frame.set_geometry([*frame.geometry[:4], shape, *frame.geometry[5:]])
    frame.to_file(folder / "receptors.geojson", driver="GeoJSON")


SYSTEMS: list[Case] = [
    ("geographic", toml('crs = "EPSG:32631"', 'crs = "EPSG:4326"'),
     ("scenario.toml, line 7, key 'crs'", "is geographic", "use EPSG:32631 (the UTM zone of the site)")),
    ("web map", toml('crs = "EPSG:32631"', 'crs = "EPSG:3857"'),
     ("key 'crs'", "is a web-map projection", "use EPSG:32631")),
    ("feet", toml('crs = "EPSG:32631"', 'crs = "EPSG:2263"'), ("key 'crs'", "not in metres but in US survey foot")),
    ("another zone", toml('crs = "EPSG:32631"', 'crs = "EPSG:32634"'),
     ("key 'crs'", "has a scale factor of 1.01", "more than 0.2%", "use EPSG:32631")),
    ("world projection in metres", toml('crs = "EPSG:32631"', 'crs = "EPSG:3395"'),
     ("key 'crs'", "has a scale factor of 1.76")),
    ("no system", toml('crs = "EPSG:32631"', 'crs = "UTM 31"'),
     ("key 'crs'", "'UTM 31' names no coordinate reference system")),
    ("number", toml('crs = "EPSG:32631"', "crs = 32631"), ("key 'crs'", "must be text, not 32631", "in quotes")),
]

WORDS: list[Case] = [
    ("unknown method", toml('id = "press_in_auger"', 'id = "pres_in_auger"'),
     ("key 'methods[3].id'", "unknown method 'pres_in_auger'", "did you mean 'press_in_auger'")),
    ("unknown limit set", toml('"bs_7385_2_1993"', '"bs_7385_1993"'),
     ("key 'limits.damage'", "unknown limit set 'bs_7385_1993'", "did you mean 'bs_7385_2_1993'")),
    ("limit set of another effect", toml('damage = ["bs_7385_2_1993"]', 'damage = ["bs_5228_1_2009"]'),
     ("key 'limits.damage'", "limit set 'bs_5228_1_2009' has no rules for damage", "name it under noise")),
    ("no limit set", toml('damage = ["bs_7385_2_1993"]\npeople = ["bs_5228_2_2009"]\nnoise = ["bs_5228_1_2009"]', ""),
     ("key 'limits'", "no limit set is named", "name at least one")),
    ("confirmed but not adopted", added('[limits.confirmed.bs_9]\nby = "x"\ndate = 2027-01-01\nedition = "2009"'),
     ("key 'limits.confirmed'", "unknown adopted limit set 'bs_9'")),
    ("unknown model", toml("energy_kj = 40", 'model = "bs5228_percusive"'),
     ("key 'methods[1].model'", "unknown model 'bs5228_percusive'", "did you mean 'bs5228_percussive'")),
    ("model of another method", toml("energy_kj = 40", 'model = "pressing_estimate"'),
     ("key 'methods[1].model'", "model 'pressing_estimate' doesn't predict 'impact_hydraulic'")),
    ("method twice", toml('id = "press_in_auger"', 'id = "impact_hydraulic"'),
     ("key 'methods[3].id'", "the candidate 'impact_hydraulic' stands twice", 'id = "impact_hydraulic_2"')),
    ("unknown section", toml("energy_kj = 40", 'sections = ["B"]'),
     ("key 'methods[1].sections'", "unknown section 'B'", "known: A")),
    ("unknown reduction", added('[[reductions]]\nid = "skreen"'),
     ("key 'reductions[1].id'", "unknown reduction 'skreen'", "did you mean 'screen'")),
    ("reduction of no candidate", added('[[reductions]]\nid = "screen"\nmethods = ["press_in"]'),
     ("key 'reductions[1].methods'", "unknown candidate method 'press_in'", "did you mean 'press_in_auger'")),
    ("unknown ground class", toml('# class = "dense_sand"', 'class = "dens_sand"'),
     ("key 'ground.class'", "unknown ground class 'dens_sand'", "did you mean 'dense_sand'")),
    ("unknown noise method", added('[choice]\nnoise = "octaves"'),
     ("key 'choice.noise'", "unknown noise method 'octaves'", "did you mean 'octave'")),
    ("choice for no candidate", added('[choice.models]\npress_in = "pressing_estimate"'),
     ("key 'choice.models'", "unknown candidate method 'press_in'")),
    ("holidays needed", lambda folder: (toml("holidays = []", "#")(folder), toml(
        'noise = ["bs_5228_1_2009"]', 'noise = ["holiday_set"]')(folder)),
     ("key 'programme'", "holidays is missing, and holiday_set can't be judged", 'holidays = "GB"')),
]

TABLES: list[Case] = [
    ("unknown key", toml("energy_kj = 40", "enery_kj = 40"),
     ("key 'methods[1].enery_kj'", "unknown key 'enery_kj'", "did you mean 'energy_kj'")),
    ("unknown table", added("[programmes]\nrigs = 2"),
     ("unknown key or table 'programmes'", "did you mean 'programme'")),
    ("missing table", toml("[programme]", "[other]"), ("scenario.toml", "there is no [programme]", "add it")),
    ("missing key", toml('time_zone = "Etc/UTC"', "#"), ("key 'programme.time_zone'", "'time_zone' is missing")),
    ("text for a number", toml("energy_kj = 40", 'energy_kj = "40"'),
     ("line 54, key 'methods[1].energy_kj'", "must be a number, not '40'", "without quotes")),
    ("fraction of a rig", toml("rigs = 1", "rigs = 1.5"), ("key 'programme.rigs'", "must be a whole number, not 1.5")),
    ("text for truth", toml("invented = true", 'invented = "yes"'),
     ("key 'invented'", "must be true or false, not 'yes'")),
    ("date in quotes", toml("start = 2027-03-01", 'start = "2027-03-01"'),
     ("key 'programme.start'", "must be a date, not '2027-03-01'", "without quotes")),
    ("one method not in brackets", toml('[[methods]]\nid = "press_in_auger"', '[methodx]\nid = "press_in_auger"'),
     ("unknown key or table 'methodx'", "did you mean 'methods'")),
    ("single brackets", lambda folder: [toml("[[methods]]", f"[x{n}]")(folder) for n in range(3)] and folder.add(
        '[methods]\nid = "press_in"'), ("key 'methods'", "must stand in double brackets", "write [[methods]]")),
    ("nan", toml("energy_kj = 40", "energy_kj = nan"), ("key 'methods[1].energy_kj'", "must be a finite number")),
    ("negative energy", toml("energy_kj = 40", "energy_kj = -40"),
     ("key 'methods[1].energy_kj'", "-40 is out of range: it must be above 0")),
    ("exceedance", toml("exceedance = 0.05", "exceedance = 5"),
     ("key 'design.exceedance'", "5 is out of range: it must be below 0.5")),
    ("syntax", toml("rigs = 1", "rigs = one"), ("scenario.toml", "is not valid TOML", "line 47")),
    ("key twice", toml("rigs = 1", "rigs = 1\nrigs = 2"), ("scenario.toml", "is not valid TOML")),
    ("not UTF-8", replaced("scenario.toml", "title = 'Müller'".encode("latin-1")),
     ("scenario.toml", "is not UTF-8 text", "save it as UTF-8")),
    ("level without a distance", toml("energy_kj = 40", PLANT + 'measured = { level_db = 88, position = "facade" }'),
     ("key 'methods[1].plant[1].measured.distance_m'", "'distance_m' is missing")),
    ("level without a position", toml("energy_kj = 40", PLANT + "measured = { level_db = 88, distance_m = 10 }"),
     ("key 'methods[1].plant[1].measured.position'", "'position' is missing")),
    ("unknown level type", toml("energy_kj = 40", PLANT + 'level_type = "average"'),
     ("key 'methods[1].plant[1].level_type'", "unknown word 'average'", "known: maximum, mean")),
    ("cycle longer than its shift", toml("energy_kj = 40", PLANT + "on_s = 600\ncycle_s = 40000"),
     ("key 'methods[1].plant[1].cycle_s'", "a cycle of 40000 s is longer than the shift of 36000 s")),
    ("cycle and fraction", toml("energy_kj = 40", PLANT + "on_s = 60\ncycle_s = 400\non_time_fraction = 0.2"),
     ("key 'methods[1].plant[1]'", "a cycle and an on_time_fraction are both given", "keep the cycle")),
    ("spectrum and sum", toml("energy_kj = 40", PLANT + "lwa_db = 110\noctaves_db = [90, 91, 92, 93, 94, 95, 96, 97]"),
     ("key 'methods[1].plant[1].octaves_db'", "the spectrum sums to 97.0 dB(A), lwa_db says 110")),
    ("spectrum of seven bands", toml("energy_kj = 40", PLANT + "octaves_db = [90, 91, 92, 93, 94, 95, 96]"),
     ("key 'methods[1].plant[1].octaves_db'", "has 7 entries, at least 8 are needed")),
    ("unknown plant", toml("energy_kj = 40", PLANT.replace("service_crane", "crane")),
     ("key 'methods[1].plant[1].id'", "unknown plant 'crane'", "did you mean 'service_crane'")),
    ("rates out of order", toml("energy_kj = 40", "rate_m_h = { slow = 9, likely = 6, fast = 12 }"),
     ("key 'methods[1].rate_m_h'", "slow, likely and fast are not in order")),
    ("own file missing", toml('# own = "local_limits.toml"', 'own = "local_limits.toml"'),
     ("key 'limits.own'", "there is no file 'local_limits.toml'")),
    ("surface that is no raster", lambda folder: (replaced("ground.tif", b"hello")(folder), toml(
        '# surface = "ground.tif"', 'surface = "ground.tif"')(folder)),
     ("ground.tif", "isn't a GeoTIFF raster: it looks like plain text")),
]

PROGRAMME: list[Case] = [
    ("shift of zero length", toml('to = "18:00"', 'to = "08:00"'),
     ("key 'programme.shift'", "the shift has zero length", 'from "00:00" to "24:00"')),
    ("no clock time", toml('to = "18:00"', 'to = "25:00"'),
     ("key 'programme.shift.to'", "'25:00' is no clock time", 'write it as "HH:MM"')),
    ("hours as numbers", toml('to = "18:00"', "to = 18"), ("key 'programme.shift.to'", "18 is no clock time")),
    ("start on a listed holiday", toml("holidays = []", "holidays = [2027-03-01]"),
     ("key 'programme.start'", "the start 2027-03-01 is a holiday", "the next working day is 2027-03-02")),
    # England's Easter Monday of 2027 (29 March) is a matter of the calendar; the Friday before and the weekend too
    ("start on a country's holiday", lambda folder: (toml("holidays = []", 'holidays = "GB-ENG"')(folder), toml(
        "start = 2027-03-01", "start = 2027-03-26")(folder)),
     ("key 'programme.start'", "the start 2027-03-26 is a holiday", "the next working day is 2027-03-30")),
    ("start on a Sunday", toml("start = 2027-03-01", "start = 2027-02-28"),
     ("key 'programme.start'", "a day (sun) that isn't among the working days", "2027-03-01")),
    ("unknown day", toml('"mon", "tue"', '"monday", "tue"'),
     ("key 'programme.working_days[1]'", "unknown word 'monday'", "did you mean 'mon'")),
    ("unknown time zone", toml("Etc/UTC", "Europe/Londn"),
     ("key 'programme.time_zone'", "unknown time zone 'Europe/Londn'", "did you mean 'Europe/London'")),
    ("unknown country", toml("holidays = []", 'holidays = "UKK"'),
     ("key 'programme.holidays'", "unknown country 'UKK'", "ISO 3166")),
    ("unknown part of a country", toml("holidays = []", 'holidays = "GB-XX"'),
     ("key 'programme.holidays'", "unknown part 'XX' of GB", "SCT")),
    ("holidays as numbers", toml("holidays = []", "holidays = [1, 2]"),
     ("key 'programme.holidays'", "is neither a country's code nor a list of dates")),
]

CSV: list[Case] = [
    ("overlap", csv("boreholes.csv", "1.5,6.0", "1.2,6.0"),
     ("boreholes.csv, line 3", "overlaps the stratum above it by 0.30 m in borehole 'BH1'")),
    ("gap", csv("boreholes.csv", "6.0,8.0", "6.5,8.0"),
     ("boreholes.csv, line 4", "leaves a gap of 0.50 m below the stratum above it")),
    ("upside down", csv("boreholes.csv", "6.0,8.0", "8.0,6.0"),
     ("boreholes.csv, line 4", "the stratum's base 6 m isn't below its top 8 m")),
    ("begins below ground", csv("boreholes.csv", "0.0,1.5", "0.5,1.5"),
     ("boreholes.csv, line 2", "borehole 'BH1' begins 0.5 m below ground")),
    ("ends above the toe", csv("boreholes.csv", "8.0,16.0", "8.0,11.0"),
     ("boreholes.csv", "borehole 'BH1' ends at 11 m, above the toe of pile 'A-001' at 12 m", "add what lies below")),
    ("unreadable N", csv("boreholes.csv", "50/120 mm", "50 for 120"),
     ("boreholes.csv, line 4", "spt_n '50 for 120' can't be read", "50/75 mm")),
    ("decimal comma", csv("boreholes.csv", "1.5,made", '"1,5",made'),
     ("boreholes.csv, line 2", "base_m '1,5' is not a number", "decimal point")),
    ("cells to spare", csv("boreholes.csv", "made ground: sand", "made ground, sand"),
     ("boreholes.csv, line 2", "has 14 cells, the header has 13", "stands in quotes")),
    ("semicolons", lambda folder: (folder / "boreholes.csv").write_text("borehole;x;y\nBH1;1;2\n", encoding="utf-8"),
     ("boreholes.csv, line 1", "cells are not separated by commas")),
    ("workbook", replaced("boreholes.csv", b"PK\x03\x04\x14\x00\x06\x00" + bytes(range(256))),
     ("boreholes.csv", "isn't a CSV text: it looks like a zip archive, such as a workbook")),
    ("another encoding", lambda folder: (folder / "boreholes.csv").write_bytes((folder / "boreholes.csv").read_text(
        encoding="utf-8").replace("dense sand,", "dense sänd,", 1).encode("latin-1")),
     ("boreholes.csv", "line 3 isn't UTF-8 text", "save it as CSV")),
    ("empty", replaced("boreholes.csv", b""), ("boreholes.csv", "is empty", "give at least one row")),
    ("unknown column", csv("boreholes.csv", "spt_n", "spt"),
     ("boreholes.csv, line 1", "unknown column 'spt'", "did you mean 'spt_n'")),
    ("column twice", csv("boreholes.csv", "cobble_m", "ucs_mpa"),
     ("boreholes.csv, line 1", "column 'ucs_mpa' stands twice")),
    ("missing column", csv("boreholes.csv", ",base_m", ",bottom"), ("boreholes.csv", "has no column 'base_m'")),
    ("unknown receptor", csv("baseline.csv", "H1,evening", "H9,evening"),
     ("baseline.csv, line 3", "unknown receptor 'H9'", "did you mean 'H")),
    ("second row of a period", csv("baseline.csv", "H1,evening", "H1,day"),
     ("baseline.csv, line 3", "receptor 'H1' has a second row for period 'day'")),
    ("unknown position", csv("baseline.csv", "free_field", "freefield"),
     ("baseline.csv, line 2", "unknown position 'freefield'", "did you mean 'free_field'")),
    ("no level", csv("baseline.csv", "56.2", ""), ("baseline.csv, line 2", "laeq_db is empty")),
    ("level out of range", csv("baseline.csv", "56.2", "562"), ("baseline.csv, line 2", "laeq_db 562 is out of range")),
    ("missing table", toml('"baseline.csv"', '"base.csv"'),
     ("key 'background.baseline'", "there is no file 'base.csv'", "did you mean 'baseline.csv'")),
    ("source that never works", lambda folder: ((folder / "sources.csv").write_text(
        "id,x,y,lwa_db,height_m,from,to\nC1,524000,6150050,98,2,08:00,08:00\nC1,524000,6150050,98,2,8,09:00\n",
        encoding="utf-8"), folder.toml('# other_sources = "sources.csv"', 'other_sources = "sources.csv"')),
     ("sources.csv, line 2", "source 'C1' works for no time")),
]

CASES = [*LAYERS, *GEOMETRY, *VALUES, *DISTANCES, *SYSTEMS, *WORDS, *TABLES, *PROGRAMME, *CSV]


@pytest.mark.parametrize(("break_it", "said"), [case[1:] for case in CASES], ids=[case[0] for case in CASES])
def test_names_place_fault_and_remedy(tmp_path: Path, break_it: Break, said: tuple[str, ...]) -> None:
    folder = Folder(tmp_path / "case")
    break_it(folder)
    problems = folder.problems()
    assert any(all(part in line for part in said) for line in problems), "\n".join(problems)
    assert all(" -> " in line for line in problems), "every problem comes with a remedy"


def test_tells_several_at_once(tmp_path: Path) -> None:
    folder = Folder(tmp_path / "case")
    properties("receptors.geojson", 0, use="dweling")(folder)
    properties("receptors.geojson", 6, id="H2")(folder)
    geometry("receptors.geojson", 3, None)(folder)
    properties("piles.geojson", 0, length_m=12000)(folder)
    folder.toml('id = "press_in_auger"', 'id = "press_auger"').toml("rigs = 1", "rigs = 0")
    folder.toml('noise = ["bs_5228_1_2009"]', 'noise = ["bs_5228"]')
    folder.text("boreholes.csv", "1.5,6.0", "1.2,6.0")
    lines = folder.problems()
    for part in ("'dweling'", "'H2' stands 2 times", "has no geometry", "length_m 12000", "'press_auger'",
                 "programme.rigs", "limit set 'bs_5228'", "overlaps"):
        assert sum(part in line for line in lines) == 1, f"{part}: " + "\n".join(lines)
    assert len(lines) == 8
    assert lines[0].startswith("scenario.toml"), "the scenario's own file comes first"


@pytest.mark.parametrize(("old", "new"), [("6.0,8.0", '"6,0",8.0'), ("1.5,6.0,medium", "1.5,6.0,,medium"),
                                          ("1.5,6.0,medium", ",6.0,medium")])
def test_an_unreadable_stratum_leaves_no_false_trail(tmp_path: Path, old: str, new: str) -> None:
    lines = Folder(tmp_path / "case").text("boreholes.csv", old, new).problems()
    assert len(lines) == 1, "\n".join(lines)


def test_an_unusable_system_hides_no_fault_of_the_layers(tmp_path: Path) -> None:
    folder = Folder(tmp_path / "case").toml('crs = "EPSG:32631"', 'crs = "EPSG:3857"')
    properties("receptors.geojson", 0, use="dweling")(folder)
    properties("piles.geojson", 0, length_m=-1)(folder)
    lines = folder.problems()
    assert len(lines) == 3
    assert "web-map" in lines[0]


def test_a_scenario_is_a_folder(tmp_path: Path) -> None:
    folder = Folder(tmp_path / "case")
    with pytest.raises(ScenarioProblems, match=r"is a file, not a folder.*give the folder that holds it"):
        load_scenario(folder / "scenario.toml", KNOWN)
    with pytest.raises(ScenarioProblems, match=r"there is no such folder.*did you mean 'case'"):
        load_scenario(tmp_path / "casee", KNOWN)
    (folder / "scenario.toml").rename(folder / "scenari.toml")
    with pytest.raises(ScenarioProblems, match=r"holds no scenario.toml.*is it 'scenari.toml'"):
        load_scenario(folder.path, KNOWN)


def test_a_borehole_in_the_wrong_system_is_told(tmp_path: Path) -> None:
    folder = Folder(tmp_path / "case")
    file = folder / "boreholes.csv"
    file.write_text(file.read_text(encoding="utf-8").replace("524004,6150001", "3.38,55.49"), encoding="utf-8")
    assert any("borehole 'BH1' is 61" in line and "scenario's coordinate reference system" in line
               for line in folder.problems())


def test_a_folder_that_exists_is_not_written_over(tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "notes.txt").write_text("keep", encoding="utf-8")
    with pytest.raises(InputProblems, match=r"exists already.*nothing was written over"):
        write_starter(tmp_path / "mine")
    assert [path.name for path in (tmp_path / "mine").iterdir()] == ["notes.txt"]
    with pytest.raises(InputProblems, match="there is no folder"):
        write_starter(tmp_path / "nowhere" / "new")
