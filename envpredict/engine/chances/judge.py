"""The only judge of levels against limits, for predictions and for records alike."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from envpredict.core.quantities import QUANTITIES
from envpredict.core.series import LevelSeries
from envpredict.engine.chances.days import days_above
from envpredict.engine.chances.exceed import at_least_once

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Comparison:
    """How a level is compared with its limit.

    `at_or_above`: reaching the limit exceeds it already; `whole_db`: the level is first rounded to whole dB, halves up.
    """

    at_or_above: bool = False
    whole_db: bool = False

    def threshold(self, limit: Floats, scale: str) -> Floats:
        """Return, in the space of `to_space`, the highest level that doesn't exceed each limit; NaN where none."""
        if not self.whole_db:
            level = to_space(limit, scale)
            return np.asarray(np.nextafter(level, -np.inf)) if self.at_or_above else level
        least = np.ceil(limit) if self.at_or_above else np.floor(limit) + 1.0
        return np.asarray(np.nextafter(least - 0.5, -np.inf))

    def shown(self, level: Floats) -> Floats:
        """Return a level as it is compared: rounded to whole dB where the rule rounds."""
        return np.floor(level + 0.5) if self.whole_db else level


PLAIN = Comparison()
@dataclass(frozen=True, slots=True, eq=False)
class Judgement:
    """Levels of a series against one limit per point; every array has the shape (P,).

    `median`, `design` in the quantity's unit; `scatter` in log10 units or dB; `slot` the governing slot (the highest
    median), -1 where nothing happens; `p_one` the chance that this slot alone exceeds; `days*` the number of days
    above. `silent`: nothing happens at the point; `unknown`: a slot has no prediction, so nothing can be said. `p_day`
    (P, D): the chance of each day of `days_of` the series, NaN where none; no columns for rules that count days.
    """

    median: Floats
    scatter: Floats
    design: Floats
    p_exceed: Floats
    p_one: Floats
    slot: NDArray[np.int64]
    days: Floats
    days_low: Floats
    days_high: Floats
    in_range: NDArray[np.bool_]
    silent: NDArray[np.bool_]
    unknown: NDArray[np.bool_]
    p_day: NDArray[np.float32]


def days_of(series: LevelSeries) -> NDArray[np.datetime64]:
    """Return the dates (D,) of a series, each once and in order."""
    return np.asarray(np.unique(series.slots.day))


def to_space(values: Floats, scale: str) -> Floats:
    """Return levels in the space where their scatter is normal: log10 of linear quantities, decibels as they are."""
    if scale == "decibel":
        return values
    with np.errstate(divide="ignore"):
        return np.asarray(np.log10(values))


def from_space(values: Floats, scale: str) -> Floats:
    """Return levels in the quantity's own unit again."""
    return values if scale == "decibel" else np.asarray(10.0**values)


def margin_db(limit: Floats, level: Floats, scale: str) -> Floats:
    """Return how far a level lies below its limit in dB: 20 log10(limit / level), or limit - level for decibels."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(limit - level if scale == "decibel" else 20.0 * np.log10(limit / level))


def judge(series: LevelSeries, limit: Floats, design_exceedance: float, comparison: Comparison = PLAIN) -> Judgement:
    """Return the chances that the levels of a series exceed the limit of each point at least once.

    `limit` (P,) in the quantity's unit, NaN where a point has none (its chances are NaN then). A level equal to the
    limit meets it, unless `comparison` says otherwise. Predictions come with scatter; records have none and their
    chances are 0 or 1. Where the shared scatter of a point differs from slot to slot (another law governs another
    pile), one draw moves each slot by its own multiple; `scatter` is that of the governing slot (highest median).
    """
    scale = QUANTITIES[series.quantity].scale
    points = series.median.shape[0]
    if len(series.slots) == 0:
        return _nothing(points, scale)
    level = to_space(series.median, scale)
    unknown = np.asarray(np.isnan(level).any(axis=1))
    known = np.where(np.isnan(level), -np.inf, level)
    slot = known.argmax(axis=1)
    pick = (np.arange(points), slot)
    best = known[pick]
    silent = ~np.isfinite(best) & ~unknown
    shared, own = np.where(np.isfinite(known), series.shared, 0.0), series.own
    threshold = comparison.threshold(limit, scale)
    safe = np.where(np.isnan(threshold), np.inf, threshold)
    found = at_least_once(known, own, shared, safe, design_exceedance)
    _, day_index = np.unique(series.slots.day, return_inverse=True)
    day_index = np.ravel(day_index).astype(np.int64)
    days = days_above(known, own, shared, safe, day_index)
    scatter = np.hypot(shared[pick], own[pick])
    none = np.isnan(threshold) | unknown
    return Judgement(
        median=np.where(unknown, np.nan, from_space(best, scale)),
        scatter=np.where(silent | unknown, np.nan, scatter),
        design=np.where(unknown, np.nan, from_space(found.design, scale)),
        p_exceed=np.where(none, np.nan, found.p_exceed),
        p_one=np.where(none, np.nan, _one(best, scatter, safe)),
        slot=np.where(silent, -1, slot).astype(np.int64),
        days=np.where(none, np.nan, days.expected), days_low=np.where(none, np.nan, days.low),
        days_high=np.where(none, np.nan, days.high), in_range=series.in_range[pick] | silent, silent=silent,
        unknown=unknown, p_day=np.where(none[:, None], np.float32(np.nan), days.by_day),
    )


def _one(median: Floats, scatter: Floats, threshold: Floats) -> Floats:
    from scipy.special import ndtr

    with np.errstate(divide="ignore", invalid="ignore"):
        chance = np.where(scatter > 0, ndtr((median - threshold) / scatter), (median > threshold).astype(float))
    return np.asarray(np.where(np.isfinite(median), chance, 0.0))


def _nothing(points: int, scale: str) -> Judgement:
    zero, nothing = np.zeros(points), np.full(points, -np.inf if scale == "decibel" else 0.0)
    truth = np.ones(points, dtype=bool)
    return Judgement(nothing, np.full(points, np.nan), nothing, zero, zero, np.full(points, -1, dtype=np.int64), zero,
                     zero, zero, truth, truth, ~truth, np.zeros((points, 0), dtype=np.float32))
