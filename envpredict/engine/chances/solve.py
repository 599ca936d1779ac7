"""Finding the level that is exceeded with a given chance: where it must lie, and a safe secant between these ends."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]

CLOSE = 1e-9
"""A level is found to within this, in log10 units or dB."""
STEPS = 120
FAR = 7.5
"""A slot this many scatters below a level exceeds it with a chance of 3e-14: it can't move the level."""
_TRUSTED = 8
_LOWER, _UPPER, _INSIDE = 0.0, 1.0, 2.0


@njit(cache=True, nogil=True)
def ends(median: Floats, own: Floats, shared: Floats, one: float, each: float) -> tuple[float, float]:
    """Return between which levels the one exceeded with a chance lies: the highest slot's own, and the sum's bound.

    `one`: how many scatters above its median a slot alone is exceeded with that chance; `each`: with a share of it so
    small that all slots together can't come to more. Slots where nothing happens have the median -inf.
    """
    low, high = -np.inf, -np.inf
    for s in range(median.size):
        if median[s] > -np.inf:
            scatter = math.hypot(own[s], shared[s])
            low = max(low, median[s] + one * scatter)
            high = max(high, median[s] + each * scatter)
    return low, high


@njit(cache=True, nogil=True)
def log_odds(chance: float) -> float:
    """Return the logarithm of the odds of a chance, finite at 0 and 1."""
    return math.log(max(chance, 1e-300)) - math.log(max(1.0 - chance, 1e-17))


@njit(cache=True, nogil=True)
def _next_guess(low: float, high: float, before: float, f_before: float, last: float, f_last: float,
                turn: int) -> tuple[float, bool]:
    """Return the next guess of where a falling function is zero, and whether it is close enough to be the answer.

    `low`, `high`: between which the zero lies; `before`, `last`: the two latest guesses with their values. A secant,
    or the middle where that leads astray or leads nowhere for long.
    """
    middle = 0.5 * (low + high)
    if f_last == f_before or (turn >= _TRUSTED and turn % 2 == 1):
        return middle, False
    guess = last - f_last * (last - before) / (f_last - f_before)
    if abs(guess - last) < 0.5 * CLOSE:
        return min(max(guess, low), high), True
    return (guess, False) if low < guess < high else (middle, False)


@njit(cache=True, nogil=True)
def begin(low: float, high: float) -> Floats:
    """Return a search for where a falling function is zero, about from low to high; the first level to ask for is low.

    The caller asks its own function, since a compiled one can't be handed over without losing speed or cache:
    `level, found = advance(search, level, f(level))` until it is found.
    """
    return np.array([_LOWER, low, high, high - low + CLOSE, 0.0, 0.0, 0.0])


@njit(cache=True, nogil=True)
def advance(search: Floats, level: float, f: float) -> tuple[float, bool]:
    """Take in the function's value at a level; return the next level to ask for, and whether it is the answer."""
    stage, low, high, width, last, f_last, turn = search
    if stage == _LOWER and f <= 0.0:
        search[1], search[3] = level - width, 2.0 * width
        return search[1], False
    if stage == _LOWER:
        search[0], search[4], search[5] = _UPPER, level, f
        return high, False
    if stage == _UPPER and f > 0.0:
        search[2], search[3] = level + width, 2.0 * width
        return search[2], False
    if stage == _INSIDE and f > 0.0:
        low = level
    elif stage == _INSIDE:
        high = level
    search[0], search[1], search[2], search[4], search[5] = _INSIDE, low, high, level, f
    if turn == STEPS or high - low < CLOSE:
        return high, True
    search[6] = turn + 1.0
    return _next_guess(low, high, last, f_last, level, f, int(turn))
