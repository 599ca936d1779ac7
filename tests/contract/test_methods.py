"""The catalogue against the registries that it names: laws, ground schemes, plant, flags; and its own completeness."""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from pydantic import BaseModel

from envpredict.core.citation import Citation
from envpredict.core.quantities import QUANTITIES
from envpredict.ground.schemes import SCHEMES
from envpredict.methods import load
from envpredict.methods.fields import GROUND_CLASSES, LawUse, Spread
from envpredict.methods.schema import Method, Plant, a_weighted_sum_db
from envpredict.methods.suitability import suitability
from envpredict.models.spec import MODELS, load_models

METHODS = load.load_methods()
PLANT = load.load_plant()
# what the engine gives to a law besides ground words: see its arguments
SUPPLIED = {"distance_m", "energy_j", "depth_m", "frequency_hz", "damping_per_m"}
LOADERS = {
    "methods": load.load_methods, "plant": load.load_plant, "reductions": load.load_reductions,
    "pile_types": load.load_pile_types, "movement": load.load_movement_flags, "spectra": load.load_spectra,
    "handbook": load.load_handbook, "counter_cases": load.load_counter_cases, "check_tables": load.load_check_tables,
}
WANTED = {
    "methods": {"impact_hydraulic", "impact_diesel", "impact_drop", "vibratory_standard", "vibratory_variable_moment",
                "press_in", "press_in_jetting", "press_in_auger", "preauger_press", "preauger_vibratory",
                "rotary_cutting_press", "down_the_hole", "bored_cased", "cfa"},
    "pile_types": {"sheet_u", "sheet_z", "sheet_hat", "sheet_flat_web", "sheet_zero_gap", "h_section", "tubular",
                   "precast"},
}
LAWS = [(method, law) for method in METHODS.values() for law in method.laws]


def law_name(pair: tuple[Method, LawUse]) -> str:
    return f"{pair[0].id}-{pair[1].model}-{pair[1].phase}-{pair[1].stage}"


def parts(model: BaseModel) -> Iterator[object]:
    """Yield every part of an entry, at every depth."""
    for name in type(model).model_fields:
        value = getattr(model, name)
        stack = [value]
        while stack:
            item = stack.pop()
            yield item
            if isinstance(item, BaseModel):
                yield from parts(item)
            elif isinstance(item, dict):
                stack += list(item.values())
            elif isinstance(item, tuple):
                stack += list(item)


@pytest.fixture(scope="module", autouse=True)
def _models() -> None:
    load_models()


@pytest.mark.parametrize("folder", sorted(LOADERS))
def test_every_file_holds_the_entry_that_it_is_named_after(folder: str) -> None:
    files = {path.stem for path in (load.DATA / folder).glob("*.toml")}
    assert set(LOADERS[folder]()) == files
    assert files >= WANTED.get(folder, set())
    assert files


def test_no_data_file_lies_where_nobody_reads_it() -> None:
    assert {path.parent.name for path in load.DATA.rglob("*.*")} == set(LOADERS)


def test_every_named_item_of_plant_and_flag_exists_and_all_plant_is_used() -> None:
    assert load.unknown_references(METHODS, PLANT, load.load_movement_flags()) == []
    used = {use.plant for method in METHODS.values() for use in method.plant}
    used |= {swap.plant for method in METHODS.values() for swap in method.plant_swaps}
    assert used == set(PLANT)
    for method in METHODS.values():
        assert {swap.instead_of for swap in method.plant_swaps} <= {use.plant for use in method.plant}
    named = {name for reduction in load.load_reductions().values() for name in reduction.methods}
    assert named <= set(METHODS)


@pytest.mark.parametrize("pair", LAWS, ids=law_name)
def test_every_law_is_declared_and_can_be_fed(pair: tuple[Method, LawUse]) -> None:
    method, law = pair
    spec = MODELS[law.model]
    assert QUANTITIES[spec.quantity].unit == "mm/s"
    assert set(law.parameters) <= set(spec.inputs), "a parameter that the law doesn't take"
    for name, value in law.parameters.items():
        assert (value in spec.options[name]) if name in spec.options else isinstance(value, float)
    for name, argument in inspect.signature(spec.function).parameters.items():
        if argument.default is inspect.Parameter.empty and name not in law.parameters:
            assert name in SUPPLIED or name in SCHEMES, f"nobody supplies {name}"
    if "energy_j" in spec.inputs and law.role == "preferred":
        assert method.energy is not None
        assert spec.validity["energy_j"].holds(method.energy.default_kj * 1000)


@pytest.mark.parametrize("pair", [pair for pair in LAWS if pair[1].phase != "all"], ids=law_name)
def test_a_law_made_for_one_phase_is_used_for_that_phase(pair: tuple[Method, LawUse]) -> None:
    law = pair[1]
    spec = MODELS[law.model]
    if "operation" in law.parameters:
        assert law.parameters["operation"] == {"running": "steady", "start_stop": "start_stop"}[law.phase]
    else:
        assert spec.phase in ("all", law.phase)


def test_the_preferred_laws_are_medians_and_placeholders_are_said_to_be_estimates() -> None:
    for method, law in LAWS:
        spec = MODELS[law.model]
        if law.role == "preferred":
            assert spec.statistic == "median", f"{method.id}: {law.model}"
        if {"placeholder"} & spec.flags or law.model == "pressing_estimate":
            assert law.estimate, f"{method.id}: {law.model}"


def test_ground_words_of_the_schemes_are_those_that_laws_take() -> None:
    assert set(SCHEMES["catalogue"].words) == set(GROUND_CLASSES)
    for spec in MODELS.values():
        for argument, words in spec.options.items():
            if argument in SCHEMES:
                assert set(words) == set(SCHEMES[argument].words), f"{spec.id}: {argument}"


@pytest.mark.parametrize("method", METHODS.values(), ids=lambda method: method.id)
def test_each_method_tells_what_its_kind_needs(method: Method) -> None:
    assert set(method.suits) == set(GROUND_CLASSES)
    assert set(method.rates) >= {name for name, suit in method.suits.items() if suit.code != "N"}
    assert method.cast_in_place or method.forms
    if method.family == "impact":
        assert method.signal == "transient"
        assert method.energy is not None
        assert method.energy.kind == "per_blow"
        assert method.blow_rate_per_min is not None
        assert method.blows_per_m is not None
        assert set(method.blows_per_m) >= set(method.rates)
        # the gross rate can't beat the net rate of hammering
        for name, rate in method.rates.items():
            assert rate.fast <= 60 * method.blow_rate_per_min.high / method.blows_per_m[name].low
    else:
        assert method.blows_per_m is None
    if method.family == "vibratory":
        assert method.energy is not None
        assert method.energy.kind == "per_cycle"
        sweeps = any(law.phase == "start_stop" and law.role == "preferred" for law in method.laws)
        assert sweeps is (not method.zero_moment)
        assert (method.start_stop_frequency is not None) is sweeps
    if method.family == "press":
        assert method.needs.reaction
        assert method.signal == "quasi_static"


@pytest.mark.parametrize("plant", PLANT.values(), ids=lambda plant: plant.id)
def test_spectra_sum_to_their_level_and_estimated_shapes_say_so(plant: Plant) -> None:
    assert a_weighted_sum_db(plant.octaves_db) == pytest.approx(plant.lwa_db, abs=0.1)
    assert plant.spectrum_citation.basis in ("read", "estimate")
    if plant.spectrum_citation.basis == "read":
        assert "BS 5228-1" in plant.spectrum_citation.document
    assert plant.level_type == "mean"


@pytest.mark.parametrize("folder", sorted(LOADERS))
def test_every_citation_names_a_place_and_every_unread_number_is_marked(folder: str) -> None:
    found = 0
    for name, entry in LOADERS[folder]().items():
        for part in parts(entry):
            if isinstance(part, Citation):
                found += 1
                assert ("verify" in str(part)) is (part.basis != "read"), name
                assert not re.search(r"http|\bREAD\b", f"{part.document} {part.place} {part.via}"), name
    assert found


def test_every_range_holds_its_likely_value() -> None:
    spreads = [part for loader in LOADERS.values() for entry in loader().values() for part in parts(entry)
               if isinstance(part, Spread)]
    assert len(spreads) > 50
    assert all(spread.low <= spread.likely <= spread.high for spread in spreads)


@pytest.mark.parametrize("method", METHODS.values(), ids=lambda method: method.id)
def test_suitability_is_vectorised_and_leaves_its_inputs_alone(method: Method) -> None:
    soils = np.array([*GROUND_CLASSES, "unknown"])
    n, before = np.full((3, 1), 20.0), soils.copy()
    together = suitability(method, soils, n=n, cu_kpa=60.0)
    assert together.code.shape == (3, len(soils))
    assert (soils == before).all()
    assert (n == 20.0).all()
    for number, soil in enumerate(soils):
        alone = suitability(method, soil, n=20.0, cu_kpa=60.0)
        assert alone.code.shape == ()
        for name in ("code", "verdict", "rule", "aid", "source", "basis"):
            assert getattr(together, name)[1, number] == getattr(alone, name)
    assert set(together.verdict[:, -1]) == {"cannot_judge"}


def test_the_catalogue_can_be_read_by_somebody_without_it(tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    text = (load.DATA / "methods" / "press_in.toml").read_text(encoding="utf-8")
    own.write_text(text.replace('id = "press_in"', 'id = "my_press"', 1), encoding="utf-8")
    assert set(load.load_methods((own,))) - set(METHODS) == {"my_press"}
    assert set(load.load_methods((tmp_path,))) == {*METHODS, "my_press"}
