"""Chances of exceedance: the maximum over many slots that share an error.

Model: the level of slot `s` at a point is `median_s + shared * Z + own_s * E_s`, in log10 units (linear quantities) or
dB; `Z` is one standard normal that all slots of a run share, the `E_s` are independent. Given `Z` the slots are
independent, so the chance that all stay below is a product; it's then integrated over `Z`. Treating slots as
independent would call a long wall surer to exceed, and many receptors surer together, than the evidence allows.

Two exact quadratures, chosen by which of the two errors is wider: Gauss-Hermite over `Z` where the shared error is the
narrower one, else Gauss-Legendre over the distribution of the slots' own maximum. Both are checked in the tests against
brute-force simulation and closed forms.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from hashlib import blake2b

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.special import ndtri

from envpredict.engine.chances.solve import FAR, advance, begin, ends, log_odds
from envpredict.engine.chances.unlike import at_least_once_unlike

Floats = NDArray[np.float64]
Rules = tuple[Floats, Floats, Floats, Floats]
"""Nodes and weights of Gauss-Legendre, then those of Gauss-Hermite."""

_NODES = 64
_HERMITE = 48
_LEGENDRE_X, _LEGENDRE_W = np.polynomial.legendre.leggauss(_NODES)
_HERMITE_Z, _HERMITE_W = np.polynomial.hermite_e.hermegauss(_HERMITE)
_HERMITE_W = _HERMITE_W / _HERMITE_W.sum()
_RULES = (_LEGENDRE_X, _LEGENDRE_W, _HERMITE_Z, _HERMITE_W)
_TAIL = 8.0        # standard deviations beyond which a normal tail (6e-16) is nothing
_SURE = 8.3        # from here on a normal distribution function is 1 to the last digit


@njit(cache=True, inline="always")
def _phi(x: float) -> float:
    """Return the standard normal distribution function."""
    return 0.5 * math.erfc(-x * 0.7071067811865476)


@njit(cache=True, nogil=True)
def _own_maximum(median: Floats, own: Floats, u: float) -> float:
    """Return the chance that no slot's own error lifts it above `u`, the shared error being zero."""
    chance = 1.0
    for s in range(median.size):
        m = median[s]
        if not m > -np.inf:      # nothing happens in this slot
            continue
        if own[s] > 0.0:
            x = (u - m) / own[s]
            if x < _SURE:
                chance *= _phi(x)
        elif u < m:
            return 0.0
        if chance < 1e-300:
            return 0.0
    return chance


@njit(cache=True, nogil=True)
def _bounds(median: Floats, own: Floats) -> tuple[float, float]:
    """Return an interval outside which the own maximum's distribution function is 0 or 1 to within 1e-12."""
    top = -np.inf
    low = -np.inf
    for s in range(median.size):
        if median[s] > -np.inf:
            top = max(top, median[s] + _TAIL * own[s])
            low = max(low, median[s] - _TAIL * own[s])
    lo, hi = low, top
    for _ in range(60):          # raise the lower end to where the product first matters
        middle = 0.5 * (lo + hi)
        if _own_maximum(median, own, middle) < 1e-13:
            lo = middle
        else:
            hi = middle
        if hi - lo < 1e-4 * (top - low):
            break
    return lo, top


@njit(cache=True, nogil=True)
def _worth(median: Floats, own: Floats, lo: float, kept_median: Floats, kept_own: Floats) -> int:
    """Copy the slots whose own error may lift them above `lo`; the others' chance of it is below 1e-16 each."""
    count = 0
    for s in range(median.size):
        if median[s] + (_TAIL + 0.3) * own[s] > lo:
            kept_median[count] = median[s]
            kept_own[count] = own[s]
            count += 1
    return count


@njit(cache=True, nogil=True)
def _prepare(median: Floats, own: Floats, shared: float, legendre_x: Floats,
             nodes: Floats, values: Floats) -> tuple[int, float, float]:
    """Fill quadrature nodes and values for one point; return the kind of quadrature and the interval.

    Kinds: 0 nothing happens; 1 no own scatter (closed form; `nodes[0]` holds the highest median); 2 Gauss-Hermite over
    the shared error, values are made per threshold; 3 Gauss-Legendre over the own maximum.
    """
    narrowest = np.inf
    best = -np.inf
    for s in range(median.size):
        if median[s] > -np.inf:
            best = max(best, median[s])
            narrowest = min(narrowest, own[s])
    if best == -np.inf:
        return 0, 0.0, 0.0
    if narrowest <= 0.0:
        widest = 0.0
        for s in range(median.size):
            if median[s] > -np.inf:
                widest = max(widest, own[s])
        if widest <= 0.0:
            nodes[0] = best
            return 1, best, best
    lo, hi = _bounds(median, own)
    kept_median, kept_own = np.empty(median.size), np.empty(median.size)
    count = _worth(median, own, lo, kept_median, kept_own)
    if shared <= 0.0 or shared < 0.12 * (hi - lo):
        return 2, lo, hi
    half, centre = 0.5 * (hi - lo), 0.5 * (hi + lo)
    for k in range(legendre_x.size):
        nodes[k] = centre + half * legendre_x[k]
        values[k] = _own_maximum(kept_median[:count], kept_own[:count], nodes[k])
    return 3, lo, hi


@njit(cache=True, nogil=True)
def _chance_above(kind: int, lo: float, hi: float, nodes: Floats, values: Floats, rules: Rules, median: Floats,
                  own: Floats, shared: float, threshold: float) -> float:
    """Return the chance that the highest slot exceeds the threshold."""
    _, legendre_w, hermite_z, hermite_w = rules
    if kind == 0:
        return 0.0
    if kind == 1:
        if shared <= 0.0:
            return 1.0 if nodes[0] > threshold else 0.0
        return _phi((nodes[0] - threshold) / shared)
    if kind == 2:
        below = 0.0
        for k in range(hermite_z.size):
            below += hermite_w[k] * _own_maximum(median, own, threshold - shared * hermite_z[k])
        return min(max(1.0 - below, 0.0), 1.0)
    # the complement is summed, so that small chances keep their digits
    above = _phi((lo - threshold) / shared)
    scale = 0.5 * (hi - lo) / (shared * math.sqrt(2.0 * math.pi))
    for k in range(nodes.size):
        z = (threshold - nodes[k]) / shared
        above += legendre_w[k] * scale * (1.0 - values[k]) * math.exp(-0.5 * z * z)
    return min(max(above, 0.0), 1.0)


@njit(cache=True, nogil=True)
def _off(kind: int, lo: float, hi: float, nodes: Floats, values: Floats, rules: Rules, median: Floats, own: Floats,
         shared: float, chance: float, level: float) -> float:
    """Return how far the chance of exceeding a level is from the given one, in log odds: nearly straight in levels."""
    return log_odds(_chance_above(kind, lo, hi, nodes, values, rules, median, own, shared, level)) - log_odds(chance)


@njit(cache=True, nogil=True)
def _design_level(kind: int, span: tuple[float, float], nodes: Floats, values: Floats, rules: Rules, median: Floats,
                  own: Floats, shared: float, chance: float, low: float, high: float) -> float:
    """Return the threshold that is exceeded with just the given chance, to within `CLOSE`; about from low to high."""
    lo, hi = span
    search, level, found = begin(low, high), low, False
    while not found:
        level, found = advance(search, level, _off(kind, lo, hi, nodes, values, rules, median, own, shared, chance,
                                                   level))
    return level


@njit(cache=True, nogil=True)
def _designs(median: Floats, own: Floats, shared: Floats, chance: float, scatters: tuple[float, float],
             rules: Rules, kinds: NDArray[np.int64], spans: Floats, nodes: Floats, values: Floats,
             designs: Floats) -> None:
    kept_median, kept_own = np.empty(median.shape[1]), np.empty(median.shape[1])
    scatter = np.empty(median.shape[1])
    for p in range(median.shape[0]):
        kinds[p], lo, hi = _prepare(median[p], own[p], shared[p], rules[0], nodes[p], values[p])
        spans[p, 0], spans[p, 1] = lo, hi
        if kinds[p] == 0:
            continue
        scatter[:] = shared[p]
        low, high = ends(median[p], own[p], scatter, scatters[0], scatters[1])
        count = 0
        for s in range(median.shape[1]):     # the others can't move the level
            if median[p, s] + FAR * math.hypot(own[p, s], shared[p]) > low:
                kept_median[count], kept_own[count] = median[p, s], own[p, s]
                count += 1
        designs[p] = _design_level(kinds[p], (lo, hi), nodes[p], values[p], rules, kept_median[:count],
                                   kept_own[:count], shared[p], chance, low, high)


@njit(cache=True, nogil=True)
def _chances(kinds: NDArray[np.int64], spans: Floats, nodes: Floats, values: Floats, rules: Rules,
             median: Floats, own: Floats, shared: Floats, threshold: Floats, p_out: Floats) -> None:
    for p in range(median.shape[0]):
        p_out[p] = _chance_above(kinds[p], spans[p, 0], spans[p, 1], nodes[p], values[p], rules, median[p], own[p],
                                 shared[p], threshold[p])


@dataclass(frozen=True, slots=True, eq=False)
class _Highest:
    """What no threshold changes at points (P): how to integrate, and the design levels."""

    kinds: NDArray[np.int64]
    spans: Floats
    nodes: Floats
    values: Floats
    designs: Floats


_LATEST: dict[bytes, _Highest] = {}
_MOST_KEPT = 4


def _highest(median: Floats, own: Floats, shared: Floats, chance: float) -> _Highest:
    """Return what no threshold changes, kept for a few levels: the same ones are held against one limit after another.

    They are known by their content, so what is kept never differs from what would be computed.
    """
    points, slots = median.shape
    mark = blake2b(repr((points, slots, chance)).encode(), digest_size=32)
    for part in (median, own, shared):
        mark.update(part.data if part.size else b"")
    key = mark.digest()
    found = _LATEST.pop(key, None)
    if found is None:
        found = _Highest(np.zeros(points, dtype=np.int64), np.zeros((points, 2)), np.empty((points, _NODES)),
                         np.empty((points, _NODES)), np.full(points, -np.inf))
        _designs(median, own, shared, chance, (float(-ndtri(chance)), float(-ndtri(chance / max(slots, 1)))), _RULES,
                 found.kinds, found.spans, found.nodes, found.values, found.designs)
    _LATEST[key] = found
    while len(_LATEST) > _MOST_KEPT:
        _LATEST.pop(next(iter(_LATEST)), None)
    return found


@dataclass(frozen=True, slots=True, eq=False)
class Exceedance:
    """Chances of exceedance at points (P).

    `p_exceed`: chance that at least one slot exceeds the threshold; `design`: the level whose own chance of being
    exceeded at least once is the design exceedance, in the space of the input (log10 or dB); -inf where nothing
    happens.
    """

    p_exceed: Floats
    design: Floats


def at_least_once(median: Floats, own: Floats, shared: Floats, threshold: Floats,
                  design_exceedance: float) -> Exceedance:
    """Return the chance that the highest of the slots exceeds the threshold, and the design level.

    median, own: (P, S), log10 units or dB; -inf where nothing happens. threshold: (P,); shared: (P,) where all slots of
    a point move alike with the shared error, or (P, S). Raises ValueError for a NaN median or a design exceedance
    outside 0..1.
    """
    if not 0.0 < design_exceedance < 1.0:
        raise ValueError(f"the design exceedance lies between 0 and 1, not {design_exceedance}")
    if np.isnan(median).any() or np.isnan(own).any() or np.isnan(shared).any():
        raise ValueError("a median or a scatter is NaN: slots without a prediction must be taken out before")
    if shared.ndim == 2:
        return _by_slot(median, own, shared, threshold, design_exceedance)
    levels, owns, errors = (np.ascontiguousarray(part, dtype=float) for part in (median, own, shared))
    highest = _highest(levels, owns, errors, design_exceedance)
    p = np.zeros(median.shape[0])
    _chances(highest.kinds, highest.spans, highest.nodes, highest.values, _RULES, levels, owns, errors,
             np.ascontiguousarray(threshold, dtype=float), p)
    return Exceedance(p, highest.designs.copy())


def _by_slot(median: Floats, own: Floats, shared: Floats, threshold: Floats, design_exceedance: float) -> Exceedance:
    """Return the same for points whose slots have a shared scatter each (P, S); most points have one for all."""
    active = median > -np.inf
    widest = np.max(shared, axis=1, where=active, initial=0.0)
    unlike = widest - np.min(shared, axis=1, where=active, initial=np.inf) > 1e-12
    found = at_least_once(median[~unlike], own[~unlike], widest[~unlike], threshold[~unlike], design_exceedance)
    p, design = np.zeros(len(median)), np.full(len(median), -np.inf)
    p[~unlike], design[~unlike] = found.p_exceed, found.design
    p[unlike], design[unlike] = at_least_once_unlike(median[unlike], own[unlike], shared[unlike], threshold[unlike],
                                                     design_exceedance)
    return Exceedance(p, design)
