"""The demo scenarios of the repository, each assessed once per process for everything that reads it."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import demo_assessment

from envpredict.engine.assess import assess
from envpredict.engine.intake import read_scenario
from envpredict.engine.results import Assessment

ROOT = Path(__file__).resolve().parents[1]
FOLDER = ROOT / "scenarios"
NAMES = tuple(sorted(path.parent.name for path in FOLDER.glob("*/scenario.toml")))


@cache
def assessment(name: str) -> Assessment:
    """Return the assessment of a demo scenario."""
    if FOLDER / name == demo_assessment.SCENARIO:
        return demo_assessment.assessment()
    return assess(read_scenario(FOLDER / name))
