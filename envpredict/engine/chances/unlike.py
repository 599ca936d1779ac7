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
from scipy.special import ndtri

from envpredict.engine.chances.solve import FAR, advance, begin, ends, log_odds

Floats = NDArray[np.float64]

_REACH = 7.0
_COARSEST, _FINEST = 0.25, 0.01
_PER_WIDTH = 0.8
"""Step of the nodes in widths of the narrowest feature, a slot's own scatter over its shared one: the sum over evenly
spaced nodes errs by about exp(-2 pi^2 / 0.8^2), 4e-14."""
_SURE = 8.3


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


@njit(cache=True, nogil=True)
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


@njit(cache=True, nogil=True)
def _off(median: Floats, own: Floats, shared: Floats, chance: float, z: Floats, weight: Floats, level: float) -> float:
    """Return how far the chance of exceeding a level is from the given one, in log odds: nearly straight in levels."""
    return log_odds(_above(median, own, shared, level, z, weight)) - log_odds(chance)


@njit(cache=True, nogil=True)
def _level(median: Floats, own: Floats, shared: Floats, chance: float, z: Floats, weight: Floats, low: float,
           high: float) -> float:
    """Return the level exceeded with just the given chance to within `CLOSE`; it lies about from `low` to `high`."""
    search, level, found = begin(low, high), low, False
    while not found:
        level, found = advance(search, level, _off(median, own, shared, chance, z, weight, level))
    return level


@njit(cache=True, nogil=True)
def _row(median: Floats, own: Floats, shared: Floats, threshold: float, chance: float, z: Floats, weight: Floats,
         one: float, each: float) -> tuple[float, float]:
    """Return chance and level of a point; `one`, `each`: as `ends` takes them."""
    p = _above(median, own, shared, threshold, z, weight)
    low, high = ends(median, own, shared, one, each)
    kept = np.empty(median.size, dtype=np.int64)
    count = 0
    for s in range(median.size):
        if median[s] + FAR * math.hypot(own[s], shared[s]) > low:
            kept[count] = s
            count += 1
    some = kept[:count]
    return p, _level(median[some], own[some], shared[some], chance, z, weight, low, high)


def at_least_once_unlike(median: Floats, own: Floats, shared: Floats, threshold: Floats,
                         design_exceedance: float) -> tuple[Floats, Floats]:
    """Return (P,) the chance that the highest slot exceeds the threshold, and (P,) the design level.

    median, own, shared: (P, S), log10 units or dB, medians -inf where nothing happens; threshold: (P,).
    """
    p, design = np.zeros(len(median)), np.full(len(median), -np.inf)
    spread = 8.0 * np.hypot(own, shared)
    # a slot whose level can hardly be the highest, whatever the errors, only costs time
    active = np.isfinite(median)
    least = np.max(median - spread, axis=1, where=active, initial=-np.inf)
    active &= median + spread > least[:, None]
    one, each = -ndtri(design_exceedance), -ndtri(design_exceedance / np.maximum(active.sum(axis=1), 1))
    for row in np.flatnonzero(active.any(axis=1)):
        mine = active[row]
        slots = (median[row, mine], own[row, mine], shared[row, mine])
        z, weight = _nodes(slots[1], slots[2])
        p[row], design[row] = _row(*slots, float(threshold[row]), design_exceedance, z, weight,
                                   float(one), float(each[row]))
    return p, design
