"""The trace of one sound level: plant by plant, term by term, as on a sheet of paper."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.noise.blows import blows_heard
from envpredict.engine.noise.levels import RuleLevels, levels_of
from envpredict.engine.sound.field import PILE_HEAD, head_heights_m
from envpredict.engine.sound.paths import Ends
from envpredict.engine.sound.points import SIDES
from envpredict.engine.sound.trace import trace
from envpredict.limits.outcome import Missing
from envpredict.models.noise.uncertainty import SUM_OF_SOURCES

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.run import MethodRun, Run
    from envpredict.engine.sound.method import ItemSound
    from envpredict.limits.schema import Rule

Floats = NDArray[np.float64]
LEAST_LIFT_DB = 0.005
"""What would be printed as 0.00 isn't."""


@dataclass(frozen=True, slots=True, eq=False)
class _Moment:
    """The level that is traced: in which slot, at which point, and from which pile most of it comes."""

    levels: RuleLevels
    slot: int
    point: int
    pile: int

    @property
    def energy(self) -> Floats:
        """Return the energy (I) of every source there and then."""
        return np.asarray(self.levels.heard.energy[:, self.point, self.slot])


def _moment(run: Run, method: MethodRun, finding: pd.Series, row: int) -> tuple[Rule, _Moment] | Missing:
    rule = run.catalogue.limit_sets[finding["limit_set"]].rule(finding["rule"])
    period = next((one for one in rule.periods if one.label == finding["period"]), None)
    levels = levels_of(run, method, rule, period)
    if isinstance(levels, Missing):
        return levels
    series = levels.at.series
    today = np.where(series.slots.day.astype(str) == finding["governing_day"], series.median[row], -np.inf)
    slot = int(today.argmax())
    point = int(levels.at.point[row, slot])
    pile = int(levels.heard.by_pile(np.array([point]), np.array([slot]))[0].argmax())
    return rule, _Moment(levels, slot, point, pile)


def noise_lines(run: Run, method: MethodRun, finding: pd.Series, row: int) -> list[str]:
    """Return the trace of a noise finding at the receptor in this row: its governing point and slot."""
    found = _moment(run, method, finding, row)
    if isinstance(found, Missing):
        return [f"  No level: {found.why}"]
    rule, at = found
    sound, heard = at.levels.sound, at.levels.heard
    points, slots = sound.points, heard.slots
    start, end = slots.start[at.slot] / 3600.0, slots.end[at.slot] / 3600.0
    where = SIDES[str(points.side[at.point])] if at.levels.step.where == "receptors" else "on the site's boundary"
    lines = [
        f"  {finding['governing_day']}, {start:.4g} h to {end:.4g} h; most of it from pile "
        f"'{run.scenario.piles['id'].iloc[at.pile]}', {sound.plan_m[at.point, at.pile]:.1f} m away in plan",
        f"  Receptor point: floor {int(points.floor[at.point])}, {points.height_m[at.point]:g} m above ground, {where}",
        f"  Method: {run.sound.method.title}",
        f"  Air {run.scenario.acoustic.temperature_c:g} degC, {run.scenario.acoustic.humidity_percent:g} %",
    ]
    maximum = rule.quantity in ("lafmax_db", "lasmax_db", "lae_db")
    energy = at.energy
    for number, item in enumerate(sound.items):
        if energy[number] > 0.0:
            lines += _item_lines(run, item, at, number, (rule.quantity or "") if maximum else "")
    for number, (source, _) in enumerate(sound.others, len(sound.items)):
        if number < len(energy) and energy[number] > 0.0:
            lines.append(f"  {source.plant.title} (other source), LWA {source.plant.lwa_db:g} dB, on for "
                         f"{heard.on_s[number, at.slot]:.0f} s: {_db(energy[number]):.2f} dB")
    what = "Maximum, incident" if maximum else f"Sum, incident, over {heard.of_s[at.slot] / 3600.0:.4g} h"
    lines += [f"  {what}: {_db(energy.sum()):.2f} dB", *_lifted(at)]
    lines += [*_blow_lines(run, method, row), *_added(at), *_budget(at)]
    return [*lines, f"  Where the limit is judged ({finding['position'].replace('_', ' ')}"
            f"): {finding['predicted_median']:g} dB, scatter {finding['scatter']:g} dB"]


def _db(energy: float) -> float:
    return float(10.0 * np.log10(energy))


def _blow_lines(run: Run, method: MethodRun, row: int) -> list[str]:
    """Return what single blows come to at the receptor in this row, wherever their pile stands."""
    blows = blows_heard(run, method)
    if blows is None:
        return []
    said = (f"; {blows.most[row]:.0f} blows of the pile that is heard most: SEL {blows.drive_sel_db[row]:.1f} dB"
            if np.isfinite(blows.most[row]) else "")
    return [f"  Loudest single blow here, incident, by {blows.item.plant.id}: SEL {blows.sel_db[row]:.1f} dB, "
            f"LAFmax {blows.lafmax_db[row]:.1f} dB{said}"]


def _added(at: _Moment) -> list[str]:
    """Return what is added to the incident level, and in which words."""
    step = at.levels.step
    lines = [f"  {note}" for note in at.levels.notes]
    total = step.add_db + at.levels.adjust_db
    return [*lines, f"  Added once to the incident level: {total:+g} dB"] if total else lines


def _lifted(at: _Moment) -> list[str]:
    """Return by how much the median of the sum lies above the sum of the sources' medians, where several sound."""
    median = float(at.levels.heard.median_db()[0][at.point, at.slot])
    lift = median - _db(at.energy.sum())
    if lift < LEAST_LIFT_DB:
        return []
    return [f"  Median of the sum, its sources erring each for itself: {lift:+.2f} dB, {median:.2f} dB; "
            f"{SUM_OF_SOURCES} [basis: {SUM_OF_SOURCES.basis}]"]


def _budget(at: _Moment) -> list[str]:
    """Return the terms of the scatter."""
    heard, step = at.levels.heard, at.levels.step
    window = f", windows {step.u_db:g} dB" if step.u_db else ""
    source, way, own = (float(one[at.point, at.slot])
                        for one in (heard.median_db()[1], heard.way_u_db, heard.own_u_db))
    return [f"  Scatter: sources {source:.2f} dB (one draw an item of plant, shared by all piles, days and places), "
            f"ways of sound {way:.2f} dB{window}; from slot to slot {own:.2f} dB"]


def _item_lines(run: Run, item: ItemSound, at: _Moment, number: int, maximum: str) -> list[str]:
    sound, heard, plant = at.levels.sound, at.levels.heard, item.field.plant
    part = int(item.field.energy[:, at.point, at.pile].argmax())
    length = run.sound.positions.length_m[at.pile : at.pile + 1]
    on_head = plant.height == PILE_HEAD
    height = head_heights_m(length, part) if on_head else np.array([float(plant.height)])
    points = sound.points.take(np.array([at.point]))
    ends = Ends(run.sound.positions.xy[at.pile : at.pile + 1], height, points.xy, points.height_m, points.own)
    where = (f"on the pile's head, from {float(head_heights_m(length, 0)[0]):.1f} m down to "
             f"{float(head_heights_m(length, item.field.parts - 1)[0]):.1f} m, loudest at {float(height[0]):.1f} m"
             if on_head else f"{float(height[0]):g} m above ground")
    lines = [
        f"  {item.plant.title} ({item.plant.id}), {where}:",
        f"    LWA {plant.lwa_db:g} dB (u {plant.u_db:g} dB); {plant.citation} [basis: {plant.citation.basis}]",
        *(f"    {line}" for line in trace(run.sound.method, run.sound.scene(sound.screens), ends,
                                          height if on_head else np.zeros(1), plant)),
    ]
    if item.gain_db and maximum != "lae_db":
        lines.append(f"    {item.gain_db:+.2f} dB by the candidate's own rate of blows")
    if maximum == "lae_db":
        return [*lines, f"    exposure of one blow {item.blow_above_db or 0.0:+.1f} dB to that mean: "
                f"{_db(float(at.energy[number])):.2f} dB"]
    if maximum:
        above = item.slow_above_db if maximum == "lasmax_db" else item.above_db
        return [*lines, f"    maximum {above:+.1f} dB above that mean: {_db(float(at.energy[number])):.2f} dB"]
    on, of = float(heard.on_s[number, at.slot]), float(heard.of_s[at.slot])
    lines.append(f"    on for {on:.0f} s of {of:.0f} s: {_timing(item)}")
    if item.use.count > 1:
        lines.append(f"    {item.use.count} of them at once")
    return [*lines, f"    contribution, all piles: {_db(float(at.energy[number])):.2f} dB"]


def _timing(item: ItemSound) -> str:
    """Return what the on-time rests on."""
    if item.cycle is not None:
        return f"{item.cycle[0]:g} s of every {item.cycle[1]:g} s, stated by the scenario"
    if item.driven_s is not None:
        return "by the number of blows and their rate, as the scenario states them"
    share = f"{100 * item.use.on_time_fraction:g} % of a pile's cycle"
    how = "without a break while the pile goes down" if item.use.part == "drive" else "through the cycle"
    return f"{share}, {how}; {item.use.citation} [basis: {item.use.citation.basis}]"
