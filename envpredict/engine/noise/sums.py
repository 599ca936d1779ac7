"""Sums of energy over piles or blocks, each point by itself and in a fixed order.

A product of matrices by a general library adds up in an order that depends on how many points there are, so its last
digits would depend on the size of a tile; and most of these weights are zero: a pile is worked on few days.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from envpredict.models.noise.compiled import compiled

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def weighted(values: Floats, weight: Floats) -> Floats:
    """Return (Q, S) the sums over P of values (Q, P) times weight (P, S), in the order of P."""
    part, slot = np.nonzero(weight)
    first = np.searchsorted(part, np.arange(len(weight) + 1)).astype(np.int64)
    out = np.zeros((values.shape[0], weight.shape[1]))
    _weighted(np.ascontiguousarray(values, dtype=np.float64), first, slot.astype(np.int64), weight[part, slot], out)
    return out


@compiled
def _weighted(values: Floats, first: Ints, slot: Ints, weight: Floats, out: Floats) -> None:
    for q in range(values.shape[0]):
        for p in range(values.shape[1]):
            value = values[q, p]
            for item in range(first[p], first[p + 1]):
                out[q, slot[item]] += value * weight[item]
