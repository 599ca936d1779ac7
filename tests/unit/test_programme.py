"""The arithmetic of shifts by hand, and clock blocks."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from envpredict.engine.blocks import clock_blocks, inside
from envpredict.engine.programme import Passes
from envpredict.engine.shifts import Shifts, Window
from envpredict.engine.shifts import fill_shifts as fill
from envpredict.limits.periods import Period

HOUR = 3600.0


def fill_shifts(durations_s: np.ndarray, from_s: float, length_s: float) -> Shifts:
    """Lay jobs into shifts of the same hours."""
    return fill(durations_s, [Window(((from_s, from_s + length_s),))] * len(durations_s))


def passes(days: list[str], starts_h: list[float], ends_h: list[float]) -> Passes:
    count = len(days)
    return Passes(np.arange(count), np.ones(count, dtype=int), np.zeros(count, dtype=int),
                  np.array(days, dtype="datetime64[D]"), np.array(starts_h) * HOUR, np.array(ends_h) * HOUR,
                  np.ones(count), np.zeros(count, dtype=bool), np.zeros(count, dtype=bool), ())


def test_ten_piles_of_two_and_a_half_hours_in_ten_hour_shifts() -> None:
    # by hand: four piles fill a shift of 10 h; the fifth starts the next day: 4 + 4 + 2
    laid = fill_shifts(np.full(10, 2.5 * HOUR), 8 * HOUR, 10 * HOUR)
    assert laid.shift.tolist() == [0, 0, 0, 0, 1, 1, 1, 1, 2, 2]
    assert (laid.start_s / HOUR).tolist() == [8.0, 10.5, 13.0, 15.5] * 2 + [8.0, 10.5]


def test_a_pile_that_would_overrun_waits_for_the_next_shift() -> None:
    laid = fill_shifts(np.array([6.0, 6.0, 3.0]) * HOUR, 8 * HOUR, 10 * HOUR)
    assert laid.shift.tolist() == [0, 1, 1]
    assert (laid.end_s / HOUR).tolist() == [14.0, 14.0, 17.0]


def test_a_pile_longer_than_a_shift_goes_on_the_next_day() -> None:
    laid = fill_shifts(np.array([2.0, 25.0, 1.0]) * HOUR, 8 * HOUR, 10 * HOUR)
    assert laid.job.tolist() == [0, 1, 1, 1, 2]
    assert laid.part.tolist() == [0, 0, 1, 2, 0]
    assert laid.shift.tolist() == [0, 1, 2, 3, 3]
    assert (laid.end_s[3] - laid.start_s[3]) / HOUR == pytest.approx(5.0)


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(60.0, 90_000.0), min_size=1, max_size=40))
def test_no_time_is_lost_or_worked_twice(durations: list[float]) -> None:
    laid = fill_shifts(np.array(durations), 8 * HOUR, 10 * HOUR)
    worked = np.bincount(laid.job, weights=laid.end_s - laid.start_s)
    assert worked == pytest.approx(durations)
    assert (laid.start_s >= 8 * HOUR - 1e-6).all()
    assert (laid.end_s <= 18 * HOUR + 1e-6).all()
    order = laid.shift * 86_400 + laid.start_s
    assert (order[1:] >= (laid.shift * 86_400 + laid.end_s)[:-1] - 1e-6).all()


def test_a_duration_that_is_no_time_is_refused() -> None:
    with pytest.raises(ValueError, match="positive, finite"):
        fill_shifts(np.array([1.0, np.nan]), 0.0, 100.0)


def period(start: str, end: str, days: list[str] | str = "all", averaging_s: int | None = None) -> Period:
    return Period.model_validate({"id": "p", "label": "p", "days": days if isinstance(days, list) else [days],
                                  "from": start, "to": end, "averaging_s": averaging_s})


def test_a_block_holds_the_seconds_of_the_passes_inside_it() -> None:
    # 2027-03-01 is a Monday
    work = passes(["2027-03-01", "2027-03-01"], [6.5, 12.0], [7.5, 13.0])
    blocks = clock_blocks(work, period("07:00", "19:00", "weekdays"), ())
    assert len(blocks) == 1
    assert (blocks.overlap_s[:, 0] / HOUR).tolist() == [0.5, 1.0]
    assert blocks.length_s.tolist() == [12 * HOUR]


def test_hourly_blocks_hold_only_the_hours_that_are_worked() -> None:
    work = passes(["2027-03-01"], [9.5], [11.25])
    blocks = clock_blocks(work, period("07:00", "19:00", averaging_s=3600), ())
    assert (blocks.slots.start / HOUR).tolist() == [9.0, 10.0, 11.0]
    assert (blocks.overlap_s[0] / HOUR).tolist() == pytest.approx([0.5, 1.0, 0.25])


def test_a_night_period_belongs_to_the_day_on_which_it_starts() -> None:
    # work from 01:00 to 02:00 on Tuesday (as a shift of Monday that started at 22:00) belongs to Monday's night
    work = passes(["2027-03-01"], [25.0], [26.0])
    blocks = clock_blocks(work, period("23:00", "07:00", ["mon"]), ())
    assert blocks.slots.day.astype(str).tolist() == ["2027-03-01"]
    assert blocks.overlap_s[0, 0] == pytest.approx(HOUR)
    assert not inside(work, period("23:00", "07:00", ["tue"]), ()).any()


def test_a_holiday_counts_as_a_holiday_alone() -> None:
    work = passes(["2027-03-29"], [9.0], [10.0])       # a Monday
    assert inside(work, period("07:00", "19:00", ["mon"]), ()).all()
    assert not inside(work, period("07:00", "19:00", ["mon"]), ["2027-03-29"]).any()
    assert inside(work, period("07:00", "19:00", ["holiday"]), ["2027-03-29"]).all()
