"""The series that rules judge: its shapes fit or it isn't made, and a choice of slots keeps them together."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from envpredict.core.series import LevelSeries, Slots

POINTS, COUNT = 2, 3


def slots() -> Slots:
    day = np.array(["2027-03-01", "2027-03-01", "2027-03-02"], dtype="datetime64[D]")
    hours = np.array([8.0, 9.0, 23.0]) * 3600
    return Slots(day, hours, hours + 3600 * 2, np.array(["P1", "P2", "P3"]))


def series(**changes: Any) -> LevelSeries:
    median = np.arange(POINTS * COUNT, dtype=float).reshape(POINTS, COUNT)
    given: dict[str, Any] = {
        "quantity": "ppv_resultant",
        "position": "ground",
        "slots": slots(),
        "median": median,
        "shared": np.full_like(median, 0.2),
        "own": np.full_like(median, 0.1),
        "in_range": median > 0,
    }
    return LevelSeries(**(given | changes))


def test_a_prediction_covers_every_slot() -> None:
    assert series().coverage.tolist() == [1.0, 1.0, 1.0]


def test_the_coverage_of_a_record_is_kept() -> None:
    assert series(coverage=np.array([1.0, 0.5, 0.0])).coverage.tolist() == [1.0, 0.5, 0.0]


@pytest.mark.parametrize("name", ["shared", "own", "in_range"])
def test_an_array_that_does_not_fit_is_named_with_both_shapes(name: str) -> None:
    with pytest.raises(ValueError, match=rf"{name} has shape \(3, 2\), not \(2, 3\)"):
        series(**{name: np.zeros((COUNT, POINTS))})


def test_a_median_of_other_slots_is_refused() -> None:
    with pytest.raises(ValueError, match=r"median has shape \(2, 4\), not \(2, 3\)"):
        series(median=np.zeros((POINTS, 4)))


def test_a_median_without_points_is_refused() -> None:
    with pytest.raises(ValueError, match="median has 1 axes, not points by slots"):
        series(median=np.zeros(COUNT))


def test_a_coverage_of_other_slots_is_never_taken_for_full() -> None:
    with pytest.raises(ValueError, match=r"coverage has shape \(2,\), not \(3,\)"):
        series(coverage=np.array([1.0, 0.5]))


@pytest.mark.parametrize("keep", [np.array([True, False, True]), np.array([0, 2])])
def test_chosen_slots_keep_their_levels_and_their_time(keep: np.ndarray[Any, Any]) -> None:
    chosen = series(coverage=np.array([1.0, 0.5, 0.25])).take(keep)
    assert chosen.slots.label.tolist() == ["P1", "P3"]
    assert chosen.slots.start.tolist() == [8 * 3600, 23 * 3600]
    assert chosen.slots.end[1] > 24 * 3600  # past midnight, and still of the date on which it starts
    assert chosen.slots.day.astype(str).tolist() == ["2027-03-01", "2027-03-02"]
    assert chosen.median.tolist() == [[0.0, 2.0], [3.0, 5.0]]
    assert chosen.in_range.tolist() == [[False, True], [True, True]]
    assert chosen.coverage.tolist() == [1.0, 0.25]


def test_a_series_may_be_empty() -> None:
    nothing = series().take(np.zeros(COUNT, dtype=bool))
    assert len(nothing.slots) == 0
    assert nothing.median.shape == (POINTS, 0)
    assert nothing.coverage.shape == (0,)
