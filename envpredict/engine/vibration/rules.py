"""Findings of the rules on vibration: each step from the ground to the verdict, for one rule, method and period."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.quantities import QUANTITIES
from envpredict.core.series import LevelSeries
from envpredict.engine.applied import JUDGED, MISSING, NOT_GOVERNED, Applied
from envpredict.engine.boundary import NEAREST_M, PLACE, boundary_plan_m
from envpredict.engine.chances.judge import Judgement, days_of
from envpredict.engine.chances.judge_rule import judge_rule, out_of_reach
from envpredict.engine.chances.reduce import take
from envpredict.engine.confirmed import confirmed
from envpredict.engine.findings import Block, Evidence, Heading, rows
from envpredict.engine.learned.evidence import trial_rows, with_trial
from envpredict.engine.vibration.case import Case, Limits, limits_of
from envpredict.engine.vibration.evidence import evidence
from envpredict.engine.vibration.field import ground_vibration
from envpredict.engine.vibration.levels import (
    Levels,
    Spots,
    affected_days,
    in_log,
    levels_of,
    reference,
    way_to,
)
from envpredict.engine.vibration.occupied import told
from envpredict.engine.vibration.settlement import Sand, sand_at, with_sand
from envpredict.engine.vibration.transfer import Transfer, transfer
from envpredict.limits.outcome import Missing
from envpredict.limits.values import Fixed

if TYPE_CHECKING:
    from envpredict.engine.run import MethodRun, Run
    from envpredict.limits.periods import Period
    from envpredict.limits.schema import LimitSet, Rule

Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]
WHOLE_PROGRAMME = "whole programme"
NOBODY = "nobody is there while the works go on: "
NOTHING = "nothing works in this period or season"


@dataclass(frozen=True, slots=True, eq=False)
class Examined:
    """What a case comes to: the limit and judgement of every receptor (R), and what the levels stand on.

    `field`, `pile`, `group` (R): the law and phase, the pile and the group of phases of the governing slot; `levels` is
    None where nothing could be predicted, and `way` the way from the ground to the place at each spot.
    """

    case: Case
    applied: Applied
    limits: Limits
    spots: Spots
    way: Transfer
    levels: Levels | None
    judgement: Judgement
    field: Numbers
    pile: Numbers
    days: NDArray[np.datetime64]
    sand: Sand | None


def _spots(case: Case, limits: Limits) -> Spots | Missing:
    """Return where the rule is judged: at every receptor, or on the site's boundary, once for each of its limits."""
    run, method = case.run, case.method
    count = run.receptor_count
    if case.rule.place != PLACE:
        everywhere = np.arange(count)
        return Spots(everywhere, everywhere, run.plan_m, method.vibration)
    plan = boundary_plan_m(run.scenario)
    if isinstance(plan, Missing):
        return plan
    values = np.stack([one.value for one in limits.groups], axis=1)
    _, first, of = np.unique(values, axis=0, return_index=True, return_inverse=True)
    ground = ground_vibration(method.choice, run.catalogue.models, run.drive, plan, run.schemes)
    alike = np.zeros(len(first), dtype=np.int64)
    near = f"; a pile nearer than {NEAREST_M:g} m counts as that far" if (plan <= NEAREST_M).any() else ""
    return Spots(first.astype(np.int64), np.ravel(of).astype(np.int64), plan[alike], ground.at_rows(alike),
                 f"judged on the site's boundary, at the point nearest to each pile{near}")


def _without(applied: Applied, hit: NDArray[np.bool_], text: NDArray[np.object_] | str) -> Applied:
    """Return the limits with some judged receptors turned into ones that can't be judged, and why."""
    lost = hit & (applied.status == JUDGED)
    return Applied(applied.value, applied.basis, np.where(lost, MISSING, applied.status),
                   np.where(lost, text, applied.text).astype(object), applied.note)


def _idle(applied: Applied, hit: NDArray[np.bool_], text: NDArray[np.object_]) -> Applied:
    """Return the limits with those receptors not governed at which nothing happens that the rule counts, and why."""
    idle = hit & (applied.status != NOT_GOVERNED)
    return Applied(applied.value, applied.basis, np.where(idle, NOT_GOVERNED, applied.status),
                   np.where(idle, text, applied.text).astype(object), applied.note)


def _nowhere(case: Case) -> Spots:
    """Return the receptors themselves, where no level can be found."""
    everywhere = np.arange(case.run.receptor_count)
    return Spots(everywhere, everywhere, case.run.plan_m, case.method.vibration)


def _gate(case: Case, affected: Numbers | None, spots: Spots, limit: Floats) -> Floats | None:
    """Return, for a rule that decides between two bounds, how far a single event must lie above the lower one (Q).

    In log10 units: a strength of the assessment time counts only where KB_Fmax exceeds the lower bound of its group.
    """
    from envpredict.engine.vibration.exposure import assessment_s

    rule = case.rule
    partner = next((one for one in case.limit_set.rules if rule.gate == "decides_between" and one.gate == "met_below"
                    and one.group == rule.group), None)
    if partner is None:
        return None
    lower = limits_of(replace(case, rule=partner), affected).joint.value[spots.rows]
    with np.errstate(invalid="ignore"):
        gate = 0.5 * np.log10(assessment_s(case)) - np.log10(lower) + np.log10(limit)
    return np.where(np.isnan(gate), np.inf, gate)


def _silent(case: Case) -> LevelSeries:
    """Return a series without slots, of the rule's own quantity and place."""
    count, nothing = case.run.receptor_count, np.zeros(0, dtype=np.int64)
    empty = np.zeros((count, 0))
    return LevelSeries(case.rule.quantity or "", case.rule.place, case.work.slots.take(nothing), empty, empty, empty,
                       empty.astype(bool))


def examine(run: Run, method: MethodRun, limit_set: LimitSet, rule: Rule, period: Period | None) -> Examined:
    """Return what one rule comes to in one of its periods for one method, at every receptor."""
    case = Case(run, method, limit_set, rule, period)
    sand = sand_at(run) if rule.effect == "settlement" else None
    moved = transfer(run.scenario, rule.place)
    affected = None
    if isinstance(rule.value, Fixed) and rule.value.days_counted == "affected":
        way = Transfer.nothing(run.receptor_count) if isinstance(moved, Missing) else moved
        affected = affected_days(case, _nowhere(case), way)
    limits = limits_of(case, affected)
    applied = limits.joint if sand is None else with_sand(limits.joint, sand)
    spots = _spots(case, limits)
    fault = moved if isinstance(moved, Missing) else spots if isinstance(spots, Missing) else None
    if isinstance(spots, Missing) or isinstance(moved, Missing):
        levels: Levels | Missing | None = None
        spots, way = _nowhere(case), Transfer.nothing(run.receptor_count)
    else:
        way = way_to(case, moved, sand) if rule.place != PLACE else Transfer.nothing(len(spots.rows))
        applied = _without(applied, way.missing, way.note) if rule.place != PLACE else applied
        limit = np.stack([one.value[spots.rows] for one in limits.groups])
        levels = levels_of(case, spots, way, limit, _gate(case, affected, spots, reference(limit)))
        fault = levels if isinstance(levels, Missing) else None
    if fault is not None:
        everyone = np.ones(run.receptor_count, dtype=bool)
        applied = _without(applied, everyone, f"the rule needs {fault.fact}: {fault.why}")
    return _judged(case, limits, applied, spots, way, levels if isinstance(levels, Levels) else None, sand)


def _judged(case: Case, limits: Limits, applied: Applied, spots: Spots, way: Transfer, levels: Levels | None,
            sand: Sand | None) -> Examined:
    """Judge the levels, and read the limit of every receptor in the band of the phase that governs it."""
    run, rule = case.run, case.rule
    count = run.receptor_count
    nothing = np.zeros(count, dtype=np.int64)
    if len(case.work.one) == 0:
        # no work, no question: what else the rule would need isn't asked
        applied = _idle(applied, np.ones(count, dtype=bool), np.full(count, NOTHING, dtype=object))
    elif short := out_of_reach(rule, case.work.slots.day):
        applied = _idle(applied, np.ones(count, dtype=bool), np.full(count, short, dtype=object))
    if levels is None or len(levels.series.slots) == 0:
        judgement, _ = judge_rule(_silent(case), rule, np.full(count, np.nan), run.design_exceedance)
        return Examined(case, applied, limits, spots, way, levels, judgement, nothing, nothing,
                        np.zeros(0, dtype="datetime64[D]"), sand)
    series = levels.series
    if sand is not None:
        series = replace(series, in_range=series.in_range & sand.in_range[spots.rows][:, None])
    shared = reference(np.stack([one.value[spots.rows] for one in limits.groups]))
    judgement, _ = judge_rule(series, rule, shared, run.design_exceedance)
    if case.vacant is not None and rule.place != PLACE:
        applied = _idle(applied, judgement.silent, NOBODY + told(rule, run.scenario.receptors))
    slot = np.maximum(judgement.slot, 0)
    row = np.arange(len(spots.rows))
    field, pile = levels.field[row, slot][spots.of], levels.pile[row, slot][spots.of]
    judgement = take(judgement, spots.of)
    final = replace(limits.of_group(case.groups[field]), status=applied.status, text=applied.text)
    judgement = _in_its_own_limit(judgement, shared[spots.of], final.value, rule.quantity or "")
    return Examined(case, final, limits, spots, way, levels, judgement, field, pile, days_of(series), sand)


def _in_its_own_limit(judgement: Judgement, shared: Floats, own: Floats, quantity: str) -> Judgement:
    """Return a judgement whose levels were scaled to one group's limit, in terms of the governing group's own limit."""
    step = in_log(own, quantity) - in_log(shared, quantity)
    step = np.where(np.isfinite(step), step, 0.0)
    if not step.any():
        return judgement
    if QUANTITIES[quantity].scale == "linear":
        return replace(judgement, median=judgement.median * 10.0**step, design=judgement.design * 10.0**step)
    return replace(judgement, median=judgement.median + 20.0 * step, design=judgement.design + 20.0 * step)


def findings(run: Run, method: MethodRun, limit_set: LimitSet, rule: Rule) -> list[Block]:
    """Return the findings of one vibration rule for one method: a block of rows per period of the rule."""
    found = []
    compared = confirmed(run, limit_set, rule)
    for period in rule.periods or (None,):
        seen = examine(run, method, limit_set, rule, period)
        heading = Heading(method.choice.id, rule.effect, rule.quantity or "", rule.place,
                          WHOLE_PROGRAMME if period is None else period.label, limit_set.id, rule.id, rule.clause,
                          whole_db=rule.rounding != "none", defers=_defers(limit_set, rule),
                          confirmed=compared.said, compared=compared.partly)
        found.append(rows(heading, run.scenario.receptors, run.classed(limit_set.id).class_id, seen.applied,
                          seen.judgement, _evidence(seen), seen.days, run.design_exceedance))
    return found


def _evidence(seen: Examined) -> Evidence:
    """Return what the findings stand on, beside what the published laws alone would say where records changed them."""
    case = seen.case
    trial = trial_rows(seen)
    found = evidence(seen, trial)
    plain = case.method.without_trial
    if plain is None:
        return found
    before = examine(case.run, plain, case.limit_set, case.rule, case.period).judgement
    return with_trial(found, trial, seen.judgement, before, case.rule.quantity or "", case.run.design_exceedance)


def _defers(limit_set: LimitSet, rule: Rule) -> str:
    """Return what decides where a lower bound is exceeded, or an empty text: exceeding it is no verdict of its own."""
    if rule.gate != "met_below":
        return ""
    names = [f"'{one.id}'" for one in limit_set.rules if one.gate == "decides_between" and one.group == rule.group]
    return f"above this lower bound {' and '.join(names)} decides" if names else ""
