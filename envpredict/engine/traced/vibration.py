"""The trace of one vibration level: pile, distance, ground, energy, law, place, combination."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.special import ndtri

from envpredict.core.citation import BASES
from envpredict.core.series import LevelSeries
from envpredict.engine.chances.judge import judge
from envpredict.engine.chances.judge_rule import counts_days
from envpredict.engine.geometry import slope_distance_m
from envpredict.engine.learned.evidence import trial_lines
from envpredict.engine.vibration.dose import power_of
from envpredict.engine.vibration.field import TWICE
from envpredict.engine.vibration.printed import printed_curves, printed_values
from envpredict.engine.vibration.rules import WHOLE_PROGRAMME, Examined, examine

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.run import MethodRun, Run
    from envpredict.engine.vibration.field import LawField

CHANCES = (0.5, 0.16, 0.05, 0.01)


def examined(run: Run, method: MethodRun, finding: pd.Series) -> Examined:
    """Return what a finding on vibration was made from."""
    limit_set = run.catalogue.limit_sets[finding["limit_set"]]
    rule = limit_set.rule(finding["rule"])
    period = next((one for one in rule.periods if one.label == finding["period"]), None)
    if rule.periods and period is None and finding["period"] != WHOLE_PROGRAMME:
        raise ValueError(f"rule '{rule.id}' has no period '{finding['period']}'")
    return examine(run, method, limit_set, rule, period)


def vibration_lines(run: Run, method: MethodRun, finding: pd.Series, row: int,
                    chances: Sequence[float] = ()) -> list[str]:
    """Return the trace of a vibration finding at the receptor in this row; `chances`: further exceedances to state."""
    seen = examined(run, method, finding)
    piles, pile, at = run.scenario.piles, int(seen.pile[row]), int(seen.spots.of[row])
    record = piles.iloc[pile]
    law = seen.spots.vibration.fields[int(seen.field[row])]
    plan = float(seen.spots.plan_m[at, pile])
    where = "the boundary" if seen.spots.note else "the nearest part of the receptor"
    lines = [
        f"  Governing pile {record['id']} (section {record['section']}, {record['pile_type']}, "
        f"{record['length_m']:g} m), worked on {finding['governing_day']}; {len(np.unique(method.passes.pile))} piles "
        "in the programme",
        f"    plan distance to {where}: {plan:.2f} m (from the layers)",
    ]
    depth = float(law.depth_m[at, pile])
    if np.isfinite(depth):
        lines.append(f"    worst step of the drive: toe at {depth:g} m; slope distance {np.hypot(plan, depth):.2f} m")
    if law.word[at, pile]:
        lines.append(f"    ground: '{law.word[at, pile]}', borehole {_borehole(run, pile)} (the nearest)")
    choice = method.choice
    if choice.energy_j is not None and choice.energy_source is not None and "energy_j" in law.spec.inputs:
        lines.append(f"    energy: {choice.energy_j / 1000:g} kJ; {choice.energy_source} [basis: "
                     f"{choice.energy_source.basis}]")
    return [*lines, *_law_lines(law, at, pile), *_printed_lines(run, method, law, at, pile, plan),
            *_beside(seen, finding, at, pile, int(seen.field[row])), *_way_lines(seen, finding, row),
            *_exceedance_lines(seen, finding, row, chances)]


def _beside(seen: Examined, finding: pd.Series, at: int, pile: int, chosen: int) -> list[str]:
    """Return what else was considered at this pile: other phases and hard ground, and the spread of the other laws."""
    lines = []
    for number, field in enumerate(seen.spots.vibration.fields):
        level = float(field.log_median[at, pile])
        if number != chosen and np.isfinite(level):
            twice = ", twice the running level" if TWICE in field.notes else ""
            lines.append(f"  Beside it: {field.spec.title}, {field.law.role.replace('_', ' ')}, {field.law.phase} phase"
                         f"{twice}: {10.0**level:.4g} mm/s on the ground; the less favourable governs")
    if finding["other_laws_low"] == finding["other_laws_low"]:
        lines.append(f"  Medians of the method's other laws, like for like: {finding['other_laws_low']:g} to "
                     f"{finding['other_laws_high']:g}{_unit(finding)} (shown, not added to the chance)")
    return lines


def _borehole(run: Run, pile: int) -> str:
    if run.drive.ground is None:
        return "none"
    return str(run.drive.ground.boreholes["borehole"].iloc[int(run.drive.borehole[pile])])


def _law_lines(law: LawField, at: int, pile: int) -> list[str]:
    spec = law.spec
    inside = "inside" if law.in_range[at, pile] else "OUTSIDE"
    ranges = "; ".join(f"{name} {limits}" for name, limits in spec.validity.items() if limits.stated)
    scatter = spec.scatter
    spread = "" if scatter is None else (f"between sites {scatter.between_site:.3g}, within the site "
                                         f"{scatter.within_site:.3g} (log10 units); {scatter.source}")
    settings = ", ".join(f"{name} = {value}" for name, value in law.law.parameters.items())
    bound = ("" if scatter is None or scatter.bound_z is None else
             f"; its median lies {scatter.bound_z:.3g} standard deviations of {scatter.total:.3g} below the bound")
    return [
        f"  Law: {spec.title} ({spec.id}), {law.law.phase} phase; predicts {spec.quantity} on the ground as "
        f"{spec.statistic}{bound}, on {spec.distance} distance" + (f"; {settings}" if settings else ""),
        f"    why this law: {law.law.why}",
        f"    source: {spec.source} [basis: {spec.source.basis}]",
        f"    valid range: {ranges or 'none stated'}; here {inside}",
        *(f"    note: {note}" for note in law.notes),
        f"    median on the ground: {10.0 ** float(law.log_median[at, pile]):.4g} mm/s"
        + (f", its factor {law.law.factor:g} included" if law.law.factor != 1.0 else ""),
        f"    scatter: {spread}",
        *trial_lines(law, at, pile),
    ]


def _printed_lines(run: Run, method: MethodRun, law: LawField, at: int, pile: int, plan: float) -> list[str]:
    """Return the curves that the law's document prints, at this distance, and what one pile exceeds by our scatter."""
    spec, depth = law.spec, float(law.depth_m[at, pile])
    inputs: dict[str, Any] = {**law.law.parameters, **({law.option: str(law.word[at, pile])} if law.option else {}),
                              "distance_m": float(slope_distance_m(np.asarray(plan), np.asarray(depth)))
                              if spec.distance == "slope" else plan}
    if method.choice.energy_j is not None:
        inputs["energy_j"] = method.choice.energy_j
    if np.isfinite(depth):
        inputs["depth_m"] = depth
    aside = ", before the factors of ours" if TWICE in law.notes or law.law.factor != 1.0 else ""
    lines = [f"    the document's curve {curve.label}: {float(printed_values(curve, **inputs)):.4g} mm/s on the ground "
             f"(the document's label, no chance of ours{aside})"
             for curve in printed_curves(run.catalogue.models, spec, inputs)]
    if lines and spec.scatter is not None:
        level = 10.0 ** (float(law.log_median[at, pile]) + float(ndtri(0.95)) * spec.scatter.total)
        lines.append(f"    beside it ours, exceeded by one such pile with a chance of 0.05: {level:.4g} mm/s on the "
                     "ground")
    return lines


def _way_lines(seen: Examined, finding: pd.Series, row: int) -> list[str]:
    case, at = seen.case, int(seen.spots.of[row])
    lines = []
    said = str(seen.way.said[at])
    if said:
        lines.append(f"  To the {str(finding['position']).replace('_', ' ')}: {said} [basis: "
                     f"{BASES[int(seen.way.basis[at])]}]")
    if seen.levels is not None:
        spoken = seen.levels.spoken[int(seen.field[row])]
        lines += [f"  {text}" for text in (spoken, *seen.levels.notes) if text]
    if seen.spots.note:
        lines.append(f"  {seen.spots.note[0].upper()}{seen.spots.note[1:]}")
    if power_of(case.rule.quantity or "") is not None:
        lines.append("  What works in the same period of a day is added up; each pile has its own error beside the "
                     "shared one")
    return [*lines, f"  Median where the limit is judged: {finding['predicted_median']:g}{_unit(finding)}, scatter "
                    f"{finding['scatter']:g}"]


def _unit(finding: pd.Series) -> str:
    return "" if finding["unit"] in ("", "1") else f" {finding['unit']}"


def _exceedance_lines(seen: Examined, finding: pd.Series, row: int, chances: Sequence[float]) -> list[str]:
    """Return the levels that are exceeded at least once with various chances."""
    if seen.levels is None or counts_days(seen.case.rule):
        return []
    at = int(seen.spots.of[row])
    series = seen.levels.series
    one = LevelSeries(series.quantity, series.position, series.slots, series.median[at : at + 1],
                      series.shared[at : at + 1], series.own[at : at + 1], series.in_range[at : at + 1])
    none = np.array([np.nan])
    # levels were scaled to one limit for phases with limits of their own: the finding's own median undoes that
    found = [judge(one, none, chance) for chance in (*CHANCES, *chances)]
    step = float(seen.judgement.median[row] - found[0].median[0])
    scale = float(seen.judgement.median[row] / found[0].median[0])
    linear = not str(finding["unit"]).startswith("dB")
    levels = [float(one.design[0]) * scale if linear else float(one.design[0]) + step for one in found]
    told = ", ".join(f"{level:.4g} with a chance of {chance:g}" for level, chance in
                     zip(levels, (*CHANCES, *chances), strict=True))
    return [f"  Exceeded at least once: {told}" + (f" ({finding['unit']})" if _unit(finding) else "")]
