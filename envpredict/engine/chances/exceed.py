"""Chances of exceedance: the maximum over many slots that share an error.

Model: the level of slot `s` at a point is `median_s + shared * Z + own_s * E_s`, in log10 units (linear quantities) or
dB; `Z` is one standard normal that all slots of a run share, the `E_s` are independent. Given `Z` the slots are
independent, so the chance that all stay below is a product; it's then integrated over `Z`. Treating slots as
independent would call a long wall surer to exceed, and many receptors surer together, than the evidence allows.

Two exact quadratures, chosen by which of the two errors is wider: Gauss-Hermite over `Z` where the shared error is the
narrower one, else Gauss-Legendre over the distribution of the slots' own maximum. Both are checked in the tests against
brute-force simulation and closed forms.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.special import ndtri

from envpredict.engine.chances.unlike import at_least_once_unlike

Floats = NDArray[np.float64]

_NODES = 64
_HERMITE = 48
_LEGENDRE_X, _LEGENDRE_W = np.polynomial.legendre.leggauss(_NODES)
_HERMITE_Z, _HERMITE_W = np.polynomial.hermite_e.hermegauss(_HERMITE)
_HERMITE_W = _HERMITE_W / _HERMITE_W.sum()
# day counts are summed over evenly spaced values of the shared error, which is exact enough while a slot's own scatter
# isn't much narrower; else over the middles of equal slices of probability, off by one slice at most
_EVEN_Z = np.linspace(-5.0, 5.0, 41)
_EVEN_W = np.exp(-0.5 * _EVEN_Z**2) / np.exp(-0.5 * _EVEN_Z**2).sum()
_SLICES = 501
_SLICE_Z = ndtri((np.arange(_SLICES) + 0.5) / _SLICES)
_SLICE_W = np.full(_SLICES, 1.0 / _SLICES)
_NARROW = 0.25
_TAIL = 8.0        # standard deviations beyond which a normal tail (6e-16) is nothing
_SURE = 8.3        # from here on a normal distribution function is 1 to the last digit
_ITERATIONS = 200


@njit(cache=True, inline="always")
def _phi(x: float) -> float:
    """Return the standard normal distribution function."""
    return 0.5 * math.erfc(-x * 0.7071067811865476)


@njit(cache=True)
def _own_maximum(median: Floats, own: Floats, u: float) -> float:
    """Return the chance that no slot's own error lifts it above `u`, the shared error being zero."""
    chance = 1.0
    for s in range(median.size):
        m = median[s]
        if not m > -np.inf:      # nothing happens in this slot
            continue
        if own[s] > 0.0:
            x = (u - m) / own[s]
            if x < _SURE:
                chance *= _phi(x)
        elif u < m:
            return 0.0
        if chance < 1e-300:
            return 0.0
    return chance


@njit(cache=True)
def _bounds(median: Floats, own: Floats) -> tuple[float, float]:
    """Return an interval outside which the own maximum's distribution function is 0 or 1 to within 1e-12."""
    top = -np.inf
    low = -np.inf
    for s in range(median.size):
        if median[s] > -np.inf:
            top = max(top, median[s] + _TAIL * own[s])
            low = max(low, median[s] - _TAIL * own[s])
    lo, hi = low, top
    for _ in range(60):          # raise the lower end to where the product first matters
        middle = 0.5 * (lo + hi)
        if _own_maximum(median, own, middle) < 1e-13:
            lo = middle
        else:
            hi = middle
        if hi - lo < 1e-4 * (top - low):
            break
    return lo, top


@njit(cache=True)
def _worth(median: Floats, own: Floats, lo: float, kept_median: Floats, kept_own: Floats) -> int:
    """Copy the slots whose own error may lift them above `lo`; the others' chance of it is below 1e-16 each."""
    count = 0
    for s in range(median.size):
        if median[s] + (_TAIL + 0.3) * own[s] > lo:
            kept_median[count] = median[s]
            kept_own[count] = own[s]
            count += 1
    return count


@njit(cache=True)
def _prepare(median: Floats, own: Floats, shared: float, legendre_x: Floats,
             nodes: Floats, values: Floats) -> tuple[int, float, float]:
    """Fill quadrature nodes and values for one point; return the kind of quadrature and the interval.

    Kinds: 0 nothing happens; 1 no own scatter (closed form; `nodes[0]` holds the highest median); 2 Gauss-Hermite over
    the shared error, values are made per threshold; 3 Gauss-Legendre over the own maximum.
    """
    narrowest = np.inf
    best = -np.inf
    for s in range(median.size):
        if median[s] > -np.inf:
            best = max(best, median[s])
            narrowest = min(narrowest, own[s])
    if best == -np.inf:
        return 0, 0.0, 0.0
    if narrowest <= 0.0:
        widest = 0.0
        for s in range(median.size):
            if median[s] > -np.inf:
                widest = max(widest, own[s])
        if widest <= 0.0:
            nodes[0] = best
            return 1, best, best
    lo, hi = _bounds(median, own)
    kept_median, kept_own = np.empty(median.size), np.empty(median.size)
    count = _worth(median, own, lo, kept_median, kept_own)
    if shared <= 0.0 or shared < 0.12 * (hi - lo):
        return 2, lo, hi
    half, centre = 0.5 * (hi - lo), 0.5 * (hi + lo)
    for k in range(legendre_x.size):
        nodes[k] = centre + half * legendre_x[k]
        values[k] = _own_maximum(kept_median[:count], kept_own[:count], nodes[k])
    return 3, lo, hi


@njit(cache=True)
def _chance_above(kind: int, lo: float, hi: float, nodes: Floats, values: Floats, legendre_w: Floats,
                  hermite_z: Floats, hermite_w: Floats, median: Floats, own: Floats, shared: float,
                  threshold: float) -> float:
    """Return the chance that the highest slot exceeds the threshold."""
    if kind == 0:
        return 0.0
    if kind == 1:
        if shared <= 0.0:
            return 1.0 if nodes[0] > threshold else 0.0
        return _phi((nodes[0] - threshold) / shared)
    if kind == 2:
        below = 0.0
        for k in range(hermite_z.size):
            below += hermite_w[k] * _own_maximum(median, own, threshold - shared * hermite_z[k])
        return min(max(1.0 - below, 0.0), 1.0)
    # the complement is summed, so that small chances keep their digits
    above = _phi((lo - threshold) / shared)
    scale = 0.5 * (hi - lo) / (shared * math.sqrt(2.0 * math.pi))
    for k in range(nodes.size):
        z = (threshold - nodes[k]) / shared
        above += legendre_w[k] * scale * (1.0 - values[k]) * math.exp(-0.5 * z * z)
    return min(max(above, 0.0), 1.0)


@njit(cache=True)
def _design_level(kind: int, lo: float, hi: float, nodes: Floats, values: Floats, legendre_w: Floats,
                  hermite_z: Floats, hermite_w: Floats, median: Floats, own: Floats, shared: float,
                  chance: float) -> float:
    """Return the threshold that is exceeded with just the given chance."""
    if kind == 0:
        return -np.inf
    low, high = lo - 9.0 * shared - 1e-9, hi + 9.0 * shared + 1e-9
    for _ in range(_ITERATIONS):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        if _chance_above(kind, lo, hi, nodes, values, legendre_w, hermite_z, hermite_w, median, own, shared,
                         middle) > chance:
            low = middle
        else:
            high = middle
        if high - low < 1e-12 * max(1.0, abs(high)):
            break
    return high


@njit(cache=True)
def _exceedance(median: Floats, own: Floats, shared: Floats, threshold: Floats, chance: float, legendre_x: Floats,
                legendre_w: Floats, hermite_z: Floats, hermite_w: Floats, p_out: Floats, design_out: Floats) -> None:
    nodes = np.empty(legendre_x.size)
    values = np.empty(legendre_x.size)
    for p in range(median.shape[0]):
        kind, lo, hi = _prepare(median[p], own[p], shared[p], legendre_x, nodes, values)
        p_out[p] = _chance_above(kind, lo, hi, nodes, values, legendre_w, hermite_z, hermite_w, median[p], own[p],
                                 shared[p], threshold[p])
        if chance > 0.0:
            design_out[p] = _design_level(kind, lo, hi, nodes, values, legendre_w, hermite_z, hermite_w, median[p],
                                          own[p], shared[p], chance)


@dataclass(frozen=True, slots=True, eq=False)
class Exceedance:
    """Chances of exceedance at points (P).

    `p_exceed`: chance that at least one slot exceeds the threshold; `design`: the level whose own chance of being
    exceeded at least once is the design exceedance, in the space of the input (log10 or dB); -inf where nothing
    happens.
    """

    p_exceed: Floats
    design: Floats


def at_least_once(median: Floats, own: Floats, shared: Floats, threshold: Floats,
                  design_exceedance: float) -> Exceedance:
    """Return the chance that the highest of the slots exceeds the threshold, and the design level.

    median, own: (P, S), log10 units or dB; -inf where nothing happens. threshold: (P,); shared: (P,) where all slots of
    a point move alike with the shared error, or (P, S). Raises ValueError for a NaN median or a design exceedance
    outside 0..1.
    """
    if not 0.0 < design_exceedance < 1.0:
        raise ValueError(f"the design exceedance lies between 0 and 1, not {design_exceedance}")
    if np.isnan(median).any() or np.isnan(own).any() or np.isnan(shared).any():
        raise ValueError("a median or a scatter is NaN: slots without a prediction must be taken out before")
    if shared.ndim == 2:
        return _by_slot(median, own, shared, threshold, design_exceedance)
    p = np.zeros(median.shape[0])
    design = np.full(median.shape[0], -np.inf)
    _exceedance(np.ascontiguousarray(median, dtype=float), np.ascontiguousarray(own, dtype=float),
                np.ascontiguousarray(shared, dtype=float), np.ascontiguousarray(threshold, dtype=float),
                design_exceedance, _LEGENDRE_X, _LEGENDRE_W, _HERMITE_Z, _HERMITE_W, p, design)
    return Exceedance(p, design)


def _by_slot(median: Floats, own: Floats, shared: Floats, threshold: Floats, design_exceedance: float) -> Exceedance:
    """Return the same for points whose slots have a shared scatter each (P, S); most points have one for all."""
    active = median > -np.inf
    widest = np.max(shared, axis=1, where=active, initial=0.0)
    unlike = widest - np.min(shared, axis=1, where=active, initial=np.inf) > 1e-12
    found = at_least_once(median[~unlike], own[~unlike], widest[~unlike], threshold[~unlike], design_exceedance)
    p, design = np.zeros(len(median)), np.full(len(median), -np.inf)
    p[~unlike], design[~unlike] = found.p_exceed, found.design
    p[unlike], design[unlike] = at_least_once_unlike(median[unlike], own[unlike], shared[unlike], threshold[unlike],
                                                     design_exceedance)
    return Exceedance(p, design)


@njit(cache=True)
def _count_range(median: Floats, own: Floats, shared: Floats, threshold: float, day_index: NDArray[np.int64], days: int,
                 shared_z: Floats, shared_w: Floats, pmf: Floats, row: Floats, by_day: NDArray[np.float32]) -> float:
    """Fill `pmf` (days + 1) with the distribution of the number of days above, `by_day` with each day's chance.

    Returns the mean of the number.
    """
    for n in range(days + 1):
        pmf[n] = 0.0
    mean = 0.0
    below = np.empty(days)
    for k in range(shared_z.size):
        for d in range(days):
            below[d] = 1.0
        for s in range(median.size):
            m = median[s]
            if not m > -np.inf:
                continue
            u = threshold - shared[s] * shared_z[k]
            if own[s] > 0.0:
                x = (u - m) / own[s]
                if x < _SURE:
                    below[day_index[s]] *= _phi(x)
            elif u < m:
                below[day_index[s]] = 0.0
        row[0] = 1.0
        size = 0
        for d in range(days):
            p = 1.0 - below[d]
            if p <= 0.0:
                continue
            mean += shared_w[k] * p
            by_day[d] += shared_w[k] * p
            row[size + 1] = row[size] * p
            for n in range(size, 0, -1):
                row[n] = row[n] * (1.0 - p) + row[n - 1] * p
            row[0] *= 1.0 - p
            size += 1
        for n in range(size + 1):
            pmf[n] += shared_w[k] * row[n]
    return mean


@njit(cache=True)
def _days_above(median: Floats, own: Floats, shared: Floats, threshold: Floats, day_index: NDArray[np.int64], days: int,
                shared_z: Floats, shared_w: Floats, mean_out: Floats, low_out: Floats, high_out: Floats,
                by_day: NDArray[np.float32]) -> None:
    pmf = np.empty(days + 1)
    row = np.empty(days + 2)
    for p in range(median.shape[0]):
        mean_out[p] = _count_range(median[p], own[p], shared[p], threshold[p], day_index, days, shared_z, shared_w,
                                   pmf, row, by_day[p])
        total = 0.0
        low_found = False
        low_out[p] = 0.0
        high_out[p] = float(days)
        for n in range(days + 1):
            total += pmf[n]
            if not low_found and total >= 0.05:
                low_out[p] = float(n)
                low_found = True
            if total >= 0.95 - 1e-12:
                high_out[p] = float(n)
                break


@dataclass(frozen=True, slots=True, eq=False)
class DaysAbove:
    """Number of days above a limit at points (P): expected value and its 5 % and 95 % points.

    `by_day` (P, D): the chance of each day, in single precision.
    """

    expected: Floats
    low: Floats
    high: Floats
    by_day: NDArray[np.float32]


def days_above(median: Floats, own: Floats, shared: Floats, threshold: Floats,
               day_index: NDArray[np.int64]) -> DaysAbove:
    """Return how many days exceed the threshold at least once.

    median, own, shared: as in `at_least_once`; threshold: (P,); day_index: (S,), the day's number of each slot,
    0-based. Given the shared error the days are independent: the count's distribution is exact for each value of it and
    then integrated.
    """
    points = median.shape[0]
    days = int(day_index.max()) + 1 if day_index.size else 0
    mean, low, high = np.zeros(points), np.zeros(points), np.zeros(points)
    by_day = np.zeros((points, days), dtype=np.float32)
    by_slot = np.broadcast_to(shared[:, None], median.shape) if shared.ndim == 1 else shared
    narrow = own.min(axis=1, initial=np.inf) < _NARROW * by_slot.max(axis=1, initial=0.0)
    for rows, z, weights in ((~narrow, _EVEN_Z, _EVEN_W), (narrow, _SLICE_Z, _SLICE_W)):
        if days and rows.any():
            count = int(rows.sum())
            found = (np.zeros(count), np.zeros(count), np.zeros(count), np.zeros((count, days), dtype=np.float32))
            _days_above(np.ascontiguousarray(median[rows], dtype=float), np.ascontiguousarray(own[rows], dtype=float),
                        np.ascontiguousarray(by_slot[rows], dtype=float),
                        np.ascontiguousarray(threshold[rows], dtype=float),
                        np.ascontiguousarray(day_index, dtype=np.int64), days, z, weights, *found)
            mean[rows], low[rows], high[rows], by_day[rows] = found
    return DaysAbove(mean, low, high, by_day)
