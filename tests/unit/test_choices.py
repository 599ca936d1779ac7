"""Candidates: what a scenario states of plant, which plant the ground brings, and what is wrong with either."""

from __future__ import annotations

from pathlib import Path

import pytest
from scenario_folder import Folder

from envpredict.core.errors import ScenarioProblems
from envpredict.engine.catalogue import load_catalogue
from envpredict.engine.intake import read_scenario
from envpredict.engine.own_laws import laws_with_choice
from envpredict.engine.works.choices import MethodChoice, choices, choose
from envpredict.methods.fields import LawUse
from envpredict.methods.schema import a_weighted_sum_db
from envpredict.scenario.types import MethodEntry

CATALOGUE = load_catalogue()


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path / "site")


def stated(folder: Folder, text: str) -> dict[str, MethodChoice]:
    """Return the candidates of the starter with a text put under its hammer."""
    folder.toml("energy_kj = 40\n", f"energy_kj = 40\n{text}\n")
    scenario = read_scenario(folder.path)
    return {choice.id: choice for choice in choices(scenario, CATALOGUE)}


def item(choice: MethodChoice, plant: str):
    return next((use, machine) for use, machine in choice.plant if use.plant == plant)


def test_a_measured_machine_takes_the_catalogues_place(folder: Folder) -> None:
    found = stated(folder, """
[[methods.plant]]
id = "hydraulic_hammer_light"
count = 2
on_s = 900
cycle_s = 3600
measured = { level_db = 91.0, distance_m = 10, position = "facade", ground = "hard", by = "own meter" }
""")
    use, machine = item(found["impact_hydraulic"], "hydraulic_hammer_light")
    # by hand (BS 5228-1, Annex F, recalled): 91 - 3 for the facade, + 20 lg 10 + 8 = 116 dB
    assert machine.lwa_db == pytest.approx(116.0)
    assert a_weighted_sum_db(machine.octaves_db) == pytest.approx(116.0, abs=0.1)
    assert machine.citation.basis == "read"
    assert "own meter" in machine.citation.place
    assert (use.on_time_fraction, use.count) == (0.25, 2)
    assert machine.id == "hydraulic_hammer_light@impact_hydraulic"
    # the other items stay what the catalogue says
    assert item(found["impact_hydraulic"], "service_crane")[1] == CATALOGUE.plant["service_crane"]


def test_a_stated_spectrum_and_level_hold_exactly(folder: Folder) -> None:
    found = stated(folder, """
[[methods.plant]]
id = "hydraulic_hammer_light"
lwa_db = 117.6
octaves_db = [110, 112, 114, 114, 113, 110, 106, 100]
height_m = 4.5
""")
    _, machine = item(found["impact_hydraulic"], "hydraulic_hammer_light")
    # unweighted octaves whose A-sum is 117.4 dB by IEC 61672-1: shifted by what is left to the stated 117.6
    assert machine.lwa_db == 117.6
    assert a_weighted_sum_db(machine.octaves_db) == pytest.approx(117.6, abs=1e-6)
    assert machine.octaves_db[1] - machine.octaves_db[0] == pytest.approx(2.0)
    assert machine.height == 4.5


def test_two_candidates_of_one_method_keep_their_own_levels(folder: Folder) -> None:
    folder.add("""
[[methods]]
id = "quiet_hammer"
method = "impact_hydraulic"
[[methods.plant]]
id = "hydraulic_hammer_light"
lwa_db = 105
""")
    found = {choice.id: choice for choice in choices(read_scenario(folder.path), CATALOGUE)}
    levels = [item(found[name], "hydraulic_hammer_light")[1] for name in ("impact_hydraulic", "quiet_hammer")]
    assert levels[1].lwa_db == 105.0
    assert levels[0].lwa_db == CATALOGUE.plant["hydraulic_hammer_light"].lwa_db
    assert levels[0].id != levels[1].id


def test_plant_that_the_method_lacks_is_added_with_its_working_time(folder: Folder) -> None:
    found = stated(folder, '[[methods.plant]]\nid = "generator"\non_time_fraction = 1.0')
    use, machine = item(found["impact_hydraulic"], "generator")
    assert use.on_time_fraction == 1.0
    assert machine == CATALOGUE.plant["generator"]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('id = "generator"', "how long it works isn't stated"),
        ('id = "hydraulic_hammer_light"\non_time_fraction = 0', "works for no time at all"),
        ('id = "hydraulic_hammer_light"\nlevel_type = "maximum"', "says nothing without a level"),
        ('id = "service_crane"\nlwa_db = 110\nlevel_type = "maximum"', "how far it lies above the mean isn't known"),
    ],
)
def test_plant_that_does_not_fit_is_told(folder: Folder, text: str, told: str) -> None:
    folder.toml("energy_kj = 40\n", f"energy_kj = 40\n[[methods.plant]]\n{text}\n")
    with pytest.raises(ScenarioProblems, match=told) as caught:
        read_scenario(folder.path)
    assert "plant '" in str(caught.value)


def test_the_ground_brings_the_plant_that_it_needs() -> None:
    # the bored pile's entry swaps plant where rock or boulders are met: whichever it names must follow the ground
    method = next(one for one in CATALOGUE.methods.values() if any(swap.soils for swap in one.plant_swaps))
    swap = next(one for one in method.plant_swaps if one.soils)
    entry = MethodEntry("c", method.id)
    form = method.forms[0] if method.forms else "tube"
    plain = choose(entry, CATALOGUE, form, soils=())
    met = choose(entry, CATALOGUE, form, soils=swap.soils[:1])
    assert swap.instead_of in {use.plant for use, _ in plain.plant}
    assert swap.plant in {use.plant for use, _ in met.plant}


def test_a_candidate_may_leave_out_piles_that_it_can_not_install(folder: Folder) -> None:
    def split(features: list[dict]) -> None:
        first = features[0]
        first["properties"]["section"] = "S"
        features.append({**first, "properties": {**first["properties"], "section": "T", "pile_type": "tubular"},
                         "geometry": {"type": "Point", "coordinates": [3.3935, 55.4935]}})

    folder.features("piles.geojson", split)
    folder.add('[[methods]]\nid = "rotary_cutting_press"\n')
    with pytest.raises(ScenarioProblems, match="can't install these forms of pile: sheet"):
        read_scenario(folder.path)
    folder.toml('id = "rotary_cutting_press"\n', 'id = "rotary_cutting_press"\nsections = ["T"]\n')
    assert read_scenario(folder.path).methods[-1].sections == ("T",)


# --- choosing a law ---------------------------------------------------------------------------------------------------


def preferred(laws: tuple[LawUse, ...]) -> dict[str, str]:
    """Return the preferred law of every phase."""
    found = [law for law in laws if law.role == "preferred"]
    assert len({law.phase for law in found}) == len(found)
    return {law.phase: law.model for law in found}


def test_a_law_for_the_whole_drive_replaces_those_of_its_parts() -> None:
    method = CATALOGUE.methods["vibratory_standard"]
    assert set(preferred(method.laws)) == {"running", "start_stop"}
    found = laws_with_choice(method, "attewell_1992_vibratory", CATALOGUE.models)
    assert preferred(found) == {"all": "attewell_1992_vibratory"}


def test_a_law_for_one_phase_leaves_the_other_phase_its_law() -> None:
    method = CATALOGUE.methods["vibratory_standard"]
    found = laws_with_choice(method, "caltrans_vibratory", CATALOGUE.models)
    assert preferred(found) == {"running": "bs5228_vibratory", "start_stop": "caltrans_vibratory"}
    # the other way round: what predicted the whole drive goes on predicting the part that nothing else does
    whole = method.model_copy(update={"laws": laws_with_choice(method, "env1993_vibratory", CATALOGUE.models)})
    again = laws_with_choice(whole, "caltrans_vibratory", CATALOGUE.models)
    assert preferred(again) == {"running": "env1993_vibratory", "start_stop": "caltrans_vibratory"}


def test_choosing_the_bound_for_percussive_piling_keeps_the_ground_and_the_rule_for_hard_ground() -> None:
    method = CATALOGUE.methods["impact_hydraulic"]
    found = laws_with_choice(method, "bs5228_percussive", CATALOGUE.models)
    chosen = next(law for law in found if law.role == "preferred")
    # its word for the ground comes from the strata, it isn't fixed at refusal
    assert chosen.parameters == {}
    assert [law.parameters for law in found if law.role == "hard_ground"] == [{"bs5228_ground": "refusal"}]
    assert preferred(found) == {"all": "bs5228_percussive"}


def test_a_scenario_that_chooses_a_law_chooses_it_for_hard_ground_too_and_sees_the_other_beside_it() -> None:
    method = CATALOGUE.methods["impact_hydraulic"]
    found = laws_with_choice(method, "attewell_1992_impact", CATALOGUE.models, in_hard_ground=True)
    assert preferred(found) == {"all": "attewell_1992_impact"}
    assert [(law.model, law.parameters) for law in found if law.role == "hard_ground_beside"] == [
        ("bs5228_percussive", {"bs5228_ground": "refusal"})]
    assert not any(law.role == "hard_ground" for law in found)
