"""The drafted monitoring plan in report, plan of the site and risk map: its positions and levels, and no others."""

from __future__ import annotations

import json
import re
import zlib
from base64 import b64decode
from dataclasses import replace
from pathlib import Path

import pytest
from demo_assessment import assessment as demo
from pyproj import Transformer
from reading_outputs import PageReader, ReadTable

from envpredict.engine.results import Assessment
from envpredict.monitoring.draft import draft_plan
from envpredict.monitoring.plan_schema import Plan
from envpredict.outputs import drafted as drafted_module
from envpredict.outputs.charts import charts
from envpredict.outputs.drafted import drafted, places
from envpredict.outputs.map import render_map
from envpredict.outputs.report import build
from envpredict.outputs.report.html import page

LETTERS = {"read": "", "memory": "m", "practice": "p", "estimate": "e"}


@pytest.fixture(scope="module")
def assessed() -> Assessment:
    return demo()


@pytest.fixture(scope="module")
def plan(assessed: Assessment) -> Plan:
    return draft_plan(assessed)


@pytest.fixture(scope="module")
def chapter(assessed: Assessment) -> list[ReadTable]:
    return [table for table in PageReader(page(build(assessed))).tables if table.chapter == "monitoring"]


def test_the_report_holds_every_station_of_the_draft(chapter: list[ReadTable], plan: Plan) -> None:
    stations = next(table for table in chapter if "Stations" in table.head)
    told = {name: row for row in stations.rows for name in row[0].split(", ")}
    assert set(told) == {station.id for station in plan.stations}
    for station in plan.stations:
        kind, receptor, _, east, north = told[station.id][1:6]
        assert (kind, receptor) == (station.kind, station.receptor)
        assert float(east) == pytest.approx(station.x, abs=0.05)
        assert float(north) == pytest.approx(station.y, abs=0.05)


def test_the_report_holds_every_level_of_the_draft_with_its_mark(chapter: list[ReadTable], plan: Plan) -> None:
    table = next(table for table in chapter if "Alert" in table.head)
    criteria = {one.id: one for one in plan.criteria}
    assert len(table.rows) == len(plan.levels) > 5
    for row, one in zip(table.rows, plan.levels, strict=True):
        cells = dict(zip(table.head, row, strict=True))
        for head, value in (("Alert", one.alert), ("Action", one.action), ("Stop", one.stop)):
            number, _, mark = cells[head].partition("\u00a0")
            assert float(number) == pytest.approx(value, rel=1e-5)
            assert mark.strip("[]") == LETTERS[str(one.basis)]
        assert float(cells["Limit"].partition("\u00a0")[0]) == pytest.approx(criteria[one.criterion].value, rel=1e-5)


def test_the_map_draws_the_positions_of_the_draft(assessed: Assessment, plan: Plan) -> None:
    """Counted where the page holds them, and one of them found again on the ground."""
    text = render_map(assessed)
    head = json.loads(re.search(r'id="rm-data">(.*?)</script>', text, re.S)[1])     # type: ignore[index]
    raw = zlib.decompress(b64decode(re.search(r'id="rm-block">(.*?)</script>', text, re.S)[1]))     # type: ignore[index]
    spots = {(round(station.x or 0.0, 1), round(station.y or 0.0, 1)) for station in plan.stations}
    _, offset, count = head["columns"]["stations.kind"]
    assert count == len(head["site"]["stations"]) == len(spots)
    assert set(raw[offset:offset + count]) == {1}
    assert set("".join(head["site"]["stations"])) == {"N", "V", "M"}
    first = places(plan, frozenset())[0]
    x, y = Transformer.from_crs(assessed.scenario.crs, 3857, always_xy=True).transform(first.x, first.y)
    _, at, _ = head["columns"]["stations.xy"]
    steps = []
    for _ in range(2):
        value = shift = 0
        while True:
            byte, at = raw[at], at + 1
            value |= (byte & 127) << shift
            shift += 7
            if byte < 128:
                break
        steps.append((value >> 1) ^ -(value & 1))
    assert [head["origin"][0] + steps[0] / 10, head["origin"][1] + steps[1] / 10] == pytest.approx([x, y], abs=0.06)


def test_no_position_gives_away_a_place_that_stays_out(plan: Plan) -> None:
    guarded = str(plan.stations[0].receptor)
    mine = {station.id for station in plan.stations if station.receptor == guarded}
    shown = {name for place in places(plan, frozenset({guarded})) for name in place.stations}
    assert shown == {station.id for station in plan.stations} - mine
    assert mine


def test_the_plan_of_the_site_tells_sections_and_positions(assessed: Assessment) -> None:
    plan_of_site = next(chart for chart in charts(assessed) if chart.id == "site_plan")
    svg = plan_of_site.svg.decode("utf-8")
    for section in assessed.scenario.wall["section"].unique():
        assert svg.count(f"section {section}<") == 1
    assert "measuring position (draft)" in svg
    assert f"{len(places(drafted(assessed), frozenset()))} measuring positions" in plan_of_site.alt


def test_a_run_without_a_draft_says_so(assessed: Assessment, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(drafted_module, "MOST_RECEPTORS", 10)
    bare = replace(assessed, findings=assessed.findings.copy())
    assert drafted(bare) is None
    text = " ".join("".join(PageReader(page(build(bare))).words).split())
    assert "No plan was drafted along the way" in text
    assert "measuring positions: add them from the monitoring plan" in text
    assert '"stations":' not in render_map(bare)
