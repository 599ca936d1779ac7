"""The recipes of DEVELOPERS.md work as they stand: each block is taken from the page and used."""

from __future__ import annotations

import doctest
import re
import types
from pathlib import Path

import numpy as np
import pytest
from demo_assessment import assessment

from envpredict.core.registry import Registry
from envpredict.limits.load import load_limit_sets
from envpredict.limits.outcome import LimitValue
from envpredict.methods.load import load_methods, load_plant
from envpredict.models.spec import MODELS, ModelSpec, load_models
from envpredict.outputs.registry import OUTPUTS, load_outputs

PAGE = Path(__file__).resolve().parents[2] / "DEVELOPERS.md"
BLOCKS = dict(re.findall(r"^```(?:python|toml) (\S+)\n(.*?)^```", PAGE.read_text(encoding="utf-8"),
                         flags=re.DOTALL | re.MULTILINE))


@pytest.fixture
def example(tmp_path: Path) -> Path:
    """Return a folder with the blocks as files."""
    for name, text in BLOCKS.items():
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return tmp_path


@pytest.fixture
def models(monkeypatch: pytest.MonkeyPatch) -> Registry[ModelSpec]:
    """Return the registry of models; what the test adds is gone after it."""
    load_models()
    monkeypatch.setattr(MODELS, "_things", dict(MODELS._things))
    return MODELS


def test_the_law(models: Registry[ModelSpec]) -> None:
    name = "models/vibration/author_1987.py"
    module = types.ModuleType("author_1987")
    exec(compile(BLOCKS[name], name, "exec"), module.__dict__)
    law = models["author_1987"]
    # by hand: 0.6 (sqrt(40000) / 10)^1.1 = 0.6 * 20^1.1
    assert law(10.0, 40_000.0) == pytest.approx(0.6 * 20**1.1)
    assert law(np.array([10.0, np.nan]), 40_000.0).shape == (2,)
    assert law.in_range(distance_m=[1.0, 10.0], energy_j=4e4).tolist() == [False, True]
    assert doctest.testmod(module).attempted == 1
    assert doctest.testmod(module).failed == 0
    with pytest.raises(ValueError, match="distance_m must be above 0"):
        law(0.0, 40_000.0)


def test_the_item_of_plant(example: Path) -> None:
    plant = load_plant([example / "plant" / "example_hammer.toml"])["example_hammer"]
    assert plant.lwa_db == 118.0
    assert plant.basis == "read"
    assert "verify" in str(plant.u_citation)


def test_the_method(example: Path, models: Registry[ModelSpec]) -> None:
    method = load_methods([example / "methods"])["example_shrouded_impact"]
    assert method.laws[0].model in models
    assert method.plant[0].plant in load_plant([example / "plant"])
    assert set(method.rates) == {"dense_sand"}
    assert method.suits["hard_rock"].code == "N"


def test_the_limit_set(example: Path) -> None:
    limits = load_limit_sets([example / "limits" / "example_condition_2026.toml"])["example_condition_2026"]
    assert limits.classify({"use": "dwelling"}) == "home"
    assert not limits.classify({"use": "railway"})
    rule = limits.rule("impact_ppv")
    # by hand, on the straight line from (4 Hz, 5 mm/s) to (20 Hz, 13 mm/s): 5 + (10 - 4) * 8 / 16 = 8
    found = rule.limit("home", 10.0, 30.0, 12.0)
    assert isinstance(found, LimitValue)
    assert found.value == pytest.approx(8.0)
    assert found.unit == "mm/s"
    assert not rule.limit("home", 2.0, 30.0, 12.0), "below 4 Hz the condition says nothing"
    noise = limits.rule("day_noise").limit("public", period_id="day")
    assert isinstance(noise, LimitValue)
    assert noise.value == 60.0


def test_the_output(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    load_outputs()
    monkeypatch.setattr(OUTPUTS, "_things", dict(OUTPUTS._things))
    name = "outputs/letter_list.py"
    exec(compile(BLOCKS[name], name, "exec"), types.ModuleType("letter_list").__dict__)
    OUTPUTS["letter_list.txt"].write(assessment(), tmp_path / "letter_list.txt")
    lines = (tmp_path / "letter_list.txt").read_text(encoding="utf-8").splitlines()
    assert [line.removeprefix("# ") for line in lines if line.startswith("#")] == list(assessment().cautions)
    listed = {line for line in lines if not line.startswith("#")}
    governing = assessment().governing()
    spared = {receptor for (receptor, _), rows in governing.groupby(["receptor", "method"])
              if not rows["likelihood"].isin(["possible", "likely", "breach"]).any()}
    assert listed == set(assessment().receptors["id"]) - spared


def test_every_block_is_executed() -> None:
    text = Path(__file__).read_text(encoding="utf-8")
    assert BLOCKS
    assert [name for name in BLOCKS if f'"{name}"' not in text and name.rpartition("/")[2] not in text
            and f'/ "{name.partition("/")[0]}"' not in text] == []
