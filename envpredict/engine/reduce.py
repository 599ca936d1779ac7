"""From several points of a receptor to the one that governs it."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.judge import Judgement


def take(judgement: Judgement, rows: NDArray[np.int64]) -> Judgement:
    """Return the judgement of the chosen points."""
    return Judgement(**{part.name: getattr(judgement, part.name)[rows] for part in fields(Judgement)})


def worst_points(judgement: Judgement, receptor: NDArray[np.int64], count: int) -> NDArray[np.int64]:
    """Return, per receptor (count,), the point with the highest chance, then the highest design level, then the first.

    Points that can't be predicted come first: their receptor can't be judged by the rest.
    """
    chance = np.where(np.isnan(judgement.p_exceed), -1.0, judgement.p_exceed)
    design = np.where(np.isnan(judgement.design), -np.inf, judgement.design)
    order = np.lexsort((-np.arange(len(receptor)), design, chance, judgement.unknown, receptor))
    last = np.searchsorted(receptor[order], np.arange(count), side="right") - 1
    return order[last].astype(np.int64)
