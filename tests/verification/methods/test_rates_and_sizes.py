"""Published job rates against the catalogue's ranges; sizes of hammers and vibrators against makers' data.

Outside references, each read at second hand unless said otherwise: job_rates.csv names its pages; rams.csv and
vibrators.csv are makers' catalogue data compiled on a public page (classes, no machine is named); UFC 3-220-02 (2004);
the trade rule for vibrators is from memory.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest

from envpredict.methods import checks
from envpredict.methods.load import load_check_tables, load_methods

HERE = Path(__file__).parent


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((HERE / name).open(encoding="utf-8")))


@pytest.mark.parametrize("job", rows("job_rates.csv"), ids=lambda job: job["job"])
def test_published_job_rates_lie_inside_the_catalogue(job: dict[str, str]) -> None:
    rate = load_methods()[job["method"]].rates[job["ground_class"]]
    per_hour = float(job["piles_per_day"]) * float(job["pile_length_m"]) / float(job["hours_per_day"])
    assert rate.slow <= per_hour <= rate.fast


@pytest.mark.parametrize("ram", rows("rams.csv"), ids=lambda ram: f"{ram['ram_t']} t")
def test_energy_is_mass_times_gravity_times_fall(ram: dict[str, str]) -> None:
    energy = checks.ram_energy_kj(float(ram["ram_t"]), float(ram["fall_m"]))
    # catalogues round rams to whole tonnes
    assert float(energy) == pytest.approx(float(ram["energy_kj"]), rel=0.015)


@pytest.mark.parametrize("machine", rows("vibrators.csv"), ids=lambda machine: machine["class"])
def test_force_is_moment_times_angular_speed_squared(machine: dict[str, str]) -> None:
    force = checks.centrifugal_force_kn(float(machine["moment_kg_m"]), float(machine["rpm"]) / 60)
    # catalogues round moments to whole kg m: 2 % on 24 to 25 kg m
    assert float(force) == pytest.approx(float(machine["force_kn"]), rel=0.02)


@pytest.mark.parametrize(("power_kw", "frequency_hz", "printed_kj"),
                         [(60, 18.3, 3.3), (90, 18.3, 4.9), (160, 38, 4.2), (224, 38, 5.9), (321, 38, 8.4),
                          (500, 28, 17.9)])
def test_energy_per_cycle_is_power_over_frequency(power_kw: float, frequency_hz: float, printed_kj: float) -> None:
    assert round(float(checks.energy_per_cycle_kj(power_kw, frequency_hz)), 1) == printed_kj


def test_the_catalogues_energies_lie_inside_the_machines_data() -> None:
    methods = load_methods()
    vibratory, quiet = methods["vibratory_standard"].energy, methods["vibratory_variable_moment"].energy
    assert vibratory is not None
    assert quiet is not None
    assert vibratory.low_kj == pytest.approx(float(checks.energy_per_cycle_kj(60, 18.3)), abs=0.05)
    assert vibratory.high_kj == pytest.approx(float(checks.energy_per_cycle_kj(500, 28)), abs=0.05)
    assert quiet.low_kj == pytest.approx(float(checks.energy_per_cycle_kj(160, 38)), abs=0.05)
    assert quiet.default_kj == pytest.approx(float(checks.energy_per_cycle_kj(224, 38)), abs=0.05)
    assert quiet.high_kj == pytest.approx(float(checks.energy_per_cycle_kj(321, 38)), abs=0.1)
    diesel, drop = methods["impact_diesel"].energy, methods["impact_drop"].energy
    assert diesel is not None
    assert drop is not None
    # the hammer of the levee job: 43 000 ft-lb; rams of 4.5 t over a stroke of 3.7 m at most
    assert diesel.default_kj == pytest.approx(43000 * 1.3558e-3, abs=0.5)
    assert diesel.high_kj == pytest.approx(float(checks.ram_energy_kj(4.5, 3.7)), abs=0.5)
    assert drop.default_kj == pytest.approx(float(checks.ram_energy_kj(3, 1.35)), abs=0.5)
    assert drop.low_kj == pytest.approx(float(checks.ram_energy_kj(1, 1.2)), abs=0.5)


def test_the_army_manuals_example_of_least_force() -> None:
    # a 12 m sheet of 720 kg and 2000 kg of vibrator at 9 g: 240 kN (computed from UFC 3-220-02)
    least = load_check_tables()["least_acceleration"].rows[0]
    assert least.low == 9
    assert float(checks.force_for_acceleration_kn(least.low, 2720)) == pytest.approx(240, abs=0.5)
    assert float(checks.peak_acceleration_g(240, 2720)) == pytest.approx(9, abs=0.01)


def test_the_army_manuals_rule_of_resistances() -> None:
    # by hand: 0.10 x 400 + 0 + 0.15 x 100 = 55 kN for steel, / 0.8 for concrete, x 0.7 at 5 to 10 Hz
    given = {"beta_outer": 0.10, "beta_inner": 0.0, "beta_toe": 0.15}
    assert float(checks.least_vibratory_force_kn(400, 0, 100, **given)) == pytest.approx(55)
    assert float(checks.least_vibratory_force_kn(400, 0, 100, **given, concrete=True)) == pytest.approx(68.75)
    assert float(checks.least_vibratory_force_kn(400, 0, 100, **given, xi=0.7)) == pytest.approx(38.5)


def test_the_army_manuals_fractions() -> None:
    # UFC 3-220-02, Table 2-2 (read)
    printed = [0.10, 0.12, 0.15, 0.18, 0.20, 0.25, 0.35, 0.40]
    assert [row.low for row in load_check_tables()["vibratory_beta"].rows] == printed


def test_the_trade_rule_and_its_mark() -> None:
    # 12 m at 94 kg/m: 340 kN; 18 m at 110 kg/m: 597 kN (the rule is from memory)
    assert round(float(checks.trade_vibratory_force_kn(12, 1128))) == 340
    assert round(float(checks.trade_vibratory_force_kn(18, 1980))) == 597
    assert checks.TRADE_VIBRATORY.basis == "memory"
    assert "verify" in str(checks.TRADE_VIBRATORY)


@pytest.mark.parametrize(("blows_per_m", "net_m_h"), [(20, 120), (40, 60), (100, 24), (200, 12)])
def test_net_rate_of_hammering_at_forty_blows_a_minute(blows_per_m: float, net_m_h: float) -> None:
    # by hand: 60 x 40 / blows per metre
    assert float(checks.net_driving_rate_m_h(40, blows_per_m)) == net_m_h
    assert float(checks.net_driving_rate_m_h(60, blows_per_m)) == 1.5 * net_m_h


def test_the_stop_rules() -> None:
    # 10 blows an inch = 394 blows/m (thedriller.com); 1 ft/min = 18 m/h (marineconstructionmagazine.com)
    assert round(checks.STOP_BLOWS_PER_M) == 394
    assert round(checks.STOP_ADVANCE_M_MIN * 60) == 18
    blows = load_methods()["impact_hydraulic"].blows_per_m
    assert blows is not None
    assert max(spread.high for spread in blows.values()) == 394


@pytest.mark.parametrize(("n", "printed_kn"), [(10, 208), (20, 416), (30, 624)])
def test_press_force_of_a_sheet_in_sand(n: float, printed_kn: float) -> None:
    # 600 mm U sheet: 0.012 m2, 1.6 m2/m, 10 m in sand, unplugged (computed from Meyerhof 1976, the rule from memory)
    force = checks.press_resistance_sand_kn(n, 10, toe_area_m2=0.012, toe_width_m=0.01, perimeter_m=1.6)
    assert float(force) == pytest.approx(printed_kn)


@pytest.mark.parametrize(("energy_kj", "band"), [(35, "light"), (59, "light"), (60, "light"), (150, "medium"),
                                                 (151, "heavy"), (400, "very heavy"), (600, "offshore"),
                                                 (20, "outside"), (4000, "outside")])
def test_bands_of_hammers(energy_kj: float, band: str) -> None:
    # catalogue bands: 35-60, 60-150, 150-320, 320-500, 500-3500 kJ
    assert checks.hammer_band(energy_kj) == band


@pytest.mark.parametrize(
    ("reduction_db", "which", "of"),
    [(5, "least", "water_jet_vibratory"), (10, "best", "water_jet_vibratory"), (5, "least", "zero_moment_start"),
     (15, "best", "zero_moment_start"), (2, "least", "sheet_wall_barrier"), (8, "best", "sheet_wall_barrier")],
)
def test_factors_of_reductions_are_their_published_decibels(reduction_db: float, which: str, of: str) -> None:
    # jaspp.com answer 16 (jet 5 to 10 dB, start and stop 5 to 15 dB); slideplayer.com 4139703 (walls 2 to 8 dB)
    from envpredict.methods.load import load_reductions

    effect = load_reductions()[of].vibration
    assert effect is not None
    assert getattr(effect, which) == pytest.approx(10 ** (-reduction_db / 20), abs=0.005)


@pytest.mark.parametrize(("method", "inches_per_s"),
                         [("impact_hydraulic", 0.644), ("vibratory_standard", 0.170)])
def test_reference_levels_of_the_transit_manual(method: str, inches_per_s: float) -> None:
    # FTA 2006, Table 12-2 (read): in/s at 25 ft
    law = next(law for law in load_methods()[method].laws if law.model == "fta_reference")
    assert law.parameters["reference_ppv_mm_s"] == pytest.approx(inches_per_s * 25.4, abs=0.05)


def test_drilling_ceiling_and_dropped_shell_of_the_transit_manual() -> None:
    # FTA 2006, Table 12-2 (read): caisson drilling 0.089 in/s, clam shovel drop 0.202 in/s
    bored = {law.model: law.parameters for law in load_methods()["bored_cased"].laws}
    assert bored["caltrans_other"]["reference_ppv_mm_s"] == pytest.approx(0.089 * 25.4, abs=0.005)
    assert bored["fta_reference"]["reference_ppv_mm_s"] == pytest.approx(0.202 * 25.4, abs=0.005)
    assert math.isclose(0.202 * 25.4, 5.13, abs_tol=0.005)
