"""Chances of exceedance against closed forms and brute-force simulation (checks outside our own quadrature)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from envpredict.engine.chances.days import days_above
from envpredict.engine.chances.exceed import at_least_once
from envpredict.engine.chances.unlike import at_least_once_unlike

DRAWS = 200_000


def simulated(median: np.ndarray, own: np.ndarray, shared: float, threshold: float) -> float:
    rng = np.random.default_rng(7)
    z = rng.standard_normal(DRAWS)
    highest = np.full(DRAWS, -np.inf)
    for m, w in zip(median, own, strict=True):
        highest = np.maximum(highest, m + w * rng.standard_normal(DRAWS))
    return float((highest + shared * z > threshold).mean())


def test_one_slot_is_the_normal_distribution() -> None:
    # closed form: one slot has the total scatter sqrt(shared^2 + own^2)
    for shared, own in [(0.3, 0.2), (0.0, 0.2), (0.3, 0.0), (0.01, 0.2), (0.4, 0.01)]:
        found = at_least_once(np.array([[1.0]]), np.array([[own]]), np.array([shared]), np.array([1.3]), 0.05)
        assert found.p_exceed[0] == pytest.approx(norm.sf(0.3, scale=np.hypot(shared, own)), abs=1e-9)
        assert found.design[0] == pytest.approx(1.0 + norm.isf(0.05) * np.hypot(shared, own), abs=1e-8)


def test_independent_slots_are_a_product() -> None:
    # closed form: without a shared error the chance of no exceedance is the product over the slots
    median, own = np.array([[0.0, 0.1, -0.2, 0.3]]), np.array([[0.2, 0.3, 0.2, 0.1]])
    found = at_least_once(median, own, np.array([0.0]), np.array([0.5]), 0.05)
    assert found.p_exceed[0] == pytest.approx(1.0 - norm.cdf((0.5 - median) / own).prod(), abs=1e-12)


@pytest.mark.parametrize(("slots", "shared", "own"),
                         [(300, 0.25, 0.2), (50, 0.05, 0.2), (60, 4.5, 1.3), (200, 0.3, 0.02)])
def test_many_slots_agree_with_simulation(slots: int, shared: float, own: float) -> None:
    rng = np.random.default_rng(1)
    median = rng.normal(0.0, 1.5 * own, slots)
    owns = np.full(slots, own)
    threshold = median.max() + np.hypot(shared, own)
    found = at_least_once(median[None], owns[None], np.array([shared]), np.array([threshold]), 0.05)
    expected = simulated(median, owns, shared, threshold)
    assert found.p_exceed[0] == pytest.approx(expected, abs=4.0 * np.sqrt(expected * (1 - expected) / DRAWS))
    again = at_least_once(median[None], owns[None], np.array([shared]), found.design, 0.05)
    assert again.p_exceed[0] == pytest.approx(0.05, abs=1e-9)


def test_a_shared_error_makes_many_slots_less_sure_to_exceed_than_independence_would() -> None:
    median, own = np.zeros((1, 100)), np.full((1, 100), 0.2)
    threshold = np.array([0.6])
    shared = at_least_once(median, own, np.array([0.3]), threshold, 0.05).p_exceed[0]
    one = norm.sf(0.6, scale=np.hypot(0.3, 0.2))
    assert one < shared < 1.0 - (1.0 - one) ** 100


def test_the_surest_exceedance_and_the_surest_silence() -> None:
    median = np.array([[5.0, -np.inf], [-np.inf, -np.inf]])
    found = at_least_once(median, np.full((2, 2), 0.2), np.array([0.3, 0.3]), np.array([0.0, 0.0]), 0.05)
    assert found.p_exceed.tolist() == pytest.approx([1.0, 0.0], abs=1e-12)
    assert found.design[1] == -np.inf


def test_records_without_scatter_exceed_or_do_not() -> None:
    median = np.array([[1.0, 2.0], [1.0, 1.5]])
    found = at_least_once(median, np.zeros((2, 2)), np.zeros(2), np.array([1.5, 1.5]), 0.05)
    assert found.p_exceed.tolist() == [1.0, 0.0]


def test_nan_and_a_senseless_design_exceedance_are_refused() -> None:
    with pytest.raises(ValueError, match="NaN"):
        at_least_once(np.array([[np.nan]]), np.array([[0.2]]), np.array([0.3]), np.array([0.0]), 0.05)
    with pytest.raises(ValueError, match="between 0 and 1"):
        at_least_once(np.array([[0.0]]), np.array([[0.2]]), np.array([0.3]), np.array([0.0]), 1.0)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.0, 0.6), st.floats(0.01, 0.5), st.integers(1, 40), st.floats(0.005, 0.5), st.floats(-1.0, 1.5),
       st.integers(0, 10_000))
def test_the_design_level_meets_the_limit_just_where_the_chance_does(
    shared: float, own: float, slots: int, design: float, threshold: float, seed: int
) -> None:
    median = np.random.default_rng(seed).normal(0.0, 0.3, (1, slots))
    found = at_least_once(median, np.full((1, slots), own), np.array([shared]), np.array([threshold]), design)
    if abs(found.p_exceed[0] - design) > 1e-7:
        assert (found.design[0] <= threshold) == (found.p_exceed[0] <= design)


def test_days_above_have_the_expected_count_and_range_of_a_simulation() -> None:
    rng = np.random.default_rng(3)
    days, per_day, shared, own = 20, 4, 0.25, 0.2
    median = rng.normal(0.0, 0.2, days * per_day)
    index = np.repeat(np.arange(days), per_day)
    threshold = 0.4
    owns = np.full((1, days * per_day), own)
    found = days_above(median[None], owns, np.array([shared]), np.array([threshold]), index)
    z = rng.standard_normal((DRAWS // 10, 1))
    levels = median + shared * z + own * rng.standard_normal((DRAWS // 10, days * per_day))
    counts = (levels.reshape(-1, days, per_day).max(axis=2) > threshold).sum(axis=1)
    assert found.expected[0] == pytest.approx(counts.mean(), abs=4.0 * counts.std() / np.sqrt(len(counts)))
    assert found.low[0] == pytest.approx(np.quantile(counts, 0.05, method="inverted_cdf"), abs=1)
    assert found.high[0] == pytest.approx(np.quantile(counts, 0.95, method="inverted_cdf"), abs=1)


def test_without_own_scatter_all_equal_days_exceed_together() -> None:
    found = days_above(np.zeros((1, 5)), np.full((1, 5), 1e-6), np.array([0.3]), np.array([0.1]), np.arange(5))
    assert found.expected[0] == pytest.approx(5 * norm.sf(0.1 / 0.3), rel=0.02)
    assert (found.low[0], found.high[0]) == (0.0, 5.0)


@pytest.mark.parametrize(("other", "lower", "own"), [(0.30, 0.02, 0.15), (0.40, 0.02, 0.20), (0.40, 0.20, 0.20),
                                                     (0.10, 0.05, 0.15), (0.30, 0.02, 0.03)])
def test_slots_that_move_unlike_with_the_shared_error_agree_with_simulation(other: float, lower: float,
                                                                            own: float) -> None:
    # five slots by one law (shared scatter 0.18 or 0.20), five by another: one draw moves each by its own multiple
    median = np.array([0.0] * 5 + [-lower] * 5)
    shared, owns = np.array([0.20] * 5 + [other] * 5), np.full(10, own)
    rng = np.random.default_rng(11)
    z = rng.standard_normal((DRAWS, 1))
    highest = (median + shared * z + owns * rng.standard_normal((DRAWS, 10))).max(axis=1)
    for chance in (0.5, 0.05, 0.01):
        threshold = np.array([np.quantile(highest, 1.0 - chance)])
        found = at_least_once(median[None], owns[None], shared[None], threshold, 0.05)
        assert found.p_exceed[0] == pytest.approx(chance, abs=4.0 * np.sqrt(chance * (1.0 - chance) / DRAWS))
    again = at_least_once(median[None], owns[None], shared[None], found.design, 0.05)
    assert again.p_exceed[0] == pytest.approx(0.05, abs=1e-8)
    assert again.p_exceed[0] <= 0.05 + 1e-12
    # each slot a day of its own: the expected number of days is the sum of the single chances
    days = days_above(median[None], owns[None], shared[None], threshold, np.arange(10))
    single = norm.sf((threshold[0] - median) / np.hypot(shared, owns))
    # slices of the shared error, taken where a slot's own is narrow, miss a little of its tail
    assert days.expected[0] == pytest.approx(single.sum(), rel=0.02 if own > 0.1 else 0.05)


def test_one_scatter_for_all_slots_is_the_same_by_either_way() -> None:
    rng = np.random.default_rng(5)
    median, own, shared = rng.normal(0.0, 0.3, (6, 30)), np.full((6, 30), 0.2), np.array([0.1, 0.2, 0.3, 0.4, 0.2, 0.0])
    threshold = rng.normal(0.8, 0.2, 6)
    alike = at_least_once(median, own, shared, threshold, 0.05)
    by_slot = at_least_once(median, own, np.broadcast_to(shared[:, None], median.shape), threshold, 0.05)
    assert by_slot.p_exceed == pytest.approx(alike.p_exceed, abs=1e-12)
    every = np.broadcast_to(shared[:, None], median.shape).copy()
    p, design = at_least_once_unlike(median, own, every, threshold, 0.05)
    assert p == pytest.approx(alike.p_exceed, abs=1e-8)
    assert design == pytest.approx(alike.design, abs=1e-8)
