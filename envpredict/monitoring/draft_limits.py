"""The limits of a drafted plan: one criterion per limit that receptors come under, and its three levels."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from envpredict.core.citation import Basis, weakest
from envpredict.core.quantities import QUANTITIES
from envpredict.limits.persistence import Counted
from envpredict.limits.values import DayAllowance, Fixed
from envpredict.monitoring.checks.coverage import near_its_limit
from envpredict.monitoring.checks.limits import is_averaged
from envpredict.monitoring.plan_fields import DAY_WORDS, Weighting
from envpredict.monitoring.plan_fit import unit_of
from envpredict.monitoring.plan_rows import CountWindow, Criterion, Levels
from envpredict.monitoring.predicted import Predicted, margin_db, period_of

if TYPE_CHECKING:
    from envpredict.limits.schema import LimitSet, Rule
    from envpredict.monitoring.draft_defaults import Defaults

WEIGHTINGS: dict[str, Weighting] = {
    "laeq_db": "A", "lafmax_db": "A", "lasmax_db": "A", "lar_db": "A", "la90_db": "A", "lnight_db": "A", "ldn_db": "A",
    "lden_db": "A", "kb_fmax": "KB", "kb_ftr": "KB",
    "vdv": "other", "vibration_level_jp_db": "other", "vibration_level_cn_db": "other",
}
"""Frequency weighting of quantities that have one."""
STEPPED = ("people", "wildlife")
"""Effects for which documents give a ladder of effect levels rather than one limit."""


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit of the plan with what is predicted under it; `steps`: lower steps of the same ladder, rising."""

    criterion: Criterion
    rule: Rule | None
    predicted: tuple[Predicted, ...]
    steps: tuple[float, ...] = ()

    @property
    def value(self) -> float:
        """Return the limit's value."""
        return float(self.criterion.value or math.nan)

    @property
    def decibels(self) -> bool:
        """Tell whether it's a level in decibels."""
        quantity = str(self.criterion.quantity)
        return quantity in QUANTITIES and QUANTITIES[quantity].scale == "decibel"

    def near(self, receptor: str, within_db: float) -> bool:
        """Tell whether a receptor comes near this limit, or near the lowest step of its ladder."""
        mine = [one for one in self.predicted if one.receptor == receptor]
        lowest = self.steps[0] if self.steps else math.nan
        return any(near_its_limit(one, within_db) or margin_db(one.quantity, lowest, one.design) < within_db
                   for one in mine)


def limits_of(predicted: Sequence[Predicted], register: Mapping[str, LimitSet]) -> tuple[Limit, ...]:
    """Return the limits that receptors come under, in a fixed order.

    Where a limit depends on the method's frequencies, the lowest of the methods holds. Where it follows the background,
    receptors with another value come under another criterion.
    """
    groups: dict[tuple[Any, ...], list[Predicted]] = {}
    lowest: dict[tuple[str, ...], float] = {}
    stated = [one for one in predicted if math.isfinite(one.limit)]
    for one in stated:
        key = (one.receptor, *_place(one))
        lowest[key] = min(one.limit, lowest.get(key, math.inf))
    for one in stated:
        groups.setdefault((*_place(one), lowest[one.receptor, *_place(one)]), []).append(one)
    found = []
    for key in sorted(groups):
        found.append(_limit(tuple(groups[key]), float(key[-1]), register))
    return _with_ids(_laddered(found))


def _place(one: Predicted) -> tuple[str, ...]:
    return (one.kind, one.effect, one.limit_set, one.rule, one.receptor_class, one.period, one.position, one.quantity)


def _rule(register: Mapping[str, LimitSet], one: Predicted) -> Rule | None:
    if one.limit_set not in register:
        return None
    return next((rule for rule in register[one.limit_set].rules if rule.id == one.rule), None)


def _limit(predicted: tuple[Predicted, ...], value: float, register: Mapping[str, LimitSet]) -> Limit:
    one = predicted[0]
    rule = _rule(register, one)
    period = period_of(register, one.limit_set, one.rule, one.period)
    averaging = None
    if is_averaged(one.quantity) and period is not None:
        averaging = float(period.averaging_s or period.length_s)
    criterion = Criterion(
        id="new", limit_set=one.limit_set, rule=one.rule, receptor_class=one.receptor_class or None, effect=one.effect,
        quantity=one.quantity, weighting=WEIGHTINGS.get(one.quantity, "none"), averaging_s=averaging,
        period=one.period or "at all times", days=DAY_WORDS if period is None else tuple(period.days),
        starts="00:00" if period is None else period.start, ends="24:00" if period is None else period.end,
        position=one.position, value=value, unit=unit_of(one.quantity),
        counts_days=rule is not None and _counts(rule), basis="memory" if rule is None else rule.basis,
        receptors=tuple(dict.fromkeys(each.receptor for each in predicted)), note=_note(rule, predicted))
    return Limit(criterion, rule, predicted)


def _counts(rule: Rule) -> bool:
    return isinstance(rule.value, DayAllowance) or any(isinstance(one, Counted) for one in rule.persistence)


def _note(rule: Rule | None, predicted: Sequence[Predicted]) -> str | None:
    parts = [f"{rule.title}, {rule.clause}"] if rule is not None else []
    curved = rule is not None and isinstance(rule.value, Fixed) and any(row.points for row in rule.value.rows)
    if curved or len({round(one.limit, 6) for one in predicted}) > 1:
        parts.append("the lowest value within the methods' frequencies; by measured frequency a higher one may hold")
    if curved:
        parts.append("a peak below those frequencies may have a lower one: records are judged peak by peak")
    if rule is not None and rule.basis != "read":
        parts.append("verify against the document")
    return "; ".join(parts) or None


def _laddered(limits: Sequence[Limit]) -> list[Limit]:
    """Put the steps of a ladder of effect levels together: the highest is the limit, the lower ones its steps."""
    ladders: dict[tuple[Any, ...], list[Limit]] = {}
    for limit in limits:
        one, rule = limit.criterion, limit.rule
        plain = rule is not None and rule.value.kind == "fixed" and not rule.persistence and one.effect in STEPPED
        tag = (rule.group, rule.vibration, rule.families) if plain and rule is not None else id(limit)
        key = (one.limit_set, one.effect, one.quantity, one.position, one.period, one.receptor_class, tag)
        ladders.setdefault(key, []).append(limit)
    found = []
    for steps in ladders.values():
        ordered = sorted(steps, key=lambda limit: limit.value)
        top = ordered[-1]
        below = tuple(dict.fromkeys(limit.value for limit in ordered[:-1] if limit.value < top.value))
        if below:
            said = f"lower steps of the document: {', '.join(f'{value:g}' for value in below)} {top.criterion.unit}"
            note = f"{top.criterion.note}; {said}" if top.criterion.note else said
            basis = weakest(limit.criterion.basis or "memory" for limit in ordered)
            changed = top.criterion.model_copy(update={"note": note, "basis": basis})
            top = Limit(changed, top.rule, top.predicted, below)
        found.append(top)
    return found


def _with_ids(limits: Sequence[Limit]) -> tuple[Limit, ...]:
    """Give each limit a name that says set, rule, class and period, with a number where that isn't enough."""
    named: list[Limit] = []
    taken: dict[str, int] = {}
    for limit in limits:
        one = limit.criterion
        period = next((each.id for each in limit.rule.periods if each.label == one.period), "") if limit.rule else ""
        name = ".".join(part for part in (one.limit_set, one.rule, one.receptor_class, period) if part)
        taken[name] = taken.get(name, 0) + 1
        unique = name if taken[name] == 1 else f"{name}.{taken[name]}"
        named.append(Limit(one.model_copy(update={"id": unique}), limit.rule, limit.predicted, limit.steps))
    return tuple(named)


@dataclass(frozen=True, slots=True)
class Tiers:
    """Levels as they follow from a limit before the prediction is looked at; an alert may be raised up to `highest`."""

    alert: float
    action: float
    stop: float
    highest: float
    derived: str
    basis: Basis


def tiers(limit: Limit, defaults: Defaults) -> Tiers:
    """Return alert, action and stop level of a limit: the document's own steps where it has some, else shares of it."""
    value, steps = limit.value, limit.steps
    basis: Basis = "estimate" if limit.decibels else "memory"
    if limit.decibels:
        highest = value - defaults.number("alert_below_db")
        action = value - defaults.number("action_below_db")
        alert = highest
        derived = f"limit less {value - highest:g} dB, less {value - action:g} dB, and as it stands"
    else:
        alert, action = defaults.number("alert_share") * value, defaults.number("action_share") * value
        highest = defaults.number("highest_alert_share") * value
        derived = f"{alert / value:g}, {action / value:g} and 1 of the limit"
    if steps and steps[-1] < value:
        between = steps[-1] - (value - action) if limit.decibels else steps[-1] * alert / action
        action, alert = steps[-1], steps[0] if len(steps) > 1 else between
        derived = f"steps of the document: {', '.join(f'{step:g}' for step in (*steps, value))}"
        basis = limit.criterion.basis or "memory"
    return Tiers(alert, action, value, min(highest, action), derived, basis)


def highest_alert(limit: Limit, defaults: Defaults) -> float:
    """Return the level that a median must stay below for any alert level to lie between it and the action level."""
    return tiers(limit, defaults).highest


def levels_of(limit: Limit, medians: Sequence[float], defaults: Defaults) -> Levels:
    """Return the levels of a limit, the alert raised above the highest of the medians that is expected.

    A median at or above `highest_alert` leaves no room and doesn't raise it: the method is held back instead.
    """
    found = tiers(limit, defaults)
    stop = _downwards(found.stop)
    alert, derived = found.alert, found.derived
    below = [median for median in medians if median < found.highest]
    top = max(below, default=-math.inf)
    margin = defaults.number("above_median_db") if limit.decibels else top * (defaults.number("above_median_share") - 1)
    if top + margin > alert:
        alert = min(top + margin, (top + found.highest) / 2)
        derived += "; alert raised above the median prediction"
    alert = _tidy(alert, top, found.action)
    return Levels(criterion=limit.criterion.id, alert=alert, action=_tidy(found.action, alert, stop), stop=stop,
                  alarm_windows_s=_windows(limit, defaults), basis=found.basis, derived=derived)


def without_room(limit: Limit, levels: Levels, at: set[str]) -> str:
    """Return which methods' median predictions already reach a level, and which; empty where none does.

    `at`: the receptors whose stations judge the limit.
    """
    worst: dict[str, Predicted] = {}
    for one in limit.predicted:
        if one.receptor in at and math.isfinite(one.median) and (
                one.method not in worst or one.median > worst[one.method].median):
            worst[one.method] = one
    said = []
    for tier in ("stop", "action", "alert"):
        level = getattr(levels, tier)
        reached = {name: one for name, one in worst.items() if one.median >= level}
        worst = {name: one for name, one in worst.items() if name not in reached}
        if reached:
            shown = ", ".join(f"{name} ({one.median:.3g} at {one.receptor})" for name, one in reached.items())
            said.append(f"the {tier} level with {shown}")
    return f"no room: the median prediction alone reaches {'; '.join(said)}" if said else ""


def _tidy(value: float, above: float, below: float) -> float:
    """Return a value with three significant digits where that keeps it between its neighbours."""
    short = float(f"{value:.3g}")
    return short if above < short < below else value


def _downwards(value: float) -> float:
    """Return a value cut to three significant digits, never above it: a stop level isn't rounded up."""
    places = 2 - math.floor(math.log10(abs(value))) if value else 0
    return math.floor(value * 10.0**places + 1e-9) / 10.0**places


def _windows(limit: Limit, defaults: Defaults) -> tuple[float, ...]:
    averaging = limit.criterion.averaging_s
    if averaging is None:
        return ()
    windows = (defaults.number("first_window_s"), defaults.number("second_window_s"))
    return tuple(window for window in windows if window < averaging)


def windows_of(limit: Limit) -> tuple[CountWindow, ...]:
    """Return the windows in which a limit's rule counts days."""
    if limit.rule is None:
        return ()
    found = [CountWindow(criterion=limit.criterion.id, more_than_days=float(one.threshold - 1),
                         within=f"{one.window} {one.unit.replace('_', ' ')}")
             for one in limit.rule.persistence if isinstance(one, Counted)]
    if isinstance(limit.rule.value, DayAllowance):
        found += [CountWindow(criterion=limit.criterion.id, more_than_days=float(days),
                              within=f"the works, above {level:g} dB") for level, days in limit.rule.value.steps]
    return tuple(found)
