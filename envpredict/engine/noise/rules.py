"""Findings of the rules on noise."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.series import LevelSeries, Slots
from envpredict.engine.applied import JUDGED, MISSING, NOT_GOVERNED, Applied, apply, rank
from envpredict.engine.chances.day_rules import NOTE as DAY_RULE_NOTE
from envpredict.engine.chances.judge import Judgement, days_of
from envpredict.engine.chances.judge_rule import counting, counts_days, judge_rule, out_of_reach, spared
from envpredict.engine.confirmed import confirmed
from envpredict.engine.findings import Block, Evidence, Heading, rows
from envpredict.engine.hours_rules import level_for_hours
from envpredict.engine.noise.baseline import NOT_MEASURED, Baseline, measured
from envpredict.engine.noise.levels import MAXIMA, RuleLevels, levels_of
from envpredict.engine.sound.points import OTHER, SIDES
from envpredict.limits.adjust import WorksDays
from envpredict.limits.outcome import LimitValue, Missing, NotGoverned
from envpredict.limits.values import BackgroundCategory, BackgroundPlus, DayAllowance, HoursByMargin

if TYPE_CHECKING:
    from envpredict.engine.run import MethodRun, Run
    from envpredict.limits.periods import Period
    from envpredict.limits.schema import LimitSet, Rule

Floats = NDArray[np.float64]
WHOLE_PROGRAMME = "whole programme"
NOTHING = "nothing works in this period or season"


def _limits(run: Run, method: MethodRun, limit_set: LimitSet, rule: Rule, period: Period | None) -> Applied:
    """Return every receptor's limit for a rule in a period."""
    follows = isinstance(rule.value, BackgroundCategory | BackgroundPlus)
    measured = _measured(run, period) if follows and period is not None else None
    governed = rule.governs(method.choice.signal, family=method.choice.method.family)
    idle = spared(rule, method.passes.works)
    if governed is True and idle:
        governed = NotGoverned(idle)
    period_id = None if period is None else period.id
    days = method.works_days if _by_days(rule) else None

    def ask(class_id: str, row: int) -> LimitValue | Missing | NotGoverned:
        if governed is not True:
            return governed
        covered = rule.governs(class_id=class_id)
        if covered is not True:
            return covered
        if measured is not None:
            return _from_background(run, limit_set, rule, class_id, period_id, measured[row], days)
        if isinstance(rule.value, DayAllowance):
            return LimitValue(rule.value.steps[0][0], rule.unit, rule.basis, rule.citations)
        found = rule.limit(class_id, period_id=period_id, signal=method.choice.signal, days=method.works_days)
        return _by_hours(rule, found, method)

    return apply(run.classed(limit_set.id), measured or [None] * run.receptor_count, ask)


def _by_days(rule: Rule) -> bool:
    """Tell whether the rule's limit depends on the length of the works."""
    return (any(isinstance(one, WorksDays) for one in rule.adjustments)
            or any(row.by_days for row in getattr(rule.value, "rows", ())))


def _from_background(run: Run, limit_set: LimitSet, rule: Rule, class_id: str, period_id: str | None, base: Baseline,
                     days: float | None) -> LimitValue | Missing | NotGoverned:
    """Return the limit that follows a background, asked for once in a run."""
    key = (limit_set.id, rule.id, class_id, period_id, base, days)
    kept = run.sound.shared
    if key not in kept:
        kept[key] = rule.limit_from_background(class_id, period_id, base.laeq_db, base.la90_db, base.position,
                                               days=days)
    found: LimitValue | Missing | NotGoverned = kept[key]
    return found


def _measured(run: Run, period: Period) -> list[Baseline]:
    """Return every receptor's baseline of a period, read once in a run."""
    key = ("baseline", period.id, period.label, period.baseline_id)
    if key not in run.sound.kept:
        shared = run.sound.shared
        if key not in shared:
            shared[key] = measured(run.scenario, period)
        known: dict[str, Baseline] = shared[key]
        run.sound.kept[key] = [known.get(str(name), NOT_MEASURED) for name in run.scenario.receptors["id"]]
    found: list[Baseline] = run.sound.kept[key]
    return found


def _by_hours(rule: Rule, found: LimitValue | Missing | NotGoverned,
              method: MethodRun) -> LimitValue | Missing | NotGoverned:
    """Turn hours allowed by margin into the level at which the programme's daily hours are still allowed."""
    if not isinstance(rule.value, HoursByMargin) or not isinstance(found, LimitValue):
        return found
    planned = method.shift_s / 3600.0
    level = level_for_hours(rule.value, found.value, planned)
    if not isinstance(level, float):
        return level
    return replace(found, value=level, note=f"{found.note}; level at which {planned:.3g} h a day are still allowed")


def _evidence(run: Run, method: MethodRun, judgement: Judgement, levels: RuleLevels, rule: Rule) -> Evidence:
    """Return what the governing levels stand on: the loudest pile of the slot, the point, everything added."""
    count, series = run.receptor_count, levels.at.series
    slot, receptor = np.maximum(judgement.slot, 0), np.arange(count)
    point = levels.at.point[receptor, slot]
    pile = levels.heard.by_pile(point, slot).argmax(axis=1)
    sound, points = levels.sound, levels.sound.points
    basis = max(rank(sound.basis), *(rank(one.basis) for one in levels.citations), 0)
    notes = (*method.notes, *method.choice.site.plant_notes, *levels.notes,
             *((counting(rule), DAY_RULE_NOTE) if counts_days(rule) else ()))
    piles = run.pile_count
    unproven = method.feasible.doubts(piles)[pile]
    if levels.median_basis == "estimate":
        what = "maximum" if rule.quantity in MAXIMA else "sound power"
        unproven = np.full(count, f"the {what} is an estimate", dtype=object)
    where = np.where(points.side[point] == OTHER, f"level {SIDES[OTHER]}", "").astype(object)
    remarks = method.feasible.remarks(piles)[pile]
    return Evidence(
        model=np.full(count, run.sound.method.model, dtype=object),
        median_basis=np.full(count, rank(levels.median_basis)), basis=np.full(count, basis), unproven=unproven,
        pile=run.scenario.piles["id"].to_numpy()[pile].astype(object),
        day=series.slots.day.astype(str)[slot].astype(object), notes=notes,
        row_notes=np.array(["; ".join(filter(None, pair)) for pair in zip(where, remarks, strict=True)], dtype=object))


def _no_evidence(run: Run, method: MethodRun, rule: Rule) -> Evidence:
    """Return what there is to say where nothing was predicted."""
    count = run.receptor_count
    nothing = np.full(count, "", dtype=object)
    return Evidence(np.full(count, run.sound.method.model, dtype=object), np.zeros(count, dtype=np.int64),
                    np.zeros(count, dtype=np.int64), nothing, nothing, nothing,
                    (*method.notes, *((counting(rule), DAY_RULE_NOTE) if counts_days(rule) else ())))


def _silence(run: Run, rule: Rule) -> LevelSeries:
    """Return a series in which nothing happens."""
    shape = (run.receptor_count, 0)
    slots = Slots(np.zeros(0, dtype="datetime64[D]"), np.zeros(0), np.zeros(0), np.zeros(0, dtype=str))
    return LevelSeries(rule.quantity or "laeq_db", rule.place, slots, np.zeros(shape), np.zeros(shape), np.zeros(shape),
                       np.zeros(shape, dtype=bool))


def findings(run: Run, method: MethodRun, limit_set: LimitSet, rule: Rule) -> list[Block]:
    """Return the findings of one noise rule for one method: a block of rows per period of the rule."""
    found = []
    compared = confirmed(run, limit_set, rule)
    for period in rule.periods or (None,):
        applied = _limits(run, method, limit_set, rule, period)
        levels = levels_of(run, method, rule, period)
        series = _silence(run, rule) if isinstance(levels, Missing) else levels.at.series
        if isinstance(levels, Missing):
            everyone = np.ones(run.receptor_count, dtype=bool)
            applied = _without(applied, everyone, f"the rule needs {levels.fact}: {levels.why}")
        else:
            applied = _without(applied, levels.step.missing, levels.step.why)
        if not isinstance(levels, Missing):
            applied = _unless_idle(applied, out_of_reach(rule, series.slots.day) if len(series.slots) else NOTHING)
        judgement, limit = judge_rule(series, rule, applied.value, run.design_exceedance)
        applied = replace(applied, value=limit)
        heading = Heading(method.choice.id, rule.effect, rule.quantity or "", rule.place,
                          WHOLE_PROGRAMME if period is None else period.label, limit_set.id, rule.id, rule.clause,
                          whole_db=rule.rounding != "none", confirmed=compared.said, compared=compared.partly)
        evidence = (_no_evidence(run, method, rule) if isinstance(levels, Missing) or not len(series.slots)
                    else _evidence(run, method, judgement, levels, rule))
        found.append(rows(heading, run.scenario.receptors, run.classed(limit_set.id).class_id, applied, judgement,
                          evidence, days_of(series), run.design_exceedance))
    return found


def _unless_idle(applied: Applied, why: str) -> Applied:
    """Return the limits, none of which governs where there's a reason for that.

    No work, no question: a baseline that nobody measured isn't missing where nothing is heard.
    """
    if not why:
        return applied
    text = np.where(applied.status == NOT_GOVERNED, applied.text, why).astype(object)
    return replace(applied, status=np.full(len(applied.status), NOT_GOVERNED), text=text)


def _without(applied: Applied, where: NDArray[np.bool_], why: str) -> Applied:
    """Return the limits with the judged receptors among some turned into ones that can't be judged."""
    hit = where & (applied.status == JUDGED)
    return Applied(applied.value, applied.basis, np.where(hit, MISSING, applied.status),
                   np.where(hit, why, applied.text).astype(object), applied.note)
