"""Goes through a plan's stations once, one at a time, and gathers every statistic and every event on the way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from envpredict.limits.load import load_limit_sets
from envpredict.limits.values import DayAllowance
from envpredict.methods.load import load_methods
from envpredict.monitoring.predicted import period_of
from envpredict.monitoring.records import flags as flag
from envpredict.monitoring.records.civil import merged
from envpredict.monitoring.records.context import Context, context
from envpredict.monitoring.records.order import Disorder, Ordered
from envpredict.monitoring.records.quantities import MEANS
from envpredict.monitoring.records.stamps import DAY_MS
from envpredict.monitoring.replay.batch import Replayed, Runner, with_restarts
from envpredict.monitoring.replay.events import Event
from envpredict.monitoring.replay.silence import working
from envpredict.monitoring.statistics.agreement import Agreement, Medians, agreement
from envpredict.monitoring.statistics.axes import AxisPeak, axis_peaks
from envpredict.monitoring.statistics.capture import Capture, capture
from envpredict.monitoring.statistics.exceedances import Exceedance, exceedances
from envpredict.monitoring.statistics.judged import Judged, WindowCount, counted_by, judged, plans_windows, windows
from envpredict.monitoring.statistics.means import budget_db
from envpredict.monitoring.statistics.measured import measured
from envpredict.monitoring.statistics.slots import Asked

if TYPE_CHECKING:
    from envpredict.limits.rule import Rule
    from envpredict.limits.schema import LimitSet
    from envpredict.monitoring.plan_rows import CountWindow, Criterion, Station
    from envpredict.monitoring.plan_schema import Plan
    from envpredict.monitoring.records.read import Records


@dataclass(frozen=True, slots=True)
class Gap:
    """Time without any record of a station; `working_s` of it in its hours of work."""

    station: str
    start: int
    end: int
    working_s: float


@dataclass(frozen=True, slots=True)
class Budget:
    """An averaging time that is still running when the records end, and what its rest may still have (dB).

    `left_db`: the level for the rest with which the whole just meets its limit; -inf where that is used up.
    """

    station: str
    receptor: str
    criterion: str
    start: int
    end: int
    elapsed_s: float
    so_far_db: float
    limit_db: float
    left_db: float


@dataclass(frozen=True, slots=True)
class Kept:
    """What is remembered of a station's readings: its span and how many rows carry each flag."""

    station: str
    table: str
    rows: int
    first: int
    last: int
    flags: Mapping[str, int]


@dataclass(eq=False)
class Statistics:
    """Everything that a plan's records show; lists in the order of the plan's stations and criteria."""

    whole: Context
    first: int = 0
    last: int = 0
    kept: list[Kept] = field(default_factory=list)
    judged: list[Judged] = field(default_factory=list)
    windows: list[tuple[Judged, WindowCount]] = field(default_factory=list)
    steps: list[tuple[Judged, float, int, int]] = field(default_factory=list)
    budgets: list[Budget] = field(default_factory=list)
    axes: list[AxisPeak] = field(default_factory=list)
    capture: list[Capture] = field(default_factory=list)
    gaps: list[Gap] = field(default_factory=list)
    disorder: list[tuple[str, Disorder]] = field(default_factory=list)
    agreement: list[Agreement] = field(default_factory=list)
    exceedances: list[Exceedance] = field(default_factory=list)
    unanswered: list[tuple[str, str, str]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    replayed: Replayed = field(default_factory=lambda: Replayed((), (), ()))


def collect(plan: Plan, records: Records, *, register: Mapping[str, LimitSet] | None = None,
            predicted: Medians | None = None) -> Statistics:
    """Return the statistics of a plan's records.

    `register`: the known limit sets, the shipped ones by default; `predicted`: medians by receptor, criterion and
    method to compare with, the plan's own by default. Raises InputProblems where records and plan don't fit together.
    """
    whole = context(plan, records)
    first, last = records.extent()
    gathered = Statistics(whole, first, last)
    collector = _Collector(gathered, load_limit_sets() if register is None else register,
                           _stated(plan) if predicted is None else predicted)
    events: list[Event] = []
    for station in plan.stations:
        events += collector.station(station)
    gathered.replayed = with_restarts(whole, events)
    order = {event.id: number for number, event in enumerate(gathered.replayed.events)}
    gathered.exceedances.sort(key=lambda one: order[one.event.id])
    gathered.notes += gathered.replayed.notes
    return gathered


def _stated(plan: Plan) -> Medians:
    """Return the medians that a plan states."""
    return {(row.receptor, row.criterion, row.method): row.median for row in plan.predictions
            if row.median is not None}


class _Collector:
    def __init__(self, found: Statistics, register: Mapping[str, LimitSet], predicted: Medians) -> None:
        self.found, self.register, self.predicted = found, register, predicted
        self.whole = found.whole
        self.runner = Runner(self.whole, found.first, found.last)
        self.criteria = {criterion.id: criterion for criterion in self.whole.plan.criteria}
        diary = self.runner.diary
        day = self.whole.clock.dates(diary.start) if len(diary.start) else diary.start.astype("datetime64[D]")
        self.work = merged(diary.start, diary.end, day) if len(diary.start) else None

    def station(self, station: Station) -> list[Event]:
        """Gather what one station shows, and return its events."""
        arrived = self.whole.records.rows(station.kind, station.id)
        events = self.runner.events(station, arrived)
        readings = self.whole.ordered(arrived, station.kind, station.id)
        del arrived
        if not len(readings.rows):
            self.found.unanswered += [(station.id, name, "no reading") for name in station.criteria]
            self._completeness(station, readings)
            return events
        self.found.kept.append(_kept(station, readings))
        self.found.disorder += [(station.id, one) for one in readings.disorder]
        self._completeness(station, readings)
        self.found.exceedances += exceedances(events, readings, station)
        for name in station.criteria:
            self._criterion(station, self.criteria[name], readings)
        return events

    def _completeness(self, station: Station, readings: Ordered) -> None:
        found, clock = self.found, self.whole.clock
        dates = clock.dates(np.array([found.first - DAY_MS, found.last]))
        work = working(self.whole.plan, clock, station, dates[0], dates[1])
        if station.kind != "movement":
            found.capture += capture(readings, station.id, work, clock, found.first, found.last)
        lost = work.within(readings.gap_start, readings.gap_end) / 1000.0
        found.gaps += [Gap(station.id, int(start), int(end), float(seconds)) for start, end, seconds in
                       zip(readings.gap_start, readings.gap_end, lost, strict=True)]

    def _criterion(self, station: Station, criterion: Criterion, readings: Ordered) -> None:
        found = self.found
        asked = self._asked(station, criterion)
        seen = measured(readings, asked, self.whole.clock, self.work)
        if isinstance(seen, str):
            found.unanswered.append((station.id, criterion.id, seen))
            return
        found.notes += [f"{station.id}, {criterion.id}: {note}" for note in seen.notes]
        counted, unread = counted_by(asked.rule, self._count_windows(criterion))
        found.notes += unread
        today = self.whole.clock.dates(np.array([found.last - 1]))[0]
        for one in judged(seen):
            found.judged.append(one)
            found.windows += [(one, count) for count in windows(one.days, one.above, counted, today)]
            found.steps += _steps(one, asked.rule)
            found.budgets += _budgets(one, found.last)
        found.axes += axis_peaks(readings, asked, self._signal())
        found.agreement += agreement(seen, readings, self.runner.diary, self.predicted)

    def _count_windows(self, criterion: Criterion) -> list[CountWindow]:
        """Return the windows in which the plan counts days for a criterion."""
        return [row for row in self.whole.plan.count_windows if row.criterion in (None, criterion.id)
                and (row.criterion is not None or criterion.counts_days)]

    def _asked(self, station: Station, criterion: Criterion) -> Asked:
        """Return a criterion at a station with its rule and period, where the register has them."""
        rule = None
        if criterion.limit_set is not None and criterion.limit_set in self.register:
            rule = next((one for one in self.register[criterion.limit_set].rules if one.id == criterion.rule), None)
        period = None if rule is None else period_of(self.register, str(criterion.limit_set), rule.id,
                                                     criterion.period or "")
        proxies = tuple(row for row in self.whole.plan.proxies if row.station == station.id)
        shift = 0.0
        if criterion.quantity == "lar_db" and rule is not None:
            signals = [None, *self._signals()]
            shift = max(rule.level_shift_db(signal, None if period is None else period.id, None) for signal in signals)
        counted = plans_windows(self._count_windows(criterion)) if criterion.counts_days else ()
        return Asked(station, criterion, rule, period, proxies, shift, counted, *self._bounds(station, criterion, rule))

    def _bounds(self, station: Station, criterion: Criterion,
                rule: Rule | None) -> tuple[Rule | None, float | None, str]:
        """Return the lower bound of a rule that decides between two: its rule, and its value in the plan.

        Also, in words, what decides in place of a rule that is a lower bound itself.
        """
        if rule is None or rule.gate not in ("decides_between", "met_below"):
            return None, None, ""
        wanted = "met_below" if rule.gate == "decides_between" else "decides_between"
        group = [one for one in self.register[str(criterion.limit_set)].rules
                 if one.group == rule.group and one.gate == wanted]
        ids = {one.id for one in group}
        mine = [other for name in station.criteria if (other := self.criteria[name]).limit_set == criterion.limit_set
                and other.rule in ids and other.period == criterion.period]
        if rule.gate == "decides_between":
            return next(iter(group), None), next((one.value for one in mine if one.value is not None), None), ""
        return None, None, f"above this lower bound {' and '.join(one.id for one in mine)} decides" if mine else ""

    def _signals(self) -> list[str]:
        """Return the kinds of vibration of the plan's methods, where the catalogue knows them."""
        known = load_methods()
        return sorted({str(known[one.id].signal) for one in self.whole.plan.methods if one.id in known})

    def _signal(self) -> str | None:
        """Return the one kind of vibration of all methods of the plan, or None where there are several or none."""
        signals = self._signals()
        return signals[0] if len(signals) == 1 else None


def _budgets(one: Judged, now: int) -> list[Budget]:
    """Return what is left of an averaging time that the end of the records cuts."""
    measured = one.measured
    running = np.flatnonzero((measured.start < now) & (measured.end > now))
    if measured.asked.criterion.quantity not in MEANS or not running.size or not np.isfinite(one.limit):
        return []
    at = int(running[-1])
    start, end = int(measured.start[at]), int(measured.end[at])
    elapsed, whole = (now - start) / 1000.0, (end - start) / 1000.0
    shift = float(measured.series.median[one.point, at] - measured.series.median[0, at])
    so_far = float(measured.lower[at]) + shift + 10.0 * float(np.log10(whole / elapsed))
    left = float(budget_db(one.limit, so_far, elapsed, whole))
    return [Budget(measured.asked.station.id, measured.points[one.point], measured.asked.criterion.id, start, end,
                   elapsed, so_far, one.limit, left)]


def _kept(station: Station, readings: Ordered) -> Kept:
    rows = readings.rows
    counts = {word: int(((rows.flags & bit) != 0).sum()) for bit, (word, _) in flag.MEANING.items()}
    return Kept(station.id, rows.table, len(rows), int(rows.start[0]), int(rows.end.max()),
                {word: count for word, count in counts.items() if count})


def _steps(one: Judged, rule: Rule | None) -> list[tuple[Judged, float, int, int]]:
    """Return the days above each step of an allowance of days, with the days allowed."""
    if rule is None or not isinstance(rule.value, DayAllowance) or not one.whole_rule:
        return []
    series = one.measured.series
    _, index = np.unique(series.slots.day, return_inverse=True)
    daily = np.full(int(index.max()) + 1, -np.inf)
    np.maximum.at(daily, np.ravel(index), series.median[one.point])
    steps = rule.value.steps
    above = [int((daily > level).sum()) for level, _ in steps]
    if not rule.value.nested:
        above = [count - more for count, more in zip(above, [*above[1:], 0], strict=True)]
    return [(one, level, allowed, count) for (level, allowed), count in zip(steps, above, strict=True)]


__all__ = ["Budget", "Gap", "Kept", "Statistics", "collect"]
