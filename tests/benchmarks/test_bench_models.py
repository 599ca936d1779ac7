"""What a model costs beside the bare numpy expression, over 10 million distances: ratios measured in one run.

Run: pytest tests/benchmarks -o addopts="" --benchmark-only, or without pytest-benchmark's table as a plain test run.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator

import numpy as np
import pytest

from envpredict.models.spec import load_models

MODELS = load_models()
POINTS = 10_000_000
ROUNDS = 5
LAW_LIMIT, FLAGGED_LIMIT = 1.5, 4.0
Floats = np.ndarray

CASES: list[tuple[str, dict[str, object], dict[str, float], Callable[[Floats], Floats]]] = [
    ("bs5228_percussive", {"energy_j": 30e3, "bs5228_ground": "stiff"}, {"energy_j": 30e3, "depth_m": 3.0},
     lambda r: 1.5 * np.sqrt(30e3) / r**1.3),
    ("bs5228_vibratory", {"operation": "all"}, {"energy_j": 4500.0}, lambda x: 60.0 / x**1.3),
    ("caltrans_impact", {"energy_j": 30e3}, {"energy_j": 30e3},
     lambda x: 16.51 * np.sqrt(30e3 / 48.8e3) * (7.62 / x) ** 1.1),
    ("fta_vibratory", {}, {}, lambda x: 4.318 * (7.62 / x) ** 1.5),
    ("attewell_1992_impact", {"energy_j": 30e3}, {"energy_j": 30e3}, lambda x: _quadratic(np.log10(np.sqrt(30e3) / x))),
    ("bored_estimate", {}, {}, lambda x: 1.0 * (7.0 / x) ** 0.75 * np.exp(0.01 * (7.0 - x))),
    ("power_law", {"coefficient": 60.0, "exponent": 1.3}, {"coefficient": 60.0, "exponent": 1.3},
     lambda x: 60.0 / x**1.3),
]


def _quadratic(S: Floats) -> Floats:
    return 10.0 ** (-0.519 + 1.38 * S - 0.234 * S**2)


@pytest.fixture(scope="module")
def distances() -> Floats:
    return np.random.default_rng(1).uniform(5.0, 100.0, POINTS)


def best_of(rounds: int, *calls: Callable[[], object]) -> Iterator[float]:
    """Yield the best time of each call, s; the calls take turns, so that a slow spell hits all of them."""
    times = [[] for _ in calls]  # type: list[list[float]]
    for _ in range(rounds):
        for call, taken in zip(calls, times, strict=True):
            start = time.perf_counter()
            call()
            taken.append(time.perf_counter() - start)
    yield from map(min, times)


@pytest.mark.parametrize(("id", "inputs", "context", "bare"), CASES, ids=[case[0] for case in CASES])
def test_a_model_costs_little_more_than_its_expression(
        id: str, inputs: dict[str, object], context: dict[str, float], bare: Callable[[Floats], Floats],
        distances: Floats, record_property: Callable[[str, object], None]) -> None:
    spec = MODELS[id]
    np.testing.assert_allclose(spec(distances[:1000], **inputs), bare(distances[:1000]), rtol=0.02)

    def flagged() -> None:
        spec(distances, **inputs)
        spec.in_range(distance_m=distances, **context)

    alone, law, both = best_of(ROUNDS, lambda: bare(distances), lambda: spec(distances, **inputs), flagged)
    for name, value in (("bare_s", alone), ("law_ratio", law / alone), ("flagged_ratio", both / alone)):
        record_property(name, round(value, 3))
    print(f"{id}: bare {alone:.3f} s, law x{law / alone:.2f}, with range flags x{both / alone:.2f}")
    assert law / alone <= LAW_LIMIT
    assert both / alone <= FLAGGED_LIMIT


@pytest.mark.benchmark(group="ground words")
def test_words_per_element(benchmark: Callable[..., Floats], distances: Floats) -> None:
    """A class per element, as the toe is stepped down a drive: 1 million elements."""
    few = distances[:1_000_000]
    words = np.array(["soft", "stiff", "very_stiff", "refusal"])[np.arange(few.size) % 4]
    result = benchmark(MODELS["bs5228_percussive"], few, 30e3, bs5228_ground=words)
    assert result.shape == few.shape
