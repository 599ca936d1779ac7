"""The ground along each pile's drive, in the words that laws, rates and rules ask for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.learned.read import proved_hard

if TYPE_CHECKING:
    from envpredict.ground.ground import Ground
    from envpredict.scenario.types import Scenario

Floats = NDArray[np.float64]
STEP_M = 0.5
UNKNOWN = "unknown"
NEAREST_BOREHOLE = "ground at each pile: the nearest borehole"


@dataclass(frozen=True, slots=True, eq=False)
class Drives:
    """The drive of each pile (P) through the ground, in depth steps (D) of `STEP_M` down to the longest pile.

    `depth_m` (D): the toe's depth at the end of each step; `within` (P, D): steps that belong to the pile's drive;
    `borehole` (P): number of the borehole that stands for the pile's ground, -1 where there's none; `proved_hard` (P):
    press records of the site show harder ground than the borehole.
    """

    depth_m: Floats
    within: NDArray[np.bool_]
    length_m: Floats
    borehole: NDArray[np.intp]
    ground: Ground | None
    stated: str | None
    proved_hard: NDArray[np.bool_]

    def take(self, piles: NDArray[np.intp]) -> Drives:
        """Return the drives of some piles, in their order; a pile may be asked for more than once."""
        return Drives(self.depth_m, self.within[piles], self.length_m[piles], self.borehole[piles], self.ground,
                      self.stated, self.proved_hard[piles])

    def words(self, scheme: str) -> NDArray[np.str_]:
        """Return (P, D) the ground's words in a scheme; `unknown` where strata don't tell.

        Without boreholes the catalogue's class that the scenario states holds for every depth, and other schemes are
        unknown.
        """
        if self.ground is None:
            word = self.stated if scheme == "catalogue" and self.stated else UNKNOWN
            return np.full(self.within.shape, word)
        holes, inverse = np.unique(self.borehole, return_inverse=True)
        middle = self.depth_m - 0.5 * STEP_M
        table = np.array([self.ground.words(scheme, int(hole), middle) for hole in holes], dtype=np.str_)
        return table[inverse]

    def step_lengths(self) -> Floats:
        """Return (P, D) the length of each step inside each pile's drive; the last one may be shorter."""
        top = self.depth_m - STEP_M
        return np.clip(self.length_m[:, None] - top[None, :], 0.0, STEP_M)


def read_ground(scenario: Scenario) -> Ground | None:
    """Return the ground of the scenario's boreholes, None where it brings none. Raises InputProblems for faults."""
    from envpredict.ground.ground import Ground

    return None if scenario.strata is None else Ground.from_strata(scenario.strata)


def drives(scenario: Scenario, ground: Ground | None) -> Drives:
    """Return the drives of the scenario's piles."""
    lengths = scenario.piles["length_m"].to_numpy(dtype=float)
    count = int(np.ceil(lengths.max() / STEP_M - 1e-9))
    depth = np.arange(1, count + 1, dtype=np.float64) * STEP_M
    within = depth[None, :] - STEP_M < lengths[:, None] - 1e-9
    borehole = np.full(len(lengths), -1, dtype=np.intp)
    if ground is not None:
        x = scenario.piles.geometry.x.to_numpy(dtype=float)
        y = scenario.piles.geometry.y.to_numpy(dtype=float)
        borehole = np.asarray(ground.nearest(x, y), dtype=np.intp)
    return Drives(depth, within, lengths, borehole, ground, scenario.ground_defaults.ground_class,
                  proved_hard(scenario))


def shallowest(words: NDArray[np.str_], within: NDArray[np.bool_], depth_m: Floats, word: str) -> Floats:
    """Return (P,) the least toe depth at which each pile's drive is in this word's ground; NaN where it never is."""
    hit = (words == word) & within
    first = hit.argmax(axis=1)
    return np.where(hit.any(axis=1), depth_m[first], np.nan)
