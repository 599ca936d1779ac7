"""Local civil time: dates and clock times of moments, periods of the clock as moments, hours of work.

Days with a change of clocks have 23 or 25 hours: a period runs between its clock times, however long that is.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from envpredict.limits.periods import ALL_DAYS, DAY_S, clock_s, day_words
from envpredict.monitoring.records.stamps import Millis

Dates = NDArray[np.datetime64]
Floats = NDArray[np.float64]
SECOND_MS = 1000
LATEST_MS = 2**62


@dataclass(frozen=True, slots=True)
class Clock:
    """A time zone with its public holidays."""

    time_zone: str
    holidays: tuple[date, ...] = ()

    def local_ms(self, moments: Millis) -> Millis:
        """Return clock times as milliseconds since 1970-01-01T00:00 on the clock; shapes (N,)."""
        import pandas as pd

        index = pd.DatetimeIndex(pd.to_datetime(np.asarray(moments), unit="ms", utc=True))
        return np.asarray(index.tz_convert(self.time_zone).tz_localize(None).as_unit("ms").asi8)

    def dates(self, moments: Millis) -> Dates:
        """Return the local dates of moments."""
        return np.asarray(self.local_ms(moments).astype("datetime64[ms]").astype("datetime64[D]"))

    def moments(self, dates: Dates, seconds: Any) -> Millis:
        """Return the moments of clock times, seconds since midnight on dates; shapes broadcast.

        Seconds above 86400 lie on the next date. In the hour that a change of clocks repeats the first pass is meant;
        in one that it leaves out, its end.
        """
        import pandas as pd

        days, clock = np.broadcast_arrays(np.asarray(dates, dtype="datetime64[D]"), np.asarray(seconds, dtype=np.int64))
        local = days.astype("datetime64[s]") + clock.astype("timedelta64[s]")
        index = pd.DatetimeIndex(local.ravel()).tz_localize(
            self.time_zone, ambiguous=np.ones(local.size, dtype=bool), nonexistent="shift_forward")
        return np.asarray(index.tz_convert("UTC").as_unit("ms").asi8.reshape(local.shape))

    def words(self, dates: Dates) -> NDArray[np.str_]:
        """Return the day word of dates: mon ... sun, or holiday."""
        return day_words(dates, [str(day) for day in self.holidays])


@dataclass(frozen=True, slots=True)
class Hours:
    """Clock hours on certain days; an end at or before the start lies on the next day."""

    days: tuple[str, ...]
    start: str = "00:00"
    end: str = "24:00"

    @property
    def always(self) -> bool:
        """Tell whether no moment lies outside."""
        return set(self.days) >= set(ALL_DAYS) and (self.start, self.end) == ("00:00", "24:00")

    @property
    def seconds(self) -> tuple[int, int]:
        """Return start and end in seconds since midnight of the day on which they start."""
        start, end = clock_s(self.start), clock_s(self.end)
        return start, end if end > start else end + DAY_S


@dataclass(frozen=True, slots=True, eq=False)
class Spans:
    """Spans of time that don't overlap, in order: moments of start and end (K,), and the date each belongs to."""

    start: Millis
    end: Millis
    day: Dates

    def __len__(self) -> int:
        return len(self.start)

    def before(self, moments: Millis) -> Millis:
        """Return how many milliseconds of the spans lie before each moment (N,)."""
        at = np.asarray(moments, dtype=np.int64)
        if not len(self):
            return np.zeros(at.shape, dtype=np.int64)
        total = np.concatenate([[0], np.cumsum(self.end - self.start)])
        index = np.searchsorted(self.start, at, side="right")
        inside = np.where(index > 0, np.minimum(at, self.end[index - 1]) - self.start[index - 1], 0)
        return np.asarray(total[np.maximum(index - 1, 0)] + inside)

    def within(self, start: Millis, end: Millis) -> Millis:
        """Return how many milliseconds of the spans lie between two moments each (N,)."""
        return np.asarray(self.before(end) - self.before(start))

    def after(self, start: Millis, length_ms: Any) -> Millis:
        """Return the moments at which so many milliseconds of the spans have passed since each start (N,).

        Beyond the last span it's a moment that is never reached.
        """
        if not len(self):
            return np.full(np.shape(start), LATEST_MS, dtype=np.int64)
        total = np.cumsum(self.end - self.start)
        wanted = self.before(start) + np.asarray(length_ms, dtype=np.int64)
        index = np.searchsorted(total, wanted, side="left")
        beyond = index >= len(total)
        index = np.minimum(index, len(total) - 1)
        return np.asarray(np.where(beyond, LATEST_MS, self.end[index] - (total[index] - wanted)))

    def holds(self, moments: Millis) -> NDArray[np.intp]:
        """Return the number of the span that holds each moment (N,), -1 where none does; ends belong to the next."""
        if not len(self):
            return np.full(np.shape(moments), -1, dtype=np.intp)
        index = np.searchsorted(self.start, moments, side="right") - 1
        return np.where((index >= 0) & (np.asarray(moments) < self.end[np.maximum(index, 0)]), index, -1)


def spans(clock: Clock, hours: Iterable[Hours], first: np.datetime64, last: np.datetime64) -> Spans:
    """Return the spans of clock hours on every date from `first` to `last`, overlapping ones merged."""
    dates = np.arange(first, last + np.timedelta64(1, "D"), dtype="datetime64[D]")
    words = clock.words(dates)
    starts, ends, days = [], [], []
    for one in hours:
        mine = dates[np.isin(words, one.days)]
        start_s, end_s = one.seconds
        starts.append(clock.moments(mine, start_s))
        ends.append(clock.moments(mine, end_s))
        days.append(mine)
    if not starts:
        none = np.zeros(0, dtype=np.int64)
        return Spans(none, none, none.astype("datetime64[D]"))
    return merged(np.concatenate(starts), np.concatenate(ends), np.concatenate(days))


def blocks_of(clock: Clock, hours: Hours, width_s: float, first: np.datetime64, last: np.datetime64) -> Spans:
    """Return the blocks of an averaging time within a period, on every date from `first` to `last`.

    Blocks follow one another from the period's start; a rest shorter than a block is dropped. A block that takes up the
    whole period is as long as the period is on that date, 23 or 25 hours where clocks change.
    """
    periods = spans(clock, [hours], first, last)
    start_s, end_s = hours.seconds
    whole = int((end_s - start_s) // width_s) <= 1
    if whole or not len(periods):
        return periods
    width = round(1000.0 * width_s)
    counts = (periods.end - periods.start) // width
    number = np.arange(int(counts.sum())) - np.repeat(np.cumsum(counts) - counts, counts)
    begin = np.repeat(periods.start, counts) + number * width
    return Spans(begin, begin + width, np.repeat(periods.day, counts))


def merged(start: Millis, end: Millis, day: Dates) -> Spans:
    """Return spans in order, those that overlap or touch on one day as one."""
    order = np.argsort(start, kind="stable")
    start, end, day = start[order], end[order], day[order]
    keep_start: list[int] = []
    keep_end: list[int] = []
    keep_day: list[np.datetime64] = []
    for begin, finish, date_ in zip(start.tolist(), end.tolist(), day, strict=True):
        if keep_end and (begin < keep_end[-1] or (begin == keep_end[-1] and date_ == keep_day[-1])):
            keep_end[-1] = max(keep_end[-1], finish)
        elif finish > begin:
            keep_start.append(begin)
            keep_end.append(finish)
            keep_day.append(date_)
    return Spans(np.array(keep_start, dtype=np.int64), np.array(keep_end, dtype=np.int64),
                 np.array(keep_day, dtype="datetime64[D]"))


def whole_days(clock: Clock, first: np.datetime64, last: np.datetime64, days: Sequence[str]) -> Spans:
    """Return the days themselves as spans, 23, 24 or 25 hours long."""
    dates = np.arange(first, last + np.timedelta64(1, "D"), dtype="datetime64[D]")
    mine = dates[np.isin(clock.words(dates), days)]
    return Spans(clock.moments(mine, 0), clock.moments(mine, DAY_S), mine)
