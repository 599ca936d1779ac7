"""Clock blocks of a rule's periods over a programme, and how long each pass works inside each block."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envpredict.core.series import Slots

if TYPE_CHECKING:
    from collections.abc import Iterable

    from envpredict.engine.programme import Passes
    from envpredict.limits.periods import Period

Floats = NDArray[np.float64]
DAY_S = 86_400.0


@dataclass(frozen=True, slots=True, eq=False)
class Blocks:
    """Blocks of an averaging time (S) inside a rule's period, only those in which something works.

    `overlap_s` (N, S): seconds of each pass inside each block; `slots`: day and clock times of the blocks.
    """

    slots: Slots
    overlap_s: Floats
    length_s: Floats

    def __len__(self) -> int:
        return len(self.length_s)


def _absolute(day: NDArray[np.datetime64], seconds: Floats) -> Floats:
    return np.asarray(day.astype("datetime64[D]").astype(np.int64) * DAY_S + seconds, dtype=float)


def _edges(period: Period, averaging_s: float | None) -> Floats:
    """Return the block edges of one day's period in seconds since midnight; a rest shorter than a block is dropped."""
    length = averaging_s or period.averaging_s or (period.end_s - period.start_s)
    count = max(int((period.end_s - period.start_s) // length), 1)
    return period.start_s + length * np.arange(count + 1, dtype=float)


def clock_blocks(passes: Passes, period: Period, holidays: Iterable[Any], averaging_s: float | None = None) -> Blocks:
    """Return the blocks of a period in which the programme works.

    A period belongs to the local date on which it starts; days are its own words (mon ... sun, holiday). `averaging_s`
    replaces the period's averaging time; without any the block is the whole period.
    """
    from envpredict.limits.periods import day_words

    near = np.unique(np.concatenate([passes.day, passes.day - np.timedelta64(1, "D"),
                                     passes.day + np.timedelta64(1, "D")]))
    dates = near[np.isin(day_words(near, holidays), period.days)]
    edges = _edges(period, averaging_s)
    per_day = len(edges) - 1
    day = np.repeat(dates, per_day)
    start, end = np.tile(edges[:-1], len(dates)), np.tile(edges[1:], len(dates))
    begin, finish = _absolute(passes.day, passes.start_s), _absolute(passes.day, passes.end_s)
    from_, to = _absolute(day, start), _absolute(day, end)
    overlap = np.minimum(finish[:, None], to[None, :]) - np.maximum(begin[:, None], from_[None, :])
    overlap = np.clip(overlap, 0.0, None)
    busy = overlap.sum(axis=0) > 1e-9
    slots = Slots(day[busy], start[busy], end[busy], np.full(int(busy.sum()), period.label))
    return Blocks(slots, overlap[:, busy], (end - start)[busy])


def inside(passes: Passes, period: Period, holidays: Iterable[Any]) -> NDArray[np.bool_]:
    """Return, per pass, whether any part of it lies inside the period."""
    return np.asarray(clock_blocks(passes, period, holidays, None).overlap_s.sum(axis=1) > 1e-9)
