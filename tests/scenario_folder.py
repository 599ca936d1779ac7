"""A small sound scenario to break: the starter, and the words that it may use."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest

from envpredict.core.errors import ScenarioProblems
from envpredict.scenario.load import load_scenario
from envpredict.scenario.starter import write_starter
from envpredict.scenario.types import Known, Scenario

CRS = "EPSG:32631"
EAST, NORTH = 524_000.0, 6_150_000.0
"""Where the starter's pile line begins."""


def read_spt(text: str) -> int:
    """Stand in for the reader of test results: digits, or '50/75 mm'."""
    count, _, rest = text.partition("/")
    if not count.isdigit() or (rest and not rest.endswith(" mm")):
        raise ValueError("neither a count nor a refusal")
    return int(count)


KNOWN = Known(
    methods=frozenset({"impact_hydraulic", "vibratory_variable_moment", "press_in", "press_in_auger"}),
    limit_sets=frozenset({"bs_7385_2_1993", "bs_5228_2_2009", "bs_5228_1_2009", "holiday_set"}),
    pile_types=frozenset({"sheet_u", "sheet_z", "tubular"}),
    models=frozenset({"bs5228_percussive", "pressing_estimate"}),
    reductions=frozenset({"hammer_shroud_partial", "screen"}),
    plant=frozenset({"hydraulic_hammer_light", "service_crane"}),
    ground_classes=frozenset({"dense_sand", "weak_rock"}),
    noise_methods=frozenset({"octave"}),
    laws={"impact_hydraulic": frozenset({"bs5228_percussive"})},
    limit_effects={"bs_7385_2_1993": frozenset({"damage"}), "bs_5228_1_2009": frozenset({"noise"})},
    need_holidays=frozenset({"holiday_set"}),
    facts=frozenset({"equipment", "species", "zone"}),
    fact_words={"species": ("waterbird", "songbird"), "equipment": ("none", "operating_theatre")},
    read_spt=read_spt,
    a_weighted_sum=max,
)


class Folder:
    """A scenario folder that can be changed file by file."""

    def __init__(self, path: Path) -> None:
        self.path = write_starter(path)

    def __truediv__(self, name: str) -> Path:
        return self.path / name

    def toml(self, old: str, new: str) -> Folder:
        """Replace a text of scenario.toml that must be there."""
        return self.text("scenario.toml", old, new)

    def add(self, text: str) -> Folder:
        """Add tables at the end of scenario.toml."""
        file = self / "scenario.toml"
        file.write_text(file.read_text(encoding="utf-8") + "\n" + text, encoding="utf-8")
        return self

    def text(self, name: str, old: str, new: str) -> Folder:
        """Replace a text of a file that must be there."""
        text = (self / name).read_text(encoding="utf-8")
        assert old in text
        (self / name).write_text(text.replace(old, new, 1), encoding="utf-8")
        return self

    def features(self, name: str, change: Callable[[list[dict[str, Any]]], object]) -> Folder:
        """Change the features of a GeoJSON file in place."""
        data = json.loads((self / name).read_text(encoding="utf-8"))
        change(data["features"])
        (self / name).write_text(json.dumps(data), encoding="utf-8")
        return self

    def layer(self, name: str) -> gpd.GeoDataFrame:
        """Return a layer in the scenario's system."""
        return gpd.read_file(self / name).to_crs(CRS)

    def read(self, known: Known = KNOWN) -> Scenario:
        """Read the scenario."""
        return load_scenario(self.path, known)

    def problems(self, known: Known = KNOWN) -> list[str]:
        """Return every problem as a line of text; fails if there is none."""
        with pytest.raises(ScenarioProblems) as caught:
            self.read(known)
        return [str(problem) for problem in caught.value.problems]
