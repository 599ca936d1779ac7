"""Measures that add up over a day: doses and strengths of an assessment time, from every pile that works in it.

The level of a day is `(sum of w 10^(p l))^(1/p)` over the contributions of its piles: `l` log10 of a contribution for
one second or one blow, `w` its seconds or blows, `p` the power by which the quantity adds (2 for energy, 4 for doses).
Each pile has its own error beside the shared one, so the sum is no normal variable: seeded draws give its middle and
its upper 5 % point, and the normal variable with the same two stands for it. The end to end check against simulation
stands in the tests.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numba import njit
from numpy.typing import NDArray

from envpredict.core.quantities import QUANTITIES

Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]

POWER = {"energy_sum": 2.0, "fourth_power_sum": 4.0}
"""By how a quantity combines: the power in which contributions add."""
DRAWS = 400
SEED = 20_270_302
_UPPER, _UPPER_Z = 0.95, 1.6448536269514722
_STEP = 0.005
"""Own scatters are told apart in steps of this many log10 units, so that their draws can be shared."""
_NOTHING = 1e-4
"""Contributions whose share of the sum is smaller than this, all errors aside, are added without an error."""


def power_of(quantity: str) -> float | None:
    """Return the power in which a linear quantity adds up over a day, or None where the highest event counts."""
    declared = QUANTITIES[quantity]
    return POWER.get(declared.combine) if declared.scale == "linear" else None


@lru_cache(maxsize=8)
def own_draws(passes: int) -> Floats:
    """Return (draws, passes) standard normal errors, stratified for each pass so that few draws are enough."""
    from scipy.special import ndtri

    rng = np.random.default_rng(SEED)
    middles = ndtri((np.arange(DRAWS) + 0.5) / DRAWS)
    return np.column_stack([rng.permutation(middles) for _ in range(passes)]) if passes else np.zeros((DRAWS, 0))


@njit(cache=True)
def _slot(share: Floats, event: Floats, code: Numbers, one: Numbers, count: int, still: float, gate: float,
          lifts: Floats, out: Floats) -> None:
    """Fill `out` (draws) with a slot's sum, in units of its largest contribution; `still` is what has no error.

    With a gate the sum counts no more than the highest single event times the gate.
    """
    for k in range(out.size):
        total, highest = still, 0.0
        for n in range(count):
            lift = lifts[code[n], k, one[n]]
            total += share[n] * lift
            highest = max(highest, event[n] * lift)
        out[k] = min(total, highest * gate)


@njit(cache=True)
def _slots(level: Floats, code: Numbers, weight: Floats, one: Numbers, first: Numbers, power: float, gate: Floats,
           lifts: Floats, median: Floats, spread: Floats, top: Numbers) -> None:
    draws = lifts.shape[1]
    out = np.empty(draws)
    size = level.shape[1]
    share, event = np.empty(size), np.empty(size)
    codes, ones = np.empty(size, dtype=np.int64), np.empty(size, dtype=np.int64)
    for q in range(level.shape[0]):
        for s in range(first.size - 1):
            a, b = first[s], first[s + 1]
            median[q, s], spread[q, s], top[q, s] = -np.inf, 0.0, -1
            best = -np.inf
            unknown = False
            for c in range(a, b):
                if np.isnan(level[q, c]) or np.isnan(weight[c]):
                    unknown = True
                elif power * level[q, c] + np.log10(weight[c]) > best:
                    best, top[q, s] = power * level[q, c] + np.log10(weight[c]), c
            if unknown:
                median[q, s] = np.nan
                top[q, s] = max(top[q, s], a)
                continue
            if best == -np.inf:
                continue
            still, count = 0.0, 0
            for c in range(a, b):
                part = 10.0 ** (power * level[q, c] + np.log10(weight[c]) - best)
                if part < _NOTHING:
                    still += part
                    continue
                share[count], event[count] = part, part / weight[c]
                codes[count], ones[count] = code[q, c], one[c]
                count += 1
            _slot(share, event, codes, ones, count, still, gate[q], lifts, out)
            ordered = np.sort(out)
            middle = 0.5 * (ordered[draws // 2 - 1] + ordered[draws // 2])
            median[q, s] = (np.log10(middle) + best) / power
            upper = (np.log10(ordered[int(_UPPER * draws)]) + best) / power
            spread[q, s] = max(upper - median[q, s], 0.0) / _UPPER_Z


def _lifts(own: Floats, passes: int, power: float) -> tuple[Numbers, Floats]:
    """Return the code (Q, C) of each own scatter, rounded, and by how much each draw lifts a pass (codes, draws, N)."""
    steps, code = np.unique(np.round(own / _STEP).astype(np.int64), return_inverse=True)
    errors = own_draws(passes)
    lifts = np.stack([10.0 ** (power * _STEP * step * errors) for step in steps]) if steps.size else errors[None]
    return np.reshape(code, own.shape).astype(np.int64), np.ascontiguousarray(lifts)


def add_up(level: Floats, own: Floats, weight: Floats, one: Numbers, slot: Numbers, slots: int, passes: int,
           power: float, gate: Floats | None = None) -> tuple[Floats, Floats, Numbers]:
    """Return median (Q, S) and own scatter (Q, S) of each slot's sum in log10, and its strongest contribution (Q, S).

    level, own (Q, C): log10 of each contribution for one second or blow and its own scatter; weight (C): seconds or
    blows, positive; one (C): the pass that each comes from, below `passes`: contributions of one pass share its error;
    slot (C): increasing. gate (Q): with one, a slot counts no higher than its highest contribution plus the gate (log10
    units): what a lower bound on single events lets through. Medians are -inf in empty slots (strongest: -1), NaN where
    a contribution is unknown.
    """
    shape = (level.shape[0], slots)
    median, spread, top = np.empty(shape), np.empty(shape), np.empty(shape, dtype=np.int64)
    first = np.searchsorted(slot, np.arange(slots + 1)).astype(np.int64)
    with np.errstate(over="ignore"):
        free = np.full(level.shape[0], np.inf) if gate is None else 10.0 ** (power * gate)
    code, lifts = _lifts(own, passes, power)
    _slots(np.ascontiguousarray(level, dtype=float), code, np.ascontiguousarray(weight, dtype=float),
           np.ascontiguousarray(one, dtype=np.int64), first, power, np.ascontiguousarray(free, dtype=float), lifts,
           median, spread, top)
    return median, spread, top
