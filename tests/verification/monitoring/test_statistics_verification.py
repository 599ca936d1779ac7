"""Statistics of records against values from outside: energy means, windows of days, days on which clocks change.

Each case names its source beside its numbers; where a value is recalled it says so.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from records_folder import NOISE, noise_rows, plan, write

from envpredict.limits.load import load_limit_sets
from envpredict.limits.persistence import Counted
from envpredict.monitoring.plan_fields import DAY_WORDS
from envpredict.monitoring.records.civil import Clock, Hours, blocks_of, spans
from envpredict.monitoring.records.read import read_records
from envpredict.monitoring.statistics.capture import expected_rows
from envpredict.monitoring.statistics.collect import collect
from envpredict.monitoring.statistics.judged import windows
from envpredict.monitoring.statistics.means import block_sums, level_db

HERE = Path(__file__).resolve().parent


def cases(name: str) -> list[Mapping[str, str]]:
    with (HERE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("case", cases("energy_means.csv"), ids=lambda case: case["case"])
def test_energy_means_meet_the_printed_values(case: Mapping[str, str]) -> None:
    levels = np.array(case["levels_db"].split(), dtype=float)
    durations = np.array(case["durations_s"].split(), dtype=float)
    period = float(case["period_s"])
    expected = float(case["expected_db"])
    edge = round(period * 1000)
    # levels one after the other; what sounds at once is its rows in a row, in a period as long as one of them
    end = np.cumsum(durations * 1000).astype(np.int64)
    start = end - (durations * 1000).astype(np.int64)
    total, known, valid = block_sums(start, end, 10.0 ** (levels / 10.0), np.ones(len(levels), dtype=bool),
                                     np.array([0]), np.array([max(edge, int(end[-1]))]))
    assert known[0] == valid[0] == end[-1]
    assert level_db(total, np.array([float(edge)]))[0] == pytest.approx(expected, abs=0.05)


def test_the_wrong_mean_would_be_noticed() -> None:
    start, end = np.array([0, 60_000]), np.array([60_000, 600_000])
    total, known, _ = block_sums(start, end, np.array([1e8, 1e6]), np.ones(2, dtype=bool), np.array([0]),
                                 np.array([600_000]))
    assert level_db(total, known)[0] - np.average([80.0, 60.0], weights=[60.0, 540.0]) > 8.0


def test_a_mean_of_equal_levels_is_that_level_to_the_last_digit() -> None:
    # a level equal to its limit meets it: rounding in the mean must not decide
    for level in (55.0, 60.1, 64.9, 65.0, 70.3, 75.0):
        start = np.arange(720, dtype=np.int64) * 60_000
        total, known, _ = block_sums(start, start + 60_000, np.full(720, 10.0 ** (level / 10.0)),
                                     np.ones(720, dtype=bool), np.array([0]), np.array([720 * 60_000]))
        assert level_db(total, known)[0] == level


@pytest.mark.parametrize("case", cases("day_windows.csv"), ids=lambda case: case["case"])
def test_windows_of_days_meet_the_documents(case: Mapping[str, str]) -> None:
    rule = Counted.model_validate({"kind": "count", "days": int(case["days"]), "compare": case["compare"],
                                   "window": int(case["window"]), "unit": case["unit"]})
    days = np.arange(np.datetime64("2027-03-01"), np.datetime64("2027-04-10"))
    above = np.isin(np.arange(len(days)), [int(one) for one in case["exceedance_days"].split()])
    found = windows(days, above, [(rule, rule.threshold - 1)], days[-1])[0]
    assert found.broken is (case["triggered"] == "yes")


@pytest.mark.parametrize("allowed", [0, 1, 9, 39])
@pytest.mark.parametrize("more", [-1, 0, 1])
def test_windows_at_one_day_less_at_the_number_and_at_one_more(allowed: int, more: int) -> None:
    rule = Counted(kind="count", days=allowed + 1, compare="at_least", window=60, unit="calendar_days")
    days = np.arange(np.datetime64("2027-03-01"), np.datetime64("2027-05-30"))
    above = np.arange(len(days)) < allowed + more
    found = windows(days, above, [(rule, allowed)], days[59])[0]
    assert found.most == max(allowed + more, 0)
    assert found.broken is (allowed + more > allowed)
    assert found.left == allowed - max(allowed + more, 0)


def test_six_months_are_months_not_days() -> None:
    rule = Counted(kind="count", days=2, compare="at_least", window=6, unit="months")
    days = np.arange(np.datetime64("2027-03-01"), np.datetime64("2027-12-31"))

    def most(first: str, last: str) -> int:
        above = np.isin(days, np.array([first, last], dtype="datetime64[D]"))
        return windows(days, above, [(rule, 1)], np.datetime64("2027-12-30"))[0].most

    # 31 August is the last day of six months from 1 March, 1 September the first day beyond: 184 days later
    assert most("2027-03-01", "2027-08-31") == 2
    assert most("2027-03-01", "2027-09-01") == 1


# The Energy Saving law of the EU and the United Kingdom: last Sunday of March and of October, at 01:00 UTC.
CHANGES = [(date(2027, 3, 27), 24), (date(2027, 3, 28), 23), (date(2027, 3, 29), 24), (date(2027, 10, 30), 24),
           (date(2027, 10, 31), 25), (date(2027, 11, 1), 24)]


@pytest.mark.parametrize("zone", ["Europe/London", "CET"])
@pytest.mark.parametrize(("day", "hours"), CHANGES)
def test_days_on_which_clocks_change_have_23_or_25_hours(zone: str, day: date, hours: int) -> None:
    clock = Clock(zone)
    assert expected_rows(clock, np.datetime64(day), 300.0) == hours * 12
    # the standard library agrees
    local = ZoneInfo(zone)
    begin = datetime.combine(day, datetime.min.time(), local)
    end = datetime.combine(day + timedelta(days=1), datetime.min.time(), local)
    assert (end.timestamp() - begin.timestamp()) / 3600 == hours
    hourly = blocks_of(clock, Hours(DAY_WORDS), 3600.0, np.datetime64(day), np.datetime64(day))
    assert len(hourly) == hours
    assert hourly.start[0] == round(begin.timestamp() * 1000)
    assert (hourly.day == np.datetime64(day)).all()


@pytest.mark.parametrize(("day", "hours"), [(date(2027, 3, 27), 7), (date(2027, 10, 30), 9), (date(2027, 6, 1), 8)])
def test_a_night_belongs_to_the_day_it_starts_and_has_its_own_length(day: date, hours: int) -> None:
    clock = Clock("Europe/London")
    night = spans(clock, [Hours(DAY_WORDS, "23:00", "07:00")], np.datetime64(day), np.datetime64(day))
    assert (night.end - night.start)[0] == hours * 3_600_000
    assert night.day[0] == np.datetime64(day)
    blocks = blocks_of(clock, Hours(DAY_WORDS, "23:00", "07:00"), 8 * 3600.0, np.datetime64(day), np.datetime64(day))
    assert (blocks.end - blocks.start)[0] == hours * 3_600_000, "one block is the whole night, however long"


@pytest.mark.parametrize(("day", "hours"), [(date(2027, 3, 28), 23), (date(2027, 10, 31), 25)])
def test_complete_records_of_such_a_day_are_complete(tmp_path: Path, day: date, hours: int) -> None:
    start = datetime.combine(day, datetime.min.time(), ZoneInfo("Europe/London"))
    write(tmp_path, noise=[NOISE, *noise_rows(start, [50.0 + n % 7 for n in range(hours * 12)])])
    found = collect(plan(works={"first_piling": None, "last_piling": None}), read_records(tmp_path))
    whole = next(one for one in found.capture if one.station == "N1" and not one.month)
    assert whole.total_h == hours
    assert whole.total_percent == 100.0
    assert not found.gaps
    assert not found.disorder


def test_the_repeated_hour_is_told_apart_by_its_offset(tmp_path: Path) -> None:
    rows = ["N1,2027-10-31T01:30:00+01:00,1800,60", "N1,2027-10-31T01:30:00+00:00,1800,70"]
    write(tmp_path, noise=[NOISE, *rows])
    found = read_records(tmp_path).rows("noise", "N1")
    assert (found.start[1] - found.start[0]) / 3_600_000 == 1.0


def test_the_shipped_rules_that_count_days_are_the_ones_checked_here() -> None:
    found = {(one.days, one.window, one.unit) for limit_set in load_limit_sets().values() for rule in limit_set.rules
             for one in rule.persistence if isinstance(one, Counted) and one.counts == "exceedance"}
    assert (10, 15, "calendar_days") in found
