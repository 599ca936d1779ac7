"""How an assessment grows with receptors, piles, obstacles, methods and days; its peak memory; how long imports take.

Each size of an invented town is assessed once; `python tests/benchmarks/table.py` reckons the slopes. Nothing here
judges a time.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from time import process_time
from typing import Any

import pytest
import town

from envpredict.engine.assess import assess
from envpredict.engine.intake import read_scenario
from envpredict.engine.results import Assessment

BASE = {"receptors": 200, "piles": 40, "obstacles": 100, "methods": 2, "days": 1}
SIZES = {"receptors": (200, 400, 800), "piles": (40, 80, 160), "obstacles": (100, 400, 1600), "methods": (1, 2, 4),
         "days": (1, 2, 4)}
"""Days: into how many the shifts of the base are cut, by rests as long as it takes."""
HOURS = {1: "18:00", 2: "13:00", 4: "10:30"}
CASES = [(name, size) for name, sizes in SIZES.items() for size in sizes]
MEMORY = (200, 800)
PEAK = """
import resource, sys
from envpredict.engine.assess import assess
from envpredict.engine.intake import read_scenario
assess(read_scenario(sys.argv[1]))
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def made(folder: Path, **sizes: int) -> Path:
    """Return the scenario folder of a town that differs from the base in these sizes."""
    size = {**BASE, **sizes}
    path = town.make(folder, size["receptors"], size["piles"], size["obstacles"],
                     methods=town.METHODS[:size["methods"]])
    told = (path / "scenario.toml").read_text(encoding="utf-8")
    assert 'to = "18:00"' in told
    (path / "scenario.toml").write_text(told.replace('to = "18:00"', f'to = "{HOURS[size["days"]]}"'), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def warm(tmp_path_factory: pytest.TempPathFactory) -> Assessment:
    """Assess a small town once, so that compiling isn't counted."""
    return assess(read_scenario(made(tmp_path_factory.mktemp("warm") / "town", receptors=10, piles=4, methods=1)))


@pytest.mark.parametrize(("name", "size"), CASES, ids=[f"{name}-{size}" for name, size in CASES])
@pytest.mark.benchmark(group="growth")
def test_growth(benchmark: Any, warm: Assessment, tmp_path: Path, name: str, size: int) -> None:
    scenario = read_scenario(made(tmp_path / "town", **{name: size}))
    start = process_time()
    done = benchmark.pedantic(assess, args=(scenario,), rounds=1)
    taken = process_time() - start
    counted = {"receptors": len(done.receptors), "piles": len(done.scenario.piles), "methods": len(done.methods),
               "obstacles": len(done.scenario.obstacles),
               "days": max(frame["day"].nunique() for frame in done.programme.values())}
    benchmark.extra_info.update(dimension=name, size=counted[name], findings=len(done.findings),
                                processor_s=round(taken, 3))
    assert name == "days" or counted[name] == size
    assert set(done.findings["receptor"]) == set(done.receptors["id"])


@pytest.mark.parametrize("receptors", MEMORY)
@pytest.mark.benchmark(group="memory")
def test_peak_memory(benchmark: Any, tmp_path: Path, receptors: int) -> None:
    folder = made(tmp_path / "town", receptors=receptors)
    command = [sys.executable, "-c", PEAK, str(folder)]
    done = benchmark.pedantic(subprocess.run, args=(command,), rounds=1,
                              kwargs={"check": True, "capture_output": True, "text": True})
    benchmark.extra_info.update(receptors=receptors, peak_mb=round(int(done.stdout) / 1000.0))
    assert int(done.stdout) > 0


@pytest.mark.parametrize("what", ["envpredict", "envpredict.engine.assess"])
@pytest.mark.benchmark(group="imports")
def test_imports(benchmark: Any, what: str) -> None:
    command = [sys.executable, "-X", "importtime", "-c", f"import {what}"]
    done = benchmark.pedantic(subprocess.run, args=(command,), rounds=3, warmup_rounds=1,
                              kwargs={"check": True, "capture_output": True, "text": True})
    rows = [line.removeprefix("import time:").split("|") for line in done.stderr.splitlines() if "|" in line][1:]
    took = {name.strip(): int(own) for own, _, name in rows}
    packages: dict[str, int] = {}
    for name, own in took.items():
        top = name.partition(".")[0]
        packages[top] = packages.get(top, 0) + own
    worst = sorted(packages.items(), key=lambda item: -item[1])[:8]
    benchmark.extra_info.update(module=what, packages={name: round(us / 1000.0, 1) for name, us in worst})
    assert what in took
