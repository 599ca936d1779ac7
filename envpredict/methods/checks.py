"""Size checks of hammers, vibrators and presses: pure functions of the published rules.

The forces and energies are physics; the rules of choice are cited beside each function. None of them replaces a
driveability analysis or a trial. Arrays broadcast, NaN passes.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from envpredict.core.citation import Citation
from envpredict.methods.load import load_check_tables

Floats = NDArray[np.float64]
GRAVITY_M_S2 = 9.81

PHYSICS: Final = Citation("mechanics", None, "E = m g h; F = M omega^2; W = P / f", "read",
                          via="makers' catalogue data, which agree with it")
UFC_VIBRATORY: Final = Citation("UFC 3-220-02", 2004, "Figure 2-2a: F >= xi (sum beta R) / rho; n = 102 F / M", "read",
                                via="buildingcriteria1.tpub.com/ufc_3_220_02/ufc_3_220_020036.htm")
TRADE_VIBRATORY: Final = Citation("trade rule for vibrators", None, "F = 15 (t + 2 G) / 100; recalled with doubt",
                                  "memory", note="ignores the soil: a rough check of size only")
DROP_RAM: Final = Citation("a handbook chapter on pile driving plant", None,
                           "ram at least half the pile's mass, concrete or steel", "read",
                           via="issuhub.com/view/index?id=3777&pageIndex=258")
VIBRATOR_STOP: Final = Citation("a marine construction magazine", None, "1 ft/min: change to impact", "read",
                                via="marineconstructionmagazine.com/blog/sheet-piling-installation/")
MEYERHOF: Final = Citation("Meyerhof", 1976, "resistance from SPT N: q = 40 N D/B <= 400 N kPa, f = N or 2 N kPa",
                           "memory", note="a static capacity; one test series found jacking resistance below it")
PRESS_CLAY: Final = Citation("soil mechanics practice", None, "9 cu at the toe; 0.3 to 0.5 of the shaft's alpha cu "
                             "while moving; recalled with doubt", "memory")
REACTION: Final = Citation("EN 12063:1999", 1999, "clause 8.5.3: press capacity and holding capacity of previous "
                           "piles must be shown to be adequate", "read",
                           via="geotechnicaldesign.info/en12063-1999/g8-5.html")
STOP_ADVANCE_M_MIN: Final = 0.3048
STOP_BLOWS_PER_M: Final = 10 / 0.0254
STOP_BLOWS: Final = Citation("a trade journal on driven piles", None, "10 blows an inch at the required capacity",
                             "read", via="thedriller.com/articles/88004-hammers-used-for-driven-piles")


def _positive(**values: ArrayLike) -> list[Floats]:
    """Return the values as arrays of floats. Raises ValueError naming the first that isn't positive; NaN passes."""
    arrays = []
    for name, value in values.items():
        array = np.asarray(value, dtype=float)
        if (array <= 0).any():
            raise ValueError(f"{name} must be positive")
        arrays.append(array)
    return arrays


def _not_negative(**values: ArrayLike) -> list[Floats]:
    arrays = []
    for name, value in values.items():
        array = np.asarray(value, dtype=float)
        if (array < 0).any():
            raise ValueError(f"{name} must not be negative")
        arrays.append(array)
    return arrays


def ram_energy_kj(ram_mass_t: ArrayLike, fall_m: ArrayLike) -> Floats:
    """Return the potential energy of a ram in kJ: m g h. Arrays broadcast; ValueError unless positive (PHYSICS)."""
    mass, fall = _positive(ram_mass_t=ram_mass_t, fall_m=fall_m)
    return np.asarray(mass * GRAVITY_M_S2 * fall)


def centrifugal_force_kn(eccentric_moment_kg_m: ArrayLike, frequency_hz: ArrayLike) -> Floats:
    """Return a vibrator's centrifugal force in kN: M (2 pi f)^2. ValueError unless positive (PHYSICS)."""
    moment, frequency = _positive(eccentric_moment_kg_m=eccentric_moment_kg_m, frequency_hz=frequency_hz)
    return np.asarray(moment * (2 * math.pi * frequency) ** 2 / 1000)


def double_amplitude_mm(eccentric_moment_kg_m: ArrayLike, dynamic_mass_kg: ArrayLike) -> Floats:
    """Return a vibrator's free double amplitude in mm: 2 M / m. ValueError unless positive (PHYSICS)."""
    moment, mass = _positive(eccentric_moment_kg_m=eccentric_moment_kg_m, dynamic_mass_kg=dynamic_mass_kg)
    return np.asarray(2000 * moment / mass)


def energy_per_cycle_kj(power_kw: ArrayLike, frequency_hz: ArrayLike) -> Floats:
    """Return a vibrator's energy per cycle in kJ: P / f. Arrays broadcast; ValueError unless positive (PHYSICS)."""
    power, frequency = _positive(power_kw=power_kw, frequency_hz=frequency_hz)
    return np.asarray(power / frequency)


def peak_acceleration_g(force_kn: ArrayLike, dynamic_mass_kg: ArrayLike) -> Floats:
    """Return the peak acceleration in g: 102 F / M (UFC_VIBRATORY). Arrays broadcast; ValueError unless positive."""
    force, mass = _positive(force_kn=force_kn, dynamic_mass_kg=dynamic_mass_kg)
    return np.asarray(102 * force / mass)


def force_for_acceleration_kn(acceleration_g: ArrayLike, dynamic_mass_kg: ArrayLike) -> Floats:
    """Return the force in kN that gives a peak acceleration in g (UFC_VIBRATORY). ValueError unless positive."""
    acceleration, mass = _positive(acceleration_g=acceleration_g, dynamic_mass_kg=dynamic_mass_kg)
    return np.asarray(acceleration * mass / 102)


def least_vibratory_force_kn(outer_shaft_kn: ArrayLike, inner_shaft_kn: ArrayLike, toe_kn: ArrayLike, *,
                             beta_outer: ArrayLike, beta_inner: ArrayLike, beta_toe: ArrayLike,
                             concrete: bool = False, xi: float = 1.0) -> Floats:
    """Return the least dynamic force in kN by the UFC rule: xi (beta_o R_so + beta_i R_si + beta_t R_t) / rho.

    outer_shaft_kn, inner_shaft_kn, toe_kn: static resistances; betas: from the table `vibratory_beta`; rho is 0.8 for
    concrete piles, else 1; xi: 0.6 to 0.8 at 5 to 10 Hz, else 1. Arrays broadcast. Raises ValueError for a negative
    resistance, a beta outside 0 to 1, an xi outside 0.6 to 1 (UFC_VIBRATORY).
    """
    outer, inner, toe = _not_negative(outer_shaft_kn=outer_shaft_kn, inner_shaft_kn=inner_shaft_kn, toe_kn=toe_kn)
    betas = _not_negative(beta_outer=beta_outer, beta_inner=beta_inner, beta_toe=beta_toe)
    if any((beta > 1).any() for beta in betas) or not 0.6 <= xi <= 1.0:
        raise ValueError("betas lie between 0 and 1, xi between 0.6 and 1")
    rho = 0.8 if concrete else 1.0
    return np.asarray(xi * (betas[0] * outer + betas[1] * inner + betas[2] * toe) / rho)


def trade_vibratory_force_kn(depth_m: ArrayLike, pile_mass_kg: ArrayLike) -> Floats:
    """Return the force in kN of a trade rule that is only recalled: 15 (t + 2 G) / 100 with G in kg (TRADE_VIBRATORY).

    It ignores the soil: a rough check of size, to be shown with its verify mark. ValueError unless positive.
    """
    depth, mass = _positive(depth_m=depth_m, pile_mass_kg=pile_mass_kg)
    return np.asarray(15 * (depth + 2 * mass) / 100)


def hammer_band(energy_kj: ArrayLike) -> NDArray[np.str_]:
    """Return the band of a hammer's energy: light, medium, heavy, very heavy, offshore; `outside` the bands.

    An energy between two bands belongs to the lower one. Raises ValueError unless positive. Table `hammer_bands`.
    """
    (energy,) = _positive(energy_kj=energy_kj)
    rows = load_check_tables()["hammer_bands"].rows
    words = np.full(energy.shape, "outside", dtype=object)
    for row in reversed(rows):
        words[(energy >= row.low) & (energy <= row.high)] = row.name
    return words.astype(np.str_)


def least_drop_ram_t(pile_mass_t: ArrayLike) -> Floats:
    """Return the least ram of a drop hammer in t: half the pile's mass (DROP_RAM). ValueError unless positive."""
    (mass,) = _positive(pile_mass_t=pile_mass_t)
    return np.asarray(mass / 2)


def net_driving_rate_m_h(blow_rate_per_min: ArrayLike, blows_per_m: ArrayLike) -> Floats:
    """Return metres driven per hour of hammering: 60 x blow rate / blows per metre. ValueError unless positive."""
    rate, blows = _positive(blow_rate_per_min=blow_rate_per_min, blows_per_m=blows_per_m)
    return np.asarray(60 * rate / blows)


def press_resistance_sand_kn(spt_n: ArrayLike, depth_m: ArrayLike, *, toe_area_m2: float, toe_width_m: float,
                             perimeter_m: float, large_displacement: bool = False) -> Floats:
    """Return the static resistance of a pile in sand in kN from N by Meyerhof's rule: a safe upper choice for a press.

    spt_n: N, mean over the shaft and at the toe; depth_m: embedment D; toe_area_m2: steel or full section; toe_width_m:
    B of D/B; perimeter_m: skin per metre. Shaft: N kPa (sheets, H), 2 N where the displacement is large. Arrays
    broadcast. Raises ValueError unless positive, N not negative (MEYERHOF, recalled).
    """
    (n,) = _not_negative(spt_n=spt_n)
    (depth,) = _positive(depth_m=depth_m)
    _positive(toe_area_m2=toe_area_m2, toe_width_m=toe_width_m, perimeter_m=perimeter_m)
    toe_kpa = np.minimum(40 * n * depth / toe_width_m, 400 * n)
    shaft_kpa = (2 if large_displacement else 1) * n
    return np.asarray(toe_kpa * toe_area_m2 + shaft_kpa * perimeter_m * depth)


def press_resistance_clay_kn(cu_kpa: ArrayLike, depth_m: ArrayLike, *, toe_area_m2: float, perimeter_m: float,
                             adhesion: float = 0.5, moving: float = 0.5) -> Floats:
    """Return the resistance of a pile moving through clay in kN: 9 cu at the toe, moving x adhesion x cu on the shaft.

    adhesion: alpha of the shaft; moving: the fraction that acts while the pile moves, 0.3 to 0.5. Arrays broadcast.
    Raises ValueError unless positive, cu not negative (PRESS_CLAY, recalled).
    """
    (cu,) = _not_negative(cu_kpa=cu_kpa)
    (depth,) = _positive(depth_m=depth_m)
    _positive(toe_area_m2=toe_area_m2, perimeter_m=perimeter_m, adhesion=adhesion, moving=moving)
    return np.asarray(9 * cu * toe_area_m2 + moving * adhesion * cu * perimeter_m * depth)


def press_margin(resistance_kn: ArrayLike, *, capacity_kn: float, held_piles: int, pull_out_each_kn: float,
                 machine_weight_kn: float) -> Floats:
    """Return what a press can push over the resistance: the smaller of its capacity and of its reaction; below 1 fails.

    The reaction is the machine's weight and the pull-out of the piles that it holds. Raises ValueError unless the
    resistance and the capacity are positive and the rest isn't negative (REACTION).
    """
    (resistance,) = _positive(resistance_kn=resistance_kn)
    _positive(capacity_kn=capacity_kn)
    _not_negative(held_piles=held_piles, pull_out_each_kn=pull_out_each_kn, machine_weight_kn=machine_weight_kn)
    return np.asarray(min(capacity_kn, machine_weight_kn + held_piles * pull_out_each_kn) / resistance)
