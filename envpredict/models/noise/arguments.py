"""Checks that only the equations of sound need: ranges that mean something physically, and the band axis."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from envpredict.models.arguments import Floats, numbers

BANDS = 8


def result(values: ArrayLike) -> Floats:
    """Return a computed value as floats: a numpy float where it has no axis."""
    floats: Floats = np.asarray(values, dtype=np.float64)[()]
    return floats


def between(values: ArrayLike, low: float, high: float, name: str) -> Floats:
    """Return `values` as floats; ValueError names the argument if one lies outside `low` to `high`. NaN passes."""
    array = numbers(values, name)
    if ((array < low) | (array > high)).any():
        raise ValueError(f"{name} must lie between {low:g} and {high:g}, not {np.nanmin(array):g} to "
                         f"{np.nanmax(array):g}")
    return array


def octaves(values: ArrayLike, name: str) -> Floats:
    """Return `values` as floats; ValueError unless the last axis holds the eight octave bands 63 Hz to 8 kHz."""
    array = numbers(values, name)
    if array.ndim == 0 or array.shape[-1] != BANDS:
        raise ValueError(f"{name} must have eight octave bands (63 Hz to 8 kHz) on its last axis, not shape "
                         f"{array.shape}")
    return array
