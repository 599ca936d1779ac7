"""Findings of the rules on noise."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import Citation
from envpredict.core.series import LevelSeries
from envpredict.engine.applied import Applied, apply, rank
from envpredict.engine.blocks import Blocks, clock_blocks
from envpredict.engine.day_rules import NOTE as DAY_RULE_NOTE
from envpredict.engine.findings import Block, Evidence, Heading, rows
from envpredict.engine.hours_rules import level_for_hours
from envpredict.engine.judge import Judgement, days_of
from envpredict.engine.judge_rule import counts_days, in_season, judge_rule, spared
from envpredict.engine.noise import mean_level_series
from envpredict.engine.reduce import take, worst_points
from envpredict.limits.outcome import LimitValue, Missing, NotGoverned
from envpredict.limits.values import BackgroundCategory, BackgroundPlus, DayAllowance, HoursByMargin

if TYPE_CHECKING:
    from envpredict.engine.run import MethodRun, Run
    from envpredict.limits.periods import Period
    from envpredict.limits.schema import LimitSet, Rule

Floats = NDArray[np.float64]
FACADE_DB = 3.0
FACADE_SOURCE = Citation("Hong Kong Technical Memorandum on noise from percussive piling", None,
                         "correction of +3 dB at a facade", "read")
MODEL = "iso9613_flat"
INCIDENT_PLACES = ("free_field", "boundary", "habitat")


@dataclass(frozen=True, slots=True)
class Baseline:
    """The measured background of one receptor and period."""

    laeq_db: float | None
    la90_db: float | None
    position: str


def baselines(run: Run, period: Period) -> list[Baseline]:
    """Return every receptor's baseline of a period; without a measurement both levels are None."""
    nothing = Baseline(None, None, "free_field")
    table = run.scenario.baseline
    ids = run.scenario.receptors["id"].tolist()
    if table is None:
        return [nothing] * len(ids)
    here = table[table["period"].str.casefold().isin([period.id.casefold(), period.label.casefold()])]
    known = {str(row.receptor): Baseline(_number(row.laeq_db), _number(row.la90_db), str(row.position))
             for row in here.itertuples()}
    return [known.get(str(name), nothing) for name in ids]


def _number(value: Any) -> float | None:
    return None if value is None or np.isnan(value) else float(value)


def _limits(run: Run, method: MethodRun, limit_set: LimitSet, rule: Rule, period: Period | None) -> Applied:
    """Return every receptor's limit for a rule in a period."""
    follows = isinstance(rule.value, BackgroundCategory | BackgroundPlus)
    measured = baselines(run, period) if follows and period is not None else None
    governed = rule.governs(method.choice.signal, family=method.choice.method.family)
    idle = spared(rule, method.passes.day)
    if governed is True and idle:
        governed = NotGoverned(idle)
    period_id = None if period is None else period.id

    def ask(class_id: str, row: int) -> LimitValue | Missing | NotGoverned:
        if governed is not True:
            return governed
        covered = rule.governs(class_id=class_id)
        if covered is not True:
            return covered
        if measured is not None:
            base = measured[row]
            return rule.limit_from_background(class_id, period_id, base.laeq_db, base.la90_db, base.position,
                                              days=method.works_days)
        if isinstance(rule.value, DayAllowance):
            return LimitValue(rule.value.steps[0][0], rule.unit, rule.basis, rule.citations)
        found = rule.limit(class_id, period_id=period_id, signal=method.choice.signal, days=method.works_days)
        return _by_hours(rule, found, method)

    return apply(run.classed(limit_set.id), measured or [None] * run.receptor_count, ask)


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


def _series(run: Run, method: MethodRun, rule: Rule, blocks: Blocks, period: Period | None) -> LevelSeries | Missing:
    """Return the levels that a rule judges, or what is missing to have them."""
    if rule.place != "facade" and rule.place not in INCIDENT_PLACES:
        return Missing("place", f"levels {rule.place} aren't predicted: judge them by measurement")
    if rule.quantity not in ("laeq_db", "lar_db"):
        return Missing("quantity", f"{rule.quantity} isn't predicted: judge it by measurement")
    correction = FACADE_DB if rule.place == "facade" else 0.0
    hours = float(np.mean(_daily_hours(blocks))) if len(blocks) else None
    correction += rule.level_shift_db(method.choice.signal, None if period is None else period.id, hours)
    series = mean_level_series(method.sound, method.passes, blocks, correction)
    # facade and adjustments are in: the level is now the rule's own quantity at the rule's own place
    return replace(series, quantity=rule.quantity, position=rule.place)


def _daily_hours(blocks: Blocks) -> Floats:
    """Return the hours of work of each day inside the blocks."""
    _, index = np.unique(blocks.slots.day, return_inverse=True)
    return np.bincount(np.ravel(index), weights=blocks.overlap_s.sum(axis=0)) / 3600.0


def _evidence(run: Run, method: MethodRun, judgement: Judgement, blocks: Blocks, worst: NDArray[np.int64],
              rule: Rule) -> Evidence:
    count = run.receptor_count
    slot = np.maximum(judgement.slot, 0)
    days = blocks.slots.day.astype(str) if len(blocks) else np.array([""])
    distance = method.sound.plan_m[worst][:, method.passes.pile]
    working = blocks.overlap_s.T[slot] > 1e-9 if len(blocks) else np.zeros(distance.shape, dtype=bool)
    nearest = np.where(working, distance, np.inf).argmin(axis=1)
    pile = method.passes.pile[nearest]
    basis = rank(method.sound.basis)
    notes = [*method.notes]
    if rule.place == "facade":
        basis = max(basis, rank(FACADE_SOURCE.basis))
        notes.append("facade level: 3 dB added to the incident sound")
    if counts_days(rule):
        notes.append(DAY_RULE_NOTE)
    piles = run.plan_m.shape[1]
    unproven = method.feasible.doubts(piles)[pile]
    if method.sound.median_basis == "estimate":
        unproven = np.full(count, "the sound power is an estimate", dtype=object)
    return Evidence(
        model=np.full(count, MODEL, dtype=object), median_basis=np.full(count, rank(method.sound.median_basis)),
        basis=np.full(count, basis), unproven=unproven, pile=run.scenario.piles["id"].to_numpy()[pile].astype(object),
        day=days[slot].astype(object), notes=tuple(notes), row_notes=method.feasible.remarks(piles)[pile])


def findings(run: Run, method: MethodRun, limit_set: LimitSet, rule: Rule) -> list[Block]:
    """Return the findings of one noise rule for one method: a block of rows per period of the rule."""
    blocks_of_rows = []
    for period in rule.periods:
        blocks = clock_blocks(method.passes, period, run.scenario.programme.holidays)
        blocks = _only(blocks, in_season(rule, blocks.slots.day))
        applied = _limits(run, method, limit_set, rule, period)
        series = _series(run, method, rule, blocks, period)
        if isinstance(series, Missing):
            applied = _unanswered(applied, series)
            blocks = _only(blocks, np.zeros(len(blocks), dtype=bool))
            series = replace(mean_level_series(method.sound, method.passes, blocks, 0.0),
                             quantity=rule.quantity or "laeq_db", position=rule.place)
        receptor = run.path.points.receptor
        judgement, limit = judge_rule(series, rule, applied.value[receptor], run.design_exceedance)
        worst = worst_points(judgement, receptor, run.receptor_count)
        chosen, applied = take(judgement, worst), replace(applied, value=limit[worst])
        heading = Heading(method.choice.id, rule.effect, rule.quantity or "", rule.place, period.label, limit_set.id,
                          rule.id, rule.clause, whole_db=rule.rounding != "none")
        blocks_of_rows.append(rows(heading, run.scenario.receptors, run.classed(limit_set.id).class_id, applied, chosen,
                                   _evidence(run, method, chosen, blocks, worst, rule), days_of(series),
                                   run.design_exceedance))
    return blocks_of_rows


def _unanswered(applied: Applied, missing: Missing) -> Applied:
    """Return the same limits with every judged receptor turned into one that can't be judged."""
    from envpredict.engine.applied import JUDGED, MISSING

    judged = applied.status == JUDGED
    return Applied(applied.value, applied.basis, np.where(judged, MISSING, applied.status),
                   np.where(judged, f"the rule needs {missing.fact}: {missing.why}", applied.text).astype(object),
                   applied.note)


def _only(blocks: Blocks, keep: NDArray[np.bool_]) -> Blocks:
    return blocks.only(keep)
