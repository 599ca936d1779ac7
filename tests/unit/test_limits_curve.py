"""Curves over frequency: evaluation and the least favourable value in a band, against a dense search."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from envpredict.limits.curve import Curve

BETWEEN = ("linear", "loglog", "stepped")


@st.composite
def curves(draw: st.DrawFn) -> Curve:
    between = draw(st.sampled_from(BETWEEN))
    count = draw(st.integers(2, 6))
    steps = draw(st.lists(st.floats(0.1, 30.0), min_size=count, max_size=count))
    edges = np.cumsum(np.round(steps, 3)) + 0.5
    values = draw(st.lists(st.floats(0.1, 100.0), min_size=count, max_size=count))
    displacement = draw(st.one_of(st.none(), st.floats(0.01, 2.0)))
    below = "displacement" if displacement is not None else draw(st.sampled_from(("missing", "hold")))
    return Curve(tuple(zip(edges.tolist(), values, strict=True)), between, below,
                 draw(st.sampled_from(("missing", "hold"))), displacement)


@given(curves(), st.floats(0.05, 100.0), st.floats(1.0, 20.0))
def test_lowest_in_a_band_is_what_a_dense_search_finds(curve: Curve, low: float, ratio: float) -> None:
    high = low * ratio
    value, where = curve.lowest(low, high)
    # the dense search: many frequencies of the band, the corners and their close neighbours among them
    corners = np.concatenate([curve.edges, curve.edges * (1 - 1e-9), curve.edges * (1 + 1e-9)])
    corners = corners[(corners > low) & (corners < high)]
    dense = curve.at(np.concatenate([np.geomspace(low, high, 400), [low, high], corners]))
    if np.isnan(dense).any():
        assert np.isnan(value)
        return
    assert value <= dense.min() * (1 + 1e-12)
    assert value == pytest.approx(dense.min(), rel=1e-6)
    assert low <= where <= high
    assert value == pytest.approx(float(curve.at(where)))


@given(curves(), st.lists(st.floats(0.1, 90.0), min_size=1, max_size=8))
def test_arrays_give_what_single_frequencies_give(curve: Curve, frequencies: list[float]) -> None:
    array = np.array(frequencies)
    before = array.copy()
    together = curve.at(array)
    assert np.array_equal(together, [curve.at(f) for f in frequencies], equal_nan=True)
    lows, _ = curve.lowest(array, array * 2)
    assert np.array_equal(lows, [curve.lowest(f, 2 * f)[0] for f in frequencies], equal_nan=True)
    assert np.array_equal(array, before)


@given(curves())
def test_a_point_is_met_exactly(curve: Curve) -> None:
    at = curve.at(curve.edges)
    expected = curve.values
    if curve.between == "stepped":
        expected = np.minimum(curve.values, np.concatenate([curve.values[:1], curve.values[:-1]]))
    assert at.tolist() == expected.tolist(), "a level equal to a printed limit must meet it"


def test_outside_is_missing_unless_stated() -> None:
    points = ((4.0, 15.0), (40.0, 50.0))
    closed = Curve(points, "loglog")
    held = Curve(points, "loglog", "hold", "hold")
    moved = Curve(points, "loglog", "displacement", "missing", 0.6)
    assert np.isnan(closed.at([3.9, 40.1])).all()
    assert held.at([1.0, 100.0]).tolist() == [15.0, 50.0]
    # constant displacement of 0.6 mm: v = 2 pi f d, at 2 Hz 7.54 mm/s
    assert moved.at(2.0) == pytest.approx(7.54, abs=0.005)
    assert np.isnan(closed.lowest(3.0, 10.0)[0])
    assert np.isnan(closed.lowest(10.0, 60.0)[0])


def test_between_is_straight_on_the_stated_axes() -> None:
    # half way on linear axes from (10, 5) to (50, 15): 10 at 30 Hz; on logarithmic axes sqrt(75) at sqrt(500) Hz
    assert Curve(((10.0, 5.0), (50.0, 15.0)), "linear").at(30.0) == pytest.approx(10.0)
    assert Curve(((10.0, 5.0), (50.0, 15.0)), "loglog").at(np.sqrt(500.0)) == pytest.approx(np.sqrt(75.0))


def test_a_step_edge_takes_the_smaller_value() -> None:
    up = Curve(((0.0, 5.0), (8.0, 10.0)), "stepped", above="hold")
    down = Curve(((0.0, 10.0), (8.0, 5.0), (9.0, 5.0)), "stepped")
    assert up.at([7.9, 8.0, 8.1]).tolist() == [5.0, 5.0, 10.0]
    assert down.at([7.9, 8.0, 8.1]).tolist() == [10.0, 5.0, 5.0]
    assert up.lowest(8.0, 20.0) == (5.0, 8.0)


def test_nan_passes_and_wrong_frequencies_are_refused() -> None:
    curve = Curve(((4.0, 15.0), (40.0, 50.0)), "linear")
    assert np.isnan(curve.at(np.nan))
    assert np.isnan(curve.lowest(np.nan, 10.0)[0])
    for wrong in (0.0, -5.0):
        with pytest.raises(ValueError, match="frequency_hz must be positive"):
            curve.at(wrong)
    with pytest.raises(ValueError, match="high_hz lies below low_hz"):
        curve.lowest(20.0, 10.0)
    with pytest.raises(ValueError, match="must increase"):
        Curve(((10.0, 5.0), (10.0, 6.0)), "linear")
    with pytest.raises(ValueError, match="displacement_mm"):
        Curve(((10.0, 5.0), (20.0, 6.0)), "linear", "displacement")


def test_what_a_document_prints_is_told_from_what_lies_between() -> None:
    curve = Curve(((1.0, 5.0), (10.0, 5.0), (50.0, 15.0)), "linear", above="hold")
    assert [curve.printed(f) for f in (1.0, 5.0, 10.0, 50.0)] == [True] * 4
    assert [curve.printed(f) for f in (10.1, 30.0, 49.9, 0.5, 60.0)] == [False] * 5
