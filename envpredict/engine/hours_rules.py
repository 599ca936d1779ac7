"""Findings of rules that fix hours and days: they're broken or kept by the programme, whatever the levels."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from envpredict.engine.applied import JUDGED, NOT_GOVERNED
from envpredict.engine.blocks import clock_blocks
from envpredict.engine.confirmed import confirmed
from envpredict.engine.findings import LIMIT_MARK, Block
from envpredict.engine.results import FINDING_COLUMNS
from envpredict.limits.outcome import Missing, NotGoverned
from envpredict.limits.values import HoursByMargin, HoursOnly

if TYPE_CHECKING:
    from envpredict.engine.run import MethodRun, Run
    from envpredict.limits.schema import LimitSet, Rule


def broken(run: Run, method: MethodRun, rule: Rule) -> tuple[str, str]:
    """Return how the programme breaks the rule and the first day on which it does; empty texts where it keeps it."""
    value = rule.value
    if not isinstance(value, HoursOnly):
        raise TypeError(f"rule '{rule.id}' fixes no hours")
    passes, holidays = method.passes, run.scenario.programme.holidays
    lasting = passes.end_s - passes.start_s
    inside = np.zeros(len(lasting))
    for period in rule.periods:
        inside += clock_blocks(passes, period, holidays).overlap_s.sum(axis=1)
    wrong = lasting - inside if value.work == "allowed" and rule.periods else inside
    if value.work == "allowed" and not rule.periods:
        wrong = np.zeros(len(lasting))
    bad = np.flatnonzero(wrong > 1.0)
    if bad.size:
        how = "outside the allowed hours" if value.work == "allowed" else "inside forbidden hours"
        return f"the programme works {wrong.sum() / 3600.0:.1f} h {how}", str(passes.day[bad[0]])
    days, index = np.unique(passes.day, return_inverse=True)
    hours = np.bincount(np.ravel(index), weights=lasting) / 3600.0 / max(run.scenario.programme.rigs, 1)
    if value.max_hours_per_day is not None and (hours > value.max_hours_per_day + 1e-6).any():
        first = int(np.argmax(hours > value.max_hours_per_day + 1e-6))
        how = f"the programme works {hours[first]:.1f} h a day, at most {value.max_hours_per_day:g} h are allowed"
        return how, str(days[first])
    if value.max_consecutive_days is not None:
        days = passes.works
        steps = np.diff(days.astype("datetime64[D]").astype(int)) == 1
        length = 1
        for n, follows in enumerate(steps, 1):
            length = length + 1 if follows else 1
            if length > value.max_consecutive_days:
                return f"the programme works more than {value.max_consecutive_days} days in a row", str(days[n])
    return "", ""


def level_for_hours(value: HoursByMargin, base_db: float, planned_h: float) -> float | Missing | NotGoverned:
    """Return the level up to which a rule of hours by margin allows the planned hours of work a day, in dB.

    `base_db`: the level over which the margin is taken. Missing where no level allows so many hours, NotGoverned where
    every level does.
    """
    if planned_h <= value.beyond_hours:
        return NotGoverned(f"the programme works {planned_h:g} h a day, which the rule allows at any level")
    allowed = [margin for margin, hours in value.steps if hours >= planned_h]
    if not allowed:
        return Missing("hours", f"the programme works {planned_h:g} h a day, more than the rule allows at any level: "
                                "shorten the shift")
    return base_db + max(allowed)


def findings(run: Run, method: MethodRun, limit_set: LimitSet, rule: Rule) -> list[Block]:
    """Return one row per receptor: `breach` where the programme breaks the hours, `unlikely` where it keeps them."""
    classes = run.classed(limit_set.id)
    count = run.receptor_count
    status, text = classes.status.copy(), classes.text.copy()
    for class_id in np.unique(classes.class_id[status == JUDGED].astype(str)):
        governed = rule.governs(method.choice.signal, class_id=str(class_id), family=method.choice.method.family)
        if governed is not True:
            here = (classes.class_id == class_id) & (classes.status == JUDGED)
            status[here], text[here] = NOT_GOVERNED, governed.reason
    how, day = broken(run, method, rule)
    judged = status == JUDGED
    word = np.select([status == NOT_GOVERNED, ~judged], ["not_applicable", "cannot_judge"],
                     "breach" if how else "unlikely")
    said = how or "the programme keeps the hours and days"
    if (rule.status or limit_set.status) == "statutory":
        dated = f" ({limit_set.dated})" if limit_set.dated else ""
        said = f"{said}; statutory: {limit_set.document}, {limit_set.edition}{dated}"
    basis, compared = rule.basis, confirmed(run, limit_set, rule)
    if basis == "memory" and compared.whole:
        basis, said = "read", f"{said}; limit: {compared.said}"
    elif LIMIT_MARK[basis]:
        partly = f"; {compared.partly}" if compared.partly else ""
        said = f"{said}; limit: {compared.said or LIMIT_MARK[basis]}{partly}"
    table: dict[str, Any] = {name: np.full(count, np.nan) if kind == "number" else np.full(count, "", dtype=object)
                             for name, (kind, _) in FINDING_COLUMNS.items()}
    table |= {
        "receptor": run.scenario.receptors["id"].to_numpy(), "use": run.scenario.receptors["use"].to_numpy(),
        "method": method.choice.id, "effect": rule.effect, "position": rule.place,
        "period": ", ".join(period.label for period in rule.periods), "limit_set": limit_set.id, "rule": rule.id,
        "clause": rule.clause, "class": classes.class_id, "likelihood": word,
        "p_exceed": np.where(judged, 1.0 if how else 0.0, np.nan), "governing_day": np.where(judged, day, ""),
        "in_range": np.ones(count, dtype=bool), "basis": np.where(judged, basis, ""),
        "reason": np.where(judged, said, text),
    }
    nothing = np.zeros((count, 0), dtype=np.float32)
    return [Block({name: table[name] for name in FINDING_COLUMNS}, method.choice.id, rule.effect,
                  np.zeros(0, dtype="datetime64[D]"), nothing)]
