"""The same levels by the library, a bare compiled loop, clear numpy, a loop in pandas and a spreadsheet program.

Run with `python -m pytest tests/benchmarks`. The values have to agree; times are reported, never judged.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import ways

SIZES: dict[str, tuple[int, int]] = {"ours": (20_000, 100), "bare": (20_000, 100), "clear": (20_000, 100),
                                     "by_receptor": (200, 25)}
SHEET = (400, 25)


@pytest.mark.parametrize("way", list(SIZES))
@pytest.mark.benchmark(group="ways")
def test_levels_of_all_receptors(benchmark: Any, way: str) -> None:
    distance_m = ways.places(*SIZES[way])
    done = benchmark.pedantic(getattr(ways, way), args=(distance_m,), rounds=3, warmup_rounds=1)
    benchmark.extra_info["pairs"] = distance_m.size
    np.testing.assert_allclose(done[:200], ways.ours(distance_m[:200]), rtol=0, atol=1e-9)


@pytest.mark.benchmark(group="ways")
def test_levels_by_a_spreadsheet_program(benchmark: Any, need: Callable[[str], str], tmp_path: Path) -> None:
    distance_m = ways.places(*SHEET)
    ways.sheet(distance_m, tmp_path / "levels.xlsx")
    ways.sheet(distance_m[:1], tmp_path / "start.xlsx")
    soffice = need("soffice")
    ways.recalculated(soffice, tmp_path / "start.xlsx")    # makes the profile
    done = benchmark.pedantic(ways.recalculated, args=(soffice, tmp_path / "levels.xlsx"), rounds=1)
    benchmark.extra_info["pairs"] = distance_m.size
    found = ways.levels_of(done)
    np.testing.assert_allclose(found, ways.ours(distance_m), rtol=0, atol=1e-9)


@pytest.mark.benchmark(group="start of the spreadsheet program")
def test_start_of_the_spreadsheet_program(benchmark: Any, need: Callable[[str], str], tmp_path: Path) -> None:
    ways.sheet(ways.places(1, 1), tmp_path / "start.xlsx")
    soffice = need("soffice")
    ways.recalculated(soffice, tmp_path / "start.xlsx")
    done = benchmark.pedantic(ways.recalculated, args=(soffice, tmp_path / "start.xlsx"), rounds=2)
    assert ways.levels_of(done).size == 1
