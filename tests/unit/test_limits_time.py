"""Periods, seasons and rules that count days, against naive re-implementations on the calendar."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from envpredict.limits.periods import WEEK, Period, Season, clashes, day_words, gaps
from envpredict.limits.persistence import Counted, Lasting, after_months, allowance_broken, triggered


def period(name: str, start: str, end: str, days: object = "all") -> Period:
    return Period.model_validate({"id": name, "label": name, "days": days, "from": start, "to": end})


def test_clock_times() -> None:
    night = period("night", "23:00", "07:00")
    assert (night.start_s, night.end_s, night.length_s) == (82_800, 111_600, 28_800)
    assert (period("day", "00:00", "24:00").start_s, period("day", "00:00", "24:00").end_s) == (0, 86_400)
    assert period("around", "07:00", "07:00").length_s == 86_400
    assert period("work", "07:00", "19:00", "workdays").days == WEEK[:6]
    assert period("rest", "07:00", "19:00", ["sat", "rest_days"]).days == ("sat", "sun", "holiday")
    for wrong in ("7:00", "24:30", "25:00", "07.00"):
        with pytest.raises(ValueError, match="no clock time"):
            period("wrong", wrong, "19:00")


def test_day_words() -> None:
    # 2027-03-01 is a Monday (calendar); a holiday is a holiday whatever its weekday
    dates = np.arange("2027-03-01", "2027-03-09", dtype="datetime64[D]")
    assert day_words(dates).tolist() == [*WEEK, "mon"]
    assert day_words(dates, [dt.date(2027, 3, 3)]).tolist()[2] == "holiday"
    assert [d.strftime("%a").lower() for d in dates.astype(object)] == day_words(dates).tolist()


def test_overlaps_are_found_on_one_day_and_into_the_next() -> None:
    assert not clashes([period("day", "07:00", "23:00"), period("night", "23:00", "07:00")])
    same = clashes([period("day", "07:00", "19:00"), period("evening", "18:00", "23:00")])
    assert len(same) == 1
    assert "'day'" in same[0]
    assert "'evening'" in same[0]
    # the night of Sunday runs into the shoulder hour of Monday
    into = clashes([period("early", "06:30", "07:30", "weekdays"), period("night", "18:00", "07:30", "sun")])
    assert len(into) == 1
    assert "mon" in into[0]
    assert not clashes([period("early", "06:30", "07:30", "weekdays"), period("night", "18:00", "06:30", "sun")])
    # a holiday may follow any day
    assert clashes([period("night", "22:00", "08:00", "tue"), period("day", "07:00", "20:00", "holiday")])
    assert clashes([period("long", "07:00", "08:00"), period("again", "07:30", "09:00")])


def test_gaps_between_periods_of_a_day_are_found() -> None:
    found = gaps([period("day", "07:00", "19:00"), period("evening", "19:30", "23:00")])
    assert len(found) == 1
    assert "19:00 to 19:30" in found[0]
    assert not gaps([period("day", "07:00", "19:00"), period("evening", "19:00", "23:00")])
    assert not gaps([period("week", "07:00", "19:00", "weekdays"), period("saturday", "20:00", "23:00", "sat")])


def test_seasons_may_cross_new_year() -> None:
    winter = Season.model_validate({"from": "09-01", "to": "04-30"})
    spring = Season.model_validate({"from": "03-01", "to": "06-30"})
    days_ = ["2027-08-31", "2027-09-01", "2027-12-31", "2028-02-29", "2028-04-30", "2028-05-01"]
    dates = np.array(days_, dtype="datetime64[D]")
    assert winter.holds(dates).tolist() == [False, True, True, True, True, False]
    assert spring.holds(dates).tolist() == [False, False, False, False, True, True]
    with pytest.raises(ValueError, match="no day of a year"):
        Season.model_validate({"from": "13-01", "to": "04-30"})


def naive_months(day: dt.date, months: int) -> dt.date:
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    for number in range(day.day, 0, -1):
        try:
            return dt.date(year, month + 1, number)
        except ValueError:
            continue
    raise AssertionError


days = st.lists(st.tuples(st.integers(0, 420), st.booleans()), min_size=1, max_size=80, unique_by=lambda pair: pair[0])


@given(st.dates(dt.date(2000, 1, 1), dt.date(2099, 12, 31)), st.integers(1, 30))
def test_months_later(day: dt.date, months: int) -> None:
    assert after_months(np.datetime64(day, "D"), months).item() == naive_months(day, months)


@given(days, st.integers(1, 12), st.integers(1, 40), st.sampled_from(["at_least", "more_than"]),
       st.sampled_from(["calendar_days", "working_days", "months"]))
def test_days_in_a_window_as_counted_by_hand(drawn: list[tuple[int, bool]], count: int, window: int, compare: str,
                                             unit: str) -> None:
    drawn.sort()
    start = dt.date(2027, 1, 31)
    dates = [start + dt.timedelta(days=offset) for offset, _ in drawn]
    flags = [flag for _, flag in drawn]
    window = min(window, 6) if unit == "months" else window
    rule = Counted.model_validate({"kind": "count", "days": count, "compare": compare, "window": window, "unit": unit})
    found = rule.triggered(flags, np.array(dates, dtype="datetime64[D]"))
    best = 0
    for n, first in enumerate(dates):
        if unit == "working_days":
            inside = flags[n : n + window]
        else:
            end = naive_months(first, window) if unit == "months" else first + dt.timedelta(days=window)
            inside = [flag for day, flag in zip(dates, flags, strict=True) if first <= day < end]
        best = max(best, sum(inside))
    assert bool(found) == (best >= count if compare == "at_least" else best > count)


@given(days, st.integers(1, 6))
def test_exceedances_that_last(drawn: list[tuple[int, bool]], months: int) -> None:
    drawn.sort()
    dates = [dt.date(2027, 1, 31) + dt.timedelta(days=offset) for offset, _ in drawn]
    hit = [day for day, (_, flag) in zip(dates, drawn, strict=True) if flag]
    expected = bool(hit) and hit[-1] + dt.timedelta(days=1) >= naive_months(hit[0], months)
    rule = Lasting.model_validate({"kind": "lasting", "months": months})
    assert bool(rule.triggered([flag for _, flag in drawn], np.array(dates, dtype="datetime64[D]"))) == expected


def test_one_month_includes_its_first_and_last_day() -> None:
    rule = Lasting.model_validate({"kind": "lasting", "months": 1})
    dates = np.arange("2027-03-01", "2027-04-01", dtype="datetime64[D]")
    flags = np.zeros(31, dtype=bool)
    flags[[0, 30]] = True
    assert bool(rule.triggered(flags, dates))
    assert not bool(rule.triggered(flags[:30], dates[:30]))


@given(st.lists(st.floats(50.0, 90.0), max_size=40), st.booleans())
def test_day_allowance_as_counted_by_hand(levels: list[float], nested: bool) -> None:
    steps = ((60.0, 8), (65.0, 5), (70.0, 3), (75.0, 1), (80.0, 0))
    broken = False
    for n, (bound, allowed) in enumerate(steps):
        upper = steps[n + 1][0] if n + 1 < len(steps) and not nested else np.inf
        broken |= sum(bound < level <= upper for level in levels) > allowed
    assert bool(allowance_broken(levels, steps, nested=nested)) == broken


def test_draws_are_judged_at_once() -> None:
    rng = np.random.default_rng(5)
    flags = rng.random((7, 3, 30)) < 0.6
    dates = np.arange("2027-03-01", "2027-03-31", dtype="datetime64[D]")
    rules = (Counted(kind="count", days=10, compare="at_least", window=15, unit="calendar_days"),
             Counted(kind="count", days=17, compare="more_than", window=1, unit="months"))
    together = triggered(rules, flags, dates)
    assert together.shape == (7, 3)
    assert together.tolist() == [[bool(triggered(rules, one, dates)) for one in row] for row in flags]
    assert triggered((), flags, dates).tolist() == flags.any(axis=-1).tolist()
    levels = rng.uniform(55, 82, (4, 20))
    steps = ((60.0, 12), (80.0, 0))
    assert allowance_broken(levels, steps).tolist() == [bool(allowance_broken(one, steps)) for one in levels]


def test_dates_must_increase() -> None:
    rule = Counted(kind="count", days=1, compare="at_least", window=5, unit="calendar_days")
    with pytest.raises(ValueError, match="distinct and increasing"):
        rule.triggered([True, True], np.array(["2027-03-02", "2027-03-01"], dtype="datetime64[D]"))
