"""Are the vibration laws typed right? Every printed value is met to half a unit of its last digit.

The values stand in `vibration/<model>.csv`, each with its source, place and basis; those marked `memory` are recalled
from their document or worked by hand from recalled constants, and don't make the constants any surer.
"""

from __future__ import annotations

import re

import numpy as np
import pytest
from make_table import PAGE, table
from scipy.optimize import brentq
from vibration_cases import ABOUT, FOLDER, Case, all_cases, read_cases, vibration_models

from envpredict.core.citation import BASES
from envpredict.models.spec import load_models

MODELS = load_models()
CASES = all_cases()


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.model}:{case.line}")
def test_a_printed_value_is_met(case: Case) -> None:
    assert abs(case.deviation) <= case.tolerance, f"ours {case.ours:.6g}, printed {case.printed} {case.unit}"


def test_every_vibration_model_has_printed_values_and_every_file_a_model() -> None:
    assert {path.stem for path in FOLDER.glob("*.csv")} == set(vibration_models())


@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.csv")), ids=lambda path: path.stem)
def test_a_file_names_the_models_arguments_and_where_each_value_is_from(path: object) -> None:
    cases = read_cases(path)  # type: ignore[arg-type]
    assert cases
    for case in cases:
        assert set(case.cells) <= set(case.spec.inputs)
        assert not set(case.spec.inputs) - set(case.cells) - set(case.spec.defaults)
        assert re.fullmatch(r"-?\d+(\.\d+)?", case.printed)
        assert case.source
        assert case.place
        assert case.basis in BASES
        assert set(ABOUT) & set(case.cells) == set()


def test_a_law_wrong_by_one_digit_of_the_print_is_caught() -> None:
    # the check itself: 13.02 is met, a constant 0.1 % off isn't
    case = next(case for case in CASES if case.model == "bs5228_percussive" and case.printed == "13.02")
    assert abs(case.ours * 1.001 - 13.02) > case.tolerance


@pytest.mark.parametrize("label", ["50 %", "33.3 %", "5 %"])
@pytest.mark.parametrize(("operation", "exponent"), [("all", 1.3), ("start_stop", 1.2), ("steady", 1.4)])
def test_the_curves_that_bs_5228_2_prints_come_back_under_its_own_labels(
        label: str, operation: str, exponent: float) -> None:
    # BS 5228-2:2009+A1:2014, Table E.1 (from memory): k_v 60, 126, 266, to the last bit
    k = {"50 %": 60.0, "33.3 %": 126.0, "5 %": 266.0}[label]
    x = np.linspace(1.0, 100.0, 500)
    assert np.array_equal(MODELS["bs5228_vibratory_printed"](x, label=label, operation=operation), k / x**exponent)


@pytest.mark.parametrize(("label", "reference"), [("50 %", "fta_vibratory"), ("5 %", "fta_vibratory_upper")])
def test_the_vibratory_constants_agree_with_an_independent_pair_at_the_us_reference_distance(
        label: str, reference: str) -> None:
    # constants of BS 5228-2 from memory against US FTA 2006, Table 12-2 (read): two data sets, within 2 %
    ours = MODELS["bs5228_vibratory_printed"](7.62, label=label)
    assert ours == pytest.approx(MODELS[reference](7.62), rel=0.02)


def solved(level: object, target: float) -> float:
    """Return the distance in feet at which a level falls to the target."""
    return float(brentq(lambda feet: float(level(feet * 0.3048)) - target, 1.0, 1000.0))  # type: ignore[operator]


def test_distances_worked_with_the_us_equations_are_met() -> None:
    # a county's file with the FTA equations of 2018 (read): 0.089 in/s against 0.3; 87 against 80 dB
    velocity = solved(lambda m: MODELS["fta_reference"](m, reference_ppv_mm_s=0.089 * 25.4) / 25.4, 0.3)
    level = solved(lambda m: MODELS["fta_level"](m, reference_level_db=87.0), 80.0)
    assert round(velocity) == 11
    assert round(level) == 43
    # the same file prints 31 ft for 86 against 83 dB, cut off rather than rounded: 31.47
    assert int(solved(lambda m: MODELS["fta_level"](m, reference_level_db=86.0), 83.0)) == 31


def test_the_slip_in_the_us_table_is_known() -> None:
    # FTA 2006, Table 12-2 (read): hydromill in rock prints 75 dB beside 0.017 in/s; crest factor 4 gives 72.6
    level = MODELS["velocity_level_us_from_ppv"](0.017 * 25.4)
    assert level == pytest.approx(72.6, abs=0.05)
    assert abs(level - 75.0) > 2.0


def test_the_page_of_verified_laws_is_current() -> None:
    assert PAGE.read_text(encoding="utf-8") == table(), "run: python tests/verification/make_table.py"
