"""The range of inputs for which an equation was fitted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True, slots=True)
class Range:
    """A closed range with its place in the source; `stated` is False where the source gives none."""

    low: float = -np.inf
    high: float = np.inf
    place: str = ""
    stated: bool = True

    def __post_init__(self) -> None:
        if not self.low <= self.high:
            raise ValueError(f"a range runs from low to high, not from {self.low:g} to {self.high:g}")

    @classmethod
    def unstated(cls, place: str = "the source states no range") -> Range:
        """Return the range of an input for which the source gives none: everything is inside, and said so."""
        return cls(-np.inf, np.inf, place, stated=False)

    def holds(self, values: ArrayLike) -> NDArray[np.bool_]:
        """Return, per value, whether it lies inside; NaN never does."""
        array = np.asarray(values, dtype=float)
        return (array >= self.low) & (array <= self.high)

    def __str__(self) -> str:
        """Return the range in words."""
        if not self.stated:
            return "no range stated"
        if np.isinf(self.low) and np.isinf(self.high):
            return "any"
        if np.isinf(self.high):
            return f"at least {self.low:g}"
        if np.isinf(self.low):
            return f"at most {self.high:g}"
        return f"{self.low:g} to {self.high:g}"
