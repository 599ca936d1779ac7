"""A sound folder is read as it's meant: piles set out, layers transformed, columns mapped, defaults said."""

from __future__ import annotations

import copy
import hashlib
import json
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, time
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
from scenario_folder import CRS, EAST, KNOWN, NORTH, Folder
from shapely.geometry import LineString, MultiLineString, Point, Polygon, box

from envpredict.core.errors import ScenarioProblems
from envpredict.scenario import document
from envpredict.scenario.load import own_files
from envpredict.scenario.problems import Findings, key_lines
from envpredict.scenario.types import PILE_COLUMNS, RECEPTOR_COLUMNS


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path / "case")


def local(x: float, y: float) -> tuple[float, float]:
    return EAST + x, NORTH + y


def with_piles(folder: Folder, frame: gpd.GeoDataFrame) -> Folder:
    frame.to_file(folder / "piles.gpkg")
    return folder.toml('piles = "piles.geojson"', 'piles = "piles.gpkg"')


def line_of_piles(*shapes: object, **columns: list[object]) -> gpd.GeoDataFrame:
    usual = {"pile_type": ["sheet_u"] * len(shapes), "length_m": [12.0] * len(shapes)}
    return gpd.GeoDataFrame({**usual, **columns}, geometry=list(shapes), crs=CRS)


def test_frames_have_the_columns_that_are_promised(folder: Folder) -> None:
    scenario = folder.read()
    assert scenario.piles.columns.tolist() == [*PILE_COLUMNS, "geometry"]
    assert scenario.receptors.columns.tolist() == [*RECEPTOR_COLUMNS, "geometry"]
    for frame in (scenario.piles, scenario.wall, scenario.receptors):
        assert frame.crs == scenario.crs
    assert scenario.crs.to_epsg() == 32631
    assert scenario.title == "Starter scenario"
    assert scenario.invented


# a wall of L metres with a pile every s: one at the start and floor(L/s) after it, counted by hand
@pytest.mark.parametrize(("length", "spacing", "count"), [(12.0, 1.2, 11), (11.99, 1.2, 10), (11.995, 1.2, 11),
                                                          (0.5, 1.2, 1), (9.0, 3.0, 4), (250.0, 1.25, 201)])
def test_piles_stand_at_the_start_and_every_spacing_after_it(folder: Folder, length: float, spacing: float,
                                                             count: int) -> None:
    wall = LineString([local(0, 0), local(length, 0)])
    piles = with_piles(folder, line_of_piles(wall, spacing_m=[spacing])).read().piles
    assert len(piles) == count
    np.testing.assert_allclose(piles.geometry.x - EAST, np.arange(count) * spacing, atol=0.01)
    assert piles["id"].iloc[0] == "A-001"


def test_a_bent_line_keeps_the_spacing_along_itself(folder: Folder) -> None:
    bent = LineString([local(0, 0), local(5, 0), local(5, -5)])
    piles = with_piles(folder, line_of_piles(bent, spacing_m=[2.0])).read().piles
    places = [(x - EAST, y - NORTH) for x, y in zip(piles.geometry.x, piles.geometry.y, strict=True)]
    np.testing.assert_allclose(places, [(0, 0), (2, 0), (4, 0), (5, -1), (5, -3), (5, -5)], atol=1e-6)


def test_a_line_in_parts_and_lines_that_meet(folder: Folder) -> None:
    parts = MultiLineString([[local(0, 0), local(3, 0)], [local(3, 0), local(6, 0)]])
    next_one = LineString([local(6, 0), local(6, -3)])
    scenario = with_piles(folder, line_of_piles(parts, next_one, section=["A", "B"], spacing_m=[1.5, 1.5])).read()
    assert scenario.piles["id"].tolist() == ["A-001", "A-002", "A-003", "A-004", "A-005", "B-001", "B-002"]
    assert any("where two lines of piles meet, one pile stands" in note for note in scenario.notes)
    assert scenario.wall["section"].tolist() == ["A", "B"]


def test_a_closed_line_has_no_pile_twice(folder: Folder) -> None:
    ring = LineString([local(0, 0), local(6, 0), local(6, -6), local(0, -6), local(0, 0)])
    assert len(with_piles(folder, line_of_piles(ring, spacing_m=[2.0])).read().piles) == 12


def test_piles_as_points_keep_ids_and_make_a_line_for_drawing(folder: Folder) -> None:
    points = line_of_piles(Point(local(0, 0)), Point(local(3, 0)), Point(local(6, 0)), id=["P7", "P8", "P9"],
                           section=["A", "A", "B"])
    scenario = with_piles(folder, points).read()
    assert scenario.piles["id"].tolist() == ["P7", "P8", "P9"]
    assert scenario.piles["spacing_m"].isna().all()
    assert scenario.wall["section"].tolist() == ["A"]
    assert scenario.wall.geometry.iloc[0].length == pytest.approx(3.0)


def test_reverse_drives_from_the_other_end(folder: Folder) -> None:
    forward = folder.read().piles["id"].tolist()
    backward = folder.toml('# direction = "reverse"', 'direction = "reverse"').read()
    assert backward.piles["id"].tolist() == forward[::-1]
    assert backward.programme.reverse


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:25831", "EPSG:3035", "EPSG:3857", "EPSG:23031"])
@pytest.mark.parametrize("ending", ["gpkg", "geojson", "fgb", "shp"])
def test_layers_of_any_system_and_format_are_transformed(folder: Folder, crs: str, ending: str) -> None:
    before = folder.read().receptors
    frame = gpd.read_file(folder / "receptors.geojson").drop(columns="occupied_hours").to_crs(crs)
    if ending == "shp":
        frame = frame[frame.geom_type == "Polygon"]
        folder.text("baseline.csv", "S1,day", "H1,night")
    frame.to_file(folder / f"receptors.{ending}")
    after = folder.toml('receptors = "receptors.geojson"', f'receptors = "receptors.{ending}"').read().receptors
    same = before[before["id"].isin(after["id"])].set_index("id").loc[after["id"]]
    # there and back again by the same library: GeoJSON keeps 7 decimals of a degree, about a centimetre
    assert np.max(same.geometry.hausdorff_distance(after.set_index("id").geometry)) < 0.02


def test_geojson_in_metres_is_read_with_the_system_stated(folder: Folder) -> None:
    text = line_of_piles(Point(local(0, 0)), Point(local(3, 0))).set_crs(None, allow_override=True).to_json()
    assert '"crs"' not in text
    (folder / "piles.geojson").write_text(text, encoding="utf-8")
    folder.toml('piles = "piles.geojson"', 'piles = { file = "piles.geojson", crs = "EPSG:32631" }')
    piles = folder.read().piles
    assert piles.geometry.x.tolist() == [EAST, EAST + 3]


def test_dxf_with_a_stated_system_closes_outlines(folder: Folder) -> None:
    outline = LineString([*box(*local(2, 20), *local(9, 30)).exterior.coords])
    shapes = [outline, LineString([local(0, 50), local(9, 50)])]
    gpd.GeoDataFrame(geometry=shapes, crs=CRS).to_file(folder / "town.dxf", driver="DXF")
    folder.toml('receptors = "receptors.geojson"', 'receptors = { file = "town.dxf", crs = "EPSG:32631", '
                'columns = { id = "EntityHandle" }, '
                'defaults = { use = "heritage", structure = "historic", floors = 1 } }')
    folder.toml('baseline = "baseline.csv"', "#")
    receptors = folder.read().receptors
    assert receptors.geom_type.tolist() == ["Polygon", "LineString"]
    assert receptors.geometry.area.iloc[0] == pytest.approx(70.0)


def test_columns_defaults_and_facts(folder: Folder) -> None:
    shapes = [Polygon([local(0, 20), local(5, 20), local(5, 25)]), Point(local(9, 40))]
    frame = gpd.GeoDataFrame({"uID": [7.0, 8.0], "storeys": [3, None], "species": ["waterbird", None],
                              "colour": ["red", "blue"]}, geometry=shapes, crs=CRS)
    frame.to_file(folder / "town.gpkg")
    folder.toml('baseline = "baseline.csv"', "#")
    folder.toml('receptors = "receptors.geojson"', 'receptors = { file = "town.gpkg", columns = { id = "uID", '
                'floors = "storeys" }, '
                'defaults = { use = "dwelling", structure = "timber", floors = 1, zone = "II" } }')
    scenario = folder.toml('# piling_ground = "soil"', 'piling_ground = "till"').read()
    assert scenario.receptors["id"].tolist() == ["7", "8"]
    assert scenario.receptors["floors"].tolist() == [3, 1]
    assert "colour" not in scenario.receptors.columns
    facts = scenario.facts(0)
    assert (facts["zone"], facts["species"], facts["piling_ground"]) == ("II", "waterbird", "till")
    assert (facts["floors"], facts["condition"], facts["depth_m"]) == ("3", "unknown", None)
    assert scenario.facts(1)["species"] is None
    assert scenario.every_fact() == [scenario.facts(0), scenario.facts(1)]
    for part in ("condition not known for 2 of 2", "floors is empty, the scenario's default '1' stands"):
        assert any(part in note for note in scenario.notes)


def test_what_is_no_building_needs_neither_structure_nor_floors(folder: Folder) -> None:
    folder.features("receptors.geojson", lambda rows: [rows[n]["properties"].pop(key) for n in (5, 6)
                                                       for key in ("structure", "floors")])
    receptors = folder.read().receptors.set_index("id")
    assert receptors.loc["R1", "structure"] == "none"
    assert receptors.loc["P1", "floors"] == 0
    assert receptors.loc["P1", "depth_m"] == 1.2


def test_tables_keep_counts_as_text_and_numbers_as_numbers(folder: Folder) -> None:
    scenario = folder.read()
    assert scenario.strata is not None
    assert scenario.strata["spt_n"].tolist() == ["9", "22", "50/120 mm", "58"]
    assert scenario.strata["top_m"].tolist() == [0.0, 1.5, 6.0, 8.0]
    assert scenario.strata["cu_kpa"].isna().all()
    assert scenario.baseline is not None
    assert scenario.baseline.iloc[0][["receptor", "period", "laeq_db", "position"]].tolist() == [
        "H1", "day", 56.2, "free_field"]


def test_a_table_from_a_spreadsheet_may_begin_with_a_mark_of_byte_order(folder: Folder) -> None:
    file = folder / "boreholes.csv"
    file.write_bytes(b"\xef\xbb\xbf" + file.read_bytes().replace(b"\n", b"\r\n"))
    scenario = folder.read()
    assert scenario.strata is not None
    assert len(scenario.strata) == 4


def test_methods_keep_only_what_is_stated(folder: Folder) -> None:
    folder.add('[[methods]]\nid = "small"\nmethod = "impact_hydraulic"\ntitle = "Small hammer"\nenergy_kj = 15\n'
               'sections = ["A"]\n[[methods.plant]]\nid = "service_crane"\n'
               'measured = { level_db = 78, distance_m = 10, position = "free_field" }\n'
               '[[reductions]]\nid = "screen"\nmethods = ["small"]\nheight_m = 3')
    scenario = folder.read()
    impact, _, press, small = scenario.methods
    assert (impact.id, impact.method, dict(impact.overrides)) == ("impact_hydraulic", "impact_hydraulic",
                                                                  {"energy_kj": 40})
    assert not press.overrides
    assert (small.id, small.method, small.title) == ("small", "impact_hydraulic", "Small hammer")
    assert small.sections == ("A",)
    assert small.overrides["plant"] == [{"id": "service_crane", "measured": {
        "level_db": 78, "distance_m": 10, "position": "free_field"}}]
    assert scenario.reductions[0].methods == ("small",)
    assert dict(scenario.reductions[0].overrides) == {"height_m": 3}


def test_a_key_that_would_change_nothing_is_refused(folder: Folder) -> None:
    folder.toml("energy_kj = 40", "frequency_hz = 30")
    folder.add('[choice]\nwindows = "closed"\n[[reductions]]\nid = "screen"')
    assert folder.read().choice["windows"] == "closed"
    known = replace(KNOWN, unused=frozenset({"methods.frequency_hz", "choice.windows", "reductions", "choice.c0_db"}))
    lines = folder.problems(known)
    assert len(lines) == 3
    for key in ("key 'methods[1].frequency_hz'", "key 'choice.windows'", "key 'reductions'"):
        assert any(key in line and "isn't used by this version" in line and "take it out" in line for line in lines)


def test_limits_by_effect_and_who_confirmed_them(folder: Folder) -> None:
    folder.add('[limits.confirmed.bs_5228_1_2009]\nby = "A reviewer"\ndate = 2027-01-15\nedition = "2009+A1:2014"\n'
               "values = { day_a = 65 }")
    limits = folder.read().limits
    assert limits.ids == ("bs_7385_2_1993", "bs_5228_2_2009", "bs_5228_1_2009")
    assert limits.by_effect()["wildlife"] == ()
    confirmed = limits.confirmed["bs_5228_1_2009"]
    assert (confirmed.by, confirmed.date, confirmed.values["day_a"]) == ("A reviewer", date(2027, 1, 15), 65)


def test_inputs_carry_the_hash_of_every_file(folder: Folder) -> None:
    scenario = folder.read()
    names = [name for name, _ in scenario.inputs]
    assert names == sorted(["scenario.toml", "piles.geojson", "receptors.geojson", "boreholes.csv", "baseline.csv"])
    for name, digest in scenario.inputs:
        assert digest == hashlib.sha256((folder / name).read_bytes()).hexdigest()


def test_a_shapefiles_companions_are_hashed_too(folder: Folder) -> None:
    frame = folder.layer("receptors.geojson").drop(columns="occupied_hours")
    frame[frame.geom_type == "Polygon"].to_file(folder / "homes.shp")
    folder.toml('receptors = "receptors.geojson"', 'receptors = "homes.shp"').toml('baseline = "baseline.csv"', "#")
    names = {name for name, _ in folder.read().inputs}
    assert {"homes.shp", "homes.dbf", "homes.shx", "homes.prj"} <= names


def test_what_is_not_said_is_said_to_be_assumed(folder: Folder) -> None:
    folder.toml("rigs = 1", "#").toml("holidays = []", "#").toml("working_days", "# working_days")
    folder.toml("[design]\nexceedance = 0.05", "").toml('baseline = "baseline.csv"', "#")
    scenario = folder.read()
    assert scenario.design_exceedance == 0.05
    for part in ("one rig assumed", "no day counts as a public holiday", "Monday to Friday assumed",
                 "design: not stated; exceedance 0.05", "no baseline", "no boundary"):
        assert any(part in note for note in scenario.notes), part


def test_own_files_are_found_before_anything_is_checked(folder: Folder) -> None:
    (folder / "mine.toml").write_text("", encoding="utf-8")
    folder.toml('# own = "local_limits.toml"', 'own = "mine.toml"').add(
        '[own]\nlaws = ["mine.toml", "gone.toml"]\n').toml("rigs = 1", "rigs = 0")
    own = own_files(folder.path)
    assert own.limits == folder / "mine.toml"
    assert own.laws == (folder / "mine.toml",)
    assert any("there is no file 'gone.toml'" in line for line in folder.problems())


def test_optional_layers(folder: Folder) -> None:
    area = box(*local(0, -9), *local(30, 4))
    for name, columns in (("boundary", {"id": ["site"]}), ("acoustic_ground", {"porosity": [0.5]}),
                          ("constraints", {"kind": ["possession"], "from": ["23:30"], "to": ["05:00"]})):
        gpd.GeoDataFrame(columns, geometry=[area], crs=CRS).to_file(folder / f"{name}.gpkg")
        folder.toml("[layers]", f'[layers]\n{name} = "{name}.gpkg"')
    screen = gpd.GeoDataFrame({"height_m": [3.0]}, geometry=[LineString([local(0, 5), local(20, 5)])], crs=CRS)
    screen.to_file(folder / "obstacles.gpkg")
    scenario = folder.toml("[layers]", '[layers]\nobstacles = "obstacles.gpkg"').read()
    assert scenario.boundary is not None
    assert scenario.boundary.geometry.area.iloc[0] == pytest.approx(390.0)
    assert scenario.acoustic_ground is not None
    assert scenario.acoustic_ground["porosity"].tolist() == [0.5]
    assert scenario.constraints is not None
    assert scenario.constraints[["id", "kind", "from", "to"]].iloc[0].tolist() == ["1", "possession", "23:30", "05:00"]
    assert scenario.obstacles is not None
    assert scenario.obstacles["height_m"].tolist() == [3.0]


def test_other_sources(folder: Folder) -> None:
    (folder / "sources.csv").write_text(f"id,name,x,y,lwa_db,height_m,from,to\nC1,Crane,{EAST},{NORTH + 50},98,2,"
                                        "08:00,17:30\n", encoding="utf-8")
    sources = folder.toml('# other_sources = "sources.csv"', 'other_sources = "sources.csv"').read().other_sources
    assert sources is not None
    assert sources.iloc[0][["id", "lwa_db", "from", "to"]].tolist() == ["C1", 98.0, "08:00", "17:30"]


# clock arithmetic by hand; Good Friday and Easter Monday of 2027 from the calendar (Easter Sunday is 28 March 2027)
@pytest.mark.parametrize(("start", "end", "hours"), [
    ("08:00", "18:00", 10), ("22:00", "06:00", 8), ("00:00", "24:00", 24), ("16:00", "24:00", 8),
    ("23:30", "05:15", 5.75)])
def test_shifts(folder: Folder, start: str, end: str, hours: float) -> None:
    folder.toml('{ from = "08:00", to = "18:00" }', f'{{ from = "{start}", to = "{end}" }}')
    programme = folder.read().programme
    assert programme.shift_s == hours * 3600
    assert programme.shift_from == time.fromisoformat(start)
    assert programme.shift_to == (time(0, 0) if end == "24:00" else time.fromisoformat(end))


def test_a_time_of_day_may_stand_without_quotes(folder: Folder) -> None:
    programme = folder.toml('from = "08:00"', "from = 07:30:00").read().programme
    assert programme.shift_from == time(7, 30)


def test_working_dates_leave_out_weekends_and_holidays(folder: Folder) -> None:
    programme = folder.toml("holidays = []", 'holidays = "GB-ENG"').toml("2027-03-01", "2027-03-24").read().programme
    assert programme.working_dates(5) == (date(2027, 3, 24), date(2027, 3, 25), date(2027, 3, 30), date(2027, 3, 31),
                                          date(2027, 4, 1))
    assert programme.holidays_from == "GB-ENG"
    assert not programme.works_on(date(2027, 3, 29))
    assert programme.zone.key == "Etc/UTC"


def test_lines_of_keys_are_found() -> None:
    text = 'title = "x"\n\n[programme]\nshift = { from = "1" }\n[[methods]]\nid = "a"\n\n[[methods]]  # second\n' \
           'id = "b"\n[[methods.plant]]\nid = "c"\n[limits.confirmed."x.y"]\nby = "z"\n'
    lines = key_lines(text)
    assert lines["title",] == 1
    assert lines["programme", "shift"] == 4
    assert lines["methods", 1, "id"] == 9
    assert lines["methods", 1, "plant", 0, "id"] == 11
    assert lines["limits", "confirmed", "x.y", "by"] == 13
    found = Findings()
    found.lines = lines
    assert found.at("programme", "shift", "from") == "scenario.toml, line 4, key 'programme.shift.from'"
    assert found.at("methods", 0, "energy_kj") == "scenario.toml, line 5, key 'methods[1].energy_kj'"


def test_a_layer_with_many_faulty_rows_names_each_row_once(folder: Folder) -> None:
    data = json.loads((folder / "receptors.geojson").read_text(encoding="utf-8"))
    row = data["features"][0]
    data["features"] = [{**row, "properties": {**row["properties"], "id": f"X{n}", "use": "hut"}} for n in range(100)]
    (folder / "receptors.geojson").write_text(json.dumps(data), encoding="utf-8")
    lines = [line for line in folder.toml('baseline = "baseline.csv"', "#").problems() if "'hut'" in line]
    assert len(lines) == 1
    assert "1 (id 'X0'), 2 (id 'X1')" in lines[0]
    assert "and 40 more" in lines[0]


def _places(tree: object, place: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    items = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    for key, value in items:
        yield (*place, key)
        yield from _places(value, (*place, key))


def test_no_value_of_any_key_leads_to_a_traceback(folder: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    sound = tomllib.loads((folder / "scenario.toml").read_text(encoding="utf-8"))
    values = [1, "x", [], {}, -1.5, True, [[1]], {"a": {"b": 1}}, float("nan"), ""]
    refused: list[str] = []
    for number, place in enumerate(_places(sound)):
        for value in (values[number % len(values)], values[(3 * number + 1) % len(values)]):
            data = copy.deepcopy(sound)
            holder: Any = data
            for part in place[:-1]:
                holder = holder[part]
            holder[place[-1]] = value
            monkeypatch.setattr(document, "parsed", lambda _folder, _found, data=data: data)
            try:
                folder.read()
            except ScenarioProblems as error:
                refused += [problem.hint for problem in error.problems]
    assert len(refused) > 60
    assert all(refused), "every problem comes with a remedy"
