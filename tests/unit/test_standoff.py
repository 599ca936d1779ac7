"""Stand-off distances: against the worked examples of a county file that uses the transit manual, and identities."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from envpredict.cli import main
from envpredict.engine.vibration.standoff import standoff_m
from envpredict.models.spec import load_models

MODELS = load_models()


def test_worked_example_of_the_transit_law() -> None:
    # source: county environmental file with the US transit equations (read): 0.089 in/s at 25 ft, 0.3 in/s at 11 ft
    spec = MODELS["fta_reference"]
    found = standoff_m(spec, 0.3 * 25.4, 0.5, reference_ppv_mm_s=0.089 * 25.4)
    assert found.distance_m / 0.3048 == pytest.approx(11.1, abs=0.05)


def test_the_median_stand_off_inverts_the_law_by_hand() -> None:
    # v = 60 / x^1.3 = 5 mm/s -> x = 12^(1/1.3)
    found = standoff_m(MODELS["bs5228_vibratory"], [5.0, 1.0], 0.5, known={"energy_j": 4000.0})
    assert found.distance_m == pytest.approx([12.0 ** (1 / 1.3), 60.0 ** (1 / 1.3)], rel=1e-12)
    assert found.in_range.all()


def test_a_limit_met_everywhere_or_nowhere_is_said() -> None:
    far = standoff_m(MODELS["bs5228_vibratory"], [1e9, 1e-12], 0.5, known={"energy_j": 4000.0})
    assert far.distance_m.tolist() == [0.0, np.inf]
    assert not far.in_range.any()


@settings(max_examples=40, deadline=None)
@given(st.floats(0.1, 30.0), st.floats(0.001, 0.6), st.floats(5e3, 1.5e5))
def test_the_level_at_the_stand_off_is_the_limit(limit: float, exceedance: float, energy_j: float) -> None:
    spec = MODELS["caltrans_impact"]
    found = standoff_m(spec, limit, exceedance, energy_j=energy_j, caltrans_class="III")
    median = float(spec(distance_m=found.distance_m, energy_j=energy_j, caltrans_class="III"))
    assert float(spec.at_exceedance(median, exceedance)) == pytest.approx(limit, rel=1e-9)


def test_a_surer_distance_and_more_energy_need_more_room() -> None:
    spec = MODELS["caltrans_impact"]
    sure = standoff_m(spec, 5.0, [0.5, 0.05, 0.01], energy_j=5e4, caltrans_class="III").distance_m
    assert (np.diff(sure) > 0).all()
    strong = standoff_m(spec, 5.0, 0.05, energy_j=np.array([2e4, 4e4, 8e4]), caltrans_class="III").distance_m
    assert (np.diff(strong) > 0).all()


@pytest.mark.parametrize("wrong", [{"limit_mm_s": 0.0}, {"exceedance": 1.0}])
def test_senseless_questions_are_refused(wrong: dict[str, float]) -> None:
    asked = {"limit_mm_s": 5.0, "exceedance": 0.05} | wrong
    with pytest.raises(ValueError, match=r"positive|between 0 and 1"):
        standoff_m(MODELS["bs5228_vibratory"], asked["limit_mm_s"], asked["exceedance"])


def test_the_command_answers_per_law_and_draws(tmp_path: Path) -> None:
    words = ["distance", "--method", "vibratory_standard", "--ground", "dense_sand", "--limit", "bs_5228_2_2009",
             "--plot", str(tmp_path / "curve.svg")]
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 0, done.output
    for word in ("start and stop", "twice the running level", "verify", "Stop work", "complaints"):
        assert word in done.output
    assert (tmp_path / "curve.svg").read_text(encoding="utf-8").startswith("<?xml")
    again = CliRunner().invoke(main, words)
    assert again.exit_code == 2
    assert "exists already" in again.output


def test_every_wrong_word_is_named_at_once() -> None:
    done = CliRunner().invoke(main, ["distance", "--method", "press", "--ground", "sand", "--limit", "din"])
    assert done.exit_code == 2
    for option in ("--method", "--ground", "--limit"):
        assert option in done.output
