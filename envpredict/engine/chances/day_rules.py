"""Rules that count days: the chance that they're triggered, by seeded draws that share the run's error.

Each draw takes one value of the shared error and one own error per slot, and yields the level at which the rule would
just be triggered; the chance is the share of draws whose level lies above the limit. The shared error is stratified
(one draw in each of equal slices of probability), so most of the spread is sampled without noise; the remaining
standard error is at most `sqrt(p (1 - p) / DRAWS)`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numba import njit
from numpy.typing import NDArray

from envpredict.core.quantities import QUANTITIES
from envpredict.core.series import LevelSeries
from envpredict.engine.chances.judge import PLAIN, Comparison, Judgement, from_space, judge, to_space
from envpredict.limits.persistence import Counted, Lasting, after_months

if TYPE_CHECKING:
    from envpredict.limits.values import DayAllowance

Floats = NDArray[np.float64]
DRAWS = 512
SEED = 20_270_301
NOTE = (f"day rule: chance by {DRAWS} seeded draws, standard error at most "
        f"{100 * math.sqrt(0.25 / DRAWS):.1f} percentage points")


@lru_cache(maxsize=4)
def _own_draws(slots: int) -> Floats:
    """Return the draws of the slots' own errors (draws, slots), the same for every point of a series."""
    return np.asarray(_normals(DRAWS, slots, SEED))


@njit(cache=True)
def _normals(draws: int, slots: int, seed: int) -> Floats:
    np.random.seed(seed)
    out = np.empty((draws, slots))
    for n in range(draws):
        for s in range(slots):
            out[n, s] = np.random.standard_normal()
    return out


@njit(cache=True)
def _day_levels(median: Floats, own: Floats, shared: Floats, day_index: NDArray[np.int64], days: int, z: Floats,
                draws: Floats) -> Floats:
    """Return (draws, days) the highest level of each day in each draw; -inf on days without slots."""
    out = np.full((z.size, days), -np.inf)
    for n in range(z.size):
        for s in range(median.size):
            level = median[s] + shared[s] * z[n] + own[s] * draws[n, s]
            out[n, day_index[s]] = max(out[n, day_index[s]], level)
    return out


def _window_level(levels: Floats, ends: NDArray[np.int64], need: int) -> Floats:
    """Return (draws,) the level that `need` days of some window exceed; -inf where no window holds so many."""
    best = np.full(levels.shape[0], -np.inf)
    for start, end in enumerate(ends):
        if end - start >= need:
            part = np.partition(levels[:, start:end], end - start - need, axis=1)
            best = np.maximum(best, part[:, end - start - need])
    return best


def _lasting_level(levels: Floats, dates: NDArray[np.datetime64], months: int) -> Floats:
    """Return (draws,) the level exceeded on two days that stand so many months apart."""
    reach = np.searchsorted(dates, after_months(dates, months) - np.timedelta64(1, "D"), side="left")
    starts = np.flatnonzero(reach < len(dates))
    if not starts.size:
        return np.full(levels.shape[0], -np.inf)
    # the highest level from each day to the last one
    onwards = np.maximum.accumulate(levels[:, ::-1], axis=1)[:, ::-1]
    return np.asarray(np.minimum(levels[:, starts], onwards[:, reach[starts]]).max(axis=1))


def _ends(rule: Counted, dates: NDArray[np.datetime64]) -> NDArray[np.int64]:
    if rule.unit == "working_days":
        return np.minimum(np.arange(len(dates)) + rule.window, len(dates))
    until = after_months(dates, rule.window) if rule.unit == "months" else dates + np.timedelta64(rule.window, "D")
    return np.asarray(np.searchsorted(dates, until, side="left"), dtype=np.int64)


def trigger_level(levels: Floats, dates: NDArray[np.datetime64], rules: Sequence[Counted | Lasting]) -> Floats:
    """Return (draws,) the level at which any of the rules would just be triggered.

    levels: (draws, days) the highest level of each day; dates: (days,) distinct and increasing.
    """
    found = [_lasting_level(levels, dates, rule.months) if isinstance(rule, Lasting)
             else _window_level(levels, _ends(rule, dates), rule.threshold) for rule in rules]
    return np.asarray(np.maximum.reduce(found))


def shared_draws() -> Floats:
    """Return the stratified draws of the shared error: the middles of equal slices of probability."""
    from scipy.special import ndtri

    return np.asarray(ndtri((np.arange(DRAWS) + 0.5) / DRAWS))


def _quantile_above(values: Floats, chance: float) -> float:
    """Return the smallest of the values that at most `chance` of them exceed."""
    ordered = np.sort(values)
    return float(ordered[max(len(ordered) - 1 - math.floor(chance * len(ordered) + 1e-9), 0)])


def judge_days(series: LevelSeries, limit: Floats, design_exceedance: float, rules: Sequence[Counted | Lasting],
               comparison: Comparison = PLAIN) -> Judgement:
    """Judge a series by rules that count days: `p_exceed` is the chance that any of them is triggered.

    A day counts once, however many of its slots exceed. `design` is the level that triggers with just the design
    exceedance.
    """
    single = judge(series, limit, design_exceedance, comparison)
    if len(series.slots) == 0:
        return single
    scale = QUANTITIES[series.quantity].scale
    dates, day_index = np.unique(series.slots.day, return_inverse=True)
    level, threshold = to_space(series.median, scale), comparison.threshold(limit, scale)
    z, draws = shared_draws(), _own_draws(len(series.slots))
    p_exceed, design = single.p_exceed.copy(), to_space(single.design, scale)
    for point in np.flatnonzero(~single.unknown & ~single.silent):
        drawn = _day_levels(np.where(np.isnan(level[point]), -np.inf, level[point]), series.own[point],
                            np.ascontiguousarray(series.shared[point]), day_index.astype(np.int64), len(dates), z,
                            draws)
        triggers = trigger_level(drawn, dates, rules)
        design[point] = _quantile_above(triggers, design_exceedance)
        if not np.isnan(threshold[point]):
            p_exceed[point] = float((triggers > threshold[point]).mean())
    # one day alone triggers nothing: there is no chance of a day to show
    return replace(single, p_exceed=p_exceed, design=from_space(design, scale), p_day=single.p_day[:, :0])


def judge_allowance(series: LevelSeries, allowance: DayAllowance, design_exceedance: float,
                    comparison: Comparison = PLAIN) -> tuple[Judgement, Floats]:
    """Judge a series in dB by an allowance of days above rising levels; return the judgement and each point's limit.

    The step with the highest chance of using up its days governs and gives the limit. `design` is that limit plus what
    the levels must fall, or less what they may rise, until the allowance is broken with just the design exceedance.
    """
    points = series.median.shape[0]
    steps = np.array([step[0] for step in allowance.steps])
    single = judge(series, np.full(points, steps[-1]), design_exceedance, comparison)
    if len(series.slots) == 0:
        return single, np.full(points, steps[-1])
    bounds = comparison.threshold(steps, "decibel")
    allowed = np.array([step[1] for step in allowance.steps])
    look = _nested if allowance.nested else _banded
    dates, day_index = np.unique(series.slots.day, return_inverse=True)
    z, draws = shared_draws(), _own_draws(len(series.slots))
    p_exceed, design, limit = single.p_exceed.copy(), single.design.copy(), np.full(points, steps[-1])
    for point in np.flatnonzero(~single.unknown & ~single.silent):
        drawn = _day_levels(np.where(np.isnan(series.median[point]), -np.inf, series.median[point]), series.own[point],
                            np.ascontiguousarray(series.shared[point]), day_index.astype(np.int64), len(dates), z,
                            draws)
        chance, governing, fall = look(drawn, bounds, allowed, design_exceedance)
        limit[point], p_exceed[point], design[point] = steps[governing], chance, bounds[governing] + fall
    return replace(single, p_exceed=p_exceed, design=design, p_day=single.p_day[:, :0]), limit


def _nested(levels: Floats, bounds: Floats, allowed: NDArray[np.int64], design: float) -> tuple[float, int, float]:
    """Judge drawn days (draws, days) where a day above a higher step counts for the lower ones too.

    Returns the chance that the allowance is broken, the number of the governing step, and by how much the levels must
    fall (negative: may rise) until it is broken with just the design exceedance.
    """
    every = np.full(levels.shape[1], levels.shape[1])
    excess = np.stack([_window_level(levels, every, need + 1) - bound
                       for need, bound in zip(allowed.tolist(), bounds, strict=True)])
    broken = excess.max(axis=0)
    governing = int((excess > 0).mean(axis=1).argmax()) if (broken > 0).any() else int(excess.mean(axis=1).argmax())
    return float((broken > 0).mean()), governing, _quantile_above(broken, design)


_FAR_DB = 80.0
_HALVINGS = 40


def _banded(levels: Floats, bounds: Floats, allowed: NDArray[np.int64], design: float) -> tuple[float, int, float]:
    """Judge drawn days as `_nested` does, where each band between two steps counts its own days alone.

    A fall of the levels can move days from one band into another and break that one, so the first change of the
    verdict on the way is taken.
    """
    upper = np.append(bounds[1:], np.inf)

    def broken(fall: float) -> NDArray[np.bool_]:
        """Return (steps, draws) whether each band holds more days than it may, the levels lowered by `fall`."""
        moved = levels[None] - fall
        return np.asarray(((moved > bounds[:, None, None]) & (moved <= upper[:, None, None])).sum(axis=2)
                          > allowed[:, None])

    here = broken(0.0)
    chance = float(here.any(axis=0).mean())
    governing = int(here.mean(axis=1).argmax())
    fails, way = chance > design, 1.0 if chance > design else -1.0
    near = far = 0.0
    while far < _FAR_DB and (broken(way * far).any(axis=0).mean() > design) == fails:
        near, far = far, far + 1.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (near + far)
        still = (broken(way * middle).any(axis=0).mean() > design) == fails
        near, far = (middle, far) if still else (near, middle)
    return chance, governing, way * (far if fails else near)
