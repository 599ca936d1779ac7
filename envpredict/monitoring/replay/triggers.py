"""The triggers of a plan: which level at which station, over which time, on which hours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from envpredict.limits.load import load_limit_sets
from envpredict.monitoring.checks.limits import is_averaged
from envpredict.monitoring.plan_fields import DAY_WORDS, Tier
from envpredict.monitoring.predicted import period_of
from envpredict.monitoring.records.civil import Hours
from envpredict.monitoring.records.quantities import DOSES, MEANS, source_of

if TYPE_CHECKING:
    from envpredict.monitoring.plan_rows import Criterion, Levels, Station
    from envpredict.monitoring.plan_schema import Plan

Form = Literal["peak", "block", "window"]
"""A single reading; an averaging time within the criterion's period; a running average that warns before its end."""
TIERS: tuple[Tier, ...] = ("alert", "action", "stop")
WARNINGS: tuple[Tier, ...] = ("alert", "action")
"""What a running average shorter than the limit's may raise: above the stop level it needn't break the limit."""
ROUND_DB: Final = 1e-6
"""Means are compared as if rounded to this, so that a mean of equal levels reaches that level."""


@dataclass(frozen=True, slots=True)
class Trigger:
    """One criterion's levels at one station in one form; `width_s` is the averaging time of blocks and windows."""

    station: str
    criterion: str
    form: Form
    quantity: str
    unit: str
    hours: Hours
    tiers: tuple[tuple[Tier, float], ...]
    correction_db: float = 0.0
    width_s: float = 0.0

    @property
    def lowest(self) -> float:
        """Return the lowest level."""
        return min(level for _, level in self.tiers)

    def rule(self, tier: str) -> str:
        """Return the name of one level of the trigger; with station and slot it makes an event's id."""
        running = f"/running {self.width_s:g} s" if self.form == "window" else ""
        return f"{self.criterion}{running}/{tier}"


def levels_at(plan: Plan, criterion: str, station: str) -> Levels | None:
    """Return the levels of a criterion at a station: its own, else those of every station."""
    mine = [row for row in plan.levels if row.criterion == criterion]
    own = next((row for row in mine if row.station == station), None)
    return own or next((row for row in mine if row.station is None), None)


def hours_of(criterion: Criterion) -> Hours:
    """Return the hours in which a criterion holds: always where it states none."""
    return Hours(tuple(criterion.days) or DAY_WORDS, criterion.starts or "00:00", criterion.ends or "24:00")


def rolling_criteria(plan: Plan) -> frozenset[str]:
    """Return the criteria whose averaging time may start at any moment, as their documents say."""
    register = load_limit_sets()
    found = set()
    for one in plan.criteria:
        period = period_of(register, one.limit_set or "", one.rule or "", one.period or "")
        if period is not None and period.averaging == "rolling":
            found.add(one.id)
    return frozenset(found)


def triggers_of(plan: Plan, station: Station, rolling: frozenset[str] = frozenset()) -> tuple[Trigger, ...]:
    """Return the triggers of a station; criteria without levels, or that its records can't hold, have none.

    `rolling`: the criteria whose averaging time may start at any moment.
    """
    found: list[Trigger] = []
    criteria = {criterion.id: criterion for criterion in plan.criteria}
    for name in station.criteria:
        criterion, levels = criteria[name], levels_at(plan, name, station.id)
        if levels is None or criterion.quantity is None or source_of(criterion.quantity, station) is None:
            continue
        tiers = tuple((tier, float(level)) for tier in TIERS if (level := getattr(levels, tier)) is not None)
        if tiers:
            found += _forms(criterion, station, levels, tiers, rolling=name in rolling)
    return tuple(found)


def _forms(criterion: Criterion, station: Station, levels: Levels,
           tiers: tuple[tuple[Tier, float], ...], *, rolling: bool) -> list[Trigger]:
    quantity, unit = str(criterion.quantity), criterion.unit or ""
    correction = (station.correction_db or 0.0) if station.kind == "noise" else 0.0
    hours = hours_of(criterion)
    if not is_averaged(quantity):
        return [Trigger(station.id, criterion.id, "peak", quantity, unit, hours, tiers, correction)]
    if criterion.averaging_s is None or quantity not in (*MEANS, *DOSES):
        return []
    averaging = criterion.averaging_s
    form: Form = "window" if rolling and quantity in MEANS else "block"
    found = [Trigger(station.id, criterion.id, form, quantity, unit, hours, tiers, correction, averaging)]
    warnings = tuple((tier, level) for tier, level in tiers if tier in WARNINGS)
    for width in levels.alarm_windows_s if quantity in MEANS and warnings else ():
        if width < averaging:
            found.append(Trigger(station.id, criterion.id, "window", quantity, unit, hours, warnings, correction,
                                 width))
    return found


def untriggered(plan: Plan, station: Station) -> list[str]:
    """Return in words which of a station's criteria raise no alarm here, and why."""
    criteria = {criterion.id: criterion for criterion in plan.criteria}
    active = {trigger.criterion for trigger in triggers_of(plan, station)}
    said = []
    for name in station.criteria:
        if name in active:
            continue
        quantity, levels = criteria[name].quantity, levels_at(plan, name, station.id)
        if quantity is None or levels is None:
            why = "the plan states no quantity or no levels for it"
        elif source_of(quantity, station) is None:
            why = f"records don't hold {quantity}"
        else:
            why = f"{quantity} can't be formed from records as they come in, or the averaging time isn't stated"
        said.append(f"{station.id}, {name}: {why}")
    return said


def threshold_sum(trigger: Trigger, level: float) -> float:
    """Return the sum over a whole slot, as `contribution` adds it up, at which a level is reached."""
    if trigger.quantity in DOSES:
        return level**4 * (1.0 - 1e-9)
    return float(10.0 ** ((level - ROUND_DB - trigger.correction_db) / 10.0) * trigger.width_s * 1000.0)


def level_of(trigger: Trigger, total: float, width_ms: float) -> float:
    """Return the level that a sum over a slot of some length means, as if nothing happened where nothing is known."""
    if trigger.quantity in DOSES:
        return float(total**0.25)
    with np.errstate(divide="ignore"):
        return round(float(10.0 * np.log10(total / width_ms)), 6) + trigger.correction_db


def rate_of(trigger: Trigger, values: np.ndarray, duration_ms: np.ndarray) -> np.ndarray:
    """Return what each millisecond of a row adds to its slot's sum; 0 where there's no value."""
    dose = trigger.quantity in DOSES
    rate = values**4 / np.maximum(duration_ms, 1) if dose else 10.0 ** (values / 10.0)
    return np.asarray(np.where(np.isnan(values), 0.0, rate))


def stations_with(plan: Plan, kinds: Sequence[str]) -> list[Station]:
    """Return the plan's stations of some kinds."""
    return [station for station in plan.stations if station.kind in kinds]
