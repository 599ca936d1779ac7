"""What goes into the risk map: the governing finding first, days judged like the programme, lines where they belong."""

from __future__ import annotations

import base64
import json
import re
import subprocess
import sys
import zlib
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from browser.synthetic import CANDIDATES, CASES, DESIGN, EAST, NORTH, ZONE, assess, programme, scenario
from pyproj import Geod, Transformer
from shapely.geometry import GeometryCollection, LineString, MultiPolygon, Point, box

from envpredict.engine.findings import likelihoods
from envpredict.engine.govern import governing
from envpredict.engine.results import Grid
from envpredict.outputs.map import contours, days, findings, render_map
from envpredict.outputs.map.pack import Block
from envpredict.outputs.map.privacy import discretion
from envpredict.outputs.map.shapes import AREA, LINE, POINT, Origin, encode, to_page
from envpredict.outputs.map.sites import LABELS, boreholes
from envpredict.outputs.map.style import ORDER

METHODS = [one.id for one in CANDIDATES]


@pytest.fixture(scope="module")
def frame() -> pd.DataFrame:
    made = assess(60)
    return findings.ordered(made.findings, made.receptors["id"].tolist(), METHODS)


def unpacked(page: str) -> tuple[dict[str, Any], bytes]:
    """Return the page's table of words and its block of numbers."""
    head = re.search(r'id="rm-data">(.*?)</script>', page, re.S)
    block = re.search(r'id="rm-block">(.*?)</script>', page, re.S)
    assert head is not None
    assert block is not None
    return json.loads(head.group(1)), zlib.decompress(base64.b64decode(block.group(1)))


# --- findings

def test_the_first_of_any_choice_is_the_one_that_governs(frame: pd.DataFrame) -> None:
    for by in (("receptor", "method"), ("receptor", "method", "effect"), ("receptor", "method", "effect", "period")):
        ours = frame.drop_duplicates(list(by)).set_index(list(by))
        theirs = governing(assess(60).findings, by).set_index(list(by))
        assert len(ours) == len(theirs)
        same = theirs.reindex(ours.index)
        assert (ours["likelihood"] == same["likelihood"]).all()
        assert np.array_equal(ours["margin_db"], same["margin_db"], equal_nan=True)
        assert (ours["rule"] == same["rule"]).all()


def test_a_finding_of_an_unknown_receptor_is_refused() -> None:
    made = assess(12)
    with pytest.raises(ValueError, match="unknown receptor: nobody"):
        findings.ordered(made.findings.assign(receptor="nobody"), made.receptors["id"].tolist(), METHODS)


def test_a_margin_that_misses_never_reads_zero() -> None:
    assert findings.margins(pd.Series([-0.001, -0.26, 0.04, np.nan])).tolist() == [-1, -3, 0, -32768]


def test_a_large_result_says_what_it_leaves_out(frame: pd.DataFrame, monkeypatch: pytest.MonkeyPatch) -> None:
    whole, brief = Block(), Block()
    assert findings.write(whole, frame, 60, len(METHODS))
    monkeypatch.setattr(findings, "FINDINGS_IN_FULL", 10)
    assert not findings.write(brief, frame, 60, len(METHODS))
    assert set(whole.index) - set(brief.index) == {
        f"findings.{name}" for name in ("p_one_pile", "days_above_low", "days_above_high", "other_laws_low",
                                        "other_laws_high")}


def test_a_large_result_keeps_the_word_of_every_choice() -> None:
    made = assess(60)
    idle = made.findings.assign(rule="idle", likelihood="not_applicable", p_exceed=np.nan, margin_db=np.nan)
    whole = findings.ordered(pd.concat([made.findings, idle]), made.receptors["id"].tolist(), METHODS)
    shorter = findings.in_brief(whole)
    assert len(made.findings) == len(shorter) == len(whole) / 2
    for by in (["receptor_row", "method_row", "effect", "period"], ["receptor_row", "method_row"]):
        assert whole.drop_duplicates(by)[[*by, "word"]].reset_index(drop=True).equals(
            shorter.drop_duplicates(by)[[*by, "word"]].reset_index(drop=True))


# --- days

def test_a_day_is_judged_like_the_programme() -> None:
    """The engine's own words for the same chances, for proven and for doubtful predictions."""
    chance = np.tile(np.array([0.0, 0.0499999, 0.05, 0.3, 0.5, 1.0]), (2, 1))
    doubtful = np.array([False, True])
    codes = days.day_words(chance, DESIGN, doubtful, np.zeros(2, dtype=np.uint8))
    yes, no = np.ones(6, dtype=bool), np.zeros(6, dtype=bool)
    for row, doubt in enumerate(doubtful):
        expected = likelihoods(yes, no, chance[row], no, np.full(6, doubt), DESIGN)
        assert [ORDER[code] for code in codes[row]] == expected.tolist()


def test_a_receptor_without_any_chance_keeps_its_word() -> None:
    chance = np.array([[np.nan, np.nan], [np.nan, 0.6]])
    whole = np.array([ORDER.index("not_applicable"), ORDER.index("likely")], dtype=np.uint8)
    codes = days.day_words(chance, DESIGN, np.zeros(2, dtype=bool), whole)
    assert [[ORDER[code] for code in row] for row in codes] == [["not_applicable"] * 2, ["quiet", "likely"]]


def test_nothing_to_judge_gives_way_to_any_word() -> None:
    words = ("quiet", "unlikely", "likely")
    quiet, unlikely, likely = (np.array([ORDER.index(word)], dtype=np.uint8) for word in words)
    assert ORDER[days.most_severe([quiet, unlikely])[0]] == "unlikely"
    assert ORDER[days.most_severe([likely, unlikely, quiet])[0]] == "likely"


def test_a_pile_is_done_on_its_last_day() -> None:
    made = assess(12)
    first = METHODS[0]
    events = made.programme[first]
    late = events.iloc[[0]].assign(day="2027-12-24")    # its last pass, long after the others
    made = replace(made, programme={**made.programme, first: pd.concat([events, late])})
    dates = days.all_days(made)
    block = Block()
    told = days.write_programme(block, made, dates)
    assert dates[-1] == "2027-12-24"
    assert told[0]["piles"] == 60
    raw = zlib.decompress(base64.b64decode(block.text()))
    _, offset, count = block.index["programme.0"]
    done = np.frombuffer(raw, "<u2", count, offset)
    assert done[0] == len(dates) - 1
    by_hand = programme(CANDIDATES[0], made.scenario.piles).drop_duplicates("pile")["day"].map(dates.index)
    assert done[1:].tolist() == by_hand.tolist()[1:]


def test_the_worst_receptors_have_the_highest_chances(frame: pd.DataFrame) -> None:
    worst = days.worst_receptors(frame, 5)
    top = frame.sort_values(["word", "p_exceed"], ascending=False)["receptor_row"].drop_duplicates()
    assert worst.tolist() == top.tolist()[:5]


# --- level lines

def test_a_line_lies_where_the_arithmetic_puts_it() -> None:
    """Sound of a point falls 20 dB per tenfold distance, so 60 dB of a source with 100 dB at 1 m lies at 100 m."""
    x = y = np.arange(-200.0, 201.0, 2.0)
    distance = np.maximum(np.hypot(*np.meshgrid(x, y)), 1.0)
    grid = Grid(x, y, 100.0 - 20.0 * np.log10(distance), "laeq_db", "dB")
    (path,) = contours.trace(grid, 60.0, decibel=True)
    assert np.hypot(*path.T) == pytest.approx(100.0, abs=0.05)
    ppv = Grid(x, y, 50.0 * distance ** -1.5, "ppv_component", "mm/s")
    (path,) = contours.trace(ppv, np.log10(0.5), decibel=False)
    assert np.hypot(*path.T) == pytest.approx(100.0 ** (1 / 1.5), abs=0.1)


def test_a_line_is_the_grid_s_own_and_says_how_findings_differ() -> None:
    """Findings at a facade lie 3 dB above the free field of the grid: its 60 dB line stays at 100 m and tells the 3 dB.

    The dashed line stands where the median is 5 dB, the step from median to design level, below the limit: at 178 m.
    """
    x = y = np.arange(-300.0, 301.0, 4.0)
    distance = np.maximum(np.hypot(*np.meshgrid(x, y)), 1.0)
    grid = Grid(x, y, 100.0 - 20.0 * np.log10(distance), "laeq_db", "dB")
    at = np.array([[40.0, 0.0], [0.0, 92.0], [152.0, 40.0]])
    median = 100.0 - 20.0 * np.log10(np.hypot(*at.T)) + 3.0
    rows = pd.DataFrame({"receptor_row": [0, 1, 2], "effect": "noise", "period": "day", "unit": "dB", "limit": 60.0,
                         "limit_set": "invented", "rule": "day", "predicted_median": median,
                         "predicted_design": median + 5.0})
    lines, left_out = contours.method_lines(rows, {"noise": grid}, at)
    assert left_out == 0
    radius = {line.design: float(np.mean(np.hypot(*line.paths[0].T))) for line in lines}
    assert radius[False] == pytest.approx(100.0, rel=0.01)
    assert radius[True] == pytest.approx(10 ** ((100 - 55) / 20), rel=0.01)
    assert {line.design: line.level for line in lines} == pytest.approx({False: 60.0, True: 55.0})
    for line in lines:
        assert line.apart == pytest.approx((3.0, 3.0, 3.0), abs=0.05)


def test_only_the_limits_that_govern_most_receptors_have_lines(frame: pd.DataFrame) -> None:
    made = assess(60)
    many = pd.concat([frame.assign(limit=frame["limit"] + step, rule=f"rule {step}") for step in range(5)])
    many = many[many["method_row"] == 0].reset_index(drop=True)
    grids = {kind: grid for (name, kind), grid in made.grids.items() if name == METHODS[0]}
    at = np.column_stack([made.receptors.geometry.centroid.x, made.receptors.geometry.centroid.y])
    lines, left_out = contours.method_lines(many, grids, at)
    assert {line.rank for line in lines} <= {0, 1, 2}
    assert left_out == 2 * len({(case.effect, case.period) for case in CASES})


# --- shapes

def decoded(block: Block, name: str) -> list[list[tuple[float, float]]]:
    raw = zlib.decompress(base64.b64decode(block.text()))

    def column(key: str) -> np.ndarray[Any, np.dtype[np.int64]]:
        kind, offset, count = block.index[f"{name}.{key}"]
        assert kind == "varint"
        values, at = [], offset
        for _ in range(count):
            value = shift = 0
            while True:
                byte = raw[at]
                at += 1
                value |= (byte & 127) << shift
                shift += 7
                if byte < 128:
                    break
            values.append((value >> 1) ^ -(value & 1))
        return np.array(values, dtype=np.int64)

    points = np.cumsum(column("xy").reshape(-1, 2), axis=0)
    ends = np.cumsum(column("sizes"))
    return [points[end - size:end].tolist() for end, size in zip(ends, column("sizes"), strict=True)]


def test_geometry_survives_within_a_decimetre() -> None:
    """Compared on the ellipsoid, by pyproj's geodesics."""
    shape = LineString([(EAST + 3.21, NORTH - 7.77), (EAST + 400.0, NORTH + 250.5), (EAST - 90.0, NORTH + 33.3)])
    page = to_page(gpd.GeoSeries([shape], crs=ZONE))
    onto_page = Transformer.from_crs(ZONE, 3857, always_xy=True)
    origin = Origin(*(round(value) for value in onto_page.transform(EAST, NORTH)))
    block = Block()
    encode(page, origin).write(block, "line")
    (path,) = decoded(block, "line")
    back = Transformer.from_crs(3857, 4326, always_xy=True)
    there = Transformer.from_crs(ZONE, 4326, always_xy=True)
    for (x, y), (east, north) in zip(path, shape.coords, strict=True):
        longitude, latitude = back.transform(origin.x + x / 10, origin.y + y / 10)
        _, _, off_m = Geod(ellps="WGS84").inv(longitude, latitude, *there.transform(east, north))
        assert off_m < 0.05


def test_every_kind_of_geometry_has_its_place() -> None:
    ring = box(0, 0, 10, 10).difference(box(2, 2, 4, 4))
    two = MultiPolygon([box(0, 0, 1, 1), box(5, 5, 6, 6)])
    shapes = np.array([Point(1, 2), LineString([(0, 0), (1, 1)]), ring, two,
                       GeometryCollection([Point(0, 0), box(0, 0, 1, 1)]), box(0, 0, 1, 1)], dtype=object)
    hidden = np.array([False] * 5 + [True])
    encoded = encode(shapes, Origin(0.0, 0.0), hidden)
    assert encoded.kinds == [POINT, LINE, AREA, AREA, AREA, 0]
    assert encoded.parts == [1, 1, 2, 2, 1, 0]


def test_the_site_is_told_in_words() -> None:
    made = scenario(12, 1)
    assert LABELS["constraints"](made.constraints) == ["headroom 6 m"]
    assert LABELS["obstacles"](made.obstacles) == ["3.0 m high", "9.0 m high"]
    holes = boreholes(made)
    assert holes is not None
    assert holes["borehole"].tolist() == ["BH1", "BH2"]
    assert boreholes(replace(made, strata=None)) is None
    possession = gpd.GeoDataFrame({"kind": ["possession"], "value_m": [np.nan], "from": ["23:00"], "to": ["05:00"]},
                                  geometry=[box(0, 0, 1, 1)], crs=ZONE)
    assert LABELS["constraints"](possession) == ["possession 23:00 to 05:00"]


# --- privacy

def test_names_of_homes_and_habitats_stay_out() -> None:
    made = assess(120)
    where = made.receptors.assign(name=[f"secret of {one}" for one in made.receptors["id"]])
    shut = discretion(where, private_names=True, show_protected=False)
    open_ = discretion(where, private_names=False, show_protected=True)
    use = where["use"]
    assert shut.names[use.isin(["dwelling", "office", "workshop", "habitat"])].all()
    assert not shut.names[use.isin(["school", "railway"])].any()
    assert shut.places.tolist() == use.eq("habitat").tolist()
    assert not open_.names.any()
    assert not open_.places.any()
    assert open_.notes() == []
    assert len(shut.notes()) == 2


def test_what_stays_out_is_nowhere_in_the_page() -> None:
    made = assess(40)
    habitat = made.receptors["use"].eq("habitat")
    names = np.where(habitat, "nest of a rare bird", made.receptors["name"])
    made = replace(made, receptors=made.receptors.assign(name=names))
    shut, (head, raw) = render_map(made), unpacked(render_map(made))
    assert "Family" not in shut
    assert b"Family" not in raw
    assert b"rare bird" not in raw
    assert "1 protected habitat" in " ".join(head["left_out"])
    row = int(np.flatnonzero(habitat)[0])
    _, offset, _ = head["columns"]["receptors.kind"]
    assert raw[offset + row] == 0
    # neither a pile nor a day tells where it lies
    count, = np.frombuffer(raw, "u1", 1, head["columns"]["findings.count"][1] + row * len(METHODS))
    before = int(np.frombuffer(raw, "u1", row * len(METHODS), head["columns"]["findings.count"][1]).sum())
    for name in ("governing_pile", "governing_day"):
        _, start, size = head["columns"][f"findings.{name}.words"]
        known = json.loads(raw[start:start + size])
        codes = np.frombuffer(raw, "u1", int(count), head["columns"][f"findings.{name}"][1] + before)
        assert {known[code] for code in codes} == {""}
    for number in range(len(METHODS)):
        _, start, size = head["columns"][f"day.{number}.governing"]
        by_day = np.frombuffer(raw, "u1", size, start).reshape(len(made.receptors), -1)
        assert len(set(by_day[row])) == 1
    _, asked = unpacked(render_map(made, private_names=False, show_protected=True))
    assert b"Family 6" in asked
    assert b"rare bird" in asked


# --- the page as a text

def test_the_same_assessment_gives_the_same_bytes() -> None:
    """In this process and in one with another seed for hashes."""
    here = render_map(assess(30))
    assert here == render_map(assess(30))
    code = ("import sys; sys.path.insert(0, sys.argv[1])\nfrom browser.synthetic import assess\n"
            "from envpredict.outputs.map import render_map\nsys.stdout.buffer.write(render_map(assess(30)).encode())")
    run = subprocess.run([sys.executable, "-c", code, str(Path(__file__).parents[1])], capture_output=True, check=True,
                         env={"PYTHONHASHSEED": "12345"})
    assert run.stdout.decode() == here


def test_the_page_says_what_it_must() -> None:
    made = assess(12)
    page = render_map(made)
    for text in (*made.cautions, "DRAFT, NOT FOR SUBMISSION", "invented_people: Table 2", "Invented demonstration"):
        assert text.replace("'", "&#39;") in page
    calm = replace(made, drafts=(), scenario=replace(made.scenario, invented=False))
    assert "DRAFT, NOT FOR SUBMISSION" not in render_map(calm)
    assert "Invented demonstration" not in render_map(calm)


def test_a_hostile_title_is_text() -> None:
    made = assess(12)
    page = render_map(replace(made, scenario=replace(made.scenario, title="</title><script>hurt()</script>")))
    assert "<script>hurt()" not in page


def test_an_assessment_without_days_grids_or_layers_still_has_its_map() -> None:
    made = assess(12, daily=False)
    bare = replace(made.scenario, boundary=None, obstacles=None, constraints=None, strata=None)
    head, _ = unpacked(render_map(replace(made, scenario=bare, grids={})))
    assert head["daily"]["held"] == [[], [], []]
    assert head["contours"]["lines"] == []
    assert set(head["site"]) == {"piles", "wall"}
