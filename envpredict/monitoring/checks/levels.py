"""Checks of alert, action and stop levels."""

from __future__ import annotations

import math
from collections.abc import Iterator

from envpredict.core.quantities import QUANTITIES
from envpredict.monitoring.audit_checks import Evidence, Facts, broken, check, idle, met, missing
from envpredict.monitoring.checks.coverage import NOTHING_PREDICTED
from envpredict.monitoring.plan_rows import Criterion, Levels
from envpredict.monitoring.predicted import Predicted


def limit_of(criterion: Criterion) -> float | None:
    """Return the value that a criterion holds to: the one agreed with the authority where there is one."""
    return criterion.value if criterion.consented_value is None else criterion.consented_value


def in_decibels(criterion: Criterion) -> bool:
    """Tell whether a criterion is a level in decibels."""
    return criterion.quantity in QUANTITIES and QUANTITIES[str(criterion.quantity)].scale == "decibel"


def levels_of(facts: Facts, criterion: str) -> list[tuple[int, Levels]]:
    """Return the rows of levels of a criterion with their numbers."""
    return [(number, row) for number, row in enumerate(facts.plan.levels) if row.criterion == criterion]


@check("M20")
def three_levels(facts: Facts) -> Iterator[Evidence]:
    """Check that each limit has three levels in rising order."""
    if not facts.plan.criteria:
        yield missing("criteria", "no limit is stated")
    for criterion in facts.plan.criteria:
        rows = levels_of(facts, criterion.id)
        if not rows:
            yield missing("levels", f"alert, action and stop level of {criterion.id}: not stated")
        for number, row in rows:
            yield _rising(facts, number, row, criterion)


def _rising(facts: Facts, number: int, row: Levels, criterion: Criterion) -> Evidence:
    """Return whether one row of levels is complete and in order."""
    limit = limit_of(criterion)
    if row.alert is None or row.action is None or row.stop is None or limit is None:
        lacking = [key for key in ("alert", "action", "stop") if getattr(row, key) is None]
        return missing(facts.plan.at("levels", number), f"not stated: {', '.join(lacking) or 'the limit itself'}")
    decibels = in_decibels(criterion)
    highest = limit - facts.number("alert_below_db") if decibels else limit * facts.number("alert_share")
    asked = f"{facts.number('alert_below_db'):g} dB below" if decibels else f"{facts.number('alert_share'):g} of"
    faults = {
        ("alert", f"alert {row.alert:g} isn't below action {row.action:g}"): not row.alert < row.action,
        ("action", f"action {row.action:g} isn't below stop {row.stop:g}"): not row.action < row.stop,
        ("stop", f"stop {row.stop:g} lies above the limit, {limit:g}"): row.stop > limit,
        ("alert", f"alert {row.alert:g} is too near the limit {limit:g}: {asked} it is asked, {highest:g}"):
            row.alert > highest + 1e-9,
    }
    wrong = [(key, text) for (key, text), there in faults.items() if there]
    if wrong:
        return broken(facts.plan.at("levels", number, wrong[0][0]), "; ".join(text for _, text in wrong))
    return met(facts.plan.at("levels", number), f"{row.alert:g} < {row.action:g} < {row.stop:g}, limit {limit:g}")


@check("M21")
def levels_fit_prediction(facts: Facts) -> Iterator[Evidence]:
    """Check that alerts lie above what is expected, and no stop level above what was agreed."""
    for number, row in enumerate(facts.plan.levels):
        criterion = facts.criterion(row.criterion)
        if criterion is not None and row.stop is not None and criterion.consented_value is not None:
            text = f"stop {row.stop:g}, agreed {criterion.consented_value:g}"
            where = facts.plan.at("levels", number, "stop")
            yield met(where, text) if row.stop <= criterion.consented_value else broken(where, text)
    if facts.predicted is None:
        yield missing("predictions", NOTHING_PREDICTED)
        return
    held = {method.id: method.condition for method in facts.plan.methods if method.condition is not None}
    for name, condition in held.items():
        yield idle(f"methods {name}", f"not to start before: {condition}")
    free = [one for one in facts.predicted if one.method not in held]
    for criterion in facts.plan.criteria:
        yield from _above_median(facts, criterion, [one for one in free if one.falls_under(criterion)])


def _above_median(facts: Facts, criterion: Criterion, predicted: list[Predicted]) -> Iterator[Evidence]:
    """Yield whether the limit is the predicted one and its alert lies above every median that is expected."""
    stated = [one for one in predicted if not math.isnan(one.median)]
    if not stated:
        yield idle(f"criteria {criterion.id}", "no number is predicted under it")
        return
    value = limit_of(criterion)
    for one in stated:
        # a limit that follows the background differs by receptor; the plan may hold to a lower one, never to a higher
        if value is not None and criterion.consented_value is None and value > one.limit * (1 + 1e-6):
            yield broken(f"criteria {criterion.id}", f"limit {value:g} lies above {one.limit:g}, the limit at "
                                                     f"{one.receptor} ({one.where})")
    for number, row in levels_of(facts, criterion.id):
        if row.alert is None:
            continue
        places = _measured_by(facts, row)
        worst = max((one for one in stated if places is None or one.receptor in places),
                    key=lambda one: one.median, default=None)
        if worst is None:
            continue
        where = facts.plan.at("levels", number, "alert")
        text = f"alert {row.alert:g}, median {worst.median:.3g} at {worst.receptor} with {worst.method}"
        yield (met(where, text) if row.alert > worst.median
               else broken(where, f"{text}: it would be raised by the work as expected"))


def _measured_by(facts: Facts, row: Levels) -> set[str] | None:
    """Return the receptors whose stations a row of levels is for; None for all."""
    stations = [station for station in facts.plan.stations
                if row.criterion in station.criteria and row.station in (None, station.id)]
    return {str(station.receptor) for station in stations if station.receptor is not None} or None


@check("M22")
def running_alarms(facts: Facts) -> Iterator[Evidence]:
    """Check that alarms come before the period ends."""
    longest = facts.number("longest_s")
    slow = [criterion for criterion in facts.plan.criteria
            if criterion.averaging_s is not None and criterion.averaging_s > longest]
    if not slow:
        yield idle("criteria", f"no limit is averaged over more than {longest:g} s")
    for criterion in slow:
        rows = levels_of(facts, criterion.id)
        if not rows:
            yield missing("levels", f"levels of {criterion.id}: not stated")
        for number, row in rows:
            where = facts.plan.at("levels", number, "alarm_windows_s")
            if not row.alarm_windows_s:
                yield missing(where, f"running alarms of {criterion.id}, {criterion.averaging_s:g} s long: not stated")
                continue
            text = f"running averages over {', '.join(f'{window:g}' for window in row.alarm_windows_s)} s"
            quick = min(row.alarm_windows_s) <= longest
            yield met(where, text) if quick else broken(where, f"{text}: one of {longest:g} s or less is asked")


@check("M28")
def prediction_gap(facts: Facts) -> Iterator[Evidence]:
    """Check that leaving the prediction behind has consequences."""
    yield facts.at_most("prediction_check.noise_gap_db", facts.number("gap_db"), "measured less predicted", "dB")
    yield facts.given("prediction_check.action", "what is done then")
