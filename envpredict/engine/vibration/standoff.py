"""The distance at which a limit on vibration is met, without a scenario: solved, not stepped."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from envpredict.core.errors import EnvpredictError
from envpredict.engine.vibration.printed import PrintedCurve, printed_values

if TYPE_CHECKING:
    from envpredict.models.spec import ModelSpec

Floats = NDArray[np.float64]
NEAREST_M, FARTHEST_M = 1e-2, 1e6
_HALVINGS = 120


@dataclass(frozen=True, slots=True, eq=False)
class Standoff:
    """Plan distances in m (any shape), and whether the law is valid there.

    0 where the limit is met at any distance, infinity where it's met nowhere within 1000 km, NaN where an input isn't
    known.
    """

    distance_m: Floats
    in_range: NDArray[np.bool_]


def level_log10(spec: ModelSpec, plan_m: Floats, exceedance: Floats, gain_log10: float, extra_scatter: float,
                inputs: Mapping[str, Any], depth_m: float) -> Floats:
    """Return log10 of the PPV in mm/s that one pile exceeds with the given chance at a plan distance; broadcasts."""
    from scipy.special import ndtri

    if spec.scatter is None:
        raise EnvpredictError(f"model '{spec.id}' declares no scatter", "choose a law with a scatter")
    distance = np.hypot(plan_m, depth_m) if spec.distance == "slope" else plan_m
    with np.errstate(divide="ignore"):      # a law with damping falls to nothing far away
        median = np.log10(spec.median(spec(distance_m=distance, **inputs)))
    total = np.hypot(spec.scatter.total, extra_scatter)
    return np.asarray(median + gain_log10 + ndtri(1.0 - exceedance) * total)


def _solved(level: Callable[[Floats], Floats], target: Floats, shape: tuple[int, ...]) -> Floats:
    """Return the plan distance at which a level that falls with distance meets its target, by halving.

    NaN where the level or the target isn't known: what can't be told is no distance.
    """
    low, high = np.full(shape, np.log(NEAREST_M)), np.full(shape, np.log(FARTHEST_M))

    def above(log_distance: Floats) -> NDArray[np.bool_]:
        return np.asarray(level(np.exp(log_distance)) > target)

    unknown = np.broadcast_to(np.isnan(level(np.exp(low))) | np.isnan(target), shape)
    nowhere, everywhere = above(high), ~above(low)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        still = above(middle)
        low, high = np.where(still, middle, low), np.where(still, high, middle)
    solved = np.where(everywhere, 0.0, np.where(nowhere, np.inf, np.exp(high)))
    return np.asarray(np.where(unknown, np.nan, solved))


def _limit(limit_mm_s: ArrayLike) -> Floats:
    limit = np.asarray(limit_mm_s, dtype=float)
    if not (limit > 0).all():
        raise ValueError("limit_mm_s must be positive")
    return limit


def standoff_m(spec: ModelSpec, limit_mm_s: ArrayLike, exceedance: ArrayLike = 0.05, *, gain_log10: float = 0.0,
               extra_scatter: float = 0.0, depth_m: float = 1.0, known: Mapping[str, float] | None = None,
               **inputs: Any) -> Standoff:
    """Return the plan distance at which one pile exceeds the limit with just the given chance.

    limit_mm_s, exceedance and the law's `inputs` (energy_j ...; words of options) broadcast. `gain_log10` and
    `extra_scatter`: the step from the ground to the limit's place. `depth_m`: toe depth, for laws on slope
    distance; `known`: what the law's range asks for beside its inputs (an energy, say). Solved by halving down to
    the last digit; every law falls with distance. Raises ValueError for a limit that isn't positive or an
    exceedance outside 0..1.
    """
    limit, chance = _limit(limit_mm_s), np.asarray(exceedance, dtype=float)
    if not ((chance > 0) & (chance < 1)).all():
        raise ValueError("exceedance must lie between 0 and 1")
    numbers = [np.asarray(value, dtype=float) for value in inputs.values() if not isinstance(value, str)]
    shape = np.broadcast_shapes(limit.shape, chance.shape, *(number.shape for number in numbers))
    distance = _solved(lambda plan: level_log10(spec, plan, chance, gain_log10, extra_scatter, inputs, depth_m),
                       np.log10(limit), shape)
    slope = np.hypot(distance, depth_m) if spec.distance == "slope" else distance
    told = {name: value for name, value in inputs.items() if not isinstance(value, str)}
    told |= {"depth_m": depth_m, **(known or {})}
    asked = {name: told.get(name, np.nan) for name in spec.range_inputs if name != "distance_m"}
    valid = np.isfinite(distance) & (distance > 0)
    inside = np.asarray(spec.in_range(distance_m=np.where(valid, slope, np.nan), **asked))
    return Standoff(distance, np.broadcast_to(inside, shape) & valid)


def printed_standoff_m(curve: PrintedCurve, limit_mm_s: ArrayLike, *, gain_log10: float = 0.0, depth_m: float = 1.0,
                       **inputs: Any) -> Floats:
    """Return the plan distance at which a curve meets the limit exactly as printed, without any scatter of ours.

    Arguments as in `standoff_m`. Raises ValueError for a limit that isn't positive.
    """
    limit = _limit(limit_mm_s)
    numbers = [np.asarray(value, dtype=float) for value in inputs.values() if not isinstance(value, str)]
    shape = np.broadcast_shapes(limit.shape, *(number.shape for number in numbers))

    def level(plan_m: Floats) -> Floats:
        distance = np.hypot(plan_m, depth_m) if curve.spec.distance == "slope" else plan_m
        with np.errstate(divide="ignore"):
            return np.asarray(np.log10(printed_values(curve, distance_m=distance, **inputs)) + gain_log10)

    return _solved(level, np.log10(limit), shape)
