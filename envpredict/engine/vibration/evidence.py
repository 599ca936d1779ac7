"""What a finding on vibration stands on: law, pile, day, how well each is known, and what to say beside the number."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import weakest
from envpredict.core.quantities import QUANTITIES
from envpredict.engine.applied import rank
from envpredict.engine.chances.day_rules import NOTE as DAY_RULE_NOTE
from envpredict.engine.chances.judge_rule import counting, counts_days
from envpredict.engine.findings import Evidence
from envpredict.engine.learned.evidence import TrialRows
from envpredict.engine.vibration.dose import power_of
from envpredict.engine.vibration.exposure import exposure_basis
from envpredict.engine.vibration.field import other_laws
from envpredict.engine.vibration.occupied import told

if TYPE_CHECKING:
    from envpredict.engine.run import MethodRun, Run
    from envpredict.engine.vibration.rules import Examined

Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]
PHASES = {"all": "", "running": "running", "start_stop": "start or stop of the vibrator"}
RIGS = "several rigs: the higher of their levels counts, vibration of two at once isn't summed"
GATED = ("the level shown is what decides: the strength of the assessment time, or where it is smaller as far above "
         "its limit as KB_Fmax lies above the lower bound")


def others(run: Run, method: MethodRun, which: Numbers, pile: Numbers, plan_m: Floats) -> tuple[Floats, Floats]:
    """Return the lowest and highest median (R) in mm/s of the other laws at each receptor's governing pile.

    `which` (R) the governing field, `pile` (R) the governing pile, `plan_m` (R) its plan distance.
    """
    low, high = np.full(len(pile), np.nan), np.full(len(pile), np.nan)
    for number, field in enumerate(method.vibration.fields):
        here = np.flatnonzero(which == number)
        if here.size:
            low[here], high[here] = other_laws(method.choice, run.catalogue.models, run.drive.take(pile[here]),
                                               plan_m[here], field, run.schemes)
    return low, high


def _shown_others(seen: Examined, which: Numbers) -> tuple[Floats, Floats]:
    """Return the spread of the other laws in the rule's quantity at its place; for sums over a day there's none."""
    case, levels = seen.case, seen.levels
    quantity = case.rule.quantity or ""
    nothing = np.full(len(which), np.nan)
    if levels is None or power_of(quantity) is not None or not len(levels.series.slots):
        return nothing, nothing
    of = seen.spots.of
    spread = others(case.run, case.method, which, seen.pile, seen.spots.plan_m[of, seen.pile])
    # what the governing law's velocity became on its way, the others' would have become too
    ground = seen.spots.vibration.fields
    at = np.array([ground[f].log_median[q, p] for f, q, p in zip(which.tolist(), of.tolist(), seen.pile.tolist(),
                                                                 strict=True)])
    linear = QUANTITIES[quantity].scale == "linear"
    with np.errstate(divide="ignore", invalid="ignore"):
        if linear:
            low, high = (level * seen.judgement.median / 10.0**at for level in spread)
        else:
            low, high = (20.0 * (np.log10(level) - at) + seen.judgement.median for level in spread)
    return np.asarray(low), np.asarray(high)


def _buried(seen: Examined) -> NDArray[np.object_]:
    """Return, for buried pipes, the distance through the ground that the laws were not fitted on."""
    run = seen.case.run
    table = run.scenario.receptors
    text = np.full(len(table), "", dtype=object)
    depth = table["depth_m"].to_numpy(dtype=float)
    for row in np.flatnonzero((table["use"] == "buried_pipe").to_numpy() & (depth > 0.0)):
        plan = float(run.plan_m[row, seen.pile[row]])
        text[row] = (f"buried {depth[row]:g} m deep: {np.hypot(plan, depth[row]):.1f} m from the pile's head on the "
                     f"slope, {plan:.1f} m in plan where the toe passes it; the law was fitted at the surface")
    return text


def _row_notes(seen: Examined, phase: NDArray[np.object_]) -> NDArray[np.object_]:
    case = seen.case
    piles = case.run.pile_count
    remarks = case.method.feasible.remarks(piles)[seen.pile]
    said = seen.way.said[seen.spots.of]
    spoken = np.array(seen.levels.spoken if seen.levels else [""] * len(case.method.vibration.fields),
                      dtype=object)[seen.field]
    laws = np.array(["; ".join(field.notes) for field in case.method.vibration.fields], dtype=object)[seen.field]
    left_out = np.where(seen.limits.partial == "", "", "a phase isn't judged: " + seen.limits.partial)
    hours = told(case.rule, case.run.scenario.receptors)
    parts = [phase, left_out, laws, said, spoken, remarks, hours, _buried(seen)]
    return np.array(["; ".join(str(text) for text in texts if text) for texts in zip(*parts, strict=True)],
                    dtype=object)


def _notes(seen: Examined) -> tuple[str, ...]:
    """Return what holds for every row."""
    case, rule = seen.case, seen.case.rule
    status = rule.status or case.limit_set.status
    dated = f" ({case.limit_set.dated})" if case.limit_set.dated else ""
    found = [*case.method.notes, *(seen.levels.notes if seen.levels else ()), seen.spots.note,
             counting(rule), DAY_RULE_NOTE if counts_days(rule) else "",
             RIGS if case.run.scenario.programme.rigs > 1 and power_of(rule.quantity or "") is None else "",
             GATED if rule.gate == "decides_between" else "",
             f"statutory: {case.limit_set.document}, {case.limit_set.edition}{dated}" if status == "statutory" else ""]
    return tuple(dict.fromkeys(note for note in found if note))


def evidence(seen: Examined, trial: TrialRows) -> Evidence:
    """Return what the findings of an examined case stand on, receptor by receptor; `trial`: the site's records."""
    case, which, pile = seen.case, seen.field, seen.pile
    fields, feasible = case.method.vibration.fields, case.method.feasible

    def of_law(values: list[object]) -> NDArray[np.object_]:
        return np.array(values, dtype=object)[which]

    unproven = trial.unless_proven(of_law([field.unproven for field in fields]))
    doubts = feasible.doubts(case.run.pile_count)[pile]
    partial = np.where(seen.limits.partial == "", "", "a phase of the method isn't judged")
    for text in (doubts, partial):
        unproven = np.where(unproven == "", text, unproven).astype(object)
    median = trial.median_basis(np.array([rank(field.median_basis) for field in fields])[which])
    turned = (seen.levels.basis if seen.levels else np.zeros(len(fields), dtype=np.int64))[which]
    way = seen.way.basis[seen.spots.of]
    every = np.array([rank(field.basis) for field in fields])[which]
    if power_of(case.rule.quantity or "") is not None:
        every = np.maximum(every, rank(weakest(exposure_basis(case))))
    if seen.sand is not None:
        every = np.maximum(every, seen.sand.basis)
    slot = np.maximum(seen.judgement.slot, 0)
    days = seen.levels.series.slots.day if seen.levels else np.zeros(0, dtype="datetime64[D]")
    day = days[slot].astype(str).astype(object) if len(days) else np.full(len(pile), "", dtype=object)
    phase = of_law([PHASES[field.law.phase] for field in fields])
    return Evidence(
        model=of_law([field.spec.id for field in fields]), median_basis=np.maximum.reduce([median, turned, way]),
        basis=np.maximum.reduce([every, turned, way]), unproven=unproven,
        pile=case.run.scenario.piles["id"].to_numpy()[pile].astype(object), day=day, notes=_notes(seen),
        row_notes=_row_notes(seen, phase), others=_shown_others(seen, which))
