"""Reductions in force: what each changes in a candidate, by hand, and what is refused."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from scenario_folder import Folder

from envpredict.core.errors import ScenarioProblems
from envpredict.engine.assess import assess
from envpredict.engine.catalogue import load_catalogue
from envpredict.engine.intake import read_scenario
from envpredict.engine.results import Assessment
from envpredict.engine.works import reductions
from envpredict.engine.works.choices import MethodChoice, choices
from envpredict.engine.works.programme import plan_work
from envpredict.engine.works.site import read_site
from envpredict.engine.works.soil import drives, read_ground
from envpredict.scenario.types import Scenario

CATALOGUE = load_catalogue()
HOUR = 3600.0


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path / "site")


def read(folder: Folder, text: str = "") -> tuple[Scenario, dict[str, MethodChoice]]:
    if text:
        folder.add(text)
    scenario = read_scenario(folder.path)
    return scenario, {choice.id: choice for choice in choices(scenario, CATALOGUE)}


def law(choice: MethodChoice, role: str = "preferred", phase: str = "all"):
    return next(one for one in choice.laws if one.role == role and one.phase == phase)


def programme(scenario: Scenario, choice: MethodChoice):
    return plan_work(scenario, choice, drives(scenario, read_ground(scenario)), read_site(scenario))


def test_a_cushion_multiplies_every_law_and_quietens_the_hammer_alone(folder: Folder) -> None:
    _, plain = read(folder)
    _, found = read(folder, '[[reductions]]\nid = "pile_cushion"\nmethods = ["impact_hydraulic"]')
    before, after = plain["impact_hydraulic"], found["impact_hydraulic"]
    # the catalogue's likely factor on velocity is 0.8, ours, and 5 dB on what sits on the pile's head
    assert [one.factor for one in after.laws] == pytest.approx([0.8 * one.factor for one in before.laws])
    assert law(after).citation.basis == "estimate"
    assert "0.80" in law(after).citation.place
    loss = {use.plant: machine.lwa_db - other.lwa_db for (use, machine), (_, other) in
            zip(before.plant, after.plant, strict=True)}
    assert loss == {"hydraulic_hammer_light": 5.0, "hammer_power_pack": 0.0, "service_crane": 0.0}
    # best 8, least 3 dB: the spread of an even distribution is 5 / sqrt(12) = 1.44 dB beside the plant's own
    u_db = [next(machine.u_db for use, machine in choice.plant if use.plant == "hydraulic_hammer_light")
            for choice in (before, after)]
    assert u_db[1] == pytest.approx(np.hypot(u_db[0], 5 / 12**0.5))
    assert found["press_in_auger"].laws == plain["press_in_auger"].laws
    assert found["press_in_auger"].reductions == ()


def test_losses_on_one_source_are_not_added_and_packs_have_their_own(folder: Folder) -> None:
    _, plain = read(folder)
    _, found = read(folder, '[[reductions]]\nid = "hammer_tower"\n[[reductions]]\nid = "hammer_cover_open"\n'
                            '[[reductions]]\nid = "pack_enclosure"')
    loss = {use.plant: machine.lwa_db - other.lwa_db for (use, machine), (_, other) in
            zip(plain["impact_hydraulic"].plant, found["impact_hydraulic"].plant, strict=True)}
    # read: tower 28 dB, cover 7 dB; on one hammer the larger counts
    assert loss == {"hydraulic_hammer_light": 28.0, "hammer_power_pack": 7.0, "service_crane": 0.0}
    told = reductions.frame(tuple(found.values()))
    press = told[(told["method"] == "press_in_auger") & (told["reduction"] == "hammer_tower")].iloc[0]
    assert "nothing changes" in press["effect"]


def test_a_stated_effect_takes_the_place_of_the_published_one(folder: Folder) -> None:
    _, found = read(folder, '[[reductions]]\nid = "pile_cushion"\nvibration_factor = 0.6\ninsertion_loss_db = 4\n'
                            'source = "trial of 3 May"')
    one = law(found["impact_hydraulic"])
    assert one.factor == pytest.approx(0.6)
    # the law's own place is read in the manual, and so is what the user vouches for
    assert one.citation.basis == "read"
    assert "trial of 3 May" in " ".join(found["impact_hydraulic"].told[0])


def test_start_and_stop_alone_are_lowered_by_a_zero_moment_start(folder: Folder) -> None:
    folder.toml('id = "vibratory_variable_moment"', 'id = "vibratory_standard"')
    _, found = read(folder, '[[reductions]]\nid = "zero_moment_start"')
    choice = found["vibratory_standard"]
    assert law(choice, phase="running").factor == 1.0
    assert law(choice, phase="start_stop").factor == pytest.approx(0.4)
    assert choice.start_stop_gain == pytest.approx(0.4)


def test_two_factors_at_most_and_not_below_a_quarter(folder: Folder) -> None:
    folder.toml('id = "vibratory_variable_moment"', 'id = "vibratory_standard"')
    _, found = read(folder, "".join(f'[[reductions]]\nid = "{name}"\n' for name in
                                    ("water_jet_vibratory", "open_trench", "sheet_wall_barrier")))
    # 0.5 x 0.5 = 0.25, the third (0.63) is left out
    assert law(found["vibratory_standard"], phase="running").factor == pytest.approx(0.25)


def test_a_smaller_hammer_strikes_more_often_and_takes_longer(folder: Folder) -> None:
    scenario, plain = read(folder)
    _, found = read(folder, '[[reductions]]\nid = "lower_energy"\nenergy_kj = 20')
    before, after = plain["impact_hydraulic"], found["impact_hydraulic"]
    assert after.energy_j == 20_000.0
    assert after.method.blows_per_m is not None
    assert before.method.blows_per_m is not None
    # half of 40 kJ: twice the blows per metre
    assert after.method.blows_per_m["dense_sand"].likely == 2 * before.method.blows_per_m["dense_sand"].likely
    # by hand, dense sand: 6.3 m/h and 150 blows/m at 40 a minute: 1/6.3 + 150/2400 = 0.2212 h/m, so 4.52 m/h
    assert after.method.rates["dense_sand"].likely == pytest.approx(4.52, abs=0.01)
    assert len(programme(scenario, after).days) >= len(programme(scenario, before).days)
    # the laws take the energy themselves: no factor beside it
    assert law(after).factor == law(before).factor


def test_another_method_takes_the_place(folder: Folder) -> None:
    folder.toml('id = "vibratory_variable_moment"', 'id = "press_in"')
    _, found = read(folder, '[[reductions]]\nid = "preauger"\nmethods = ["press_in"]')
    choice = found["press_in"]
    assert choice.method.id == "preauger_press"
    assert [stage.id for stage in choice.method.stages] == ["preauger", "drive"]
    assert "becomes" in choice.told[0][3]


def test_hours_and_respite_shape_the_working_day(folder: Folder) -> None:
    scenario, found = read(folder, '[[reductions]]\nid = "restricted_hours"\nmethods = ["impact_hydraulic"]\n'
                           'shift = { from = "09:00", to = "16:00" }\n[[reductions]]\nid = "respite"\n'
                           'shift = { from = "12:00", to = "13:00" }')
    work = programme(scenario, found["impact_hydraulic"])
    assert (work.start_s >= 9 * HOUR).all()
    assert (work.end_s <= 16 * HOUR).all()
    assert not ((work.start_s < 13 * HOUR - 1) & (work.end_s > 12 * HOUR + 1)).any()
    # a respite for all: the others keep the shift of 8 to 18 with the hour taken out
    other = programme(scenario, found["press_in_auger"])
    assert other.start_s.min() == 8 * HOUR
    assert not ((other.start_s < 13 * HOUR - 1) & (other.end_s > 12 * HOUR + 1)).any()
    one = load_catalogue().methods["impact_hydraulic"]
    assert found["impact_hydraulic"].method.rates == one.rates


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('id = "lower_energy"', "needs energy_kj"),
        ('id = "restricted_hours"', "needs shift"),
        ('id = "lower_energy"\nenergy_kj = 60', "lies above the 40 kJ of 'impact_hydraulic'"),
        ('id = "pile_cushion"\nenergy_kj = 20', "energy_kj says nothing of 'pile_cushion'"),
        ('id = "kelly_damping"', "it would change nothing"),
        ('id = "screen"\nscreen = "s1"\ninsertion_loss_db = 5', "are both given"),
    ],
)
def test_a_reduction_that_does_not_fit_is_told(folder: Folder, text: str, told: str) -> None:
    folder.add(f"[[reductions]]\n{text}")
    with pytest.raises(ScenarioProblems) as caught:
        read_scenario(folder.path)
    assert told in str(caught.value)
    assert "reductions[1]" in str(caught.value)


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> tuple[Assessment, Assessment]:
    folder = Folder(tmp_path_factory.mktemp("reduced") / "site")
    before = assess(read_scenario(folder.path), grids=False)
    folder.add('[[reductions]]\nid = "pile_cushion"\nvibration_factor = 0.5\ninsertion_loss_db = 6')
    return before, assess(read_scenario(folder.path), grids=False)


def test_the_findings_follow(both: tuple[Assessment, Assessment]) -> None:
    before, after = (one.findings[one.findings["method"] == "impact_hydraulic"].reset_index(drop=True) for one in both)
    velocity = (before["unit"] == "mm/s") & before["predicted_median"].notna()
    assert velocity.any()
    halved = after["predicted_median"][velocity] / before["predicted_median"][velocity]
    assert halved.to_numpy() == pytest.approx(0.5, rel=1e-4)
    sound = (before["effect"] == "noise") & before["predicted_median"].notna()
    fall = (before["predicted_median"] - after["predicted_median"])[sound]
    # the hammer alone loses 6 dB; pack and crane go on
    assert ((fall > 0.5) & (fall < 6.0)).all()
    assert after["reason"][velocity].str.contains("with reductions: pile_cushion").all()
    others = [one.findings[one.findings["method"] != "impact_hydraulic"]["p_exceed"].fillna(-1) for one in both]
    assert (others[0].to_numpy() == others[1].to_numpy()).all()


def test_a_pause_longer_than_the_shift_is_an_error(folder: Folder) -> None:
    from envpredict.core.errors import EnvpredictError

    scenario, found = read(folder, '[[reductions]]\nid = "respite"\nshift = { from = "07:00", to = "19:00" }')
    with pytest.raises(EnvpredictError, match="leaves no time for work"):
        programme(scenario, found["impact_hydraulic"])
    assert scenario.programme.start == dt.date(2027, 3, 1)
