"""How many days exceed a threshold: given the error that all slots share the days are independent."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.special import ndtri

Floats = NDArray[np.float64]

# day counts are summed over evenly spaced values of the shared error, which is exact enough while a slot's own scatter
# isn't much narrower; else over the middles of equal slices of probability, off by one slice at most
_EVEN_Z = np.linspace(-5.0, 5.0, 41)
_EVEN_W = np.exp(-0.5 * _EVEN_Z**2) / np.exp(-0.5 * _EVEN_Z**2).sum()
_SLICES = 501
_SLICE_Z = ndtri((np.arange(_SLICES) + 0.5) / _SLICES)
_SLICE_W = np.full(_SLICES, 1.0 / _SLICES)
_NARROW = 0.25
_SURE = 8.3
"""From so many standard deviations on, a normal distribution function is 1 to the last digit."""


@njit(cache=True, nogil=True)
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
                    below[day_index[s]] *= 0.5 * math.erfc(-x * 0.7071067811865476)
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


@njit(cache=True, nogil=True)
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
    limited = threshold < np.inf      # nothing is above no limit
    for rows, z, weights in ((~narrow & limited, _EVEN_Z, _EVEN_W), (narrow & limited, _SLICE_Z, _SLICE_W)):
        if days and rows.any():
            count = int(rows.sum())
            found = (np.zeros(count), np.zeros(count), np.zeros(count), np.zeros((count, days), dtype=np.float32))
            _days_above(np.ascontiguousarray(median[rows], dtype=float), np.ascontiguousarray(own[rows], dtype=float),
                        np.ascontiguousarray(by_slot[rows], dtype=float),
                        np.ascontiguousarray(threshold[rows], dtype=float),
                        np.ascontiguousarray(day_index, dtype=np.int64), days, z, weights, *found)
            mean[rows], low[rows], high[rows], by_day[rows] = found
    return DaysAbove(mean, low, high, by_day)
