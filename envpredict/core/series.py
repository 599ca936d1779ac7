"""Levels at points over slots of time: what rules judge, whether predicted or measured."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Slots:
    """The time axis: one entry per block of an averaging period, or per pile pass for maxima.

    Shapes: every array (S,). `day` is the local civil date (datetime64[D]) on which the slot's period starts; `start`
    and `end` are seconds since local midnight of that date (end > 86400 where a period crosses midnight); `label` tells
    what the slot is (a pile's id, a period's name).
    """

    day: NDArray[np.datetime64]
    start: Floats
    end: Floats
    label: NDArray[np.str_]

    def __len__(self) -> int:
        return len(self.day)

    def take(self, keep: NDArray[np.bool_] | NDArray[np.intp]) -> Slots:
        """Return the chosen slots."""
        return Slots(self.day[keep], self.start[keep], self.end[keep], self.label[keep])


@dataclass(frozen=True, slots=True, eq=False)
class LevelSeries:
    """A quantity at points (P) over slots (S).

    `median` (P, S): in the quantity's unit; NaN (decibel: -inf) where nothing happens.
    `shared` (P, S): standard deviation of what all slots of a run share (the law's error on this ground, the plant's
    source level; it may differ from slot to slot, and the judge takes that of a point's governing slot for all),
    `own` (P, S): of what is each slot's alone; both in log10 units for linear quantities, in dB for decibels, and 0 for
    measured records.
    `in_range` (P, S): inside the law's valid range; `coverage` (S,): the fraction of each slot with data, 1 where it's
    left out (predictions). Raises ValueError where a shape doesn't fit.
    """

    quantity: str
    position: str
    slots: Slots
    median: Floats
    shared: Floats
    own: Floats
    in_range: NDArray[np.bool_]
    coverage: Floats = field(default_factory=lambda: np.ones(0))

    def __post_init__(self) -> None:
        if self.median.ndim != 2:
            raise ValueError(f"median has {self.median.ndim} axes, not points by slots")
        shape = (self.median.shape[0], len(self.slots))
        for name in ("median", "shared", "own", "in_range"):
            if getattr(self, name).shape != shape:
                raise ValueError(f"{name} has shape {getattr(self, name).shape}, not {shape}")
        if self.coverage.size == 0:
            object.__setattr__(self, "coverage", np.ones(len(self.slots)))
        if self.coverage.shape != (len(self.slots),):
            raise ValueError(f"coverage has shape {self.coverage.shape}, not {(len(self.slots),)}")

    def take(self, keep: NDArray[np.bool_] | NDArray[np.intp]) -> LevelSeries:
        """Return the series of the chosen slots."""
        return LevelSeries(self.quantity, self.position, self.slots.take(keep), self.median[:, keep],
                           self.shared[:, keep], self.own[:, keep], self.in_range[:, keep], self.coverage[keep])
