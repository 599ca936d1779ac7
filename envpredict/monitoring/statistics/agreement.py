"""Measured less predicted, by station, criterion and method: what was measured while the diary says who worked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.quantities import QUANTITIES
from envpredict.monitoring.checks.limits import is_averaged
from envpredict.monitoring.records import flags as flag
from envpredict.monitoring.records.order import Ordered
from envpredict.monitoring.records.quantities import values_of
from envpredict.monitoring.replay.diary import WorksDiary
from envpredict.monitoring.statistics.slots import Measured

if TYPE_CHECKING:
    from envpredict.monitoring.plan_rows import Station

Floats = NDArray[np.float64]
Medians = Mapping[tuple[str, str, str], float]
"""Receptor, criterion and method to the predicted median, in the criterion's unit."""


@dataclass(frozen=True, slots=True)
class Agreement:
    """How far measurements lie above the predicted median; differences in dB, 20 lg of the ratio for velocities.

    `count`: averaging times in which the method worked for means, doses and strengths, entries of the diary (piles) for
    peaks; `mean_db`, `p95_db`: mean and 95 % point of the differences; `ratio`: 10^(mean/20), for linear quantities.
    """

    station: str
    receptor: str
    criterion: str
    method: str
    predicted: float
    unit: str
    count: int
    mean_db: float
    p95_db: float

    @property
    def ratio(self) -> float:
        """Return the geometric mean of measured over predicted."""
        return float(10.0 ** (self.mean_db / 20.0))


def agreement(found: Measured, readings: Ordered, diary: WorksDiary, predicted: Medians) -> list[Agreement]:
    """Return how measurements of one criterion at one station compare with the prediction, method by method."""
    station, criterion = found.asked.station, found.asked.criterion
    receptor, unit = str(station.receptor), str(criterion.unit)
    entries: dict[str, list[int]] = {}
    for number, row in enumerate(diary.rows):
        if row["method"] is not None:
            entries.setdefault(str(row["method"]), []).append(number)
    rows = []
    for method, numbers in sorted(entries.items()):
        median = predicted.get((receptor, criterion.id, method))
        if median is None or not np.isfinite(median):
            continue
        at = np.array(numbers)
        if is_averaged(str(criterion.quantity)):
            levels = _periods(found, diary.start[at], diary.end[at])
        else:
            levels = _entries(readings, station, str(criterion.quantity), diary.start[at], diary.end[at])
        above = _difference(levels, median, str(criterion.quantity))
        if above.size:
            rows.append(Agreement(station.id, receptor, criterion.id, method, float(median), unit, int(above.size),
                                  float(above.mean()), float(np.percentile(above, 95))))
    return rows


def _periods(found: Measured, start: NDArray[np.int64], end: NDArray[np.int64]) -> Floats:
    """Return the levels of the slots, well covered, in which a method worked."""
    worked = ((start[None, :] < found.end[:, None]) & (end[None, :] > found.start[:, None])).any(axis=1)
    return np.asarray(found.series.median[0][worked & ~found.short])


def _entries(readings: Ordered, station: Station, quantity: str, start: NDArray[np.int64],
             end: NDArray[np.int64]) -> Floats:
    """Return the highest reading during each entry of the diary."""
    values = values_of(quantity, station, readings.rows.values)
    if values is None:
        return np.zeros(0)
    keep = flag.usable(readings.rows.flags) & ~np.isnan(values)
    rows, values = readings.rows.take(np.flatnonzero(keep)), values[keep]
    first = np.searchsorted(rows.end, start, side="right")
    last = np.searchsorted(rows.start, end, side="left")
    return np.array([float(values[a:b].max()) for a, b in zip(first.tolist(), last.tolist(), strict=True) if b > a])


def _difference(levels: Floats, median: float, quantity: str) -> Floats:
    levels = levels[np.isfinite(levels)]
    if quantity in QUANTITIES and QUANTITIES[quantity].scale == "decibel":
        return np.asarray(levels - median)
    levels = levels[levels > 0]
    return np.asarray(20.0 * np.log10(levels / median)) if median > 0 else levels[:0]
