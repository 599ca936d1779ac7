"""A limit that depends on frequency: evaluation and the least favourable value in a band, exact and vectorised."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal, cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

Between = Literal["linear", "loglog", "stepped"]
Below = Literal["missing", "hold", "displacement"]
Above = Literal["missing", "hold"]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Curve:
    """A limit over frequency.

    `points`: (frequency in Hz, value), frequencies strictly increasing. `between`: straight lines on linear axes,
    straight lines on logarithmic axes, or steps (a point's value holds from its frequency up to the next point's; at
    an edge itself the smaller of the two values is taken). Outside the points the curve is not defined (NaN) unless the
    document says otherwise: `below` or `above` = "hold" continues the end value, `below` = "displacement" continues
    with the velocity 2 pi f d of a constant displacement amplitude d = `displacement_mm` (mm, zero to peak).
    """

    points: tuple[tuple[float, float], ...]
    between: Between
    below: Below = "missing"
    above: Above = "missing"
    displacement_mm: float | None = None

    def __post_init__(self) -> None:
        frequencies = [point[0] for point in self.points]
        if any(b <= a for a, b in pairwise(frequencies)):
            raise ValueError("the frequencies of a curve must increase from point to point")
        if (self.below == "displacement") != (self.displacement_mm is not None):
            raise ValueError("below = 'displacement' needs displacement_mm, and only then")

    @property
    def edges(self) -> Floats:
        """Return the frequencies of the points (K,), in Hz."""
        return np.array([point[0] for point in self.points], dtype=float)

    @property
    def values(self) -> Floats:
        """Return the values of the points (K,)."""
        return np.array([point[1] for point in self.points], dtype=float)

    def at(self, frequency_hz: ArrayLike) -> Floats:
        """Return the limit at frequencies (any shape, Hz > 0); NaN where the curve isn't defined or the input is NaN.

        Raises ValueError for a frequency that isn't positive.
        """
        f = _positive(frequency_hz, "frequency_hz")
        edges, values = self.edges, self.values
        if self.between == "linear":
            inside = np.interp(f, edges, values)
        elif self.between == "loglog":
            inside = self._logarithmic(f)
        else:
            upper = values[np.clip(np.searchsorted(edges, f, side="right") - 1, 0, None)]
            lower = values[np.clip(np.searchsorted(edges, f, side="left") - 1, 0, None)]
            inside = np.minimum(upper, lower)
        return self._outside(f, np.asarray(inside, dtype=float))

    def _logarithmic(self, f: Floats) -> Floats:
        edges, values = self.edges, self.values
        between = np.exp(np.interp(np.log(f), np.log(edges), np.log(values)))
        # a level equal to a printed value meets it: points and flat legs must not lose a digit to the logarithms
        after = np.clip(np.searchsorted(edges, f), 0, len(edges) - 1)
        before = np.clip(np.searchsorted(edges, f, side="right") - 1, 0, len(edges) - 1)
        ends = np.stack([values[before], values[after]])
        return np.asarray(np.clip(between, ends.min(axis=0), ends.max(axis=0)), dtype=float)

    def _outside(self, f: Floats, inside: Floats) -> Floats:
        result = np.where(np.isnan(f), np.nan, inside)
        if self.below == "missing":
            result = np.where(f < self.edges[0], np.nan, result)
        elif self.displacement_mm is not None:
            result = np.where(f < self.edges[0], 2.0 * np.pi * f * self.displacement_mm, result)
        if self.above == "missing":
            result = np.where(f > self.edges[-1], np.nan, result)
        return cast("Floats", result)

    def lowest(self, low_hz: ArrayLike, high_hz: ArrayLike) -> tuple[Floats, Floats]:
        """Return the least favourable limit in the closed band [low_hz, high_hz], and the frequency where it stands.

        Shapes broadcast; Hz > 0. NaN where the curve isn't defined over the whole band, or an input is NaN. Between
        neighbouring points a curve is monotone, so the smallest value stands at an end of the band or at a point.
        Raises ValueError for a frequency that isn't positive and for a band whose end lies below its start.
        """
        low, high = np.broadcast_arrays(_positive(low_hz, "low_hz"), _positive(high_hz, "high_hz"))
        if np.any(high < low):
            raise ValueError("high_hz lies below low_hz")
        corners = self.edges[self.edges > 0]
        inner = np.broadcast_to(corners, (*low.shape, len(corners)))
        inner = np.where((inner >= low[..., None]) & (inner <= high[..., None]), inner, low[..., None])
        candidates = np.concatenate([low[..., None], high[..., None], inner], axis=-1)
        values = self.at(candidates)
        undefined = np.isnan(values).any(axis=-1)
        best = np.argmin(np.where(np.isnan(values), np.inf, values), axis=-1)[..., None]
        value = np.take_along_axis(values, best, axis=-1)[..., 0]
        where = np.take_along_axis(candidates, best, axis=-1)[..., 0]
        return np.where(undefined, np.nan, value), np.where(undefined, np.nan, where)

    def printed(self, frequency_hz: float) -> bool:
        """Tell whether the value at a frequency is one that the document prints, not one interpolated or continued."""
        if not self.edges[0] <= frequency_hz <= self.edges[-1]:
            return False
        value = float(self.at(frequency_hz))
        index = int(np.searchsorted(self.edges, frequency_hz))
        neighbours = self.values[max(index - 1, 0) : index + 1]
        return bool(np.any(np.isclose(neighbours, value, rtol=1e-12, atol=0.0)))


def _positive(values: ArrayLike, name: str) -> Floats:
    array = np.asarray(values, dtype=float)
    if np.any(array <= 0):
        raise ValueError(f"{name} must be positive")
    return array
