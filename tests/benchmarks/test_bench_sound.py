"""Is the engine's way of sound as fast as it needs to be? Ratios within one run, so that the machine doesn't matter.

Run with `pytest tests/benchmarks`. Screening over the top, ways round sides and reflections are reported apart.
"""

from __future__ import annotations

import tracemalloc
from collections.abc import Callable
from pathlib import Path
from time import perf_counter, process_time

import numpy as np
import pytest
from noise_site import scene, source
from shapely import affinity
from shapely.geometry import box

from envpredict.engine.assess import assess
from envpredict.engine.intake import read_scenario
from envpredict.engine.sound.field import Positions, ends_of, plant_fields
from envpredict.engine.sound.octave import OctaveMethod, cut, passed
from envpredict.engine.sound.paths import direct_ways
from envpredict.engine.sound.points import SoundPoints
from envpredict.engine.sound.reflect import reflected_energy
from envpredict.engine.sound.scene import SoundScene
from envpredict.models.noise.iso9613_2_1996 import flat_attenuation

SCENARIO = Path(__file__).resolve().parents[2] / "scenarios" / "quay_wall"


def best_of(repeats: int, *works: Callable[[], object]) -> list[float]:
    """Return the shortest time of each piece of work in s, run in turns after one run that isn't counted."""
    times: list[list[float]] = [[] for _ in works]
    for turn in range(repeats + 1):
        for work, taken in zip(works, times, strict=True):
            start = perf_counter()
            work()
            if turn:
                taken.append(perf_counter() - start)
    return [min(taken) for taken in times]


@pytest.fixture(scope="module")
def town() -> SoundScene:
    """Return a town of 400 houses on 500 m by 500 m."""
    rng = np.random.default_rng(1)
    houses = [(affinity.rotate(box(x, y, x + 10, y + 9), float(rng.uniform(0, 90))), float(rng.uniform(5, 12)))
              for x, y in (rng.uniform(0, 490, 2) for _ in range(400))]
    return scene(houses, reflections=True, porosity=0.3)


def spread(count: int) -> SoundPoints:
    rng = np.random.default_rng(count)
    return SoundPoints.at(rng.uniform(0, 500, (count, 2)), 4.5)


LINE = Positions(np.column_stack([np.linspace(0, 300, 60), np.full(60, -5.0)]), np.full(60, 12.0))


def test_the_parts_of_a_path_reported_apart(town: SoundScene) -> None:
    ends = ends_of(spread(300), LINE, np.full(60, 6.0))
    z = ends.source_height_m
    way = direct_ways(town, ends)
    bare, top, sides, mirrors = best_of(
        3, lambda: direct_ways(scene(), ends), lambda: direct_ways(town, ends, sides=False),
        lambda: direct_ways(town, ends), lambda: reflected_energy(town, ends, z, ends.receptor_height_m, way.porosity))
    each = [1e6 * taken / len(ends) for taken in (bare, top - bare, sides - top, mirrors)]
    print("us per path: open {:.2f}, over the top {:.2f}, round the sides {:.2f}, reflections {:.2f}".format(*each))
    # the open path has the ground's regions, elevations and bookkeeping beside the compiled attenuation
    plan = ends.plan_m
    alone = best_of(3, lambda: flat_attenuation(plan, 6.0, 4.5, source_porosity=0.0, receptor_porosity=0.0,
                                                middle_porosity=0.0))[0]
    print(f"open path against the compiled attenuation alone: {bare / alone:.1f}")
    assert bare <= 8.0 * alone


def test_a_transfer_serves_all_plant_of_its_height(town: SoundScene) -> None:
    octaves = [100.0, 102, 101, 99, 98, 96, 92, 85]
    one = [source(octaves, "pile_head", name="p0")]
    ten = [source([level - n for level in octaves], "pile_head", name=f"p{n}") for n in range(10)]
    points = spread(150)
    single, many = best_of(2, lambda: plant_fields(town, OctaveMethod(), points, LINE, one),
                           lambda: plant_fields(town, OctaveMethod(), points, LINE, ten))
    print(f"ten items at the heights of one: {many / single:.2f} times its time")
    assert many <= 1.6 * single


@pytest.mark.parametrize("built", [False, True], ids=["open", "town"])
def test_memory_is_bounded_by_the_tile(town: SoundScene, built: bool) -> None:
    there, plant = town if built else scene(porosity=0.4), source([100.0] * 8, 1.5)
    peaks = []
    for count in (500, 2000):
        points = spread(count)
        tracemalloc.start()
        plant_fields(there, OctaveMethod(), points, LINE, [plant], 3000)
        peaks.append(tracemalloc.get_traced_memory()[1] - count * len(LINE) * 9)
        tracemalloc.stop()
    print(f"beside the result itself: {peaks[0] / 1e6:.1f} MB for 500 points, {peaks[1] / 1e6:.1f} MB for 2000")
    assert peaks[1] <= 1.5 * peaks[0]


def test_near_sources_cost_what_their_parts_cost(town: SoundScene) -> None:
    ends = ends_of(spread(200), LINE, np.full(60, 13.0))
    span = np.full(len(ends), 13.0)
    parts = cut(ends, span)
    whole, near = best_of(2, lambda: passed(town, cut(ends, np.zeros(len(ends)))), lambda: passed(town, parts))
    print(f"{len(parts.path) / len(ends):.2f} times the paths, {near / whole:.2f} times the time")
    assert near <= 2.5 * whole * len(parts.path) / len(ends)


def test_the_demo_is_assessed_in_time() -> None:
    scenario = read_scenario(SCENARIO)
    start = process_time()
    assess(scenario)
    taken = process_time() - start
    print(f"the demo scenario's assessment: {taken:.1f} s of processor time")
    assert taken < 40.0
