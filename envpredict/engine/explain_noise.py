"""The trace of one sound level: plant by plant, term by term, as on a sheet of paper."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from envpredict.engine.blocks import clock_blocks
from envpredict.engine.noise import FIRST_EAR_M, head_heights_m

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.noise import PlantLevels
    from envpredict.engine.run import MethodRun, Run


def _points(run: Run, row: int) -> np.ndarray:
    return np.flatnonzero(run.path.points.receptor == row)


def noise_lines(run: Run, method: MethodRun, finding: pd.Series, row: int) -> list[str]:
    """Return the trace of a noise finding at the receptor in this row: its loudest floor on the governing day."""
    rule = run.catalogue.limit_sets[finding["limit_set"]].rule(finding["rule"])
    period = next(one for one in rule.periods if one.label == finding["period"])
    blocks = clock_blocks(method.passes, period, run.scenario.programme.holidays)
    slots = np.flatnonzero(blocks.slots.day.astype(str) == finding["governing_day"])
    best, slot, point = -np.inf, int(slots[0]), int(_points(run, row)[0])
    shares: list[tuple[PlantLevels, float]] = []
    for at in _points(run, row):
        for number in slots:
            parts = [(item, _contribution(item, method, blocks.overlap_s[:, number], blocks.length_s[number], int(at)))
                     for item in method.sound.items]
            total = 10.0 * np.log10(sum(10.0 ** (level / 10.0) for _, level in parts))
            if total > best:
                best, slot, point, shares = total, int(number), int(at), parts
    height = float(run.path.points.height_m[point])
    floor = round((height - FIRST_EAR_M) / 3.0)
    start, end = blocks.slots.start[slot] / 3600.0, blocks.slots.end[slot] / 3600.0
    working = np.flatnonzero(blocks.overlap_s[:, slot] > 0)
    piles = method.passes.pile[working]
    distances = method.sound.plan_m[point, piles]
    lines = [
        f"  {finding['governing_day']}, {start:.4g} h to {end:.4g} h: {len(working)} piles worked, "
        f"{distances.min():.1f} to {distances.max():.1f} m away in plan; receptor point on floor {floor}, {height:g} m "
        "above ground, incident",
        f"  Method: ISO 9613-2:1996 as clarified by ISO/TR 17534-3:2015, flat ground of porosity "
        f"{run.path.porosity:g}, no screening; air {run.path.temperature_c:g} degC, {run.path.humidity_percent:g} %",
    ]
    nearest = int(piles[distances.argmin()])
    for item, level in shares:
        on_s = float((blocks.overlap_s[:, slot] * method.passes.on_share(item.use)).sum() * item.use.count)
        lines += _item_lines(run, item, level, nearest, point, on_s, float(blocks.length_s[slot]))
    lines.append(f"  Sum of the plant, incident: {best:.2f} dB LAeq over {blocks.length_s[slot] / 3600.0:g} h")
    return [*lines, f"  Where the limit is judged ({finding['position'].replace('_', ' ')}): "
                    f"{finding['predicted_median']:g} dB, scatter {finding['scatter']:g} dB"]


def _contribution(item: PlantLevels, method: MethodRun, seconds: np.ndarray, length_s: float, point: int) -> float:
    energy = 10.0 ** (item.level_db[point, method.passes.pile] / 10.0)
    on = seconds * method.passes.on_share(item.use) * item.use.count
    with np.errstate(divide="ignore"):
        return float(10.0 * np.log10((energy * on).sum() / length_s))


def _item_lines(run: Run, item: PlantLevels, level: float, pile: int, point: int, on_s: float,
                length_s: float) -> list[str]:
    from envpredict.models.noise.iso9613_1_1993 import octave_absorption_db_m
    from envpredict.models.noise.iso9613_2_1996 import divergence_db, ground_effect_db

    plant = item.plant
    length = float(run.path.lengths_m[pile])
    heights = head_heights_m(length) if plant.height == "pile_head" else [float(plant.height)]
    height = heights[len(heights) // 2]
    plan = float(run.path.plan_m[point, pile])
    ear = float(run.path.points.height_m[point])
    slope = float(np.sqrt(plan**2 + (height - ear) ** 2))
    air = octave_absorption_db_m(temperature_c=run.path.temperature_c, humidity_percent=run.path.humidity_percent)
    ground = ground_effect_db(plan, height, ear, source_porosity=run.path.porosity,
                              receptor_porosity=run.path.porosity, middle_porosity=run.path.porosity)

    def row(values: np.ndarray) -> str:
        return " ".join(f"{value:7.1f}" for value in np.atleast_1d(values))

    where = f"{min(heights):g} to {max(heights):g} m, shown at {height:g} m" if len(heights) > 1 else f"{height:g} m"
    return [
        f"  {plant.title} ({plant.id}) at the nearest pile, {slope:.1f} m, source height {where}:",
        f"    LWA {plant.lwa_db:g} dB (u {plant.u_db:g} dB); {plant.citation} [basis: {plant.citation.basis}]",
        f"    octaves 63 Hz to 8 kHz, LW   {row(np.asarray(plant.octaves_db))}",
        f"    divergence, all bands        {float(divergence_db(slope)):7.1f}",
        f"    air                          {row(air * slope)}",
        f"    ground                       {row(np.asarray(ground))}",
        f"    level while it works, A-weighted: {float(item.level_db[point, pile]):.2f} dB",
        f"    on for {on_s:.0f} s of {length_s:.0f} s ({100 * item.use.on_time_fraction:g} % of the piles' time; "
        f"{item.use.citation} [basis: {item.use.citation.basis}])",
        f"    contribution over the block, all piles: {level:.2f} dB",
    ]
