"""What every equation asks of its arguments: numbers that make sense, words that it knows. Arrays are never copied."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

from envpredict.core.words import suggestion

Floats = NDArray[np.float64]
"""What an equation returns: an array of the broadcast shape of its arguments, a numpy float where all are scalars."""


def numbers(values: ArrayLike, name: str) -> Floats:
    """Return `values` as floats (a view where they already are), NaN allowed; ValueError names the argument."""
    try:
        return np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError):
        raise ValueError(f"{name} must be numbers, not {values!r}") from None


def positive(values: ArrayLike, name: str) -> Floats:
    """Return `values` as floats; ValueError names the argument if one of them is zero or negative. NaN passes."""
    array = numbers(values, name)
    if (array <= 0.0).any():
        raise ValueError(f"{name} must be above 0, not {np.nanmin(array):g}")
    return array


def not_negative(values: ArrayLike, name: str) -> Floats:
    """Return `values` as floats; ValueError names the argument if one of them is negative. NaN passes."""
    array = numbers(values, name)
    if (array < 0.0).any():
        raise ValueError(f"{name} must be 0 or above, not {np.nanmin(array):g}")
    return array


def power(ratio: Floats, exponent: Floats) -> Floats:
    """Return ratio**exponent for positive ratios, NaN where either is NaN: numpy itself takes 1**NaN for 1."""
    return np.exp(exponent * np.log(ratio))


def choose(words: ArrayLike, table: Mapping[str, float], name: str) -> Floats:
    """Look words up in a table of constants, one word or an array of them.

    Raises ValueError that names the argument, the unknown words and the nearest known one.
    """
    array = np.asarray(words)
    if array.dtype.kind not in "UO":
        array = array.astype(str)
    found = np.full(array.shape, np.nan)
    known = np.zeros(array.shape, dtype=bool)
    for word, constant in table.items():
        here = array == word
        known |= here
        found[here] = constant
    if not known.all():
        unknown = sorted({str(word) for word in array[~known].ravel()})
        listed = ", ".join(f"'{word}'" for word in unknown[:5])
        raise ValueError(f"{name}: unknown word {listed} -> {suggestion(unknown[0], table)}")
    return found
