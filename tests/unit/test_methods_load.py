"""Reading the catalogue: users' files, and every fault of a file in one pass."""

from __future__ import annotations

from pathlib import Path

import pytest

from envpredict.core.citation import Citation
from envpredict.core.errors import InputProblems, UnknownName
from envpredict.methods import load
from envpredict.methods.schema import a_weighted_sum_db

PLANT = """
id = "my_rig"
title = "My rig"
lwa_db = 104
lwa_low_db = 100
lwa_high_db = 108
citation = "own"
spectrum = "diesel_rig"
level_type = "mean"
height = 2.0
height_low_m = 1
height_high_m = 3
height_citation = "own"
u_db = 2
u_citation = "own"

[citations.own]
document = "our measurement"
place = "10 m, free field"
basis = "read"
"""


def faults(folder: Path, text: str, loader=load.load_plant) -> list[str]:
    """Return the faults of a file as lines."""
    path = folder / "mine.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputProblems) as caught:
        loader((path,))
    assert all(problem.hint for problem in caught.value.problems)
    assert caught.value.exit_code == 2
    return [f"{problem.where}: {problem.what}" for problem in caught.value.problems]


def method(name: str) -> str:
    return (load.DATA / "methods" / f"{name}.toml").read_text(encoding="utf-8").replace(
        f'id = "{name}"', 'id = "my_method"', 1)


def test_a_users_plant_takes_a_shipped_spectrum(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(PLANT, encoding="utf-8")
    mine = load.load_plant((tmp_path,))["my_rig"]
    assert a_weighted_sum_db(mine.octaves_db) == pytest.approx(104, abs=1e-9)
    assert mine.spectrum_citation.basis == "estimate"
    assert mine.source == "our measurement, 10 m, free field"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('spectrum = "diesel_rig"', 'octaves_db = [90, 90, 90, 90, 90, 90, 90, 90]\nspectrum_citation = "own"',
         "mine.toml: the octaves sum to 96.99 dB(A), not to the stated 104.00"),
        ('level_type = "mean"', 'level_type = "peak"', "mine.toml: level_type: Input should be 'mean' or 'maximum'"),
        ('spectrum = "diesel_rig"', 'spectrum = "diesel"', "mine.toml: spectrum: unknown spectrum 'diesel'"),
        ('spectrum = "diesel_rig"', 'spectrum = "diesel_rig"\noctaves_db = []',
         "mine.toml: both `spectrum` and `octaves_db` are given"),
        ('spectrum = "diesel_rig"\n', "", "mine.toml: octaves_db: is missing"),
        ("lwa_low_db = 100", "lwa_low_db = 105",
         "mine.toml: lwa_low_db <= lwa_db <= lwa_high_db is broken"),
        ("u_db = 2", "u_db = 2\nmax_minus_mean_db = 3",
         "mine.toml: max_minus_mean_db needs its max_minus_mean_citation"),
        ("u_db = 2", "u_db = 2\nfta_emission_db = 83",
         "mine.toml: fta_emission_db needs its fta_citation"),
        ("u_db = 2", "u_db = 2\nsel_10m_db = 83",
         "mine.toml: sel_10m_db needs sel_blow_rate_per_min and sel_citation"),
        ("u_db = 2", 'u_db = 2\nsel_10m_db = 83\nsel_blow_rate_per_min = 60\nsel_citation = "own"',
         "mine.toml: sel_10m_db at its blow rate means 83.0 dB at 10 m, but lwa_db - 28 is 76.0"),
        ('citation = "own"', 'citation = "ours"', "mine.toml.citation: no citation 'ours' in this file"),
        ('basis = "read"', 'basis = "sure"', "mine.toml: citations.own: basis must be one of read, memory, practice, "
                                            "estimate, not 'sure'"),
        ('basis = "read"', 'basis = "read"\npage = 3', "mine.toml: citations.own: unknown key 'page'"),
        ("title", "name", "mine.toml: title: is missing"),
        ("title", "name", "mine.toml: name: is a key that isn't known"),
        ('height = 2.0', 'height = "mast"', "mine.toml: height.literal['pile_head']: Input should be 'pile_head'"),
    ],
)
def test_each_fault_of_an_item_of_plant_is_told(tmp_path: Path, old: str, new: str, said: str) -> None:
    assert old in PLANT
    assert said in faults(tmp_path, PLANT.replace(old, new, 1))


@pytest.mark.parametrize(
    ("name", "old", "new", "said"),
    [
        ("press_in", 'role = "preferred"', 'role = "alternative"', "mine.toml: no law is preferred"),
        ("press_in", "soft_clay = { slow", "boulders = { slow",
         "mine.toml: suited but without a rate: soft_clay"),
        ("press_in", "slow = 8,", "slow = 80,",
         "mine.toml: rates.soft_clay: slow <= likely <= fast is broken"),
        ("press_in", "on_time_low = 0.6", "on_time_low = 0.9",
         "mine.toml: plant[1]: on_time_low <= on_time_fraction <= on_time_high is broken"),
        ("press_in", "low_hz = 10", "low_hz = 30",
         "mine.toml: frequency: low_hz <= likely_hz <= high_hz is broken"),
        ("press_in", "headroom_above_pile_m = { low = 1,", "headroom_above_pile_m = { low = 9,",
         "mine.toml: needs.headroom_above_pile_m: low <= likely <= high is broken: 9, 1.5, 2"),
        ("impact_drop", "low_kj = 12", "low_kj = 50",
         "mine.toml: energy: low_kj <= default_kj <= high_kj is broken"),
        ("preauger_press", 'stage = "preauger"', 'stage = "auger"',
         "mine.toml: stage 'auger' isn't one of drive, preauger"),
        ("press_in", 'family = "press"', 'family = "push"',
         "mine.toml: family: Input should be 'impact', 'vibratory', 'press' or 'drill'"),
        ("press_in", 'id = "my_method"', 'id = "press_in"', "mine.toml: id: method 'press_in' is declared twice"),
    ],
)
def test_each_fault_of_a_method_is_told(tmp_path: Path, name: str, old: str, new: str, said: str) -> None:
    text = method(name)
    assert old in text
    assert said in faults(tmp_path, text.replace(old, new, 1), load.load_methods)


def test_faults_of_several_files_come_together(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text("id = ", encoding="utf-8")
    (tmp_path / "b.toml").write_bytes(b"\xff\xfe")
    (tmp_path / "c.toml").write_text(PLANT.replace("u_db = 2", "u_db = -2"), encoding="utf-8")
    with pytest.raises(InputProblems) as caught:
        load.load_plant((tmp_path, tmp_path / "missing.toml"))
    told = [str(problem) for problem in caught.value.problems]
    assert len(told) == 4
    wanted = ("a.toml: isn't valid TOML", "can't be read", "c.toml: u_db", "missing.toml")
    for line, said in zip(told, wanted, strict=True):
        assert said in line
    assert "citations" in faults(tmp_path, 'citations = "own"')[0]


def test_a_method_that_names_unknown_plant_is_told(tmp_path: Path) -> None:
    text = method("press_in").replace('plant = "press_unit"', 'plant = "pres_unit"').replace(
        "movement = []", 'movement = ["quicksand"]')
    (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    told = load.unknown_references(load.load_methods((tmp_path,)), load.load_plant(), load.load_movement_flags())
    assert [problem.what for problem in told] == [
        "unknown plant 'pres_unit'", "unknown ground-movement flag 'quicksand'"]
    assert "did you mean 'press_unit'?" in told[0].hint


def test_an_unknown_method_is_helped_with() -> None:
    with pytest.raises(UnknownName, match="did you mean 'press_in_auger'"):
        load.load_methods()["pres_in_auger"]


def test_plant_follows_pile_energy_and_ground() -> None:
    hydraulic = load.load_methods()["impact_hydraulic"]
    first = [use.plant for use in hydraulic.plant]
    assert first[0] == "hydraulic_hammer_light"
    assert [use.plant for use in hydraulic.plant_for("sheet", 60.0)] == first
    assert hydraulic.plant_for("sheet", 120.0)[0].plant == "hydraulic_hammer_heavy"
    assert hydraulic.plant_for("sheet", None)[0].plant == "hydraulic_hammer_light"
    assert hydraulic.plant_for("precast", 120.0)[0].plant == "hydraulic_hammer_precast"
    bored = load.load_methods()["bored_cased"]
    assert bored.plant_for("sheet", None, {"boulders", "soft_clay"})[0].plant == "grab_and_chisel"
    assert bored.plant_for("sheet", None, {"soft_clay"})[0].plant == "bored_rig"


def test_a_measured_level_shifts_spectrum_and_blow_alike() -> None:
    hammer = load.load_plant()["hydraulic_hammer_light"]
    measured = hammer.at_level(119.0, Citation("our measurement", None, "10 m", "read"))
    assert a_weighted_sum_db(measured.octaves_db) == pytest.approx(119.0)
    assert hammer.sel_10m_db is not None
    assert measured.sel_10m_db == hammer.sel_10m_db + 3
    assert (measured.lwa_low_db, measured.lwa_high_db, measured.u_db) == (119.0, 119.0, 2.0)
    assert (measured.basis, hammer.basis, hammer.lwa_db) == ("read", "memory", 116)


def test_the_preferred_law_of_a_phase() -> None:
    standard = load.load_methods()["vibratory_standard"]
    start = standard.preferred("start_stop")
    assert start is not None
    assert start.parameters == {"operation": "start_stop"}
    assert standard.preferred() is None
    auger = load.load_methods()["preauger_press"].preferred(stage="preauger")
    assert auger is not None
    assert auger.model == "preauger_estimate"
