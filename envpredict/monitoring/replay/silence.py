"""When a logger has been silent for too long: working time without a reading, beyond what the plan tolerates."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np

from envpredict.monitoring.plan_fields import DAY_WORDS
from envpredict.monitoring.records import flags as flag
from envpredict.monitoring.records.civil import LATEST_MS, Clock, Hours, Spans, merged, spans
from envpredict.monitoring.records.stamps import DAY_MS, Millis

if TYPE_CHECKING:
    from envpredict.monitoring.plan_rows import Station
    from envpredict.monitoring.plan_schema import Plan

GAP_MIN = 15.0
"""Longest gap in minutes where the plan states none; an estimate."""
NEVER = -(2**62)
DAYS_AHEAD = 400
"""Days for which hours of work are looked up beyond the data."""


def working(plan: Plan, clock: Clock, station: Station, first: np.datetime64, last: np.datetime64) -> Spans:
    """Return the spans in which a station must measure: the hours of the plan's activities, in the phases that name it.

    A plan without activities' hours means all hours; without phases that name the station, the days of piling; without
    those, all days.
    """
    held = [Hours(tuple(one.days) or DAY_WORDS, one.starts or "00:00", one.ends or "24:00") for one in plan.activities]
    if station.kind == "movement" or not held:
        held = [Hours(DAY_WORDS)]
    phases = [(one.first, one.last) for one in plan.phases if station.id in one.stations and one.first and one.last]
    given: list[tuple[date | None, date | None]] = [*phases] or [(plan.works.first_piling, plan.works.last_piling)]
    found = []
    for begin, end in given:
        low = first if begin is None else max(first, np.datetime64(begin, "D"))
        high = last if end is None else min(last, np.datetime64(end, "D"))
        if low <= high:
            found.append(spans(clock, held, low, high))
    if not found:
        none = np.zeros(0, dtype=np.int64)
        return Spans(none, none, none.astype("datetime64[D]"))
    return merged(*(np.concatenate([getattr(one, name) for one in found]) for name in ("start", "end", "day")))


def tolerated_ms(plan: Plan, station: Station) -> int:
    """Return the longest gap of a station in milliseconds of working time.

    It's the plan's, and never less than it takes to notice that a reading is missing: two intervals.
    """
    minutes = plan.data.max_gap_min if plan.data.max_gap_min is not None else GAP_MIN
    return round(1000.0 * max(60.0 * minutes, 2.0 * (station.interval_s or 0.0)))


@dataclass(frozen=True, slots=True, eq=False)
class Moments:
    """How far the records of all stations reached just before each row came, and whether the row is fresh.

    A fresh row is recent enough to show that its station measures.
    """

    before: Millis
    fresh: np.ndarray


@dataclass(frozen=True, slots=True)
class Down:
    """A station that is down: since when it hasn't measured, when that became too long, and how its rows looked.

    `row`: the row that came next; `after`: the last one before; -1 where it isn't among those at hand.
    """

    since: int
    at: int
    flags: int
    row: int = -1
    after: int = -1


class Silence:
    """Watches one station: the end of its last reading, and whether it's been told that it is down."""

    def __init__(self, plan: Plan, clock: Clock, station: Station) -> None:
        self.plan, self.clock, self.station = plan, clock, station
        self.limit = tolerated_ms(plan, station)
        self.last, self.told, self.seen = NEVER, False, 0
        self.last_row = -1
        # rows since the last reading, some maybe after the deadline: their flags, and how far records had reached
        self._tail = (np.zeros(0, dtype=np.int32), np.zeros(0, dtype=np.int64))
        self._spans: Spans | None = None
        self._range = (LATEST_MS, NEVER)

    def begin(self, moment: int) -> None:
        """Expect readings from a moment on, where none has come yet."""
        if self.last == NEVER:
            self.last = moment

    def _deadlines(self, since: Millis) -> Millis:
        """Return when a station that last measured at each moment has been silent for too long."""
        low, high = int(since.min()), int(since.max())
        if self._spans is None or low < self._range[0] or high > self._range[1]:
            dates = self.clock.dates(np.array([low - DAY_MS, high]))
            last = dates[1] + np.timedelta64(DAYS_AHEAD, "D")
            self._spans = working(self.plan, self.clock, self.station, dates[0], last)
            self._range = (low, high + (DAYS_AHEAD // 2) * DAY_MS)
        return self._spans.after(since, self.limit)

    def deadline(self) -> int:
        """Return when the station will have been silent for too long if nothing comes; far off if that was told."""
        if self.told or self.last == NEVER:
            return LATEST_MS
        return int(self._deadlines(np.array([self.last]))[0])

    def expire(self, now: int) -> Down | None:
        """Return that the station is down if it is by now, once."""
        due = self.deadline()
        if due >= now:
            return None
        self.told = True
        return Down(self.last, due, self.seen | _looked(*self._tail, due))

    def push(self, start: Millis, end: Millis, flags: flag.Flags, moments: Moments) -> list[Down]:
        """Take rows in the order of arrival; return when the station was down before any of them.

        It's down where a row leaves a gap behind it that is too long, or where other stations' records were that far
        ahead before it came. It measures again with the first row that isn't itself that far behind.
        """
        self._settle()
        alive = np.flatnonzero((flags & (flag.DOWN | flag.DUPLICATE)) == 0)
        reach = np.maximum.accumulate(np.concatenate([[self.last], end[alive]]))
        since = reach[:-1]
        late_by = np.maximum(start[alive], moments.before[alive]) - since
        wide = np.flatnonzero((late_by > self.limit) & (since > NEVER))
        due = self._deadlines(since[wide]) if wide.size else since[:0]
        back = np.concatenate([[0], np.cumsum(moments.fresh[alive])])
        found: list[Down] = []
        told, until = self.told, 0
        for at, deadline in zip(wide.tolist(), due.tolist(), strict=True):
            row = int(alive[at])
            told = bool(told and back[at] == back[until])
            if deadline < max(start[row], moments.before[row]) and not told:
                first = int(alive[at - 1]) + 1 if at else 0
                seen = (0 if at else self.seen) | _looked(flags[first:row], moments.before[first:row], deadline)
                found.append(Down(int(since[at]), deadline, seen, row, int(alive[at - 1]) if at else -1))
                told, until = True, at
        self.told = bool(told and back[-1] == back[until])
        after = int(alive[-1]) + 1 if alive.size else 0
        self.seen = 0 if alive.size else self.seen
        self._tail = (flags[after:], moments.before[after:])
        self.last = int(reach[-1])
        self.last_row = int(alive[-1]) if alive.size else -1
        return found

    def _settle(self) -> None:
        """Keep how the rows since the last reading looked: by now it's known that no deadline fell among them."""
        self.seen |= _looked(*self._tail, LATEST_MS)
        self._tail = (self._tail[0][:0], self._tail[1][:0])

    def state(self) -> dict[str, Any]:
        """Return what a restart needs."""
        self._settle()
        return {"last": self.last, "told": self.told, "seen": self.seen}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up a state."""
        self.last, self.told, self.seen = int(state["last"]), bool(state["told"]), int(state["seen"])


def _looked(flags: flag.Flags, before: Millis, deadline: int) -> int:
    """Return how rows looked that had come by the time at which records reached beyond a deadline."""
    return int(np.bitwise_or.reduce(flags[before <= deadline], initial=0)) & flag.DOWN
