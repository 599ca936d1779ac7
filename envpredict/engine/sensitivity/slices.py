"""The chance of exceedance once an unknown is known: by slices of equal probability of its distribution."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
SLICES = 16
LIKELY = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Slices:
    """Counts for I unknowns, K findings and the slices: `hits` that exceed among those `seen`."""

    hits: Floats
    seen: Floats

    @classmethod
    def empty(cls, unknowns: int, findings: int) -> Slices:
        """Return slices in which nothing was counted."""
        return cls(np.zeros((unknowns, findings, SLICES)), np.zeros((unknowns, findings, SLICES)))

    def add(self, unknown: int, finding: int, uniform: Floats, exceeds: Floats) -> None:
        """Count draws (n) of an unknown, uniform between 0 and 1, with 1 where the finding's limit is exceeded."""
        at = (uniform * SLICES).astype(np.intp)
        self.hits[unknown, finding] += np.bincount(at, weights=exceeds, minlength=SLICES)
        self.seen[unknown, finding] += np.bincount(at, minlength=SLICES)

    def changes(self, chance: Floats, design_exceedance: float) -> Floats:
        """Return (I, K) the chance that knowing an unknown moves a verdict to another word; NaN where none was drawn.

        chance (K): of exceedance with nothing known. The words are those of the findings: below the design exceedance,
        from there to 50 %, above.
        """
        bounds = np.array([design_exceedance, LIKELY])
        with np.errstate(invalid="ignore"):
            given = np.searchsorted(bounds, self.hits / self.seen, side="right")
        before = np.searchsorted(bounds, chance, side="right")
        found = (given != before[None, :, None]).mean(axis=-1)
        return np.asarray(np.where((self.seen > 0.0).all(axis=-1), found, np.nan))
