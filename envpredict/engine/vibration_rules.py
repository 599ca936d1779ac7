"""Findings of the rules on vibration."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.quantities import QUANTITIES
from envpredict.core.series import LevelSeries, Slots
from envpredict.engine.applied import MISSING, Applied, apply, rank
from envpredict.engine.blocks import inside
from envpredict.engine.day_rules import NOTE as DAY_RULE_NOTE
from envpredict.engine.day_rules import judge_days
from envpredict.engine.findings import Block, Evidence, Heading, rows
from envpredict.engine.judge import Judgement, days_of, judge
from envpredict.engine.transfer import Transfer, transfer
from envpredict.limits.outcome import LimitValue, Missing, NotGoverned

if TYPE_CHECKING:
    from envpredict.engine.run import MethodRun, Run
    from envpredict.limits.periods import Period
    from envpredict.limits.schema import LimitSet, Rule

Floats = NDArray[np.float64]
WHOLE_PROGRAMME = "whole programme"


def band(method: MethodRun) -> tuple[float, float, float]:
    """Return the lowest, highest and likely frequency in Hz of all phases that take part."""
    own = method.choice.method.frequency
    sweep = method.choice.method.start_stop_frequency
    if sweep is None or not any(field.law.phase == "start_stop" for field in method.vibration.fields):
        return own.low_hz, own.high_hz, own.likely_hz
    return min(own.low_hz, sweep.low_hz), max(own.high_hz, sweep.high_hz), own.likely_hz


def _limits(run: Run, method: MethodRun, limit_set: LimitSet, rule: Rule, period: Period | None) -> Applied:
    governed = rule.governs(method.choice.signal, family=method.choice.method.family)
    low, high, likely = band(method)

    def ask(class_id: str, _row: int) -> LimitValue | Missing | NotGoverned:
        if governed is not True:
            return governed
        covered = rule.governs(class_id=class_id)
        if covered is not True:
            return covered
        found = rule.limit(class_id, low, high, likely, period_id=None if period is None else period.id,
                           signal=method.choice.signal, days=method.works_days)
        if isinstance(found, LimitValue) and found.frequency_hz is not None:
            note = f"limit at its least favourable frequency in {low:g} to {high:g} Hz, {found.frequency_hz:g} Hz"
            return LimitValue(found.value, found.unit, found.basis, found.citations, found.frequency_hz,
                              found.at_likely, f"{found.note}; {note}" if found.note else note)
        return found

    return apply(run.classed(limit_set.id), [None] * run.receptor_count, ask)


def level_series(method: MethodRun, quantity: str, position: str, moved: Transfer,
                 keep: NDArray[np.bool_]) -> LevelSeries:
    """Return the vibration of the chosen passes in a rule's quantity and at its place."""
    passes = method.passes
    piles = passes.pile[keep]
    vibration = method.vibration.of(piles, passes.stage_of[keep])
    level = vibration.log_median + moved.shift[:, None]
    linear = QUANTITIES[quantity].scale == "linear"
    names = np.array([str(number) for number in piles])
    slots = Slots(passes.day[keep], passes.start_s[keep], passes.end_s[keep], names)
    scale = 1.0 if linear else 20.0
    return LevelSeries(quantity, position, slots, 10.0**level if linear else 20.0 * level + moved.offset_db,
                       scale * np.hypot(vibration.shared, moved.scatter[:, None]), scale * vibration.own,
                       vibration.in_range)


def _evidence(run: Run, method: MethodRun, judgement: Judgement, keep: NDArray[np.bool_], moved: Transfer,
              extra: tuple[str, ...]) -> Evidence:
    count = run.receptor_count
    rows_ = np.arange(count)
    piles, stages, days = method.passes.pile[keep], method.passes.stage_of[keep], method.passes.day[keep]
    slot = np.maximum(judgement.slot, 0)
    pile = piles[slot] if len(piles) else np.zeros(count, dtype=np.int64)
    fields = method.vibration.fields
    which = method.vibration.of(piles, stages).field[rows_, slot] if len(piles) else method.vibration.field[rows_, pile]
    names = np.array([field.spec.id for field in fields], dtype=object)[which]
    unproven = np.array([field.unproven for field in fields], dtype=object)[which]
    unproven = np.where(unproven == "", method.feasible.doubts(run.plan_m.shape[1])[pile], unproven).astype(object)
    notes = tuple(dict.fromkeys((*method.notes, *extra, *(note for field in fields for note in field.notes))))
    phases = {"all": "", "running": "running", "start_stop": "start or stop of the vibrator"}
    spoken = np.array([phases[field.law.phase] for field in fields], dtype=object)[which]
    asked = method.feasible.remarks(run.plan_m.shape[1])[pile]
    own = np.array(["; ".join(text for text in texts if text) for texts in zip(spoken, moved.note, asked, strict=True)],
                   dtype=object)
    day = days[slot].astype(str).astype(object) if len(days) else np.full(count, "", dtype=object)
    others = method.others(run, which, pile)
    way = moved.shift + (0.0 if moved.offset_db == 0.0 else moved.offset_db / 20.0)
    decibel = moved.offset_db != 0.0
    shown = tuple(20.0 * (np.log10(level) + way) if decibel else level * 10.0**way for level in others)
    return Evidence(
        model=names, median_basis=np.maximum(np.array([rank(f.median_basis) for f in fields])[which], moved.basis),
        basis=np.maximum(np.array([rank(f.basis) for f in fields])[which], moved.basis), unproven=unproven,
        pile=run.scenario.piles["id"].to_numpy()[pile].astype(object), day=day, notes=notes, row_notes=own,
        others=(shown[0], shown[1]))


def findings(run: Run, method: MethodRun, limit_set: LimitSet, rule: Rule) -> list[Block]:
    """Return the findings of one vibration rule for one method: a block of rows per period of the rule."""
    found = []
    quantity = rule.quantity or ""
    for period in rule.periods or (None,):
        applied = _limits(run, method, limit_set, rule, period)
        moved = transfer(run, method, quantity, rule.place, rule.effect)
        keep = (np.ones(len(method.passes.pile), dtype=bool) if period is None
                else inside(method.passes, period, run.scenario.programme.holidays))
        if isinstance(moved, Missing):
            applied = _unanswered(applied, moved)
            moved, keep = Transfer.nothing(run.receptor_count), np.zeros(len(keep), dtype=bool)
        elif moved.missing.any():
            applied = _partly(applied, moved)
        series = level_series(method, quantity, rule.place, moved, keep)
        counted = [one for one in rule.persistence if getattr(one, "counts", "exceedance") == "exceedance"]
        if counted:
            judgement = judge_days(series, applied.value, run.design_exceedance, counted)
        else:
            judgement = judge(series, applied.value, run.design_exceedance)
        heading = Heading(method.choice.id, rule.effect, quantity, rule.place,
                          WHOLE_PROGRAMME if period is None else period.label, limit_set.id, rule.id, rule.clause)
        evidence = _evidence(run, method, judgement, keep, moved,
                             (*moved.notes, *((DAY_RULE_NOTE,) if counted else ())))
        found.append(rows(heading, run.scenario.receptors, run.classed(limit_set.id).class_id, applied, judgement,
                          evidence, days_of(series), run.design_exceedance))
    return found


def _unanswered(applied: Applied, missing: Missing) -> Applied:
    """Return the limits with every judged receptor turned into one that can't be judged."""
    judged = applied.status == 0
    return Applied(applied.value, applied.basis, np.where(judged, MISSING, applied.status),
                   np.where(judged, f"the rule needs {missing.fact}: {missing.why}", applied.text).astype(object),
                   applied.note)


def _partly(applied: Applied, moved: Transfer) -> Applied:
    """Return the limits with the receptors that a transfer can't reach turned into ones that can't be judged."""
    hit = moved.missing & (applied.status == 0)
    return Applied(applied.value, applied.basis, np.where(hit, MISSING, applied.status),
                   np.where(hit, moved.note, applied.text).astype(object), applied.note)
