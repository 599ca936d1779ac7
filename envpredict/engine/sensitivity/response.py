"""One finding as a function of the unknowns: how far its level lies over its limit."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.sensitivity.draws import normal
from envpredict.engine.sensitivity.highest import highest
from envpredict.engine.sensitivity.unknowns import PACE, Unknown
from envpredict.engine.works.programme import SPEEDS, Speed

Floats = NDArray[np.float64]
Uniform = Mapping[str, Floats]
"""Draws (n), uniform between 0 and 1, by the unknown's id; one that isn't there is held at its likely value."""
Trigger = Callable[[Floats], Floats]
"""From levels (n, S) to the level (n) at which a rule that counts days would just be triggered."""


@dataclass(frozen=True, slots=True, eq=False)
class Programme:
    """A finding under one of the programmes.

    `levels`: from draws to levels in dB and own scatters (n, S), without the slots' own errors; `threshold_db`: from
    draws to the highest level (n) that doesn't exceed; `count` (S): slots that each column stands for; `trigger`:
    for rules that count days, whose slots are kept apart.
    """

    levels: Callable[[Uniform, int], tuple[Floats, Floats]]
    threshold_db: Callable[[Uniform, int], Floats]
    count: Floats
    trigger: Trigger | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Response:
    """A finding as a function of the unknowns.

    `unknowns`: those that it hangs on; `own`, `pace`: ids of the slots' own error and of the rate of production;
    `likely`: the programme that the finding itself was judged on.
    """

    unknowns: tuple[Unknown, ...]
    own: str
    pace: str
    likely: Speed
    programmes: Mapping[Speed, Programme]
    notes: tuple[str, ...] = field(default=())

    def over_db(self, uniform: Uniform, count: int, stream: tuple[int, ...] = (0,)) -> Floats:
        """Return (count) how far the level lies over the limit in dB; above 0 exceeds, at 0 doesn't.

        `stream`: seeds of the slots' own errors where a rule counts days, which takes one of every slot.
        """
        out = np.empty(count)
        speed = self._speeds(uniform, count)
        for number, name in enumerate(SPEEDS):
            rows = np.flatnonzero(speed == number)
            if rows.size:
                part = {key: values[rows] for key, values in uniform.items()}
                out[rows] = self._at(self.programmes[name], part, len(rows), (*stream, number))
        return out

    def _speeds(self, uniform: Uniform, count: int) -> NDArray[np.intp]:
        draw = uniform.get(self.pace)
        if draw is None:
            return np.full(count, SPEEDS.index(self.likely), dtype=np.intp)
        return np.searchsorted(PACE_EDGES, draw, side="right").astype(np.intp)

    def _at(self, programme: Programme, uniform: Uniform, count: int, stream: tuple[int, ...]) -> Floats:
        level, own = programme.levels(uniform, count)
        limit = programme.threshold_db(uniform, count)
        draw = uniform.get(self.own)
        if programme.trigger is not None:
            if draw is not None:
                # one error per slot: seeded draws, as in the findings themselves
                level = level + own * np.random.default_rng(stream).standard_normal(level.shape)
            return programme.trigger(level) - limit
        if draw is None:
            return np.asarray(level.max(axis=1)) - limit
        return highest(level, own, programme.count, draw) - limit


PACE_EDGES = np.array([0.25, 0.75])
"""Where the draw of the rate passes from the slow to the likely and to the fast programme."""


def pace_of(method: str, sources: tuple[str, ...]) -> Unknown:
    """Return the unknown rate of production of a candidate; `sources` of its rates, in words."""
    said = "; ".join(dict.fromkeys(sources))
    return Unknown(f"rate:{method}", "rate", f"rate of production of {method}",
                   f"slow, likely and fast programme with chances of 25, 50 and 25 % (rates: {said})", (PACE,))


def deviation(uniform: Uniform, name: str, count: int) -> Floats:
    """Return (count) the standard normal draws of an unknown; zeros where it's held."""
    draw = uniform.get(name)
    return np.zeros(count) if draw is None else normal(draw)


def merged(keys: Floats, step: float) -> tuple[NDArray[np.intp], Floats]:
    """Return the number of the group of each column of a table (F, S), and how many columns each group holds.

    Columns that agree within `step` in every row stand in one group.
    """
    rounded = np.round(np.nan_to_num(keys, neginf=-999.0) / step).astype(np.int64)
    _, of, count = np.unique(rounded, axis=1, return_inverse=True, return_counts=True)
    return np.ravel(of).astype(np.intp), count.astype(float)


def averaged(values: Floats, of: NDArray[np.intp], count: Floats) -> Floats:
    """Return the means of columns (..., S) by their groups: (..., G)."""
    flat = values.reshape(-1, values.shape[-1])
    found = np.stack([np.bincount(of, weights=row, minlength=len(count)) / count for row in flat])
    return found.reshape(*values.shape[:-1], len(count))
