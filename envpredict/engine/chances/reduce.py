"""From several points of a receptor to the one that governs it."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.chances.judge import Judgement

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def take(judgement: Judgement, rows: Ints) -> Judgement:
    """Return the judgement of the chosen points."""
    return Judgement(**{part.name: getattr(judgement, part.name)[rows] for part in fields(Judgement)})


def worst_point(level: Floats, receptor: Ints | None, count: int) -> Ints:
    """Return (count, S) the number of each receptor's highest point in every slot; of equal ones the first.

    level: (Q, S), -inf where nothing happens. receptor: (Q,) whose point each is, in rising order, every receptor with
    one at least; None where all points serve every receptor alike. A point that can't be predicted (NaN) comes first:
    its receptor can't be judged by the rest. Raises ValueError for a receptor without a point, or points out of order.
    """
    if level.shape[1] == 0:
        return np.zeros((count, 0), dtype=np.int64)
    known = np.where(np.isnan(level), np.inf, level)
    if receptor is None:
        return np.asarray(np.broadcast_to(known.argmax(axis=0), (count, level.shape[1])), dtype=np.int64)
    sizes = np.bincount(receptor, minlength=count)
    if (np.diff(receptor) < 0).any() or len(sizes) > count or (sizes == 0).any():
        raise ValueError("every receptor needs a point, and points come in the order of their receptors")
    first = np.cumsum(sizes) - sizes
    places = np.minimum(first[:, None] + np.arange(sizes.max()), (first + sizes - 1)[:, None])
    best = known[places].argmax(axis=1)
    return np.asarray(np.take_along_axis(places, best, axis=1), dtype=np.int64)
