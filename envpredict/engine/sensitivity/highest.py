"""The highest of many slots, drawn by one uniform number.

Given everything that slots share, their own errors are independent: the distribution function of the highest level is
the product of the slots'. It is inverted, so one draw stands for the own errors of all slots, however many there are,
and the number of sampled inputs stays small. The distribution is that of `chances.exceed`.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.special import ndtri

Floats = NDArray[np.float64]
_HALVINGS = 22
_FINE = 1e-3
"""Levels are found to this share of the widest own scatter."""


@njit(cache=True)
def _below(level: Floats, own: Floats, count: Floats, x: float) -> float:
    """Return the natural logarithm of the chance that no slot lies above `x`."""
    found = 0.0
    for s in range(level.size):
        if own[s] > 0.0:
            z = (x - level[s]) / own[s]
            if z < 8.0:
                phi = 0.5 * math.erfc(-z * 0.7071067811865476)
                if phi <= 0.0:
                    return -np.inf
                found += count[s] * math.log(phi)
        elif x < level[s]:
            return -np.inf
    return found


@njit(cache=True)
def _invert(level: Floats, own: Floats, count: Floats, log_u: Floats, z_u: Floats, out: Floats) -> None:
    for n in range(level.shape[0]):
        low, widest, top = -np.inf, 0.0, -np.inf
        for s in range(level.shape[1]):
            # the highest lies above each slot's own quantile
            low = max(low, level[n, s] + own[n, s] * z_u[n])
            widest = max(widest, own[n, s])
            top = max(top, level[n, s])
        if not low > -np.inf or widest <= 0.0:
            out[n] = top
            continue
        step = 0.5 * widest
        high = low + step
        while _below(level[n], own[n], count, high) < log_u[n]:
            low, step = high, 2.0 * step
            high = low + step
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            if _below(level[n], own[n], count, middle) < log_u[n]:
                low = middle
            else:
                high = middle
            if high - low < _FINE * widest:
                break
        out[n] = 0.5 * (low + high)


def highest(level: Floats, own: Floats, count: Floats, uniform: Floats) -> Floats:
    """Return (n) the highest level of each draw.

    level, own: (n, S) in dB, level -inf where nothing happens; count (S): how many slots each column stands for;
    uniform (n): the draw of the highest slot's own error, between 0 and 1.
    """
    out = np.empty(level.shape[0])
    _invert(np.ascontiguousarray(level), np.ascontiguousarray(np.broadcast_to(own, level.shape)),
            np.ascontiguousarray(count, dtype=float), np.log(uniform), np.asarray(ndtri(uniform)), out)
    return out
