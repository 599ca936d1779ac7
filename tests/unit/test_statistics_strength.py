"""Strengths and means that no logger writes, formed from what it does write: KB_FTr, Lnight, Ldn, Lden."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from records_folder import MONDAY, NOISE, ZONE, noise_rows, plan, stamps, write

from envpredict.monitoring.draft_stations import WORKED_OUT
from envpredict.monitoring.plan_fields import DAY_WORDS
from envpredict.monitoring.plan_rows import Criterion
from envpredict.monitoring.plan_schema import Plan
from envpredict.monitoring.records.read import read_records
from envpredict.monitoring.replay.triggers import untriggered
from envpredict.monitoring.statistics.collect import Statistics, collect
from envpredict.monitoring.statistics.judged import Judged
from envpredict.monitoring.statistics.strength import interval_maxima
from envpredict.monitoring.statistics.tables import frames, text

JUNE = datetime(2027, 6, 1, tzinfo=ZONE)
KB = "station_id,t_start,duration_s,kb_fmax"


def strength_plan(*, with_bound: bool = True) -> Plan:
    """Return a plan whose V1 judges DIN 4150-2, Table 1, residential by day: A_u 0.15, A_r 0.07."""
    base = plan()
    common = {"limit_set": "din_4150_2_1999", "receptor_class": "residential", "effect": "people",
              "period": "day 06-22", "days": tuple(DAY_WORDS), "starts": "06:00", "ends": "22:00",
              "position": "slab", "unit": "1"}
    rows = [Criterion(id="A_r", rule="lasting_r", quantity="kb_ftr", averaging_s=57600.0, value=0.07, **common),
            Criterion(id="A_u", rule="lasting_u", quantity="kb_fmax", value=0.15, **common)][:2 if with_bound else 1]
    names = tuple(row.id for row in rows)
    stations = tuple(one.model_copy(update={"criteria": names, "position": "slab"}) if one.id == "V1" else one
                     for one in base.stations)
    return base.model_copy(update={"criteria": (*base.criteria, *rows), "stations": stations, "proxies": ()})


def kb_rows(start: datetime, strengths: list[float], seconds: int = 30) -> list[str]:
    return [f"V1,{at},{seconds},{one}" for at, one in zip(stamps(start, len(strengths), seconds), strengths,
                                                          strict=True)]


def strengths(folder: Path, rows: list[str], **other: Any) -> Statistics:
    write(folder, vibration=[KB, *rows])
    return collect(strength_plan(**other), read_records(folder))


def of(found: Statistics, criterion: str) -> Judged:
    return next(one for one in found.judged if one.measured.asked.criterion.id == criterion)


def test_strength_of_a_day_by_hand(tmp_path: Path) -> None:
    # DIN 4150-2:1999 (formula from memory): 4 h at 0.4 of 16 h give 0.4 sqrt(4/16) = 0.2
    found = strengths(tmp_path, kb_rows(MONDAY.replace(hour=8), [0.4] * 480))
    assert of(found, "A_r").measured.series.median[0, 0] == pytest.approx(0.2)
    assert of(found, "A_r").measured.series.coverage[0] == pytest.approx(0.25)
    assert of(found, "A_r").exceeded


def test_hours_of_rest_count_twice(tmp_path: Path) -> None:
    # 18:00 to 20:00 on a Monday: one hour once, one hour (19-20) twice: 0.4 sqrt(3/16)
    found = strengths(tmp_path, kb_rows(MONDAY.replace(hour=18), [0.4] * 240))
    assert of(found, "A_r").measured.series.median[0, 0] == pytest.approx(0.4 * np.sqrt(3 / 16))


@pytest.mark.parametrize("seconds", [5, 10, 30])
def test_the_interval_counts_with_its_maximum_however_fine_the_rows(tmp_path: Path, seconds: int) -> None:
    # one row of each half minute at 0.6, the rest at 0.1: every interval of 30 s counts as 0.6
    share = 30 // seconds
    rows = kb_rows(MONDAY.replace(hour=9), ([0.6] + [0.1] * (share - 1)) * 120, seconds)
    found = strengths(tmp_path, rows)
    assert of(found, "A_r").measured.series.median[0, 0] == pytest.approx(0.6 * np.sqrt(1 / 16))


def test_longer_rows_count_with_their_maximum_throughout() -> None:
    begin, strongest = interval_maxima(np.array([0, 60_000, 75_000]), np.array([60_000, 75_000, 90_000]),
                                       np.array([0.5, 0.1, 0.3]))
    assert begin.tolist() == [0, 30_000, 60_000]
    assert strongest.tolist() == [0.5, 0.5, 0.3]
    assert interval_maxima(np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64), np.zeros(0))[0].size == 0


def test_below_the_lower_bound_the_requirement_is_met_whatever_the_strength(tmp_path: Path) -> None:
    # 14 h at 0.14: KB_FTr 0.13 lies far above A_r 0.07, but KB_Fmax doesn't pass A_u 0.15
    quiet = strengths(tmp_path / "quiet", kb_rows(MONDAY.replace(hour=7), [0.14] * 14 * 120))
    assert not of(quiet, "A_r").exceeded
    assert len(of(quiet, "A_r").days) == 0
    assert "1 of 1 periods stay at or below the lower bound of 0.15" in text(quiet)
    # the same with one interval above it: KB_FTr decides
    loud = strengths(tmp_path / "loud", kb_rows(MONDAY.replace(hour=7), [0.14] * (14 * 120 - 1) + [0.16]))
    assert of(loud, "A_r").exceeded


def test_a_lower_bound_that_is_passed_is_no_verdict_where_another_rule_decides(tmp_path: Path) -> None:
    # one interval of the day at 1.0: A_u is passed, KB_FTr = 1.0 sqrt(30/57600) = 0.023 stays below A_r
    found = strengths(tmp_path, kb_rows(MONDAY.replace(hour=9), [1.0, 0.05]))
    assert of(found, "A_u").above.tolist() == [True]
    assert not of(found, "A_u").exceeded
    assert not of(found, "A_r").exceeded
    row = frames(found)["compliance"].set_index("criterion").loc["A_u"]
    assert row["judged_by"] == "above this lower bound A_r decides"


def test_strength_raises_no_alarm_and_says_so() -> None:
    base = strength_plan()
    station = next(one for one in base.stations if one.id == "V1")
    levels = base.levels[0].model_copy(update={"criterion": "A_r", "alert": 0.03, "action": 0.05, "stop": 0.07,
                                               "alarm_windows_s": ()})
    said = untriggered(base.model_copy(update={"levels": (levels,)}), station)
    assert "V1, A_r: kb_ftr can't be formed from records as they come in, or the averaging time isn't stated" in said


def long_plan(quantity: str) -> Plan:
    base = plan(works={"first_piling": None, "last_piling": None})
    one = Criterion(id="long", limit_set=None, rule=None, effect="noise", quantity=quantity, period="any time",
                    days=tuple(DAY_WORDS), starts="00:00", ends="24:00", averaging_s=86400.0, position="facade",
                    value=55.0, unit="dB", weighting="A")
    stations = tuple(each.model_copy(update={"criteria": ("long",)}) if each.id == "N1" else each
                     for each in base.stations)
    return base.model_copy(update={"criteria": (*base.criteria, one), "stations": stations, "proxies": ()})


def by_clock(days: int, level: dict[int, float], first: datetime = JUNE) -> list[str]:
    """Return hourly rows of whole days by the level of each clock hour."""
    utc = ZoneInfo("UTC")
    count = round(((first + timedelta(days=days)).astimezone(utc) - first.astimezone(utc)).total_seconds() / 3600)
    hours = [(first.astimezone(utc) + timedelta(hours=n)).astimezone(ZONE).hour for n in range(count)]
    return noise_rows(first, [level[hour] for hour in hours], 3600)


def long_mean(folder: Path, quantity: str, rows: list[str]) -> Judged:
    write(folder, noise=[NOISE, *rows])
    return of(collect(long_plan(quantity), read_records(folder)), "long")


def test_day_night_level_of_thirty_days(tmp_path: Path) -> None:
    # 60 dB from 07 to 22, 50 dB by night raised to 60: Ldn is 60 dB; 63 dB by day: 10 lg((15 x 10^6.3 + 9 x 10^6)/24)
    even = long_mean(tmp_path / "a", "ldn_db", by_clock(32, {h: 60.0 if 7 <= h < 22 else 50.0 for h in range(24)}))
    assert even.measured.series.median[0, 1] == pytest.approx(60.0, abs=1e-6)
    loud = long_mean(tmp_path / "b", "ldn_db", by_clock(32, {h: 63.0 if 7 <= h < 22 else 50.0 for h in range(24)}))
    assert loud.measured.series.median[0, 1] == pytest.approx(10 * np.log10((15 * 10**6.3 + 9 * 10**6) / 24), abs=1e-6)


def test_day_evening_night_level(tmp_path: Path) -> None:
    # 12 h at 60, 4 h at 55 + 5, 8 h at 50 + 10 dB: Lden is 60 dB; held against a year, 31 days are 31/365 of it
    level = {h: 60.0 if 7 <= h < 19 else 55.0 if 19 <= h < 23 else 50.0 for h in range(24)}
    found = long_mean(tmp_path, "lden_db", by_clock(31, level))
    assert found.measured.short[0]
    assert found.measured.lower[0] == pytest.approx(60.0 + 10 * np.log10(31 / 365), abs=0.05)
    assert found.measured.series.median[0, 0] == found.measured.lower[0], "only the certain part counts"


def test_night_level_of_a_year_over_both_changes_of_clocks(tmp_path: Path) -> None:
    # 40 dB in every hour from 23 to 07, far more outside it: Lnight is 40 dB, nights of 7 and 9 hours included
    first = datetime(2027, 1, 1, tzinfo=ZONE)
    rows = by_clock(366, {h: 40.0 if h >= 23 or h < 7 else 75.0 for h in range(24)}, first)
    found = long_mean(tmp_path, "lnight_db", rows)
    assert found.measured.series.median[0].max() == pytest.approx(40.0, abs=1e-6)
    assert found.measured.series.coverage.max() == pytest.approx(1.0, abs=0.005)
    assert not found.exceeded


def test_what_is_worked_out_is_logged_as_what_it_comes_from() -> None:
    assert {"kb_ftr": "kb_fmax", "lnight_db": "laeq_db"}.items() <= WORKED_OUT.items()
