"""Declarations: what a model may not say of itself, how a printed value becomes a median, how a user brings a law."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.stats import norm

from envpredict.core.citation import Citation
from envpredict.core.errors import InputProblems
from envpredict.core.ranges import Range
from envpredict.models.arguments import choose, not_negative, positive, power
from envpredict.models.own import own_laws
from envpredict.models.spec import ModelSpec, Scatter, check_declaration, load_models, model

SOURCE = Citation("A paper", 2001, "equation 1", "read")
MODELS = load_models()


def law(distance_m: float, energy_j: float = 1000.0) -> float:
    """Return a value."""
    return energy_j / distance_m


def declared(**changed: Any) -> ModelSpec:
    plain: dict[str, Any] = {
        "id": "a_law", "function": law, "quantity": "ppv_resultant", "position": "ground", "statistic": "median",
        "distance": "plan", "validity": {"distance_m": Range(1.0, 10.0, "Table 1")}, "source": SOURCE,
        "scatter": Scatter(0.3, 0.4, SOURCE), "title": "A law of a paper"}
    return ModelSpec(**{**plain, **changed})


def unknown_argument(distance_m: float, speed: float) -> float:
    return distance_m * speed


@pytest.mark.parametrize(("changed", "said"), [
    ({"function": unknown_argument}, "'speed' is neither in the vocabulary nor an option"),
    ({"validity": {"speed": Range(0.0, 1.0, "x")}}, "a range is given for 'speed'"),
    ({"options": {"kind": ("a", "b")}}, "'kind' is given as an option"),
    ({"quantity": "speed"}, "unknown quantity"),
    ({"position": "moon"}, "unknown quantity 'ppv_resultant' or position 'moon'"),
    ({"statistic": "upper_bound"}, "bound_z"),
    ({"statistic": "exceedance"}, "name the model of their median"),
    ({"phase": "sometimes"}, "a phase is one of"),
])
def test_a_declaration_that_contradicts_itself_is_refused(changed: dict[str, Any], said: str) -> None:
    check_declaration(declared())
    with pytest.raises(ValueError, match=said):
        check_declaration(declared(**changed))


def test_two_models_cannot_share_an_id() -> None:
    with pytest.raises(ValueError, match="declared twice"):
        model("bs5228_percussive", title="Another law", quantity="ppv_resultant", statistic="median", distance="plan",
              validity={}, source=SOURCE)(law)


def test_a_total_scatter_is_split_in_quadrature() -> None:
    scatter = Scatter.from_total(0.39, SOURCE)
    assert scatter.within_site == 0.20
    assert scatter.total == pytest.approx(0.39, rel=1e-12)
    assert Scatter.from_total(0.1, SOURCE) == Scatter(0.0, 0.1, SOURCE)


def test_a_bound_becomes_a_median_by_its_z_in_each_scale() -> None:
    bound = Scatter(0.3, 0.4, SOURCE, bound_z=2.0)          # total 0.5: the bound lies a factor of 10 above
    linear = declared(statistic="upper_bound", scatter=bound)
    assert linear.median(np.array([10.0, np.nan])) == pytest.approx([1.0, np.nan], nan_ok=True)
    decibel = declared(statistic="upper_bound", quantity="vibration_level_jp_db",
                       scatter=Scatter(3.0, 4.0, SOURCE, 2.0))
    assert decibel.median(75.0) == pytest.approx(65.0)


@pytest.mark.parametrize("exceedance", [0.01, 0.05, 0.5, 0.9])
def test_any_exceedance_can_be_asked_for(exceedance: float) -> None:
    # outside check: scipy's normal quantile
    expected = 2.0 * 10 ** (norm.isf(exceedance) * 0.5)
    assert declared().at_exceedance(2.0, exceedance) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("exceedance", [0.0, 1.0, 5.0, float("nan")])
def test_an_exceedance_is_a_chance(exceedance: float) -> None:
    with pytest.raises(ValueError, match="exceedance must lie between 0 and 1"):
        declared().at_exceedance(2.0, exceedance)


def test_without_scatter_no_exceedance_is_told() -> None:
    with pytest.raises(ValueError, match="declares no scatter"):
        declared(scatter=None).at_exceedance(1.0, 0.05)


def test_in_range_takes_defaults_and_asks_for_the_rest() -> None:
    spec = declared(validity={"distance_m": Range(1.0, 10.0, "x"), "energy_j": Range(1.0, 1000.0, "x"),
                              "depth_m": Range(1.0, 27.0, "x"), "frequency_hz": Range.unstated()})
    assert spec.range_inputs == ("distance_m", "depth_m")
    assert spec.in_range(distance_m=5.0, depth_m=3.0)
    assert not spec.in_range(distance_m=5.0, depth_m=3.0, energy_j=2000.0)
    assert spec.in_range(distance_m=[[5.0], [20.0]], depth_m=[3.0, 30.0]).tolist() == [[True, False], [False, False]]
    with pytest.raises(ValueError, match="also needs depth_m"):
        spec.in_range(distance_m=5.0)


def test_a_model_is_known_as_its_weakest_source() -> None:
    assert declared().basis == "read"
    assert declared(sources=(Citation("B", 2000, "p", "memory"),)).basis == "memory"
    assert declared(flags=frozenset({"estimate"})).basis == "estimate"


def test_arguments_are_refused_by_name() -> None:
    for check in (positive, not_negative):
        with pytest.raises(ValueError, match="depth_m must be"):
            check([1.0, -2.0, np.nan], "depth_m")
    assert not_negative(0.0, "depth_m") == 0.0
    with pytest.raises(ValueError, match="'b', 'c' -> did you mean"):
        choose(np.array(["aa", "b", "c"]), {"aa": 1.0, "bb": 2.0}, "kind")
    with pytest.raises(ValueError, match="unknown word 'nan'"):
        choose(float("nan"), {"aa": 1.0}, "kind")
    assert choose(np.array(["aa", "bb"], dtype=object), {"aa": 1.0, "bb": 2.0}, "kind").tolist() == [1.0, 2.0]


def test_a_power_of_one_keeps_a_missing_exponent_missing() -> None:
    assert np.isnan(power(np.float64(1.0), np.float64(np.nan)))
    assert power(np.array([0.5, 3.0]), np.array(1.7)) == pytest.approx(np.array([0.5, 3.0]) ** 1.7, rel=1e-14)


OWN = {
    "trial": {
        "form": "reference_distance_energy", "title": "Trial piles on the east bank", "quantity": "ppv_vertical",
        "constants": {"reference_ppv_mm_s": 3.0, "reference_distance_m": 10.0, "reference_energy_j": 30e3,
                      "exponent": 1.2},
        "range": {"distance_m": [2.0, 60.0], "depth_m": [1.0, 20.0]},
        "scatter": {"between_site": 0.05, "within_site": 0.15},
        "source": {"document": "Trial report", "place": "table 2", "basis": "read", "year": 2024},
    },
    "bound": {
        "form": "bornitz_class",
        "constants": {"reference_ppv_mm_s": 4.0, "reference_distance_m": 5.0, "geometry": "mixed"},
        "statistic": "upper_bound", "bound_z": 1.645, "scatter": {"total": 0.3}, "phase": "running",
        "source": {"document": "Handbook", "place": "p. 3", "basis": "memory"},
    },
}


def test_a_users_law_is_a_model_like_any_other() -> None:
    laws = own_laws(OWN)
    trial = laws["trial"]
    assert trial.inputs == ("distance_m", "energy_j")
    assert trial(20.0, 60e3) == pytest.approx(3.0 * 0.5**1.2 * 2.0**0.5, rel=1e-12)
    assert trial.in_range(distance_m=[5.0, 70.0], energy_j=1e3, depth_m=5.0).tolist() == [True, False]
    assert trial.scatter is not None
    assert (trial.scatter.between_site, trial.scatter.within_site) == (0.05, 0.15)
    assert (trial.basis, trial.quantity, trial.flags) == ("read", "ppv_vertical", frozenset({"own"}))
    assert "trial" not in MODELS


def test_a_users_bound_gives_a_median_and_leaves_the_ground_to_the_run() -> None:
    bound = own_laws(OWN)["bound"]
    assert bound.inputs == ("distance_m", "frequency_hz", "caltrans_class", "damping_bound")
    assert set(bound.options) == {"caltrans_class", "damping_bound"}
    value = bound(20.0, 10.0, caltrans_class=np.array(["I", "II"]))
    assert value == pytest.approx(MODELS["bornitz_class"](20.0, 10.0, reference_ppv_mm_s=4.0, reference_distance_m=5.0,
                                                          geometry="mixed", caltrans_class=np.array(["I", "II"])))
    assert bound.median(value) == pytest.approx(value / 10 ** (1.645 * 0.3), rel=1e-12)
    assert (bound.phase, bound.basis) == ("running", "memory")


def changed_law(**changed: Any) -> dict[str, Any]:
    plain: dict[str, Any] = {"form": "power_law", "constants": {"coefficient": 60.0, "exponent": 1.3},
                             "source": {"document": "D", "place": "p", "basis": "read"}}
    return {"x": {**plain, **changed}}


@pytest.mark.parametrize(("entry", "where", "what"), [
    (changed_law(constants={"coefficient": 60.0}), "constants.exponent", "is missing"),
    (changed_law(constants={"coefficient": -60.0, "exponent": 1.3}), "constants", "coefficient must be above 0"),
    (changed_law(constants={"coefficient": "60", "exponent": 1.3}), "constants.coefficient", "must be a number"),
    (changed_law(constants={"coefficient": np.nan, "exponent": 1.3}), "constants.coefficient", "must be a number"),
    (changed_law(constants={"coefficient": True, "exponent": 1.3}), "constants.coefficient", "must be a number"),
    (changed_law(constants={"coefficient": 60.0, "exponents": 1.3, "exponent": 1.3}), "constants.exponents",
     "isn't a constant"),
    (changed_law(constants=[60.0, 1.3]), "constants", "must be a table"),
    (changed_law(form="power_lew"), "form", "unknown form 'power_lew'"),
    ({"x": {}}, "form", "is missing"),
    (changed_law(quantity="laeq_db"), "quantity", "unknown word 'laeq_db'"),
    (changed_law(statistic="mean"), "statistic", "unknown word 'mean'"),
    (changed_law(statistic="upper_bound"), "bound_z", "is missing"),
    (changed_law(distance="diagonal"), "distance", "unknown word"),
    (changed_law(phase="lunch"), "phase", "unknown word"),
    (changed_law(range={"distance_m": [60.0, 2.0]}), "range.distance_m", "must be"),
    (changed_law(range={"distance_m": 60.0}), "range.distance_m", "must be"),
    (changed_law(range={"distanze_m": [2.0, 60.0]}), "range.distanze_m", "isn't an input"),
    (changed_law(scatter={"total": -0.1}), "scatter.total", "must be a number of 0 or more"),
    (changed_law(scatter={"sd": 0.1}), "scatter", "holds sd"),
    (changed_law(source={"document": "D", "place": "p", "basis": "certain"}), "source.basis", "must say how"),
    (changed_law(source={"place": "p", "basis": "read"}), "source.document", "is missing"),
    (changed_law(source={"document": "D", "place": "p", "basis": "read", "year": "2001"}), "source.year",
     "whole number"),
    (changed_law(colour="red"), "colour", "isn't a key"),
    ({"x": 5}, "", "must be a table"),
    ({"bs5228_percussive": changed_law()["x"]}, "", "has the id of a published law"),
])
def test_a_fault_in_a_users_law_is_named_with_its_place(entry: dict[str, Any], where: str, what: str) -> None:
    with pytest.raises(InputProblems) as caught:
        own_laws(entry, "laws.toml")
    (problem,) = caught.value.problems
    id = next(iter(entry))
    assert problem.where == f"laws.toml, law '{id}'" + (f", {where}" if where else "")
    assert what in problem.what


def test_faults_of_one_law_are_told_together() -> None:
    with pytest.raises(InputProblems) as caught:
        own_laws(changed_law(colour="red", constants={"coefficient": -1.0, "exponent": 1.3}, phase="lunch", source={}))
    assert [problem.where.rpartition(", ")[2] for problem in caught.value.problems] == [
        "colour", "constants", "phase", "source.document", "source.place", "source.basis"]


def test_faults_of_several_laws_are_told_together() -> None:
    with pytest.raises(InputProblems) as caught:
        own_laws({"a": changed_law(constants={})["x"], "b": changed_law(form="x")["x"], "c": OWN["trial"]})
    assert len(caught.value.problems) == 3
