"""With a site law, measured less predicted follows the updated prediction; no trigger level and no alarm moves."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from zoneinfo import ZoneInfo

import pytest
from records_folder import VIBRATION, vibration_rows, write
from site_law_site import PRESS, assessed, press_level, rows, scenario, site_file

from envpredict.engine.results import Assessment
from envpredict.monitoring.audit import audit
from envpredict.monitoring.draft import draft_plan
from envpredict.monitoring.plan_schema import Plan
from envpredict.monitoring.statistics.shown import medians, shown, statistics_of


@cache
def run(updated: bool) -> Assessment:
    """Return the assessment of one site by the published law, or with a site law that raises it."""
    site = site_file(("auger_press_estimate", rows(lambda d: 12.0 * press_level(d)))) if updated else None
    with TemporaryDirectory() as folder:
        return assessed(scenario(Path(folder) / "site", site))


@cache
def plan() -> Plan:
    """Return the plan drafted before the trial."""
    return draft_plan(run(False))


def records(folder: Path) -> Path:
    """Write a morning of records at the first vibration station, one reading of it above the stop level."""
    base = plan()
    station = next(one for one in base.stations if one.kind == "vibration" and one.criteria)
    assert base.works.first_piling is not None
    start = datetime.combine(base.works.first_piling, datetime.min.time(), ZoneInfo("UTC")).replace(hour=9)
    levels = [0.4 + 0.01 * (n % 9) for n in range(360)]
    levels[200] = 60.0
    end = start + timedelta(hours=1)
    return write(folder, vibration=[VIBRATION, *vibration_rows(start, levels, station=station.id)], works=[
        "t_start,t_end,activity,method,pile_id", f"{start.isoformat()},{end.isoformat()},piling,{PRESS},A-001"])


def test_measured_less_predicted_is_taken_from_the_updated_prediction(tmp_path: Path) -> None:
    folder = records(tmp_path)
    plain, updated = (statistics_of(plan(), folder, run(changed)).agreement for changed in (False, True))
    assert len(plain) == len(updated) > 0
    moved = [(a, b) for a, b in zip(plain, updated, strict=True) if a.predicted != b.predicted]
    assert moved
    for before, after in moved:
        assert (before.station, before.criterion, before.count) == (after.station, after.criterion, after.count)
        # the prediction is raised, so what was measured lies less far above it: by just as many dB
        assert after.predicted > before.predicted
        assert before.mean_db - after.mean_db == pytest.approx(
            20.0 * math.log10(after.predicted / before.predicted), abs=1e-9)
        assert after.predicted == medians(plan(), run(True))[after.receptor, after.criterion, after.method]


def test_no_event_and_no_trigger_level_depends_on_the_site_law(tmp_path: Path) -> None:
    folder = records(tmp_path)
    plain, updated = (statistics_of(plan(), folder, run(changed)) for changed in (False, True))
    assert any(event.event == "stop" for event in plain.replayed.events)
    assert plain.replayed.events == updated.replayed.events
    assert [one.limit for one in plain.judged] == [one.limit for one in updated.judged]
    levels = plan().levels
    for changed in (False, True):
        report = audit(plan(), run(changed), shown(plan(), folder, run(changed))[1])
        assert "M28" in {one.rule.id for one in report.results}
    assert plan().levels == levels
