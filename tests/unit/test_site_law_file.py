"""The site law's file: written and read back, and every fault named by its key."""

from __future__ import annotations

from pathlib import Path

import pytest
from site_law_site import PRESS, rows, scenario, site_file

from envpredict.core.errors import InputProblems, ScenarioProblems
from envpredict.engine.intake import read_scenario
from envpredict.engine.learned.read import read_site_law
from envpredict.engine.learned.site_law import HarderGround, SiteFile, distances
from envpredict.monitoring.site_law.write import joined, to_toml

MODEL = "auger_press_estimate"


def sound() -> SiteFile:
    harder = HarderGround(piles=("A-001",), from_m=2.0, to_m=3.0, why='force of 900 kN where BH1 shows "sand"')
    return site_file((MODEL, (*rows(), *rows(hard=False, line="B"))), title="Invented site", invented=True,
                     harder_ground=(harder,))


def read(folder: Path, text: str) -> SiteFile:
    path = folder / "site_law.toml"
    path.write_text(text, encoding="utf-8")
    return read_site_law(path)


def faults(folder: Path, text: str) -> list[str]:
    with pytest.raises(InputProblems) as caught:
        read(folder, text)
    return [str(problem) for problem in caught.value.problems]


def test_what_is_written_is_read_back(tmp_path: Path) -> None:
    assert read(tmp_path, to_toml(sound())) == sound()


def test_the_file_states_sources_bases_and_cautions() -> None:
    text = to_toml(sound())
    for words in ('basis = "estimate"', "Screening prediction", "Invented demonstration", "verify by trial",
                  "records = {", "published_mm_s", "covariance"):
        assert words in text


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('schema = "envpredict site law 1"', 'schema = "site law 9"', "site_law.toml, key 'schema'"),
        ('method = "press_in_auger"', 'methods = "press_in_auger"', "key 'vibration[1].methods': isn't a key"),
        ("reference_m", "reference", "key 'vibration[1].strata[1].reference_m': is missing"),
        ("within_site = 0.2", "within_site = -0.2", "key 'vibration[1].prior.within_site'"),
        ("within_site = 0.2", "within_site = nan", "key 'vibration[1].prior.within_site'"),
        ('"level"', '"roughly"', "key 'vibration[1].strata[1].data.reads[1]'"),
        ('"level",', "", "differ in length"),
        ('ground = "other"', 'ground = "hard"', "key 'vibration[1]': a stratum stands twice"),
        ("from_m = 2.0", 'from_m = "two"', "key 'harder_ground[1].from_m'"),
        ("schema", "[schema", "not valid TOML"),
    ])
def test_a_fault_is_named_by_its_key(tmp_path: Path, old: str, new: str, said: str) -> None:
    text = to_toml(sound())
    assert old in text
    found = faults(tmp_path, text.replace(old, new, 1))
    assert any(said in text for text in found), found
    assert all(" -> " in text for text in found)


def test_a_covariance_that_is_none_is_refused(tmp_path: Path) -> None:
    text = to_toml(sound())
    line = next(one for one in text.splitlines() if one.startswith("covariance"))
    assert "holds no covariance" in faults(tmp_path, text.replace(line, "covariance = [0.01, 0.5, 0.01]", 1))[0]


def test_fewer_than_three_levels_are_refused_whatever_the_file_says(tmp_path: Path) -> None:
    text = to_toml(site_file((MODEL, rows(distances=(5.0,), piles=3))))
    text = text.replace('reads = ["level", "level", "level"]', 'reads = ["level", "below", "below"]')
    assert "fewer than 3 records read a level" in faults(tmp_path, text)[0]


def test_a_file_that_isnt_there_or_isnt_text_is_named(tmp_path: Path) -> None:
    (tmp_path / "site_law.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(InputProblems, match="isn't UTF-8 text"):
        read_site_law(tmp_path / "site_law.toml")
    with pytest.raises(InputProblems, match="can't be read"):
        read_site_law(tmp_path / "none.toml")


def scenario_faults(folder: Path, change: tuple[str, str] = ("", ""), more: str = "") -> list[str]:
    made = scenario(folder / "site", sound(), more=more)
    path = made / "site_law.toml"
    text = path.read_text(encoding="utf-8")
    assert change[0] in text
    path.write_text(text.replace(*change), encoding="utf-8")
    with pytest.raises(ScenarioProblems) as caught:
        read_scenario(made)
    return [str(problem) for problem in caught.value.problems]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ((f'method = "{PRESS}"', 'method = "press_in_augur"'), "unknown method 'press_in_augur' -> did you mean"),
        ((f'method = "{PRESS}"', 'method = "cfa"'), "'auger_press_estimate' in this form doesn't predict 'cfa'"),
        ((f'model = "{MODEL}"', 'model = "auger_pres"'), "unknown model 'auger_pres'"),
        (("between_site = 0.22", "between_site = 0.12"), "isn't what it was when the records were fitted"),
        (("factor = 1.0", "factor = 0.5"), "isn't what it was when the records were fitted"),
        (('piles = ["A-001"]', 'piles = ["Z-900"]'), "no such pile in the scenario: Z-900"),
        (('fitted_with', "fitted_by"), "site_law.toml, key 'fitted_by': isn't a key of a site law"),
    ])
def test_what_doesnt_fit_the_catalogue_or_the_scenario_is_named(tmp_path: Path, change: tuple[str, str],
                                                                said: str) -> None:
    assert any(said in text for text in scenario_faults(tmp_path, change))


def test_faults_of_the_site_law_stand_beside_those_of_the_scenario(tmp_path: Path) -> None:
    found = scenario_faults(tmp_path, ("fitted_with", "fitted_by"), 'model = "caltrans_impact"')
    assert any("site_law.toml" in text for text in found)
    assert any("caltrans_impact" in text for text in found)


def test_a_site_law_that_speaks_of_another_law_than_the_chosen_one_is_refused(tmp_path: Path) -> None:
    found = scenario_faults(tmp_path, more='model = "caltrans_other"')
    assert any("updates 'auger_press_estimate', but the scenario chooses 'caltrans_other'" in text for text in found)


def test_a_site_law_of_none_of_the_methods_is_refused(tmp_path: Path) -> None:
    made = scenario(tmp_path / "site", sound(), "press_in")
    with pytest.raises(ScenarioProblems, match="speaks of none of the scenario's methods"):
        read_scenario(made)


def test_a_missing_file_is_named_by_its_key(tmp_path: Path) -> None:
    made = scenario(tmp_path / "site", sound())
    (made / "site_law.toml").unlink()
    with pytest.raises(ScenarioProblems, match="site_law"):
        read_scenario(made)


def test_a_later_law_takes_the_place_of_the_earlier_one_and_leaves_the_rest() -> None:
    first = site_file((MODEL, rows()), ("pressing_estimate", rows(method="press_in")))
    second = site_file((MODEL, rows(lambda d: 2.0 / d)))
    both = joined(first, second)
    assert {law.method for law in both.vibration} == {PRESS, "press_in"}
    mine = next(law for law in both.vibration if law.method == PRESS)
    assert mine == second.vibration[0]


def test_distances_within_a_tenth_count_once() -> None:
    assert [distances(levels) for levels in ([5.0], [5.0, 5.4], [5.0, 5.6], [5, 5.4, 5.8, 10, 20])] == [1, 1, 2, 4]
