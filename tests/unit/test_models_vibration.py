"""Identities that the vibration laws keep by their form, whatever their constants; how they agree with each other."""

from __future__ import annotations

import doctest
import importlib
import math
import pkgutil

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import envpredict.models.vibration
from envpredict.models.spec import load_models
from envpredict.models.vibration import bs5228_2_2009, fta_2006, japanese_levels
from envpredict.models.vibration.bornitz import bornitz
from envpredict.models.vibration.japanese_levels import CREST_FACTOR, FREQUENCY_HZ, REFERENCE_LEVELS
from envpredict.models.vibration.people_measures import vibration_level_jp_from_ppv

MODELS = load_models()
MODULES = [module.name for module in pkgutil.iter_modules(envpredict.models.vibration.__path__)]

ENERGY_LAWS = [
    ("bs5228_percussive", {"bs5228_ground": "stiff"}, 0.5),
    ("env1993_impact", {"env1993_ground": "soft"}, 0.5),
    ("env1993_vibratory", {}, 0.5),
    ("attewell_farmer_1973_bound", {}, 0.5),
    ("attewell_farmer_1973_mean", {}, 0.435),
    ("caltrans_impact", {"caltrans_class": "IV"}, 0.5),
]
DISTANCE_LAWS = [
    ("bs5228_percussive", {"energy_j": 30e3, "bs5228_ground": "refusal"}, 1.3),
    ("bs5228_vibratory", {"operation": "all"}, 1.3),
    ("bs5228_vibratory", {"operation": "start_stop"}, 1.2),
    ("bs5228_vibratory", {"operation": "steady"}, 1.4),
    ("env1993_impact", {"energy_j": 30e3, "env1993_ground": "stiff"}, 1.0),
    ("attewell_farmer_1973_mean", {"energy_j": 30e3}, 0.87),
    ("caltrans_impact", {"energy_j": 30e3, "caltrans_class": "I"}, 1.4),
    ("caltrans_vibratory", {"caltrans_class": "II"}, 1.3),
    ("caltrans_other", {"reference_ppv_mm_s": 2.0}, 1.1),
    ("fta_impact", {}, 1.5),
    ("fta_vibratory_upper", {}, 1.5),
    ("fta_source", {"fta_source": "caisson_drilling"}, 1.5),
    ("pressing_estimate", {}, 0.85),
    ("vibratory_variable_moment", {}, 1.4),
    ("down_the_hole_placeholder", {}, 1.1),
]
distances = st.floats(1.0, 200.0)
energies = st.floats(1000.0, 200e3)


@pytest.mark.parametrize("name", MODULES)
def test_the_examples_in_the_docstrings_hold(name: str) -> None:
    result = doctest.testmod(importlib.import_module(f"envpredict.models.vibration.{name}"))
    assert result.attempted > 0
    assert result.failed == 0


@pytest.mark.parametrize(("id", "words", "power"), ENERGY_LAWS)
def test_doubling_the_energy_multiplies_by_a_power_of_two(id: str, words: dict[str, str], power: float) -> None:
    ratio = MODELS[id](12.0, 60e3, **words) / MODELS[id](12.0, 30e3, **words)
    assert ratio == pytest.approx(2.0**power, rel=1e-12)


@pytest.mark.parametrize(("id", "rest", "power"), DISTANCE_LAWS)
def test_doubling_the_distance_divides_by_a_power_of_two(id: str, rest: dict[str, object], power: float) -> None:
    ratio = MODELS[id](distance_m=8.0, **rest) / MODELS[id](distance_m=16.0, **rest)
    assert ratio == pytest.approx(2.0**power, rel=1e-12)


@given(a=distances, b=distances, energy=energies)
@pytest.mark.parametrize(("id", "words", "power"), ENERGY_LAWS)
def test_a_nearer_pile_never_shakes_less(id: str, words: dict[str, str], power: float, a: float, b: float,
                                         energy: float) -> None:
    near, far = sorted((a, b))
    assert MODELS[id](near, energy, **words) >= MODELS[id](far, energy, **words)


@given(a=energies, b=energies, distance=distances)
@pytest.mark.parametrize(("id", "words", "power"), ENERGY_LAWS)
def test_a_harder_blow_never_shakes_less(id: str, words: dict[str, str], power: float, a: float, b: float,
                                         distance: float) -> None:
    weak, strong = sorted((a, b))
    assert MODELS[id](distance, strong, **words) >= MODELS[id](distance, weak, **words)


@given(a=distances, b=distances, energy=energies)
@pytest.mark.parametrize("id", ["attewell_1992_impact", "attewell_1992_vibratory"])
def test_the_quadratic_rises_towards_the_pile_wherever_it_calls_itself_valid(
        id: str, a: float, b: float, energy: float) -> None:
    near, far = sorted((a, b))
    if MODELS[id].in_range(distance_m=near, energy_j=energy):
        assert MODELS[id](near, energy) >= MODELS[id](far, energy)


def test_the_quadratic_is_out_of_range_where_it_turns() -> None:
    # scaled distance S = log10(sqrt(W) / r): 90 kJ at 1.5 m is 2.301, at 1.51 m 2.298
    for id in ("attewell_1992_impact", "attewell_1992_vibratory_printed"):
        inside = MODELS[id].in_range(distance_m=np.array([1.5, 1.51, np.nan]), energy_j=90e3)
        assert inside.tolist() == [False, True, False]


@given(distance=st.floats(1.0, 100.0))
def test_the_printed_vibratory_labels_stay_in_order(distance: float) -> None:
    printed = MODELS["bs5228_vibratory_printed"]
    five, third, half = (printed(distance, label=label) for label in ("5 %", "33.3 %", "50 %"))
    assert five > third > half == MODELS["bs5228_vibratory"](distance)


def test_our_five_percent_level_of_impact_lies_above_the_printed_bound() -> None:
    # the declared rule: median = bound / 2.5 with a scatter of 0.32 makes it 1.34 times the bound, never below it
    spec = MODELS["bs5228_percussive"]
    bound = spec(np.array([5.0, 10.0, 50.0]), 30e3, bs5228_ground="very_stiff")
    assert spec.median(bound) == pytest.approx(bound / 2.5, rel=1e-12)
    assert spec.at_exceedance(bound, 0.05) / bound == pytest.approx(np.full(3, 1.34), abs=0.005)


def test_our_five_percent_level_of_vibratory_driving_is_the_printed_one() -> None:
    # scatter 0.39 fits the label 5 % at face value; the 33.3 % label would need 0.75 and is not met by design
    spec = MODELS["bs5228_vibratory"]
    ours = spec.at_exceedance(spec(10.0), 0.05)
    assert ours == pytest.approx(MODELS["bs5228_vibratory_printed"](10.0, label="5 %"), rel=0.02)
    third = spec.at_exceedance(spec(10.0), 1.0 / 3.0)
    assert third < 0.75 * MODELS["bs5228_vibratory_printed"](10.0, label="33.3 %")


@pytest.mark.parametrize(("upper", "typical"), [("fta_impact_upper", "fta_impact"),
                                                ("fta_vibratory_upper", "fta_vibratory")])
def test_the_median_of_the_us_upper_range_is_the_typical_level(upper: str, typical: str) -> None:
    distance = np.array([3.0, 7.62, 40.0])
    assert MODELS[upper].median(MODELS[upper](distance)) == pytest.approx(MODELS[typical](distance), rel=1e-12)


def test_the_medians_of_like_laws_agree_within_their_scatter() -> None:
    # vibratory at 7.62 m and impact with 30 kJ at 10 m: every median lies within 1.5 sd of the others' middle
    vibratory = [MODELS["bs5228_vibratory"](7.62), MODELS["fta_vibratory"](7.62),
                 MODELS["attewell_1992_vibratory"](7.62, 4500.0),
                 MODELS["env1993_vibratory"].median(MODELS["env1993_vibratory"](7.62, 4500.0)),
                 MODELS["caltrans_vibratory"].median(MODELS["caltrans_vibratory"](7.62))]
    impact = [MODELS["caltrans_impact"](10.0, 30e3), MODELS["fta_impact"](10.0),
              MODELS["attewell_1992_impact"](10.0, 30e3), MODELS["attewell_farmer_1973_mean"](10.0, 30e3),
              MODELS["attewell_farmer_1973_bound"].median(MODELS["attewell_farmer_1973_bound"](10.0, 30e3)),
              MODELS["bs5228_percussive"].median(MODELS["bs5228_percussive"](10.0, 30e3, bs5228_ground="very_stiff"))]
    for family, sd in ((vibratory, 0.39), (impact, 0.32)):
        logs = np.log10(family)
        assert np.abs(logs - np.median(logs)).max() < 1.5 * sd


def test_the_percussive_range_is_that_of_depth_and_plan_distance() -> None:
    spec = MODELS["bs5228_percussive"]
    slope = np.hypot([111.0, 111.5, 8.0, 8.0, 0.5], [6.0, 6.0, 27.0, 27.5, 6.0])
    inside = spec.in_range(distance_m=slope, depth_m=np.array([6.0, 6.0, 27.0, 27.5, 6.0]), energy_j=30e3)
    assert inside.tolist() == [True, False, True, False, False]
    assert not spec.in_range(distance_m=10.0, depth_m=6.0, energy_j=86e3)
    assert not spec.in_range(distance_m=10.0, depth_m=np.nan, energy_j=30e3)


def test_a_vibrator_of_unknown_energy_is_out_of_range() -> None:
    spec = MODELS["bs5228_vibratory"]
    assert spec.in_range(distance_m=10.0, energy_j=4500.0)
    inside = spec.in_range(distance_m=10.0, energy_j=[1100.0, 4500.0, 11e3, np.nan])
    assert inside.tolist() == [False, True, False, False]


def test_the_ground_may_change_from_step_to_step() -> None:
    depth = np.array([2.0, 4.0, 6.0])
    words = np.array(["soft", "very_stiff", "refusal"])
    ppv = MODELS["bs5228_percussive"](np.hypot(8.0, depth), 30e3, bs5228_ground=words)
    by_hand = [k * math.sqrt(30e3) / math.hypot(8.0, z) ** 1.3 for k, z in ((1.0, 2.0), (3.0, 4.0), (5.0, 6.0))]
    assert ppv == pytest.approx(by_hand, rel=1e-12)


@pytest.mark.parametrize("id", ["auger_press_estimate", "preauger_estimate", "bored_estimate", "cfa_estimate"])
def test_a_drilled_estimate_turned_back_into_its_level_follows_the_japanese_law(id: str) -> None:
    # crest factor, frequency and detector travel with the number: the level the velocity was made from comes back
    spec = MODELS[id]
    assert spec.origin is not None
    distance = np.array([5.0, 7.0, 12.5, 30.0])
    back = MODELS[spec.origin.conversion](spec(distance), spec.origin.frequency_hz,
                                          crest_factor=spec.origin.crest_factor)
    law = MODELS["japanese_level"](distance, reference_level_db=spec.defaults["reference_level_db"],
                                   reference_distance_m=spec.defaults["reference_distance_m"])
    assert back == pytest.approx(law, abs=1e-9)


def test_the_pressing_estimate_stands_near_its_recalled_level() -> None:
    # 62 dB at 5 m, from memory and uncertain
    level = vibration_level_jp_from_ppv(MODELS["pressing_estimate"](5.0), FREQUENCY_HZ, crest_factor=CREST_FACTOR)
    assert level == pytest.approx(62.0, abs=0.1)


def test_measured_decay_of_augers_is_that_of_the_japanese_law() -> None:
    # Japan Construction Mechanization Association 1994 (read): middles of 50-61, 44-57, 40-47 dB at 7, 15, 30 m
    measured = np.array([0.5 * (50 + 61), 0.5 * (44 + 57), 0.5 * (40 + 47)])
    law = MODELS["japanese_work_level"](np.array([7.0, 15.0, 30.0]), japanese_work="earth_auger")
    assert np.abs(measured - law).max() < 1.0
    too_steep = measured[0] - 30.0 * np.log10(np.array([7.0, 15.0, 30.0]) / 7.0)
    assert np.abs(measured - too_steep).max() > 5.0


def test_us_levels_lie_inside_the_measured_japanese_ranges_but_for_drilling() -> None:
    # FTA Table 12-2 and the association's table, both read: impact and vibratory agree, caisson drilling lies above
    def level(source: str) -> float:
        return float(vibration_level_jp_from_ppv(fta_2006.REFERENCE_PPV_MM_S[source], 10.0, crest_factor=4.0))

    hammer, vibrator = REFERENCE_LEVELS["hydraulic_hammer_8_t"], REFERENCE_LEVELS["vibrator_above_40_kw"]
    assert hammer.low_db <= level("impact") <= hammer.high_db
    assert vibrator.low_db <= level("vibratory") <= vibrator.high_db
    drills = [row for name, row in REFERENCE_LEVELS.items() if name.startswith(("earth", "all_casing", "pre_boring"))]
    assert level("caisson_drilling") > max(row.high_db for row in drills)


@given(x=st.floats(5.0, 200.0), alpha=st.floats(0.0, 0.3))
def test_damping_only_ever_takes_away_beyond_the_reference(x: float, alpha: float) -> None:
    damped = bornitz(x, reference_ppv_mm_s=2.0, reference_distance_m=5.0, damping_per_m=alpha)
    free = bornitz(x, reference_ppv_mm_s=2.0, reference_distance_m=5.0, damping_per_m=0.0)
    assert damped <= free == pytest.approx(2.0 * math.sqrt(5.0 / x), rel=1e-12)


def test_no_damping_is_allowed_but_less_is_not() -> None:
    with pytest.raises(ValueError, match="damping_per_m"):
        bornitz(10.0, reference_ppv_mm_s=1.0, reference_distance_m=5.0, damping_per_m=-0.01)


def test_the_class_of_the_ground_bounds_its_damping() -> None:
    damping = MODELS["damping_of_class"]
    for word in ("I", "II", "III", "IV"):
        low, high = (damping(20.0, caltrans_class=word, damping_bound=end) for end in ("low", "high"))
        assert low < high
        assert damping(40.0, caltrans_class=word, damping_bound="high") == pytest.approx(2.0 * high, rel=1e-12)


def test_a_wrong_word_offers_the_nearest_one() -> None:
    with pytest.raises(ValueError, match=r"bs5228_ground: unknown word 'very stiff' -> did you mean 'very_stiff'\?"):
        bs5228_2_2009.percussive(10.0, 30e3, bs5228_ground="very stiff")


@pytest.mark.parametrize("bad", ["ten", {}, [1.0, "x"]])
def test_what_is_no_number_is_refused_by_name(bad: object) -> None:
    with pytest.raises(ValueError, match="distance_m must be numbers"):
        japanese_levels.pressing(bad)  # type: ignore[arg-type]


def test_what_must_not_be_coded_is_not_coded() -> None:
    # no law whose constants nobody here has seen or is sure of; pressing is our own estimate, not the recalled 7 / r
    assert not [id for id in MODELS for name in ("massarsch", "white", "rockhill", "whyley") if name in id]
    x = np.array([2.0, 7.0, 20.0])
    pressing = [spec(x) for id, spec in MODELS.items() if id.startswith("press")]
    assert pressing
    assert not any(np.allclose(values, 7.0 / x, rtol=0.02) for values in pressing)
