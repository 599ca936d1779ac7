"""Ranges of validity: closed at both ends, and a value that isn't a number lies in none."""

from __future__ import annotations

import numpy as np
import pytest

from envpredict.core.ranges import Range


def test_both_ends_belong_to_the_range() -> None:
    inside = Range(1, 111).holds([0.999, 1, 50, 111, 111.001])
    assert inside.tolist() == [False, True, True, True, False]


@pytest.mark.parametrize("limits", [Range(1, 111), Range(), Range(low=0), Range.unstated()])
def test_nan_is_never_inside(limits: Range) -> None:
    assert limits.holds([np.nan, 5.0]).tolist() == [False, True]
    assert not limits.holds(np.nan)


def test_the_shape_is_kept_and_the_input_is_left_alone() -> None:
    values = np.array([[0.0, 5.0], [np.nan, 200.0]])
    before = values.copy()
    assert Range(1, 111).holds(values).tolist() == [[False, True], [False, False]]
    np.testing.assert_array_equal(values, before)


def test_a_range_that_the_source_does_not_state_holds_every_number_and_says_so() -> None:
    unstated = Range.unstated()
    assert unstated.holds([-1e9, 0, 1e9]).all()
    assert not unstated.stated
    assert str(unstated) == "no range stated"


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        (Range(1, 111), "1 to 111"),
        (Range(low=2.5), "at least 2.5"),
        (Range(high=40), "at most 40"),
        (Range(), "any"),
    ],
)
def test_a_range_in_words(limits: Range, words: str) -> None:
    assert str(limits) == words


@pytest.mark.parametrize(("low", "high"), [(111, 1), (np.nan, 5), (1, np.nan)])
def test_a_range_that_could_hold_nothing_is_refused(low: float, high: float) -> None:
    with pytest.raises(ValueError, match="a range runs from low to high"):
        Range(low, high)
