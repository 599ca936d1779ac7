"""Where the time of a large town goes: its assessment under the profiler of the standard library.

    python tests/benchmarks/profile_town.py --receptors 2000 --piles 100 --obstacles 1000
"""

from __future__ import annotations

import argparse
import cProfile
import pstats
import resource
import tempfile
import time
from pathlib import Path

import town

PACKAGE = "envpredict/"
MOST = 20


def profiled(receptors: int, piles: int, obstacles: int) -> tuple[dict[str, float], list[tuple[float, float, str]]]:
    """Return facts of a town's assessment, and the functions dearest by themselves: total s, own s, where.

    What it asks of other packages at once (their own time in the calls that it makes) counts as its own.
    """
    from envpredict.engine.assess import assess
    from envpredict.engine.intake import read_scenario

    with tempfile.TemporaryDirectory() as folder:
        scenario = read_scenario(town.make(Path(folder) / "town", receptors, piles, obstacles))
        profile, wall, processor = cProfile.Profile(), time.perf_counter(), time.process_time()
        profile.enable()
        done = assess(scenario)
        profile.disable()
        wall, processor = time.perf_counter() - wall, time.process_time() - processor
    facts = {"receptors": receptors, "piles": piles, "obstacles": obstacles, "methods": len(done.methods),
             "findings": len(done.findings), "wall_s": wall, "processor_s": processor,
             "peak_gb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6}
    stats = pstats.Stats(profile).stats  # type: ignore[attr-defined]
    outside: dict[tuple[str, int, str], float] = {}
    for (file, _, _), (_, _, _, _, callers) in stats.items():
        if PACKAGE not in file:
            for caller, (_, _, own_here, _) in callers.items():
                outside[caller] = outside.get(caller, 0.0) + own_here
    rows = [(total, own + outside.get(key, 0.0), f"{Path(key[0]).as_posix().rpartition(PACKAGE)[2]}: {key[2]}")
            for key, (_, _, own, total, _) in stats.items() if PACKAGE in key[0]]
    return facts, sorted(rows, key=lambda row: -row[1])[:MOST]


def main() -> None:
    """Print the profile of a town of the sizes asked for."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    for name, usual in (("receptors", 2000), ("piles", 100), ("obstacles", 1000)):
        asked.add_argument(f"--{name}", type=int, default=usual)
    facts, rows = profiled(**vars(asked.parse_args()))
    print(", ".join(f"{name} {value:.4g}" for name, value in facts.items()))
    for total, own, where in rows:
        print(f"{total:9.1f} s, own {own:8.1f} s  {where}")


if __name__ == "__main__":
    main()
