"""Laws that a scenario brings: read whole or refused with every fault, and then a law like any other."""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd
import pytest
from scenario_folder import Folder

from envpredict.core.errors import InputProblems, ScenarioProblems
from envpredict.engine.assess import assess
from envpredict.engine.catalogue import load_catalogue
from envpredict.engine.intake import read_scenario
from envpredict.engine.own_laws import read_own_laws
from envpredict.models.spec import load_models

MINE = """
[laws.mine]
title = "Trial of an invented site"
form = "power_law"
constants = { coefficient = 30.0, exponent = 1.2 }
source = { document = "an invented trial", place = "table 1", basis = "read" }
range = { distance_m = [2.0, 200.0] }
scatter = { between_site = 0.1, within_site = 0.15 }
"""


def with_laws(folder: Folder, text: str, models: str) -> Folder:
    (folder / "own_laws.toml").write_text(text, encoding="utf-8")
    return folder.add(f'[own]\nlaws = ["own_laws.toml"]\n\n[choice]\nmodels = {{ {models} }}\n')


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path / "site")


def test_a_law_of_ones_own_predicts_any_method(folder: Folder) -> None:
    scenario = read_scenario(with_laws(folder, MINE, 'press_in_auger = "mine"').path)
    found = assess(scenario)
    rows = found.findings[(found.findings["method"] == "press_in_auger") & (found.findings["effect"] != "noise")
                          & found.findings["predicted_median"].notna()]
    assert (rows["model"] == "mine").all()
    assert not rows["reason"].str.contains("estimate without published").any()
    # by hand: 30 / x^1.2, and +5 dB to the floor
    receptor = found.receptors.set_index("id").loc[rows["receptor"].iloc[0]]
    pile = scenario.piles.set_index("id").loc[rows["governing_pile"].iloc[0]]
    distance = receptor.geometry.distance(pile.geometry)
    floor = rows[rows["position"] == "floor"].iloc[0]
    assert floor["predicted_median"] == pytest.approx(30.0 / distance**1.2 * 10.0 ** (5.0 / 20.0), rel=1e-5)
    # what it replaced stands beside it as another law
    assert floor["other_laws_high"] == floor["other_laws_high"]
    assert "mine" in found.provenance.models
    assert "own_laws.toml" in found.provenance.inputs


def test_the_published_registry_stays_as_it_is(folder: Folder) -> None:
    with_laws(folder, MINE, "")
    before = list(load_models())
    read_scenario(folder.path)
    assert list(load_models()) == before
    assert "mine" not in load_models()


def test_a_law_for_the_whole_drive_replaces_every_phase_of_a_vibrator(folder: Folder) -> None:
    folder.toml('id = "vibratory_variable_moment"', 'id = "vibratory_standard"')
    whole = assess(read_scenario(with_laws(folder, MINE, 'vibratory_standard = "mine"').path)).findings
    rows = whole[(whole["method"] == "vibratory_standard") & (whole["position"] == "floor")]
    assert set(rows.loc[rows["predicted_median"].notna(), "model"]) == {"mine"}


def test_a_law_for_one_phase_leaves_the_other(folder: Folder) -> None:
    folder.toml('id = "vibratory_variable_moment"', 'id = "vibratory_standard"')
    text = MINE.replace("form =", 'phase = "running"\nform =').replace("30.0", "0.3")
    found = assess(read_scenario(with_laws(folder, text, 'vibratory_standard = "mine"').path)).findings
    rows: pd.DataFrame = found[(found["method"] == "vibratory_standard") & (found["position"] == "floor")]
    assert set(rows.loc[rows["predicted_median"].notna(), "model"]) == {"bs5228_vibratory"}


def test_every_fault_of_every_file_is_named(folder: Folder, tmp_path: Path) -> None:
    with_laws(folder, MINE.replace(", exponent = 1.2", "") + MINE.replace("mine", "bs5228_percussive"), "")
    (folder / "local.toml").write_text('id = "x"\n', encoding="utf-8")
    folder.toml('# own = "local_limits.toml"', 'own = "local.toml"  #')
    with pytest.raises(ScenarioProblems) as caught:
        read_scenario(folder.path)
    told = "\n".join(map(str, caught.value.problems))
    assert "own_laws.toml, law 'mine', constants.exponent: is missing" in told
    assert "law 'bs5228_percussive': has the id of a published law" in told
    assert "local.toml: title" in told
    assert "Traceback" not in told


@pytest.mark.parametrize(("text", "what"), [
    ("[laws.mine", "not valid TOML"),
    ('[law.mine]\nform = "power_law"\n', "key 'law': isn't a table of laws -> did you mean 'laws'?"),
    ("", "key 'laws': holds no law"),
    ("laws = 3\n", "key 'laws': holds no law"),
    (MINE.replace('form = "power_law"', 'form = "power"'), "law 'mine', form: unknown form 'power'"),
    (MINE.replace("1.2", "-1.2"), "law 'mine', constants: exponent must be above 0"),
    (MINE.replace("[2.0, 200.0]", "[200.0, 2.0]"), "law 'mine', range.distance_m: must be [low, high]"),
    (MINE.replace('basis = "read"', 'basis = "sure"'), "law 'mine', source.basis: must say how it is known"),
    (MINE.replace("title =", "name ="), "law 'mine', name: isn't a key of a law"),
])
def test_a_faulty_law_is_named_by_file_and_key(tmp_path: Path, text: str, what: str) -> None:
    path = tmp_path / "own_laws.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputProblems) as caught:
        read_own_laws([path])
    told = "\n".join(map(str, caught.value.problems))
    assert told.startswith("own_laws.toml")
    assert what in told
    assert " -> " in told or "must" in told


def test_a_file_that_is_no_text_and_an_id_given_twice(tmp_path: Path) -> None:
    first, second, third = (tmp_path / name for name in ("a.toml", "b.toml", "c.toml"))
    first.write_text(MINE, encoding="utf-8")
    second.write_text(MINE, encoding="utf-8")
    third.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputProblems) as caught:
        read_own_laws([first, second, third, tmp_path / "d.toml"])
    told = "\n".join(map(str, caught.value.problems))
    for what in ("b.toml, law 'mine': stands in a.toml too", "c.toml: the file isn't UTF-8", "d.toml: the file can't"):
        assert what in told


def test_a_law_of_another_method_is_refused(folder: Folder) -> None:
    folder.add('[choice]\nmodels = { impact_hydraulic = "bs5228_vibratory" }\n')
    with pytest.raises(ScenarioProblems, match="'bs5228_vibratory' doesn't predict 'impact_hydraulic'"):
        read_scenario(folder.path)


def test_a_method_of_ones_own_with_an_unknown_law_is_refused(folder: Folder) -> None:
    shipped = Path(load_catalogue.__code__.co_filename).parents[1] / "methods" / "data" / "methods" / "press_in.toml"
    text = shipped.read_text(encoding="utf-8").replace('id = "press_in"', 'id = "my_press"', 1)
    (folder / "my_press.toml").write_text(text.replace("pressing_estimate", "presing_estimate"), encoding="utf-8")
    folder.add('[own]\nmethods = ["my_press.toml"]\n')
    with pytest.raises(ScenarioProblems, match="'my_press': names an unknown law 'presing_estimate' -> did you mean"):
        read_scenario(folder.path)


def test_the_guides_example_is_a_law(tmp_path: Path, root: Path) -> None:
    guide = (root / "envpredict" / "docs" / "own_laws.md").read_text(encoding="utf-8")
    (example,) = re.findall(r"```toml\n(.*?)```", guide, flags=re.DOTALL)
    path = tmp_path / "own_laws.toml"
    path.write_text(example, encoding="utf-8")
    laws = read_own_laws([path])
    # by hand: 0.9 (sqrt(40 000) / 20)^1.2 = 14.3 mm/s
    assert float(laws["my_trial"](distance_m=20.0, energy_j=40_000.0)) == pytest.approx(0.9 * 10.0**1.2)
    forms = re.findall(r"`(\w+)`", next(line for line in guide.splitlines() if line.startswith("| `form`")))[1:]
    generic = {name for name, spec in load_models().items() if "generic" in spec.flags}
    assert generic == {form for form in forms if form in load_models()}
