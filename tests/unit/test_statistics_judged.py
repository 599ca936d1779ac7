"""Measured levels judged like predicted ones: means with their coverage, peaks by axis, days in windows, agreement."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from records_folder import MONDAY, NOISE, VIBRATION, WORKS, noise_rows, plan, vibration_rows, write

from envpredict.core.series import LevelSeries, Slots
from envpredict.engine.chances.judge import judge
from envpredict.engine.chances.judge_rule import judge_rule
from envpredict.limits.load import load_limit_sets
from envpredict.monitoring.plan_schema import Plan
from envpredict.monitoring.records.read import read_records
from envpredict.monitoring.statistics.collect import Statistics, collect
from envpredict.monitoring.statistics.judged import Judged, window_of
from envpredict.monitoring.statistics.means import budget_db, running_highest, site_only_db
from envpredict.monitoring.statistics.tables import TABLES, csv_files, frames, text

NINE = MONDAY.replace(hour=9)


def gathered(folder: Path, plan_: Plan | None = None, *, predicted: Mapping[tuple[str, str, str], float] | None = None,
             **tables: Any) -> Statistics:
    write(folder, **tables)
    return collect(plan_ or plan(), read_records(folder), predicted=predicted)


def of(found: Statistics, criterion: str, receptor: str = "H1") -> Judged:
    return next(one for one in found.judged if one.measured.asked.criterion.id == criterion
                and one.measured.points[one.point] == receptor)


def changed(base: Plan, criterion: str, **values: Any) -> Plan:
    """Return a plan with one criterion changed."""
    rows = tuple(one.model_copy(update=values) if one.id == criterion else one for one in base.criteria)
    return base.model_copy(update={"criteria": rows})


def test_a_mean_is_that_of_its_valid_time_and_says_how_much_that_is(tmp_path: Path) -> None:
    # 12 hours from 07:00 at 60 dB, of which the first two hours are missing
    rows = noise_rows(MONDAY.replace(hour=9), [60.0 + 0.001 * (n % 2) for n in range(120)])
    one = of(gathered(tmp_path, noise=[NOISE, *rows]), "noise")
    assert one.measured.series.coverage[0] == pytest.approx(10 / 12)
    assert one.measured.series.median[0, 0] == pytest.approx(60.0, abs=0.01)
    assert one.measured.lower[0] == pytest.approx(60.0 + 10 * np.log10(10 / 12), abs=0.01)
    assert not one.measured.short[0]


def test_with_too_little_valid_time_only_the_certain_part_counts(tmp_path: Path) -> None:
    rows = noise_rows(MONDAY.replace(hour=9), [72.0 + 0.001 * (n % 2) for n in range(24)])
    found = gathered(tmp_path, noise=[NOISE, *rows])
    one = of(found, "noise")
    # two hours of twelve: 72 - 7.8 = 64.2 dB are certain, 72 dB are not shown as the day's level
    assert one.measured.short[0]
    assert one.measured.series.median[0, 0] == pytest.approx(72.0 + 10 * np.log10(2 / 12), abs=0.01)
    assert not one.exceeded
    louder = gathered(tmp_path / "b", noise=[NOISE, *(row.replace(",72.", ",75.") for row in rows)])
    assert of(louder, "noise").above.tolist() == [True], "certain even if all the rest was silent"


def test_clipped_readings_raise_the_mean_but_not_the_coverage(tmp_path: Path) -> None:
    rows = [f"{row},{int(n == 3)}" for n, row in enumerate(noise_rows(MONDAY.replace(hour=7), [60.0 + n % 3 for n in
                                                                                              range(144)]))]
    one = of(gathered(tmp_path, noise=[NOISE + ",overload", *rows]), "noise")
    assert one.measured.series.coverage[0] == pytest.approx(143 / 144)
    assert one.measured.series.median[0, 0] == pytest.approx(one.measured.lower[0])


def test_proxies_are_judged_with_their_transfer(tmp_path: Path) -> None:
    # H2 is judged at V1, 4.4 dB below: 10 mm/s there are 6.0 mm/s here
    found = gathered(tmp_path, vibration=[VIBRATION, *vibration_rows(NINE, [0.1, 12.0, 0.1])])
    here, there = of(found, "damage"), of(found, "damage", "H2")
    assert here.exceeded
    assert not there.exceeded
    assert there.measured.series.median[1, 0] == pytest.approx(12.0 * 10 ** (-4.4 / 20))


def test_a_level_equal_to_the_limit_meets_it(tmp_path: Path) -> None:
    at, above = (gathered(tmp_path / name, vibration=[VIBRATION, *vibration_rows(NINE, [0.1, peak, 0.1])])
                 for name, peak in (("at", 10.0), ("above", 10.01)))
    assert not of(at, "damage").exceeded
    assert of(above, "damage").exceeded
    # the alarm goes off at the level all the same
    assert any(event.event == "stop" for event in at.replayed.events)


def test_records_and_predictions_are_judged_by_the_same_code(tmp_path: Path) -> None:
    """The series of records, handed to the engine's judge as a prediction without scatter, gets the same verdict."""
    rows = [row for day in range(1, 24) for row in noise_rows(
        MONDAY.replace(day=day, hour=7), [(66.5 if day % 3 else 60.0) + 0.01 * (n % 5) for n in range(144)])]
    found = gathered(tmp_path, changed(plan(), "noise", counts_days=False), noise=[NOISE, *rows])
    one = of(found, "noise")
    assert one.whole_rule
    rule = next(rule for rule in load_limit_sets()["bs_5228_1_2009"].rules if rule.id == "abc")
    series = one.measured.series
    none = np.zeros(series.median.shape)
    predicted = LevelSeries("laeq_db", "facade", Slots(series.slots.day, series.slots.start, series.slots.end,
                                                       series.slots.label), series.median, none, none,
                            np.ones(none.shape, dtype=bool))
    theirs, _ = judge_rule(predicted, rule, np.array([65.0]), 0.05)
    assert one.judgement.p_exceed.tolist() == theirs.p_exceed.tolist()
    assert one.judgement.days.tolist() == judge(predicted, np.array([65.0]), 0.05).days.tolist()
    assert int(one.above.sum()) == int(one.judgement.days[0])


def test_days_above_are_counted_in_the_documents_windows(tmp_path: Path) -> None:
    def days(loud: int) -> Statistics:
        working = [day for day in range(1, 20) if MONDAY.replace(day=day).weekday() < 5]
        rows = [row for number, day in enumerate(working) for row in
                noise_rows(MONDAY.replace(day=day, hour=7), [(66.0 if number < loud else 60.0) + 0.01 * (n % 5)
                                                             for n in range(144)])]
        return gathered(tmp_path / str(loud), noise=[NOISE, *rows])

    nine, ten = days(9), days(10)
    assert not of(nine, "noise").exceeded
    assert of(ten, "noise").exceeded, "ten days above in fifteen trigger the rule, one day alone doesn't"
    window = {count.window: count for one, count in ten.windows if one.measured.asked.criterion.id == "noise"}
    fifteen = window["any 15 consecutive calendar days"]
    assert (fifteen.most, fifteen.allowed, fifteen.broken) == (10, 9, True)
    assert (str(fifteen.first), str(fifteen.last)) == ("2027-03-01", "2027-03-15")
    assert window["any 6 months"].most == 10
    assert window["any 6 months"].now == 10


def test_the_running_mean_of_a_rule_may_start_at_any_moment() -> None:
    start = np.arange(12, dtype=np.int64) * 300_000
    levels = np.array([50.0, 50, 50, 50, 80, 80, 50, 50, 50, 50, 50, 50])
    span = np.zeros(12, dtype=np.int64)
    best, row = running_highest(start, start + 300_000, 10 ** (levels / 10), span, np.array([0]), 900_000)
    assert row[0] in (5, 6)
    assert 10 * np.log10(best[0] / 900_000) == pytest.approx(10 * np.log10((2e8 + 1e5) / 3))


def test_budget_and_subtraction() -> None:
    # after 6 of 12 hours at the limit exactly the limit is left; 3 dB below leaves 1.76 dB more; used up, nothing
    assert budget_db(65.0, 65.0, 6 * 3600, 12 * 3600) == pytest.approx(65.0)
    assert budget_db(65.0, 62.0, 6 * 3600, 12 * 3600) == pytest.approx(10 * np.log10(2 * 10**6.5 - 10**6.2))
    assert budget_db(65.0, 70.0, 6 * 3600, 12 * 3600) == -np.inf
    assert budget_db(65.0, np.nan, 0.0, 3600) == pytest.approx(65.0)
    assert site_only_db(60.0, 50.0) == pytest.approx(59.54, abs=0.01)
    assert np.isnan(site_only_db(52.9, 50.0))
    for bad in ((3600, 3600), (-1, 3600)):
        with pytest.raises(ValueError, match="elapsed_s"):
            budget_db(65.0, 60.0, *bad)


def test_the_budget_of_the_running_period_and_the_sites_own_level(tmp_path: Path) -> None:
    # from 07:00 to 13:00 at 62 dB: half of the 12 hours; the limit of 65 dB leaves 66.8 dB for the rest
    rows = noise_rows(MONDAY.replace(hour=7), [62.0 + 0.001 * (n % 2) for n in range(72)])
    found = gathered(tmp_path, noise=[NOISE, *rows])
    one = next(budget for budget in found.budgets if budget.receptor == "H1")
    assert (one.elapsed_s, one.limit_db) == (6 * 3600.0, 65.0)
    assert one.so_far_db == pytest.approx(62.0, abs=0.01)
    assert one.left_db == pytest.approx(10 * np.log10(2 * 10**6.5 - 10**6.2), abs=0.01)
    tables = frames(found)
    assert tables["budget"].loc[0, "left"] == pytest.approx(66.76, abs=0.02)
    # the plan's baseline is 62.4 dB: nothing can be told of the site from a total of 59 dB; of 70 dB most is its own
    loud = noise_rows(MONDAY.replace(hour=7), [70.0 + 0.001 * (n % 2) for n in range(144)])
    whole = gathered(tmp_path / "b", noise=[NOISE, *loud])
    assert not whole.budgets
    assert frames(whole)["levels"].loc[0, "site_only"] == pytest.approx(10 * np.log10(10**7 - 10**6.24), abs=0.01)
    assert tables["levels"]["site_only"].isna().all()


CURVE = {"limit_set": "din_4150_3_1999", "rule": "foundation", "receptor_class": "line_2", "value": 5.0,
         "consented_value": None}


@pytest.mark.parametrize(("hertz", "limit"), [(5, 5.0), (10, 5.0), (30, 10.0), (50, 15.0), (75, 17.5), (100, 20.0),
                                              (200, 20.0)])
def test_each_peak_meets_the_limit_at_its_own_frequency(tmp_path: Path, hertz: float, limit: float) -> None:
    # DIN 4150-3, Table 1, line 2: 5 mm/s up to 10 Hz, 5 to 15 at 10 to 50 Hz, 15 to 20 at 50 to 100 Hz (read at second
    # hand), straight lines between (memory)
    found = gathered(tmp_path, changed(plan(), "damage", **CURVE),
                     vibration=[VIBRATION, *vibration_rows(NINE, [0.1, 8.0, 0.1], hertz=hertz)])
    worst = {one.axis: one for one in found.axes if one.criterion == "damage"}
    assert set(worst) == {"x", "y", "z"}
    assert worst["z"].limit_mm_s == pytest.approx(limit)
    assert worst["z"].used == pytest.approx(8.0 / limit)
    assert worst["z"].above == (1 if limit < 8.0 else 0)
    assert worst["x"].highest_mm_s == 4.0, "each axis by itself, never the vector sum"
    assert worst["z"].where == "vibration.csv, line 3"
    assert worst["z"].margin_db == pytest.approx(20 * np.log10(limit / 8.0))


def test_without_a_frequency_the_plans_own_value_stands_in(tmp_path: Path) -> None:
    rows = [row.replace(",20.0,20.0,20.0,", ",,,,") for row in vibration_rows(NINE, [0.1, 8.0])]
    found = gathered(tmp_path, changed(plan(), "damage", **CURVE), vibration=[VIBRATION, *rows])
    worst = next(one for one in found.axes if one.axis == "z" and one.criterion == "damage")
    assert (worst.limit_mm_s, worst.fallback, worst.above) == (5.0, 2, 1)


def test_a_limit_on_the_vector_sum_isnt_judged_by_the_axes(tmp_path: Path) -> None:
    base = changed(plan(), "damage", quantity="ppv_resultant")
    found = gathered(tmp_path, base, vibration=[VIBRATION, *vibration_rows(NINE, [0.1, 8.0])])
    assert ("V1", "damage", "ppv_resultant isn't recorded") in found.unanswered


def test_measured_less_predicted_by_method(tmp_path: Path) -> None:
    rows = vibration_rows(NINE, [0.1] * 60 + [3.0] + [0.1] * 59 + [0.75] + [0.1] * 20)
    works = [WORKS, "2027-03-01T09:05:00Z,2027-03-01T09:15:00Z,pressing,press,P1",
             "2027-03-01T09:15:01Z,2027-03-01T09:25:00Z,pressing,press,P2",
             "2027-03-01T09:26:00Z,2027-03-01T09:27:00Z,other,hammer,P3"]
    found = gathered(tmp_path, vibration=[VIBRATION, *rows], works=works)
    one = next(row for row in found.agreement if row.criterion == "damage")
    # predicted median 1.5 mm/s; piles at 3.0 and 0.75 mm/s: +6.02 and -6.02 dB
    assert (one.method, one.count, one.predicted) == ("press", 2, 1.5)
    assert one.mean_db == pytest.approx(0.0, abs=1e-9)
    assert one.ratio == pytest.approx(1.0)
    assert one.p95_db == pytest.approx(np.percentile([6.0206, -6.0206], 95), abs=1e-3)
    assert not [row for row in found.agreement if row.method == "hammer"], "nothing is predicted for it"
    other = gathered(tmp_path / "b", vibration=[VIBRATION, *rows], works=works,
                     predicted={("H1", "damage", "press"): 0.75})
    assert next(row for row in other.agreement if row.criterion == "damage").mean_db == pytest.approx(6.02, abs=0.01)


@pytest.mark.parametrize(("text_", "size", "unit"), [
    ("15 days", 15, "calendar_days"), ("15 calendar days", 15, "calendar_days"),
    ("10 working days", 10, "working_days"), ("6 months", 6, "months"), ("2 weeks", 14, "calendar_days"),
    ("1 month", 1, "months")])
def test_windows_written_in_words(text_: str, size: int, unit: str) -> None:
    window = window_of(text_)
    assert window is not None
    assert (window.window, window.unit) == (size, unit)


@pytest.mark.parametrize("text_", ["", "a fortnight", "0 days", "15", "the works, above 70 dB"])
def test_windows_that_cant_be_read_are_none(text_: str) -> None:
    assert window_of(text_) is None


def test_every_table_has_its_columns_and_says_what_they_mean(tmp_path: Path) -> None:
    found = gathered(tmp_path, changed(plan(), "damage", **CURVE),
                     noise=[NOISE, *noise_rows(MONDAY.replace(hour=7), [66.0 + n % 3 for n in range(144)])],
                     vibration=[VIBRATION, *vibration_rows(NINE, [0.1, 8.0, 12.0])],
                     works=[WORKS, "2027-03-01T08:00:00Z,2027-03-01T17:00:00Z,pressing,press,P1"])
    tables = frames(found)
    assert set(tables) == set(TABLES)
    for name, (_, columns) in TABLES.items():
        assert list(tables[name].columns) == list(columns)
        assert all(columns.values()), name
    files = csv_files(found)
    assert {"compliance.csv", "exceedances.csv", "axes.csv", "capture.csv", "levels.csv", "agreement.csv"} <= set(files)
    assert "no safety system" in text(found)
    assert "EXCEEDED damage at H1 (V1)" in text(found)


def test_completeness_is_told_by_month_and_by_hours_of_work(tmp_path: Path) -> None:
    last = MONDAY.replace(day=31, hour=8)
    rows = [*noise_rows(last, [50.0 + n % 5 for n in range(54)]),
            *noise_rows(last + timedelta(days=1), [50.0 + n % 5 for n in range(108)])]
    found = gathered(tmp_path, noise=[NOISE, *rows])
    mine = {one.month: one for one in found.capture if one.station == "N1"}
    # work from 08:00 to 17:00; on 31 March half of it was measured, on 1 April all
    assert (mine["2027-03"].working_h, mine["2027-03"].percent) == (9.0, 50.0)
    assert (mine["2027-04"].working_h, mine["2027-04"].percent) == (9.0, 100.0)
    assert mine[""].percent == 75.0
