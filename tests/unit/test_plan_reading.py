"""A plan is read with every fault named by file, line and key, and written so that it reads back as it was."""

from __future__ import annotations

import json
import tomllib
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from audit_plans import SOUND, plan_of, put, sound, tables
from hypothesis import given
from hypothesis import strategies as st

from envpredict.core.errors import EnvpredictError, InputProblems, Problem
from envpredict.monitoring.plan_file import plan_files, read_plan
from envpredict.monitoring.plan_schema import HEAD, LISTS, SECTIONS, Plan
from envpredict.monitoring.plan_toml import NEVER_ALONE, to_toml, toml_value


def problems_of(folder: Path, text: str) -> tuple[Problem, ...]:
    file = folder / "plan.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(InputProblems) as caught:
        read_plan(file)
    return caught.value.problems


def written(plan: Plan, folder: Path) -> Path:
    for name, text in plan_files(plan).items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def test_sound_plan_is_read_as_it_stands(tmp_path: Path) -> None:
    (tmp_path / "plan.toml").write_text(SOUND, encoding="utf-8")
    plan = read_plan(tmp_path)
    assert plan.model_dump() == sound().model_dump()
    assert plan.stations[0].interval_s == 300.0
    assert plan.works.first_piling == date(2027, 3, 1)


def test_plan_reads_back_as_it_was_written(tmp_path: Path) -> None:
    before = sound().model_dump()
    after = read_plan(written(sound(), tmp_path)).model_dump()
    assert after.pop("layers") == {"stations": "stations.geojson"}
    before.pop("layers")
    assert after == before


def test_positions_stand_in_the_layer_alone_and_can_be_moved_there(tmp_path: Path) -> None:
    from pyproj import Transformer

    written(sound(), tmp_path)
    stations = tomllib.loads((tmp_path / "plan.toml").read_text(encoding="utf-8"))["stations"]
    assert not any("x" in station for station in stations)
    layer = json.loads((tmp_path / "stations.geojson").read_text(encoding="utf-8"))
    moved = Transformer.from_crs("EPSG:32631", "EPSG:4326", always_xy=True).transform(524012.5, 6150007.25)
    layer["features"][0]["geometry"]["coordinates"] = list(moved)
    (tmp_path / "stations.geojson").write_text(json.dumps(layer), encoding="utf-8")
    station = read_plan(tmp_path).stations[0]
    assert (station.x, station.y) == (524012.5, 6150007.25)


def test_written_layer_is_longitude_and_latitude(tmp_path: Path) -> None:
    import geopandas as gpd

    written(sound(), tmp_path)
    layer = gpd.read_file(tmp_path / "stations.geojson")
    assert layer.crs.to_epsg() == 4326
    # EPSG:32631 has its central meridian at 3 degrees east; 24 km east of it at 55.5 degrees north
    assert layer.geometry.x.between(3.3, 3.5).all()
    assert layer.geometry.y.between(55.4, 55.6).all()


def test_file_says_what_the_tool_is_not() -> None:
    text = " ".join(to_toml(sound()).replace("#", "").split())
    assert " ".join(NEVER_ALONE.split()) in text
    assert "Invented demonstration" in text


def test_keys_that_are_not_stated_are_shown_with_their_meaning() -> None:
    text = to_toml(Plan(title="bare"))
    assert "# told_within_h =    # hours within which an exceedance is reported" in text
    assert tomllib.loads(text) == {"title": "bare", "invented": False, **{name: {} for name in SECTIONS}}


@pytest.mark.parametrize("name", [*SECTIONS, *LISTS])
def test_every_key_says_what_it_means(name: str) -> None:
    part = SECTIONS.get(name) or LISTS[name]
    for key, field in part.model_fields.items():
        assert field.description, f"{name}.{key}"
        assert field.description != key.replace("_", " ") or key in ("days", "name", "revision"), f"{name}.{key}"
    assert Plan.model_fields[name].description


@given(st.one_of(st.text(alphabet=st.characters(codec="utf-8", exclude_categories=("Cs",))), st.booleans(),
                 st.integers(-(2**62), 2**62), st.floats(allow_nan=False, allow_infinity=False), st.dates(),
                 st.lists(st.text(alphabet=st.characters(codec="utf-8", exclude_categories=("Cs",)), max_size=30))))
def test_values_survive_the_standard_reader(value: Any) -> None:
    # tomllib of the standard library is the oracle
    assert tomllib.loads(f"value = {toml_value(value)}")["value"] == value


def test_value_without_a_form_in_the_file_is_refused() -> None:
    with pytest.raises(TypeError):
        toml_value({"a": 1})


BAD: dict[str, tuple[str, str, str, str]] = {
    "unknown instrument class": ("accuracy_class = 1", "accuracy_class = 3", "instruments[1].accuracy_class",
                                 "must be at most 2"),
    "instrument class in words": ("accuracy_class = 1", 'accuracy_class = "type 1"', "instruments[1].accuracy_class",
                                  "whole number"),
    "unknown kind of station": ('kind = "noise"', 'kind = "sound"', "stations[1].kind", "unknown word 'sound'"),
    "unknown quantity": ('quantity = "laeq_db"', 'quantity = "leq"', "criteria[1].quantity", "unknown quantity"),
    "unknown position": ('position = "facade"\nvalue', 'position = "outside"\nvalue', "criteria[1].position",
                         "unknown position"),
    "clock time": ('starts = "08:00"', 'starts = "8 am"', "activities[1].starts", "no clock time"),
    "text for a number": ("interval_s = 300.0", 'interval_s = "5 min"', "stations[1].interval_s", "must be a number"),
    "negative number": ("interval_s = 300.0", "interval_s = -5.0", "stations[1].interval_s", "out of range"),
    "not a number": ("interval_s = 300.0", "interval_s = nan", "stations[1].interval_s", "finite"),
    "unknown key": ("interval_s = 300.0", "intervall_s = 300.0", "stations[1].intervall_s", "unknown key"),
    "unknown table": ("[weather]", "[wether]", "wether", "unknown key 'wether'"),
    "missing id": ('id = "N1"\nkind', "kind", "stations[1].id", "'id' is missing"),
    "unit of another quantity": ('unit = "dB"', 'unit = "mm/s"', "criteria[1].unit", "isn't the unit of laeq_db"),
    "placeholder": ('hotline = "invented number, working hours"', 'hotline = "tbc"', "complaints.hotline",
                    "says nothing"),
    "unknown receptor": ('receptor = "H1"\nx', 'receptor = "H9"\nx', "stations[1].receptor",
                         "isn't among the receptors"),
    "unknown criterion": ('criteria = ["noise"]', 'criteria = ["nois"]', "stations[1].criteria",
                          "isn't among the criteria"),
    "unknown role": ('ordered_by = "foreman"', 'ordered_by = "boss"', "stop_work.ordered_by",
                     "isn't among the people"),
    "limit of another kind": ('criteria = ["noise"]', 'criteria = ["damage"]', "stations[1].criteria",
                              "a noise station can't judge"),
    "two rows with one id": ('id = "V1f"', 'id = "V1"', "stations[3].id", "stands already in row 2"),
    "works end before they start": ("last_piling = 2027-05-28", "last_piling = 2027-02-01", "works.last_piling",
                                    "before the first day"),
    "range upside down": ("high_hz = 100.0", "high_hz = 0.5", "instruments[3].high_hz", "before low_hz"),
    "half a position": ("x = 524010.0\ny = 6150009.0", "x = 524010.0", "stations[1].y", "belong together"),
    "geographic coordinates": ('crs = "EPSG:32631"', 'crs = "EPSG:4326"', "crs", "projected system in metres"),
    "no coordinate system": ('crs = "EPSG:32631"', 'crs = "here"', "crs", "no coordinate reference system"),
    "date in quotes": ("first_piling = 2027-03-01", 'first_piling = "2027-03-01"', "works.first_piling",
                       "must be a date"),
    "line that is none": ("[works]", '[works]\nline = "LINESTRING (0 0)"', "works.line", "well-known text"),
}


@pytest.mark.parametrize("fault", BAD)
def test_fault_is_named_with_line_and_key(fault: str, tmp_path: Path) -> None:
    old, new, key, what = BAD[fault]
    assert old in SOUND
    text = SOUND.replace(old, new, 1)
    found = [problem for problem in problems_of(tmp_path, text) if f"key '{key}'" in problem.where]
    assert found, f"no problem at {key}"
    assert what in found[0].what
    assert found[0].hint
    line = int(found[0].where.split("line ")[1].split(",")[0])
    stated = text.splitlines()[line - 1]
    assert stated.startswith((key.rsplit(".", maxsplit=1)[-1].split("[")[0], "[")), stated


def test_every_fault_is_told_in_one_pass(tmp_path: Path) -> None:
    text = SOUND
    for fault in ("unknown instrument class", "unknown kind of station", "clock time", "unknown role", "placeholder",
                  "works end before they start", "unknown table"):
        old, new, *_ = BAD[fault]
        text = text.replace(old, new, 1)
    keys = {problem.where.split("key ")[1] for problem in problems_of(tmp_path, text)}
    assert {"'instruments[1].accuracy_class'", "'stations[1].kind'", "'activities[1].starts'", "'stop_work.ordered_by'",
            "'complaints.hotline'", "'works.last_piling'", "'wether'"} <= keys


def test_faulty_row_still_counts_as_being_there(tmp_path: Path) -> None:
    found = problems_of(tmp_path, SOUND.replace('use = "dwelling"', "use = 1", 1))
    assert [problem.where.split("key ")[1] for problem in found] == ["'receptors[1].use'"]


def test_file_that_is_no_toml_is_named_with_its_line(tmp_path: Path) -> None:
    found = problems_of(tmp_path, 'title = "x"\n[works\n')
    assert "line 2" in found[0].what


def test_file_that_is_no_text_is_named(tmp_path: Path) -> None:
    (tmp_path / "plan.toml").write_bytes(b'title = "\xff"')
    with pytest.raises(InputProblems, match="UTF-8"):
        read_plan(tmp_path)


@pytest.mark.parametrize("name", ["plan.docx", "missing.toml"])
def test_what_is_no_plan_is_refused(name: str, tmp_path: Path) -> None:
    if name == "plan.docx":
        (tmp_path / name).write_text("x", encoding="utf-8")
    with pytest.raises(EnvpredictError, match=r"no plan|is no plan"):
        read_plan(tmp_path / name)


def test_layer_and_plan_may_not_both_hold_a_position(tmp_path: Path) -> None:
    written(sound(), tmp_path)
    file = tmp_path / "plan.toml"
    file.write_text(file.read_text(encoding="utf-8").replace('id = "N1"\n', 'id = "N1"\nx = 1.0\ny = 1.0\n', 1),
                    encoding="utf-8")
    with pytest.raises(InputProblems, match=r"has a position here and in stations\.geojson"):
        read_plan(file)


def test_faults_of_the_layer_are_told(tmp_path: Path) -> None:
    written(sound(), tmp_path)
    layer = json.loads((tmp_path / "stations.geojson").read_text(encoding="utf-8"))
    layer["features"][1]["properties"]["id"] = "N1"
    layer["features"][2]["properties"]["id"] = "V9"
    (tmp_path / "stations.geojson").write_text(json.dumps(layer), encoding="utf-8")
    with pytest.raises(InputProblems) as caught:
        read_plan(tmp_path)
    said = str(caught.value)
    assert "feature 2 ('N1')" in said
    assert "stands already in the layer" in said
    layer["features"] = layer["features"][:1]
    layer["features"][0]["properties"]["id"] = "V9"
    (tmp_path / "stations.geojson").write_text(json.dumps(layer), encoding="utf-8")
    with pytest.raises(InputProblems, match=r"feature 'V9': isn't among the plan's stations"):
        read_plan(tmp_path)
    (tmp_path / "stations.geojson").unlink()
    with pytest.raises(InputProblems, match=r"stations\.geojson: can't be read"):
        read_plan(tmp_path)


def test_plan_is_frozen() -> None:
    with pytest.raises(ValueError, match="frozen"):
        sound().stations[0].x = 1.0  # type: ignore[misc]


def test_head_sections_and_lists_are_all_the_keys() -> None:
    assert {*HEAD, *SECTIONS, *LISTS} == set(Plan.model_fields)
    assert set(tables()) <= set(Plan.model_fields)


def test_day_that_is_none_is_refused() -> None:
    data = tables()
    put("activities", "days", ["mon", "fryday"])(data)
    with pytest.raises(InputProblems, match="unknown day 'fryday'"):
        plan_of(data)
