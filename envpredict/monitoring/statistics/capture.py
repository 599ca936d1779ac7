"""How complete records are: valid time against working time and against all time, by station and month."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from envpredict.monitoring.plan_fields import DAY_WORDS
from envpredict.monitoring.records import flags as flag
from envpredict.monitoring.records.civil import Clock, Spans, whole_days
from envpredict.monitoring.records.order import Ordered
from envpredict.monitoring.statistics.slots import effective_end

HOUR_MS = 3_600_000.0


@dataclass(frozen=True, slots=True)
class Capture:
    """One station in one month (or as a whole, month ''): hours; `lost_h` by flag word within working time."""

    station: str
    month: str
    working_h: float
    working_valid_h: float
    total_h: float
    total_valid_h: float
    lost_h: dict[str, float]

    @property
    def percent(self) -> float:
        """Return valid working time as a share of working time in percent; NaN where nobody worked."""
        return 100.0 * self.working_valid_h / self.working_h if self.working_h > 0 else float("nan")

    @property
    def total_percent(self) -> float:
        """Return valid time as a share of all time in percent."""
        return 100.0 * self.total_valid_h / self.total_h if self.total_h > 0 else float("nan")


def expected_rows(clock: Clock, day: np.datetime64, interval_s: float) -> int:
    """Return how many intervals a local date holds: fewer or more where clocks change."""
    held = whole_days(clock, day, day, DAY_WORDS)
    return int((held.end[0] - held.start[0]) // round(1000.0 * interval_s))


def capture(readings: Ordered, station: str, work: Spans, clock: Clock, first: int, last: int) -> list[Capture]:
    """Return a station's completeness between two moments: by month, and as a whole in the last entry.

    `work`: the spans in which the station had to measure.
    """
    rows = readings.rows
    end = effective_end(rows)
    start, end = np.clip(rows.start, first, last), np.clip(end, first, last)
    good = flag.complete(rows.flags)
    months = _months(clock, first, last)
    worked = _clipped(work, first, last)
    inside = worked.within(start, end).astype(float)
    seen = int(np.bitwise_or.reduce(rows.flags, initial=0)) & (flag.VOID | flag.AT_LEAST) & ~flag.DUPLICATE
    found = []
    for name, begin, finish in (*months, ("", first, last)):
        bounds = np.array([begin, finish], dtype=np.int64)
        here = slice(*np.searchsorted(start, bounds, side="left").tolist())
        lost = {word: float(inside[here][(rows.flags[here] & bit) != 0].sum()) / HOUR_MS
                for bit, (word, _) in flag.MEANING.items() if bit & seen}
        found.append(Capture(
            station, name, float(np.diff(worked.before(bounds))[0]) / HOUR_MS,
            float(inside[here][good[here]].sum()) / HOUR_MS, (finish - begin) / HOUR_MS,
            float((end[here] - start[here])[good[here]].sum()) / HOUR_MS,
            {word: hours for word, hours in lost.items() if hours > 0}))
    return found


def _months(clock: Clock, first: int, last: int) -> list[tuple[str, int, int]]:
    """Return the local months between two moments, cut at these."""
    dates = clock.dates(np.array([first, max(last - 1, first)]))
    months: NDArray[np.datetime64] = np.arange(dates[0].astype("datetime64[M]"), dates[1].astype("datetime64[M]") + 1)
    edges = clock.moments(np.append(months, months[-1] + 1).astype("datetime64[D]"), 0)
    return [(str(month), max(int(begin), first), min(int(end), last))
            for month, begin, end in zip(months, edges[:-1], edges[1:], strict=True)]


def _clipped(work: Spans, first: int, last: int) -> Spans:
    start, end = np.clip(work.start, first, last), np.clip(work.end, first, last)
    keep = np.flatnonzero(end > start)
    return Spans(start[keep], end[keep], work.day[keep])
