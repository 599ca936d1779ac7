"""The generator of invented towns: accepted as a scenario, the same for the same seed, of the size asked for."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from envpredict.cli import main
from envpredict.engine.intake import read_scenario


@pytest.fixture
def town(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Return the module that makes towns."""
    monkeypatch.syspath_prepend(str(Path(__file__).resolve().parents[1] / "benchmarks"))
    import town

    return town


def test_a_town_is_a_sound_scenario_of_the_size_asked_for(town: Any, tmp_path: Path) -> None:
    found = read_scenario(town.make(tmp_path / "a", 150, 30, 60, seed=3))
    assert found.invented
    assert (len(found.receptors), len(found.piles), len(found.methods)) == (150, 30, len(town.METHODS))
    assert found.obstacles is not None
    assert len(found.obstacles) == 60
    kinds = set(found.receptors.geometry.geom_type)
    assert kinds == {"Point", "Polygon"}


def test_the_seed_makes_the_town(town: Any, tmp_path: Path) -> None:
    one, two, other = (read_scenario(town.make(tmp_path / name, 40, 10, 20, seed=seed))
                       for name, seed in (("a", 3), ("b", 3), ("c", 4)))
    assert one.receptors.geometry.geom_equals_exact(two.receptors.geometry, 0.0).all()
    assert not one.receptors.geometry.geom_equals_exact(other.receptors.geometry, 0.0).all()


@pytest.mark.parametrize(("options", "said"), [
    (["--workers", "0"], "--workers: 0 is no number of processes"),
    (["--memory-gb", "-1"], "--memory-gb: -1 isn't above 0"),
    (["--cluster", "tcp://127.0.0.1:1", "--workers", "2"], "--workers: is given beside --cluster"),
])
def test_means_that_cannot_be_end_with_2(town: Any, tmp_path: Path, options: list[str], said: str) -> None:
    folder = town.make(tmp_path / "a", 10, 5, 5)
    found = CliRunner().invoke(main, ["predict", str(folder), "--out", str(tmp_path / "out"), *options])
    assert found.exit_code == 2
    assert said in found.output
    assert not (tmp_path / "out").exists()
