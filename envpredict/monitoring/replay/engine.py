"""Runs one station's records through its triggers, in the order of arrival; the same events however they're cut up."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from envpredict.core.quantities import QUANTITIES
from envpredict.monitoring.plan_fields import MOVEMENTS
from envpredict.monitoring.records import flags as flag
from envpredict.monitoring.records.civil import LATEST_MS, Clock, spans
from envpredict.monitoring.records.quantities import values_of
from envpredict.monitoring.records.rows import Rows
from envpredict.monitoring.records.stamps import DAY_MS, Millis
from envpredict.monitoring.replay.arrivals import Arrivals, Arrived
from envpredict.monitoring.replay.blocks import Blocks
from envpredict.monitoring.replay.events import Event, event_id, plan_id
from envpredict.monitoring.replay.runs import Runs
from envpredict.monitoring.replay.silence import Down, Moments, Silence
from envpredict.monitoring.replay.triggers import (
    Trigger,
    level_of,
    rate_of,
    rolling_criteria,
    threshold_sum,
    triggers_of,
)
from envpredict.monitoring.replay.windows import Windows

if TYPE_CHECKING:
    from envpredict.monitoring.plan_rows import Station
    from envpredict.monitoring.plan_schema import Plan

LATE_S = 900.0
"""Seconds after which a record is late where the plan states none; an estimate."""
CLOCK_S = 10.0
"""Tolerated error of a clock in seconds where the plan states none; an estimate."""
STEP_S = 60.0
"""Step of running averages where the plan states no logging interval; an estimate."""


@dataclass(frozen=True, slots=True)
class Told:
    """An event and the number of the row by which it was known at last.

    `after`: time alone may have made it known before that row, but after this one (-1: any before); None: the row did.
    """

    row: int
    event: Event
    after: int | None = None


Diary = Callable[[str, int, int], tuple[str, ...] | None]
"""Tells what was going on between two moments near a station, or None where there's no diary."""


def no_diary(_station: str, _start: int, _end: int) -> None:
    """Tell that there's no diary."""
    return


def assumptions(plan: Plan) -> list[str]:
    """Return in words what is assumed where the plan is silent."""
    said = []
    if plan.data.late_after_s is None:
        said.append(f"data.late_after_s isn't stated: {LATE_S:g} s taken (estimate)")
    if plan.data.max_gap_min is None:
        said.append("data.max_gap_min isn't stated: 15 min taken (estimate)")
    if plan.clock.tolerance_s is None:
        said.append(f"clock.tolerance_s isn't stated: {CLOCK_S:g} s taken (estimate)")
    if plan.data.down_stops_work is None:
        said.append("data.down_stops_work isn't stated: a monitor that is down doesn't stop work here")
    return said


@dataclass(frozen=True, slots=True)
class Settings:
    """What holds for every station of a plan."""

    plan: Plan
    clock: Clock
    late_ms: int
    tolerance_ms: int
    down_stops: bool
    rolling: frozenset[str] = frozenset()

    @classmethod
    def of(cls, plan: Plan, clock: Clock) -> Settings:
        """Return what a plan states, with `assumptions` where it's silent."""
        late = LATE_S if plan.data.late_after_s is None else plan.data.late_after_s
        tolerance = CLOCK_S if plan.clock.tolerance_s is None else plan.clock.tolerance_s
        return cls(plan, clock, round(1000.0 * late), round(1000.0 * tolerance), bool(plan.data.down_stops_work),
                   rolling_criteria(plan))


class Engine:
    """One station's triggers and what they must remember."""

    def __init__(self, settings: Settings, station: Station, diary: Diary = no_diary) -> None:
        self.settings, self.station, self.diary = settings, station, diary
        self.triggers = triggers_of(settings.plan, station, settings.rolling)
        self.arrivals = Arrivals(settings.late_ms, settings.tolerance_ms)
        self.silence = Silence(settings.plan, settings.clock, station)
        self.runs = Runs()
        step = round(1000.0 * (station.interval_s or STEP_S))
        self.windows = {number: Windows(step, round(1000.0 * one.width_s), settings.late_ms,
                                        threshold_sum(one, one.lowest))
                        for number, one in enumerate(self.triggers) if one.form == "window"}
        self.blocks = {number: Blocks(settings.clock, one.hours, one.width_s)
                       for number, one in enumerate(self.triggers) if one.form == "block"}
        self.told: dict[str, int] = {}
        self._plan = plan_id(settings.plan)
        self._roles = {tier: tuple(person.role for person in settings.plan.people if tier in person.told_at)
                       for tier in ("alert", "action", "stop")}

    def push(self, rows: Rows, before: Millis | None = None) -> list[Told]:
        """Take records in the order of arrival and return what they tell.

        `before`: how far the records of all stations reached just before each came; left out, the station's own.
        """
        if not len(rows):
            return []
        arrived = self.arrivals.push(rows)
        found = self._late(rows, arrived)
        on_time = ~arrived.late
        reached = arrived.ahead if before is None else before
        fresh = on_time & (reached - rows.end <= self.silence.limit)
        for down in self.silence.push(rows.start, rows.end, arrived.flags, Moments(reached, fresh)):
            found += [Told(down.row, event, down.after) for event in self.down(down)]
        found += self._clashes(rows, arrived) + self._clipped(rows, arrived)
        good = flag.usable(self._weather(rows, arrived.flags)) & on_time
        for number, trigger in enumerate(self.triggers):
            values = values_of(trigger.quantity, self.station, rows.values)
            if values is not None:
                values = np.where(good & self._inside(trigger, rows), values, np.nan)
                found += self._trigger(number, trigger, rows, values)
        found = self._once(sorted(found, key=lambda one: (one.row, one.event.order)))
        self._forget()
        return found

    def _once(self, found: list[Told]) -> list[Told]:
        """Return what hasn't been told before: a record that comes twice tells nothing new."""
        new = []
        for one in found:
            if one.event.id not in self.told:
                self.told[one.event.id] = LATEST_MS if one.event.event == "late" else one.event.slot[1]
                new.append(one)
        return new

    def _weather(self, rows: Rows, flags: flag.Flags) -> flag.Flags:
        """Return the flags with those of the wind and rain in the rows themselves."""
        weather, found = self.settings.plan.weather, flags.copy()
        for name, bound in (("wind_m_s", weather.max_wind_m_s), ("gust_m_s", weather.max_gust_m_s)):
            if bound is not None and name in rows.values:
                found |= np.where(rows.values[name] > bound, flag.WIND, 0).astype(np.int32)
        if weather.rain == "excluded" and "rain_mm" in rows.values:
            found |= np.where(rows.values["rain_mm"] > 0.0, flag.RAIN, 0).astype(np.int32)
        return found

    def _inside(self, trigger: Trigger, rows: Rows) -> np.ndarray:
        """Return which rows start in the hours of a trigger."""
        if trigger.hours.always:
            return np.ones(len(rows), dtype=bool)
        dates = self.settings.clock.dates(np.array([rows.start.min() - DAY_MS, rows.end.max()]))
        return spans(self.settings.clock, [trigger.hours], dates[0], dates[1]).holds(rows.start) >= 0

    def _trigger(self, number: int, trigger: Trigger, rows: Rows, values: np.ndarray) -> list[Told]:
        if trigger.form == "peak":
            return self._peaks(trigger, rows, values + trigger.correction_db)
        rate = rate_of(trigger, values, rows.end - rows.start)
        if trigger.form == "window":
            at, ends, sums = self.windows[number].push(rows.start, rows.end, rate)
            levels = np.array([level_of(trigger, total, 1000.0 * trigger.width_s) for total in sums.tolist()])
            width = round(1000.0 * trigger.width_s)
            return self._reached(trigger, rows, at, ends - width, ends, levels)
        return self._blocks(number, trigger, rows, rate)

    def _peaks(self, trigger: Trigger, rows: Rows, values: np.ndarray) -> list[Told]:
        at = np.flatnonzero(values >= trigger.lowest)
        return self._reached(trigger, rows, at, rows.start[at], rows.end[at], values[at])

    def _reached(self, trigger: Trigger, rows: Rows, at: np.ndarray, start: Millis, end: Millis,
                 levels: np.ndarray) -> list[Told]:
        """Return the events of slots by tier: one for each run of slots that reach it."""
        found: list[Told] = []
        for tier, threshold in trigger.tiers:
            hit = np.flatnonzero(levels >= threshold)
            if hit.size:
                first = self.runs.begin(trigger.rule(tier), start[hit], end[hit])
                found += [Told(int(at[one]), self._alarm(trigger, tier, threshold, rows, int(at[one]),
                                                         (int(start[one]), int(end[one])), float(levels[one])))
                          for one in hit[first].tolist()]
        return found

    def _blocks(self, number: int, trigger: Trigger, rows: Rows, rate: np.ndarray) -> list[Told]:
        found: list[Told] = []
        for start, end, at, sums in self.blocks[number].push(rows.start, rows.end, rate):
            width = replace(trigger, width_s=(end - start) / 1000.0)
            for tier, threshold in trigger.tiers:
                hit = int(np.searchsorted(sums, threshold_sum(width, threshold)))
                name = event_id(self._plan, self.station.id, trigger.rule(tier), (start, end))
                if hit < len(sums) and name not in self.told:
                    row = int(at[hit])
                    level = level_of(trigger, float(sums[hit]), end - start)
                    event = self._alarm(trigger, tier, threshold, rows, row, (start, end), level)
                    known = int(min(rows.end[row], end))
                    sure = "" if known >= end else ", whatever follows in the rest of it"
                    found.append(Told(row, replace(event, t=known, reason=event.reason + sure)))
        return found

    def _alarm(self, trigger: Trigger, tier: Any, threshold: float, rows: Rows, row: int, slot: tuple[int, int],
               level: float) -> Event:
        symbol = (QUANTITIES[trigger.quantity].symbol if trigger.quantity in QUANTITIES
                  else MOVEMENTS[trigger.quantity][1])
        over = {"peak": "", "window": f" over the last {trigger.width_s:g} s",
                "block": " over the averaging time"}[trigger.form]
        reason = f"{symbol} {level:.4g} {trigger.unit}{over} reaches the {tier} level of {threshold:.4g} {trigger.unit}"
        return Event(
            event_id(self._plan, self.station.id, trigger.rule(tier), slot), tier, slot[1], self.station.id,
            trigger.rule(tier), slot, reason, self.station.receptor, trigger.quantity, level, threshold, trigger.unit,
            self.diary(self.station.id, *slot), self._roles.get(tier, ()), file=rows.where(row))

    def down(self, down: Down) -> list[Event]:
        """Return the events of a station that has been silent for too long."""
        words = flag.words(down.flags)
        minutes = (down.at - down.since) / 60_000.0
        why = f"its rows say {', '.join(words)}" if words else "no record"
        limit = self.silence.limit / 60_000.0
        reason = f"no reading for {minutes:.4g} min, of which {limit:.4g} min of working time: {why}"
        return self._down("silent" if not words else words[0], (down.since, down.at), down.at, reason, None)

    def _down(self, why: str, slot: tuple[int, int], at: int, reason: str, file: str | None,
              *, stops: bool = True) -> list[Event]:
        rule = f"monitor_down/{why}"
        event = Event(event_id(self._plan, self.station.id, rule, slot), "monitor_down", at, self.station.id, rule,
                      slot, reason, self.station.receptor, tell=self._roles["stop"] or self._roles["action"], file=file)
        if not (stops and self.settings.down_stops):
            return [event]
        rule = f"{rule}/stop"
        return [event, Event(event_id(self._plan, self.station.id, rule, slot), "stop", at, self.station.id, rule, slot,
                             f"the plan stops work near a monitor that is down: {reason}", self.station.receptor,
                             tell=self._roles["stop"])]

    def _clipped(self, rows: Rows, arrived: Arrived) -> list[Told]:
        hit = np.flatnonzero(((arrived.flags & flag.OVERLOAD) != 0) & ((arrived.flags & flag.DUPLICATE) == 0)
                             & ~arrived.late)
        if not hit.size:
            return []
        first = self.runs.begin("clipped", rows.start[hit], rows.end[hit])
        return [Told(row, event) for row in hit[first].tolist()
                for event in self._down("clipped", (int(rows.start[row]), int(rows.end[row])), int(rows.end[row]),
                                        "the instrument was overloaded: the level was at least the one given",
                                        rows.where(row))]

    def _clashes(self, rows: Rows, arrived: Arrived) -> list[Told]:
        """Return the steps of a clock: the first record of each run that lies on time already taken."""
        found: list[Told] = []
        hit = np.flatnonzero(arrived.clash)
        first = hit[self.runs.begin("clock", rows.start[hit], rows.end[hit])] if hit.size else hit
        for row in first.tolist():
            size = float(arrived.ahead[row] - rows.start[row]) / 1000.0
            slot = (int(rows.start[row]), int(rows.end[row]))
            reason = f"the clock stepped back by {size:.4g} s: this record lies on time that earlier ones have taken"
            events = self._down("clock", slot, slot[1], reason, rows.where(row), stops=False)
            found += [Told(row, event) for event in events]
        return found

    def _late(self, rows: Rows, arrived: Arrived) -> list[Told]:
        """Return the records that came too late: the first of each run, and those that reach a level."""
        late = np.flatnonzero(arrived.late)
        firsts = self.runs.starts("late", arrived.late)
        if not late.size:
            return []
        reasons = dict.fromkeys(firsts.tolist(), "")
        for trigger in self.triggers:
            values = values_of(trigger.quantity, self.station, rows.values) if trigger.form == "peak" else None
            if values is not None:
                usable = flag.usable(arrived.flags[late]) & self._inside(trigger, rows)[late]
                high = late[usable & (values[late] + trigger.correction_db >= trigger.lowest)]
                said = f"; {trigger.quantity} reaches a level of {trigger.criterion}"
                reasons |= {row: reasons.get(row, "") + said for row in high.tolist()}
        found: list[Told] = []
        for row, more in sorted(reasons.items()):
            slot = (int(rows.start[row]), int(rows.end[row]))
            delay = float(arrived.ahead[row] - rows.end[row]) / 1000.0
            reason = f"came {delay:.6g} s after the station's newest record{more}"
            found.append(Told(row, Event(event_id(self._plan, self.station.id, "late", slot), "late", slot[1],
                                         self.station.id, "late", slot, reason, self.station.receptor,
                                         file=rows.where(row))))
        return found

    def _forget(self) -> None:
        """Drop what no record on time can still change; late records are remembered for good."""
        oldest = self.arrivals.newest - self.settings.late_ms - 2 * DAY_MS
        self.told = {name: end for name, end in self.told.items() if end >= oldest}
        for held in self.blocks.values():
            held.forget(oldest)

    def restart(self) -> None:
        """Begin anew after a restart: a level that is reached again is told again at once."""
        self.runs.clear()

    def state(self) -> dict[str, Any]:
        """Return what a restart of the program needs."""
        return {"arrivals": self.arrivals.state(), "silence": self.silence.state(), "runs": self.runs.state(),
                "windows": {str(number): one.state() for number, one in self.windows.items()},
                "blocks": {str(number): one.state() for number, one in self.blocks.items()},
                "told": dict(sorted(self.told.items()))}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up a state."""
        self.arrivals.restore(state["arrivals"])
        self.silence.restore(state["silence"])
        self.runs.restore(state["runs"])
        for number, one in self.windows.items():
            one.restore(state["windows"][str(number)])
        for number, held in self.blocks.items():
            held.restore(state["blocks"][str(number)])
        self.told = {str(name): int(end) for name, end in state["told"].items()}
