"""The demo scenario's assessment, made once per session for all tests that read it."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from envpredict.engine.assess import assess
from envpredict.engine.intake import read_scenario
from envpredict.engine.results import Assessment

SCENARIO = Path(__file__).resolve().parents[1] / "scenarios" / "quay_wall"


@lru_cache(maxsize=1)
def assessment() -> Assessment:
    """Return the assessment of the demo scenario."""
    return assess(read_scenario(SCENARIO))
