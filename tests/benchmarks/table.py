"""Run the benchmarks of ways and growth and a profile, and write their table into the docs.

    python tests/benchmarks/table.py
    python tests/benchmarks/table.py --receptors 2000 --piles 100      another town for the profile

What stands under the last heading of the page, the large towns, is written by hand and stays.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
import profile_town

HERE = Path(__file__).resolve().parent
PAGE = HERE.parents[1] / "envpredict" / "docs" / "benchmarks.md"
KEPT = "## Large towns"
TITLES = {"ours": "envpredict: checked inputs, compiled attenuation, energy sum in numpy",
          "bare": "a bare compiled loop of the same sums", "clear": "clear numpy, band by band",
          "by_receptor": "a loop over rows in pandas", "sheet": "formulas in a spreadsheet program, less its start"}


def measured(folder: Path) -> list[dict[str, Any]]:
    """Run the benchmarks and return what they measured."""
    found = folder / "measured.json"
    subprocess.run([sys.executable, "-m", "pytest", "-o", "addopts=", "-q", f"--benchmark-json={found}",
                    str(HERE / "test_bench_ways.py"), str(HERE / "test_bench_growth.py")], check=True,
                   cwd=HERE.parents[1])
    return list(json.loads(found.read_text(encoding="utf-8"))["benchmarks"])


def table(heads: Iterable[str], rows: Iterable[Iterable[object]]) -> str:
    """Return a table as text."""
    lines = [list(heads)]
    lines += [["---"] * len(lines[0]), *([str(cell) for cell in row] for row in rows)]
    return "\n".join(f"| {' | '.join(cells)} |" for cells in lines)


def ways(found: list[dict[str, Any]]) -> str:
    """Return the ways of the same sums, each by the time of a pair."""
    each = {one["params"]["way"]: one["stats"]["min"] / one["extra_info"]["pairs"]
            for one in found if one["group"] == "ways" and one["params"]}
    book = next(one for one in found if one["group"] == "ways" and not one["params"])
    start = next(one for one in found if one["group"].startswith("start"))["stats"]["min"]
    each["sheet"] = (book["stats"]["min"] - start) / book["extra_info"]["pairs"]
    rows = [(TITLES[way], f"{1e6 * taken:.3g}", told(taken / each["ours"])) for way, taken in each.items()]
    return table(("way", "us per pair of receptor and pile", "times envpredict's"), rows)


def told(ratio: float) -> str:
    """Return a ratio with two digits, a large one in whole numbers."""
    return f"{ratio:,.0f}" if ratio >= 100.0 else f"{ratio:.2g}"


def growth(found: list[dict[str, Any]]) -> str:
    """Return, per dimension, processor times by size, the log-log slope over all sizes and that of the last step."""
    rows = []
    runs = [one["extra_info"] for one in found if one["group"] == "growth"]
    for name in dict.fromkeys(one["dimension"] for one in runs):
        size, taken = np.array([(one["size"], one["processor_s"]) for one in runs if one["dimension"] == name]).T
        slope = np.polyfit(np.log(size), np.log(taken), 1)[0]
        last = np.log(taken[-1] / taken[-2]) / np.log(size[-1] / size[-2])
        rows.append((name, ", ".join(f"{n:.0f}: {t:.1f}" for n, t in zip(size, taken, strict=True)), f"{slope:.2f}",
                     f"{last:.2f}"))
    return table(("dimension", "size: processor time in s", "slope", "slope of the last step"), rows)


def memory(found: list[dict[str, Any]]) -> str:
    """Return the peak memory of whole processes."""
    return table(("receptors", "peak memory, MB"), [(one["extra_info"]["receptors"], one["extra_info"]["peak_mb"])
                                                    for one in found if one["group"] == "memory"])


def imports(found: list[dict[str, Any]]) -> str:
    """Return how long a process with one import takes, and the packages that cost most."""
    rows = []
    for one in found:
        if one["group"] == "imports":
            told = ", ".join(f"{name} {taken:g}" for name, taken in one["extra_info"]["packages"].items())
            rows.append((f"`{one['extra_info']['module']}`", f"{one['stats']['min']:.2f}", told))
    return table(("import", "process, s", "dearest packages, own time in ms"), rows)


def profile(receptors: int, piles: int, obstacles: int) -> str:
    """Return the dearest functions of a large town's assessment."""
    facts, rows = profile_town.profiled(receptors, piles, obstacles)
    told = (f"{receptors} receptors, {piles} piles, {obstacles} obstacles, {facts['methods']:.0f} methods: "
            f"{facts['findings']:.0f} findings in {facts['processor_s']:.0f} s of processor time "
            f"({facts['wall_s']:.0f} s by the clock), {facts['peak_gb']:.2f} GB at most, under the profiler.")
    return f"{told}\n\n" + table(("function", "own, s", "with what it calls, s"),
                                [(f"`{where}`", f"{own:.1f}", f"{total:.1f}") for total, own, where in rows])


def main() -> None:
    """Measure, and write the page."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    for name, usual in (("receptors", 1000), ("piles", 50), ("obstacles", 500)):
        asked.add_argument(f"--{name}", type=int, default=usual, help=f"{name} of the profiled town")
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        found = measured(Path(folder))
    kept = PAGE.read_text(encoding="utf-8").partition(KEPT)[2] if PAGE.is_file() else "\n"
    machine = f"Python {platform.python_version()}, {os.cpu_count()} processors, one process"
    PAGE.write_text(f"""# Benchmarks

Written by `python tests/benchmarks/table.py` ({machine}). All benchmarks run by `python -m pytest tests/benchmarks`.
Times are those of one machine, shared with other work; ratios and slopes say more. No test judges them.

## The same sums, several ways

A-weighted level at each receptor from all piles over open ground, eight octave bands. All ways give the same levels
within 1e-9 dB.

{ways(found)}

## Growth

An invented town is assessed at several sizes; one dimension grows at a time. A slope of 1 is linear; fixed costs make
slopes of small towns smaller.

{growth(found)}

## Peak memory

{memory(found)}

## Start-up

{imports(found)}

## Profile

{profile(**vars(given))}

{KEPT}{kept}""", encoding="utf-8")


if __name__ == "__main__":
    main()
