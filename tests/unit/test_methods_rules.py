"""Suitability, ground movement, access, stacked reductions, size checks and measured levels: their edges and faults."""

from __future__ import annotations

import numpy as np
import pytest

from envpredict.core.citation import Citation
from envpredict.methods import checks
from envpredict.methods.access import site_findings
from envpredict.methods.load import (
    load_methods,
    load_movement_flags,
    load_pile_types,
    load_plant,
    load_reductions,
)
from envpredict.methods.measured import measured_plant, sound_power_db
from envpredict.methods.movement import movement_flags
from envpredict.methods.stack import STACKING, applies, insertion_loss_db, vibration_factor
from envpredict.methods.suitability import VERDICT_MEANING, fits, suitability, worst_basis

METHODS, PILES = load_methods(), load_pile_types()
REDUCTIONS, FLAGS = load_reductions(), load_movement_flags()


@pytest.mark.parametrize(
    ("method", "soil", "strength", "code", "rule"),
    [
        # without strength the class's code holds
        ("press_in", "loose_sand", {}, "A", "class loose_sand"),
        ("vibratory_standard", "dense_sand", {}, "A", "class dense_sand"),
        # in gravel the worse of table and class holds
        ("press_in", "gravel_cobbles", {"n": 15}, "N", "class gravel_cobbles"),
        ("vibratory_standard", "gravel_cobbles", {"n": 15}, "A", "class gravel_cobbles"),
        # measured properties can only worsen
        ("vibratory_standard", "dense_sand", {"n": 120}, "N", "limit vibratory_end"),
        ("press_in_jetting", "dense_sand", {"n": 76}, "N", "limit jet_n_75"),
        ("press_in_jetting", "dense_sand", {"n": 75}, "A", "class dense_sand"),
        ("press_in_jetting", "loose_sand", {"n": 20, "cobble_m": 0.1}, "N", "limit jet_cobbles"),
        ("press_in_auger", "hard_rock", {"ucs_mpa": 60}, "A", "limit cut_slow"),
        ("press_in_auger", "hard_rock", {"ucs_mpa": 120}, "N", "limit cut_end"),
        ("press_in_auger", "gravel_cobbles", {"boulder_m": 0.5}, "A", "limit auger_boulder"),
        ("impact_hydraulic", "weak_rock", {"ucs_mpa": 10}, "A", "limit impact_weak_rock"),
        ("impact_hydraulic", "weak_rock", {"ucs_mpa": 30}, "N", "limit impact_rock"),
        ("down_the_hole", "hard_rock", {"ucs_mpa": 150}, "F", "class hard_rock"),
        ("rotary_cutting_press", "boulders", {}, "F", "class boulders"),
    ],
)
def test_which_rule_decides(method: str, soil: str, strength: dict[str, float], code: str, rule: str) -> None:
    found = suitability(METHODS[method], soil, **strength)
    assert (found.code, found.rule) == (code, rule)
    assert found.verdict.item() in VERDICT_MEANING


def test_unknown_ground_is_no_pass_and_says_what_to_find_out() -> None:
    found = suitability(METHODS["impact_hydraulic"], ["unknown", "hard_rock"], n=[20, np.nan])
    assert found.verdict.tolist() == ["cannot_judge", "not_feasible"]
    assert "find out" in found.aid[0]
    assert found.basis.tolist() == ["", "memory"]
    assert worst_basis(found) == "memory"
    assert worst_basis(suitability(METHODS["impact_hydraulic"], "unknown")) is None


def test_the_pile_has_a_say() -> None:
    assert suitability(METHODS["impact_hydraulic"], "dense_sand", n=60, pile_type=PILES["sheet_u"]).code == "F"
    precast = suitability(METHODS["impact_hydraulic"], "dense_sand", n=60, pile_type=PILES["precast"])
    assert (precast.code, precast.rule, precast.basis) == ("A", "class dense_sand", "practice")
    tube_only = suitability(METHODS["rotary_cutting_press"], ["loose_sand"], pile_type=PILES["sheet_z"])
    assert tube_only.code.tolist() == ["N"]
    assert "Z sheet pile" in tube_only.aid[0]
    assert fits(METHODS["bored_cased"], PILES["sheet_z"])
    assert suitability(METHODS["bored_cased"], "loose_sand", pile_type=PILES["sheet_z"]).code == "F"


def test_a_word_that_is_no_ground_is_refused() -> None:
    with pytest.raises(ValueError, match="'swamp' is no ground class"):
        suitability(METHODS["cfa"], ["swamp"])


@pytest.mark.parametrize(
    ("method", "pile", "soils", "distance_m", "states"),
    [
        ("press_in_auger", "sheet_u", ["loose_sand"], 8.0, {"over_flighting": "raised"}),
        ("press_in_auger", "sheet_u", ["loose_sand"], 13.0, {"over_flighting": "clear"}),
        ("press_in_auger", "sheet_u", ["stiff_clay"], 8.0, {"over_flighting": "clear"}),
        ("press_in_auger", "sheet_u", ["stiff_clay", "unknown"], 8.0, {"over_flighting": "cannot_judge"}),
        ("press_in_auger", "sheet_u", [], 8.0, {"over_flighting": "cannot_judge"}),
        ("press_in_jetting", "sheet_u", ["soft_clay"], 8.0, {"jet_softening": "raised"}),
        ("down_the_hole", "tubular", ["gravel_cobbles"], 8.0, {"air_flush_loss": "raised"}),
        ("impact_hydraulic", "precast", ["soft_clay"], 8.0, {"heave": "raised", "densification": "clear"}),
        ("impact_hydraulic", "sheet_u", ["soft_clay"], 8.0, {"heave": "clear", "densification": "clear"}),
        ("impact_hydraulic", "sheet_u", ["loose_sand"], 8.0, {"heave": "clear", "densification": "raised"}),
        ("extract_press", "sheet_u", ["stiff_clay"], 12.0, {"extraction_void": "raised"}),
        ("press_in", "sheet_u", ["loose_sand"], 1.0, {}),
    ],
)
def test_ground_movement(method: str, pile: str, soils: list[str], distance_m: float, states: dict[str, str]) -> None:
    found = movement_flags(METHODS[method], FLAGS, soils, distance_m=distance_m, pile_length_m=12.0,
                           pile_type=PILES[pile])
    assert {raised.flag.id: raised.state for raised in found} == states
    assert all(raised.reason for raised in found)


def test_ground_movement_asks_for_lengths() -> None:
    for distance_m, length_m in ((-1.0, 12.0), (5.0, 0.0), (np.nan, 12.0)):
        with pytest.raises(ValueError, match="pile_length_m must be positive"):
            movement_flags(METHODS["cfa"], FLAGS, [], distance_m=distance_m, pile_length_m=length_m)


@pytest.mark.parametrize(
    ("method", "site", "codes"),
    [
        ("press_in", {"headroom_m": 14.0}, {"headroom": "F"}), ("press_in", {"headroom_m": 13.2}, {"headroom": "A"}),
        ("press_in", {"headroom_m": 8.0}, {"headroom": "N"}),
        ("press_in_auger", {"headroom_m": 8.0}, {"headroom": "A"}),
        ("press_in_auger", {"headroom_m": 7.0}, {"headroom": "N"}),
        ("press_in", {"over_water": True, "on_slope": True}, {"over_water": "F", "on_slope": "F"}),
        ("impact_hydraulic", {"over_water": True, "width_m": 2.0}, {"over_water": "A", "width": "N"}),
        ("vibratory_standard", {"width_m": 10.0, "clearance_m": 0.2}, {"width": "F", "clearance": "N"}),
        # 12 m of pile and 4.5 m of vibrator: 16.5 m; 1.5 m of press: 13.5 m
        ("vibratory_standard", {"running_line_m": 15.0}, {"running_line": "A"}),
        ("press_in", {"running_line_m": 15.0}, {"running_line": "F"}),
        ("press_in", {}, {}),
    ],
)
def test_room_on_site(method: str, site: dict[str, float], codes: dict[str, str]) -> None:
    found = site_findings(METHODS[method], pile_length_m=12.0, **site)
    assert {finding.constraint: finding.code for finding in found} == codes
    assert all(finding.what and finding.citation.place for finding in found)


def test_a_pile_made_for_it_stands_at_the_face() -> None:
    def code(pile: str) -> str:
        return site_findings(METHODS["press_in"], pile_length_m=12.0, clearance_m=0.05, pile_type=PILES[pile])[0].code

    assert code("sheet_zero_gap") == "F"
    assert code("sheet_u") == "N"


def test_room_on_site_asks_for_lengths() -> None:
    with pytest.raises(ValueError, match="must be positive"):
        site_findings(METHODS["press_in"], pile_length_m=12.0, headroom_m=0.0)
    with pytest.raises(ValueError, match="clearance_m"):
        site_findings(METHODS["press_in"], pile_length_m=12.0, clearance_m=-1.0)


def test_reductions_are_not_stacked_beyond_two_factors_nor_below_a_quarter() -> None:
    standard = METHODS["vibratory_standard"]
    jet, zero = REDUCTIONS["water_jet_vibratory"], REDUCTIONS["zero_moment_start"]
    wall, trench = REDUCTIONS["sheet_wall_barrier"], REDUCTIONS["open_trench"]
    assert vibration_factor([], standard, "running").value == 1.0
    assert vibration_factor([jet], standard, "running").value == 0.5
    # a zero-moment start works on start and stop alone
    assert vibration_factor([zero], standard, "running").value == 1.0
    together = vibration_factor([jet, zero], standard, "start_stop")
    assert together.value == 0.25
    assert any("held at 0.25" in note for note in together.notes)
    three = vibration_factor([wall, trench, jet], standard, "running")
    assert three.value == 0.25
    assert set(three.used) == {jet.title, trench.title}
    assert any(wall.title in note for note in three.notes)
    assert STACKING.basis == "estimate"


def test_what_has_no_published_effect_gets_no_credit_and_says_so() -> None:
    found = vibration_factor([REDUCTIONS["preauger"], REDUCTIONS["water_jet_vibratory"]], METHODS["press_in"], "all")
    assert found.value == 1.0
    assert any("no credit without a trial" in note for note in found.notes)
    assert any("not for Hydraulic pressing" in note for note in found.notes)
    had = vibration_factor([REDUCTIONS["zero_moment_start"]], METHODS["vibratory_variable_moment"], "start_stop")
    assert had.value == 1.0
    assert "has it already" in had.notes[0]


def test_losses_on_one_source_are_not_added() -> None:
    hammer = METHODS["impact_hydraulic"]
    tower, cover = REDUCTIONS["hammer_tower"], REDUCTIONS["hammer_cover_open"]
    found = insertion_loss_db([cover, tower, REDUCTIONS["screen"]], hammer, "pile_head")
    assert (found.value, found.used) == (28, (tower.title,))
    assert cover.title in found.notes[0]
    assert insertion_loss_db([cover, tower, REDUCTIONS["screen"]], hammer, "path").value == 5
    assert insertion_loss_db([tower], METHODS["press_in"], "pile_head").value == 0
    assert applies(REDUCTIONS["kelly_damping"], METHODS["bored_cased"])
    assert not applies(REDUCTIONS["kelly_damping"], METHODS["cfa"])


@pytest.mark.parametrize(
    ("function", "arguments"),
    [
        (checks.ram_energy_kj, (0, 1)), (checks.centrifugal_force_kn, (1, -1)), (checks.double_amplitude_mm, (1, 0)),
        (checks.energy_per_cycle_kj, (-1, 1)), (checks.peak_acceleration_g, (0, 1)),
        (checks.force_for_acceleration_kn, (9, 0)), (checks.trade_vibratory_force_kn, (0, 1)),
        (checks.hammer_band, (0,)), (checks.least_drop_ram_t, (-1,)), (checks.net_driving_rate_m_h, (40, 0)),
    ],
)
def test_sizes_must_be_positive(function, arguments: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match="must be positive"):
        function(*arguments)


def test_size_checks_are_vectorised_and_pass_nan() -> None:
    force = checks.centrifugal_force_kn(np.array([[8.0], [np.nan]]), np.array([38.3, 23.0]))
    assert force.shape == (2, 2)
    assert np.isnan(force[1]).all()
    assert checks.hammer_band(np.array([np.nan, 40.0])).tolist() == ["outside", "light"]
    assert checks.least_drop_ram_t(6.0) == 3.0
    # 24 kg m on 3000 kg: 16 mm, the largest of its class in makers' data
    assert checks.double_amplitude_mm(24, 3000) == 16


def test_a_press_is_held_by_the_smaller_of_its_capacity_and_its_reaction() -> None:
    given = {"capacity_kn": 1000.0, "pull_out_each_kn": 150.0, "machine_weight_kn": 120.0}
    # by hand: 120 + 3 x 150 = 570 kN of reaction; at 10 piles the capacity of 1000 kN governs
    assert checks.press_margin(416.0, held_piles=3, **given) == pytest.approx(570 / 416)
    assert checks.press_margin(416.0, held_piles=10, **given) == pytest.approx(1000 / 416)
    assert checks.press_margin(416.0, held_piles=0, **given) < 1
    with pytest.raises(ValueError, match="held_piles"):
        checks.press_margin(416.0, held_piles=-1, **given)


def test_press_resistance_of_clay() -> None:
    # by hand: 9 x 100 x 0.012 = 10.8 kN; 0.5 x 0.5 x 100 x 1.6 x 10 = 400 kN
    assert checks.press_resistance_clay_kn(100, 10, toe_area_m2=0.012, perimeter_m=1.6) == pytest.approx(410.8)
    shallow = checks.press_resistance_sand_kn(20, 1, toe_area_m2=0.28, toe_width_m=0.6, perimeter_m=1.88,
                                              large_displacement=True)
    # by hand: 40 x 20 x 1 / 0.6 = 1333 kPa on 0.28 m2; 40 kPa on 1.88 m2
    assert shallow == pytest.approx(1333.33 * 0.28 + 40 * 1.88, rel=1e-4)
    with pytest.raises(ValueError, match="cu_kpa must not be negative"):
        checks.press_resistance_clay_kn(-1, 10, toe_area_m2=0.012, perimeter_m=1.6)
    with pytest.raises(ValueError, match="betas"):
        checks.least_vibratory_force_kn(1, 1, 1, beta_outer=2, beta_inner=0, beta_toe=0)
    with pytest.raises(ValueError, match="xi"):
        checks.least_vibratory_force_kn(1, 1, 1, beta_outer=1, beta_inner=0, beta_toe=0, xi=0.2)


def test_a_level_without_distance_or_position_is_refused() -> None:
    with pytest.raises(ValueError, match="distance_m must be positive"):
        sound_power_db(80.0, 0.0, position="free_field", ground="hard")
    with pytest.raises(ValueError, match="position is free_field or facade"):
        sound_power_db(80.0, 10.0, position="", ground="hard")  # type: ignore[arg-type]
    rig = measured_plant(load_plant()["press_unit"], 61.0, 10.0, position="free_field", ground="hard",
                         citation=Citation("our measurement", None, "10 m", "read"))
    assert rig.lwa_db == pytest.approx(89.0)
