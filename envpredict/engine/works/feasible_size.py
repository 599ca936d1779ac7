"""Whether hammer, vibrator or press are large enough, by the published rules of size.

None of these rules decides: EN 12063 asks for experience, a test or an analysis, and the army manual says that no
accepted method exists for vibratory driveability. So the worst that a size check says is `needs trial`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import Citation
from envpredict.engine.works.feasible import Check, worst
from envpredict.methods import checks
from envpredict.methods.load import load_check_tables
from envpredict.methods.resistance import Layers, Resistance, Section, static_resistance

if TYPE_CHECKING:
    from envpredict.engine.works.choices import MethodChoice
    from envpredict.engine.works.feasible_ground import Column
    from envpredict.methods.schema import PileType

Floats = NDArray[np.float64]
VIBRATOR_MASS_KG = 2000.0
"""Dynamic mass of a vibrator beside the pile's: our estimate, which the reason says."""
HELD_PILES = 3
REACTION_PRACTICE = Citation("trade practice", None, "a press holds the last three piles", "practice",
                             note="its own weight isn't counted; the first piles need a stand with kentledge")
LEAST_ACCELERATION = {"sheet": 0, "h_section": 0, "tube": 0, "precast": 2}
"""Row of the table `least_acceleration` for each form of pile; open-ended tubes count with the sheets."""
DROP_FALL_M = 1.35
DROP_BLOWS_PER_MIN = 20.0
"""A hammer that strikes no faster is a drop hammer, which falls 1.2 to 1.5 m (read; see `checks.DROP_RAM`)."""


@dataclass(frozen=True, slots=True)
class Driven:
    """What goes down in one drive: `count` piles of a type, of this length."""

    pile_type: PileType
    length_m: float
    count: int

    @property
    def mass_kg(self) -> float:
        """Return the mass, by the type's likely section."""
        return self.pile_type.mass_kg_per_m.likely * self.length_m * self.count

    @property
    def section(self) -> Section | None:
        """Return the steel and skin, or None where the type states none."""
        area, around = self.pile_type.steel_area_m2, self.pile_type.perimeter_m
        if area is None or around is None:
            return None
        inner = around.likely if self.pile_type.form == "tube" else 0.0
        return Section(area.likely * self.count, around.likely * self.count, inner * self.count)


def driven(pile_type: PileType, length_m: float, spacing_m: float) -> Driven:
    """Return what goes down in one drive: sheets spaced by about two widths go in pairs, by about three in threes."""
    count = round(spacing_m / pile_type.width_m.likely) if np.isfinite(spacing_m) and pile_type.form == "sheet" else 1
    return Driven(pile_type, length_m, int(np.clip(count, 1, 3)))


def _layers(column: Column, length_m: float) -> Layers:
    """Return the layers down to the toe; without boreholes and without strengths nothing can be summed."""
    rows = np.flatnonzero(column.top_m < length_m - 1e-9)
    base = np.minimum(column.base_m[rows], length_m)
    # water inside a layer counts for the part below: a layer is wet where its middle is
    middle = 0.5 * (column.top_m[rows] + base)
    wet = middle > (column.water_m if np.isfinite(column.water_m) else np.inf)
    return Layers(base, column.soil[rows], column.n[rows], column.cu_kpa[rows], np.asarray(wet, dtype=bool))


def _known(values: Floats, layers: Layers) -> tuple[float, float]:
    """Return the highest known value on the way down, and the depth to which it is known."""
    known = np.isfinite(values)
    return (float(values[known].max()), float(layers.base_m[known][-1])) if known.any() else (np.nan, 0.0)


def size_check(choice: MethodChoice, what: Driven, column: Column) -> Check | None:
    """Return the size check of a method for what goes down in one drive, or None where no rule speaks of it."""
    family = choice.method.family
    if choice.method.action == "extract":
        return None
    if family == "impact":
        return _hammer(choice, what)
    section = what.section
    if choice.method.force_kn is None or section is None:
        return None
    layers = _layers(column, what.length_m)
    resistance = static_resistance(layers, section)
    return (_vibrator if family == "vibratory" else _press)(choice, what, resistance, layers)


def _hammer(choice: MethodChoice, what: Driven) -> Check:
    """Check the energy against the band in use, the ram of a drop hammer against the pile, and the blows per metre."""
    energy, table = choice.method.energy, choice.method.blows_per_m
    found = []
    rate = choice.method.blow_rate_per_min
    if rate is not None and rate.high <= DROP_BLOWS_PER_MIN and choice.energy_j is not None:
        ram_t = choice.energy_j / 1000.0 / float(checks.ram_energy_kj(1.0, DROP_FALL_M))
        least = float(checks.least_drop_ram_t(what.mass_kg / 1000.0))
        told = f"ram {ram_t:.1f} t at a fall of {DROP_FALL_M:g} m; at least half the pile's {what.mass_kg / 1000:.1f} t"
        found.append(Check("size", "feasible" if ram_t >= least else "feasible_with_aid", "least ram",
                           "" if ram_t >= least else f"a ram of {least:.1f} t or more", told, checks.DROP_RAM))
    if energy is not None and choice.energy_j is not None:
        kj = choice.energy_j / 1000.0
        band = str(checks.hammer_band(kj))
        named = "" if band == "outside" else f" ({band})"
        told = f"{kj:g} kJ{named}; {energy.low_kj:g} to {energy.high_kj:g} kJ in use"
        inside = energy.low_kj <= kj <= energy.high_kj
        found.append(Check("size", "feasible" if inside else "feasible_with_aid", "band of hammer energies",
                           "" if inside else "driveability analysis or trial drive", told, energy.citation))
    hardest = max((spread.likely for spread in (table or {}).values()), default=0.0)
    if "blows_per_m" in choice.stated and hardest >= checks.STOP_BLOWS_PER_M:
        found.append(Check("size", "needs_trial", "refusal by blows", "", f"{hardest:g} blows/m stated; "
                           f"{checks.STOP_BLOWS_PER_M:.0f} count as refusal", checks.STOP_BLOWS))
    return worst(found) if found else Check("size", "cannot_judge", "hammer energy", "", "find out the hammer's energy",
                                            None)


def _class_of(need_kn: float, choice: MethodChoice, machines: str, by: str, known_m: float, length_m: float, rule: str,
              citation: Citation) -> Check:
    """Return the check of a force that is needed against the machines of the method's kind."""
    force = choice.method.force_kn
    assert force is not None
    down = "" if known_m >= length_m - 1e-6 else f" down to {known_m:g} m, no rule below"
    told = f"needs about {need_kn:.0f} kN{down} ({by}); {machines} of {force.low:g} to {force.high:g} kN are in use"
    if np.isnan(need_kn):
        return Check("size", "cannot_judge", rule, "", "no strength is known from which a force could be estimated: "
                     "find out N or undrained strength", None)
    if need_kn > force.high:
        return Check("size", "needs_trial", rule, "", f"{told}: beyond them all by this rule", citation)
    if need_kn > force.low:
        return Check("size", "feasible", rule, "", f"{told}: choose one of {need_kn:.0f} kN or more", citation)
    return Check("size", "feasible", rule, "", told, citation)


def _vibrator(choice: MethodChoice, what: Driven, resistance: Resistance, layers: Layers) -> Check:
    """Check the centrifugal force: against what is left of the resistance, and for the least acceleration."""
    least_g = load_check_tables()["least_acceleration"].rows[LEAST_ACCELERATION[what.pile_type.form]].low
    shaken = float(checks.force_for_acceleration_kn(least_g, what.mass_kg + VIBRATOR_MASS_KG))
    left, depth = _known(resistance.vibrated_kn, layers)
    need = max(shaken, 0.0 if np.isnan(left) else left)
    by = (f"the resistance that is left under vibration, and {least_g:g} g on {what.mass_kg / 1000:.1f} t of pile and "
          f"{VIBRATOR_MASS_KG / 1000:g} t of vibrator, the latter our estimate")
    return _class_of(need, choice, "vibrators", by, depth, what.length_m, "least vibratory force", checks.UFC_VIBRATORY)


def _press(choice: MethodChoice, what: Driven, resistance: Resistance, layers: Layers) -> Check:
    """Check the push against the machines, and the reaction of the piles already in against the push."""
    need, depth = _known(resistance.total_kn, layers)
    by = "static resistance by N or undrained strength"
    pushed = _class_of(need, choice, "presses", by, depth, what.length_m, "press force", checks.MEYERHOF)
    if np.isnan(need) or pushed.verdict == "needs_trial":
        return pushed
    held = _known(resistance.shaft_kn, layers)[0]
    margin = float(checks.press_margin(need, capacity_kn=need, held_piles=HELD_PILES, pull_out_each_kn=held,
                                       machine_weight_kn=0.0))
    if margin < 1.0:
        return Check("size", "feasible_with_aid", "press reaction", "kentledge, or hold more piles",
                     f"{HELD_PILES} piles hold {HELD_PILES * held:.0f} kN of the {need:.0f} kN that the press pushes",
                     REACTION_PRACTICE)
    return pushed
