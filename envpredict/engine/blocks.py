"""Clock blocks of a rule's periods over a programme, and how long each pass works inside each block."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envpredict.core.series import Slots

if TYPE_CHECKING:
    from collections.abc import Iterable

    from envpredict.engine.works.programme import Passes
    from envpredict.limits.periods import Period

Floats = NDArray[np.float64]
DAY_S = 86_400.0


@dataclass(frozen=True, slots=True, eq=False)
class Blocks:
    """Blocks of an averaging time (S) inside a rule's period, only those in which something works.

    `overlap_s` (N, S): seconds of each pass inside each block; `slots`: day and clock times of the blocks; `from_abs`,
    `to_abs` (S): the same in seconds since the epoch, local time; `length_s` (S): the time over which is averaged.
    """

    slots: Slots
    overlap_s: Floats
    length_s: Floats
    from_abs: Floats
    to_abs: Floats

    def __len__(self) -> int:
        return len(self.length_s)

    def only(self, keep: NDArray[np.bool_]) -> Blocks:
        """Return the chosen blocks."""
        return Blocks(self.slots.take(keep), self.overlap_s[:, keep], self.length_s[keep], self.from_abs[keep],
                      self.to_abs[keep])


@dataclass(frozen=True, slots=True, eq=False)
class Stretches:
    """Stretches of passes inside a rule's period (S): the passes themselves, cut where the period begins and ends.

    `which` (S): number of the pass; `from_abs`, `to_abs` (S): seconds since the epoch, local time.
    """

    slots: Slots
    which: NDArray[np.int64]
    from_abs: Floats
    to_abs: Floats

    def __len__(self) -> int:
        return len(self.which)

    def only(self, keep: NDArray[np.bool_]) -> Stretches:
        """Return the chosen stretches."""
        return Stretches(self.slots.take(keep), self.which[keep], self.from_abs[keep], self.to_abs[keep])


def absolute(day: NDArray[np.datetime64], seconds: Floats) -> Floats:
    """Return local clock times as seconds since the epoch, local time."""
    return np.asarray(day.astype("datetime64[D]").astype(np.int64) * DAY_S + seconds, dtype=float)


def span(passes: Passes) -> tuple[Floats, Floats]:
    """Return begin and end of every pass (N) in seconds since the epoch, local time."""
    return absolute(passes.day, passes.start_s), absolute(passes.day, passes.end_s)


def period_dates(passes: Passes, period: Period, holidays: Iterable[Any]) -> NDArray[np.datetime64]:
    """Return the dates near the programme on which a period starts; days are its own words (mon ... sun, holiday)."""
    from envpredict.limits.periods import day_words

    near = np.unique(np.concatenate([passes.day, passes.day - np.timedelta64(1, "D"),
                                     passes.day + np.timedelta64(1, "D")]))
    return np.asarray(near[np.isin(day_words(near, holidays), period.days)])


def _edges(period: Period, averaging_s: float | None) -> Floats:
    """Return the block edges of one day's period in seconds since midnight; a rest shorter than a block is dropped."""
    length = averaging_s or period.averaging_s or (period.end_s - period.start_s)
    count = max(int((period.end_s - period.start_s) // length), 1)
    return period.start_s + length * np.arange(count + 1, dtype=float)


def _blocks(passes: Passes, label: str, day: NDArray[np.datetime64], start: Floats, end: Floats) -> Blocks:
    """Return those of some intervals in which the programme works, each averaged over its own length."""
    begin, finish = span(passes)
    from_, to = absolute(day, start), absolute(day, end)
    overlap = np.minimum(finish[:, None], to[None, :]) - np.maximum(begin[:, None], from_[None, :])
    overlap = np.clip(overlap, 0.0, None)
    busy = overlap.sum(axis=0) > 1e-9
    slots = Slots(day[busy], start[busy], end[busy], np.full(int(busy.sum()), label))
    return Blocks(slots, overlap[:, busy], (end - start)[busy], from_[busy], to[busy])


def clock_blocks(passes: Passes, period: Period, holidays: Iterable[Any], averaging_s: float | None = None) -> Blocks:
    """Return the blocks of a period in which the programme works.

    A period belongs to the local date on which it starts. `averaging_s` replaces the period's averaging time; without
    any the block is the whole period. Where the rule averages over the time of work alone, that is the block's length.
    """
    dates = period_dates(passes, period, holidays)
    edges = _edges(period, averaging_s)
    per_day = len(edges) - 1
    day = np.repeat(dates, per_day)
    found = _blocks(passes, period.label, day, np.tile(edges[:-1], len(dates)), np.tile(edges[1:], len(dates)))
    if period.averaging == "operation" and averaging_s is None:
        worked = np.array([_worked_s(passes, low, high) for low, high in zip(found.from_abs, found.to_abs,
                                                                             strict=True)])
        found = replace(found, length_s=worked if len(worked) else found.length_s)
    return found


def _worked_s(passes: Passes, from_abs: float, to_abs: float) -> float:
    """Return the time between two moments during which any rig works."""
    begin, finish = span(passes)
    low, high = np.clip(begin, from_abs, to_abs), np.clip(finish, from_abs, to_abs)
    order = np.argsort(low, kind="stable")
    low, high = low[order], np.maximum.accumulate(high[order])
    return float(np.sum(np.maximum(high - np.maximum(low, np.append(from_abs, high[:-1])), 0.0)))


def daily_hours(passes: Passes, period: Period, holidays: Iterable[Any]) -> float | None:
    """Return the mean time of work in h, within a period, of the days on which there's any; None where there's none."""
    days = clock_blocks(passes, period, holidays, float(period.end_s - period.start_s))
    worked = [_worked_s(passes, low, high) for low, high in zip(days.from_abs, days.to_abs, strict=True)]
    return float(np.mean(worked)) / 3600.0 if worked else None


def rolling_blocks(passes: Passes, period: Period, holidays: Iterable[Any], length_s: float,
                   moments_abs: Floats) -> Blocks:
    """Return averages that may start at any moment: those that begin or end at one of the given moments.

    The highest mean over a window begins or ends where something starts or stops. Windows that would leave the period
    are moved to its edge; a period shorter than the window is a window itself.
    """
    dates = period_dates(passes, period, holidays)
    length = min(length_s, float(period.end_s - period.start_s))
    rows: list[tuple[np.datetime64, float]] = []
    for date in dates:
        zero = float(absolute(np.array([date]), np.zeros(1))[0])
        low, high = zero + period.start_s, zero + period.end_s
        inside_ = moments_abs[(moments_abs >= low) & (moments_abs <= high)]
        starts = np.clip(np.concatenate([inside_, inside_ - length]), low, high - length)
        rows += [(date, start - zero) for start in np.unique(np.round(starts, 3))]
    day = np.array([row[0] for row in rows], dtype="datetime64[D]")
    start = np.array([row[1] for row in rows], dtype=float)
    return _blocks(passes, period.label, day, start, start + length)


def stretches(passes: Passes, period: Period | None, holidays: Iterable[Any]) -> Stretches:
    """Return the passes as far as they lie inside a period; all of them, whole, without one.

    A stretch belongs to the date on which its period starts, or to that of its shift.
    """
    begin, finish = span(passes)
    if period is None:
        slots = Slots(passes.day, passes.start_s, passes.end_s, passes.pile.astype(str))
        return Stretches(slots, np.arange(len(begin), dtype=np.int64), begin, finish)
    dates = period_dates(passes, period, holidays)
    low = absolute(dates, np.full(len(dates), float(period.start_s)))
    high = absolute(dates, np.full(len(dates), float(period.end_s)))
    from_, to = np.maximum(begin[:, None], low), np.minimum(finish[:, None], high)
    which, number = np.nonzero(to - from_ > 1e-9)
    zero = absolute(dates, np.zeros(len(dates)))[number]
    from_, to = from_[which, number], to[which, number]
    slots = Slots(dates[number], from_ - zero, to - zero, passes.pile[which].astype(str))
    return Stretches(slots, which.astype(np.int64), from_, to)


def inside(passes: Passes, period: Period, holidays: Iterable[Any]) -> NDArray[np.bool_]:
    """Return, per pass, whether any part of it lies inside the period."""
    return np.asarray(clock_blocks(passes, period, holidays, None).overlap_s.sum(axis=1) > 1e-9)
