"""The highest of slots whose levels move unlike with the error that they share: a law's and another law's beside it.

The shared error is one standard normal for all slots; each slot moves by its own multiple of it. The chance that all
stay below is integrated over it on evenly spaced values, which for a smooth product is exact to many digits.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_REACH = 7.0
_COARSEST, _FINEST = 0.25, 0.01
_PER_WIDTH = 0.8
"""Step of the nodes in widths of the narrowest feature, a slot's own scatter over its shared one: the sum over evenly
spaced nodes errs by about exp(-2 pi^2 / 0.8^2), 4e-14."""
_SURE = 8.3
_STEPS = 80


@lru_cache(maxsize=64)
def _grid(twice: int) -> tuple[Floats, Floats]:
    """Return nodes and weights of a standard normal at 2 * `twice` + 1 even steps."""
    z = np.linspace(-_REACH, _REACH, 2 * twice + 1)
    weight = np.exp(-0.5 * z**2)
    return z, weight / weight.sum()


def _nodes(own: Floats, shared: Floats) -> tuple[Floats, Floats]:
    """Return the nodes that slots with these scatters need: the finer, the narrower a slot's own scatter is."""
    with np.errstate(divide="ignore"):
        width = float(np.min(own / shared, where=shared > 0.0, initial=np.inf))
    step = min(max(_PER_WIDTH * width, _FINEST), _COARSEST)
    return _grid(8 * int(np.ceil(_REACH / step / 8.0)))


@njit(cache=True)
def _above(median: Floats, own: Floats, shared: Floats, threshold: float, z: Floats, weight: Floats) -> float:
    """Return the chance that the highest slot exceeds the threshold; complements are summed to keep small chances."""
    total = 0.0
    for k in range(z.size):
        below = 1.0
        for s in range(median.size):
            gap = threshold - median[s] - shared[s] * z[k]
            if own[s] > 0.0:
                x = gap / own[s]
                if x < _SURE:
                    below *= 0.5 * math.erfc(-x * 0.7071067811865476)
            elif gap < 0.0:
                below = 0.0
            if below < 1e-300:
                break
        total += weight[k] * (1.0 - below)
    return min(max(total, 0.0), 1.0)


@njit(cache=True)
def _level(median: Floats, own: Floats, shared: Floats, chance: float, z: Floats, weight: Floats) -> float:
    """Return a level exceeded with at most the given chance, less than 1e-10 above the one exceeded with just that."""
    low, high = np.inf, -np.inf
    for s in range(median.size):
        low = min(low, median[s] - 9.0 * (own[s] + shared[s]))
        high = max(high, median[s] + 9.0 * (own[s] + shared[s]))
    f_low, f_high = 1.0 - chance, -chance
    side = 0
    for n in range(_STEPS):
        if high - low < 1e-10:
            break
        # false position on the chances, halved where it sticks to one end; every third step halves the bracket
        middle = 0.5 * (low + high) if n % 3 == 0 else low + (high - low) * f_low / (f_low - f_high)
        if not low < middle < high:
            middle = 0.5 * (low + high)
        f = _above(median, own, shared, middle, z, weight) - chance
        if f > 0.0:
            low, f_low = middle, f
            if side == 1:
                f_high *= 0.5
            side = 1
        else:
            high, f_high = middle, min(f, -1e-300)
            if side == -1:
                f_low *= 0.5
            side = -1
    return high


def at_least_once_unlike(median: Floats, own: Floats, shared: Floats, threshold: Floats,
                         design_exceedance: float) -> tuple[Floats, Floats]:
    """Return (P,) the chance that the highest slot exceeds the threshold, and (P,) the design level.

    median, own, shared: (P, S), log10 units or dB, medians -inf where nothing happens; threshold: (P,).
    """
    p, design = np.zeros(len(median)), np.full(len(median), -np.inf)
    for row in range(len(median)):
        # a slot whose level can hardly be the highest, whatever the errors, only costs time
        spread = 8.0 * np.hypot(own[row], shared[row])
        active = np.isfinite(median[row])
        active &= median[row] + spread > np.max(median[row], where=active, initial=-np.inf) - spread
        if not active.any():
            continue
        slots = (median[row, active], own[row, active], shared[row, active])
        z, weight = _nodes(slots[1], slots[2])
        p[row] = _above(*slots, float(threshold[row]), z, weight)
        design[row] = _level(*slots, design_exceedance, z, weight)
    return p, design
