"""The trace of one vibration level: pile, distance, ground, energy, law, place, combination."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from envpredict.engine.convert import conversion
from envpredict.engine.transfer import step_to
from envpredict.limits.outcome import Missing

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.run import MethodRun, Run
    from envpredict.engine.vibration import LawField


def vibration_lines(run: Run, method: MethodRun, finding: pd.Series, row: int) -> list[str]:
    """Return the trace of a vibration finding at the receptor in this row."""
    piles = run.scenario.piles
    pile = piles["id"].tolist().index(finding["governing_pile"])
    record = piles.iloc[pile]
    law = method.vibration.fields[int(method.vibration.field[row, pile])]
    plan = float(run.plan_m[row, pile])
    lines = [
        f"  Governing pile {record['id']} (section {record['section']}, {record['pile_type']}, "
        f"{record['length_m']:g} m), driven on {finding['governing_day']}; {len(np.unique(method.passes.pile))} piles "
        "in the programme",
        f"    plan distance to the nearest part of the receptor: {plan:.2f} m (from the layers)",
    ]
    depth = float(law.depth_m[row, pile])
    if np.isfinite(depth):
        lines.append(f"    worst step of the drive: toe at {depth:g} m; slope distance {np.hypot(plan, depth):.2f} m")
    if law.word[row, pile]:
        lines.append(f"    ground: '{law.word[row, pile]}', borehole {_borehole(run, pile)} (the nearest)")
    choice = method.choice
    if choice.energy_j is not None and choice.energy_source is not None and "energy_j" in law.spec.inputs:
        lines.append(f"    energy: {choice.energy_j / 1000:g} kJ; {choice.energy_source} [basis: "
                     f"{choice.energy_source.basis}]")
    beside = _beside(method, finding, row, pile)
    return [*lines, *_law_lines(law, row, pile), *beside, *_way_lines(run, method, finding)]


def _beside(method: MethodRun, finding: pd.Series, row: int, pile: int) -> list[str]:
    """Return what else was considered at this pile: other phases and hard ground, and the spread of the other laws."""
    chosen = int(method.vibration.field[row, pile])
    lines = []
    for number, field in enumerate(method.vibration.fields):
        level = float(field.log_median[row, pile])
        if number != chosen and np.isfinite(level):
            role = f"{field.law.role.replace('_', ' ')}, {field.law.phase} phase"
            lines.append(f"  Beside it: {field.spec.title}, {role}: {10.0**level:.4g} mm/s on the ground; the higher "
                         "governs")
    if finding["other_laws_low"] == finding["other_laws_low"]:
        lines.append(f"  Medians of the method's other laws, like for like: {finding['other_laws_low']:g} to "
                     f"{finding['other_laws_high']:g} {finding['unit']} (shown, not added to the chance)")
    return lines


def _borehole(run: Run, pile: int) -> str:
    if run.drive.ground is None:
        return "none"
    return str(run.drive.ground.boreholes["borehole"].iloc[int(run.drive.borehole[pile])])


def _law_lines(law: LawField, row: int, pile: int) -> list[str]:
    spec = law.spec
    inside = "inside" if law.in_range[row, pile] else "OUTSIDE"
    ranges = "; ".join(f"{name} {limits}" for name, limits in spec.validity.items() if limits.stated)
    scatter = spec.scatter
    spread = "" if scatter is None else (f"between sites {scatter.between_site:.3g}, within the site "
                                         f"{scatter.within_site:.3g} (log10 units); {scatter.source}")
    settings = ", ".join(f"{name} = {value}" for name, value in law.law.parameters.items())
    return [
        f"  Law: {spec.title} ({spec.id}), {law.law.phase} phase; predicts {spec.quantity} on the ground as "
        f"{spec.statistic}, on {spec.distance} distance" + (f"; {settings}" if settings else ""),
        f"    why this law: {law.law.why}",
        f"    source: {spec.source} [basis: {spec.source.basis}]",
        f"    valid range: {ranges or 'none stated'}; here {inside}",
        *(f"    note: {note}" for note in law.notes),
        f"    median on the ground: {10.0 ** float(law.log_median[row, pile]):.4g} mm/s",
        f"    scatter: {spread}",
    ]


def _way_lines(run: Run, method: MethodRun, finding: pd.Series) -> list[str]:
    lines = []
    step = step_to(str(finding["position"]), run.scenario.choice)
    if step is not None:
        place = str(finding["position"]).replace("_", " ")
        lines.append(f"  To the {place}: {step.title}, {step.gain_db:+.1f} dB, scatter {step.scatter:g}; {step.source} "
                     f"[basis: {step.source.basis}]")
    converted = conversion(run.catalogue.models, method.vibration.quantity, str(finding["quantity"]), method.choice)
    if not isinstance(converted, Missing):
        lines += [f"  {note}" for note in converted.notes]
    return [*lines, f"  Median where the limit is judged: {finding['predicted_median']:g} {finding['unit']}, scatter "
                    f"{finding['scatter']:g}"]
