"""Static resistance of a pile going down through layers: what a press must push and a vibrator must overcome.

The same recalled rules as in `checks`, summed layer by layer: a rough check of size. A driveability analysis,
experience or a trial decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from envpredict.core.citation import Citation
from envpredict.methods.fields import GroundClass
from envpredict.methods.load import load_check_tables

Floats = NDArray[np.float64]

HIGHEST_N: Final = 50.0
CAPPED_N: Final = Citation("our judgement", None, "N counts as 50 at most: the rules were made below refusal",
                           "estimate", note="resistances in harder ground are at least these")
SHAFT_MOVING: Final = 0.25
"""The part of cu that acts on the shaft of a moving pile: half of an adhesion of 0.5; see `checks.PRESS_CLAY`."""
BETA_ROWS: Final[dict[GroundClass, str]] = {
    "soft_clay": "soft loam or marl, soft loess",
    "stiff_clay": "marl, stiff to very stiff clay",
    "loose_sand": "angular sand, coarse gravel",
    "dense_sand": "angular sand, coarse gravel",
    "gravel_cobbles": "angular sand, coarse gravel",
}
DRY_ROW: Final = "angular or dry fine sand"
BETA_CHOICE: Final = Citation("our judgement", None, "row of the army manual's table for each ground class", "estimate",
                              note="the less favourable row where the shape of the grains isn't known")


@dataclass(frozen=True, slots=True, eq=False)
class Layers:
    """Layers (L) downwards from the surface, in m, kPa; a strength is NaN where it isn't known or doesn't apply.

    `base_m`: depth of each layer's base, the last one at the pile's toe; `soil`: ground classes; `wet`: below
    groundwater.
    """

    base_m: Floats
    soil: NDArray[np.str_]
    n: Floats
    cu_kpa: Floats
    wet: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Section:
    """The steel that goes down at once: area in m2, skin per metre outside and inside in m."""

    toe_area_m2: float
    outer_m: float
    inner_m: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Resistance:
    """Static resistance in kN with the toe at the base of each layer (L); NaN from the first layer without a strength.

    `shaft_kn`: of the skin outside and inside; `toe_kn`: at the toe; `vibrated_kn`: what is left while it vibrates.
    """

    shaft_kn: Floats
    toe_kn: Floats
    vibrated_kn: Floats

    @property
    def total_kn(self) -> Floats:
        """Return shaft and toe together."""
        return self.shaft_kn + self.toe_kn


def betas(soil: ArrayLike, wet: ArrayLike) -> Floats:
    """Return the fraction of the static resistance that is left under vibration; NaN for ground without a row.

    soil: ground classes; wet: below groundwater (sand above it counts as dry). Arrays broadcast. Rows `BETA_ROWS` of
    the table `vibratory_beta` (UFC 3-220-02, Table 2-2).
    """
    rows = {row.name: row.low for row in load_check_tables()["vibratory_beta"].rows}
    words, below = np.broadcast_arrays(np.asarray(soil, dtype=np.str_), np.asarray(wet, dtype=bool))
    found = np.full(words.shape, np.nan)
    for name, row in BETA_ROWS.items():
        found[words == name] = rows[row]
    found[np.isin(words, ("loose_sand", "dense_sand")) & ~below] = rows[DRY_ROW]
    return found


def static_resistance(layers: Layers, section: Section) -> Resistance:
    """Return the resistance of a pile going down through layers.

    Coarse soil by Meyerhof (1976): toe 400 N kPa on the steel (unplugged), skin N kPa, N at most 50; clay: 9 cu at the
    toe, 0.25 cu on the moving skin. Both rules are recalled (`checks.MEYERHOF`, `checks.PRESS_CLAY`). Ground without
    either strength (rock, say) leaves NaN from there on.
    """
    n = np.minimum(layers.n, HIGHEST_N)
    clay = np.isin(layers.soil, ("soft_clay", "stiff_clay"))
    known = np.isin(layers.soil, tuple(BETA_ROWS))
    skin_kpa = np.where(known, np.where(clay, SHAFT_MOVING * layers.cu_kpa, n), np.nan)
    toe_kpa = np.where(known, np.where(clay, 9.0 * layers.cu_kpa, 400.0 * n), np.nan)
    thickness = np.diff(layers.base_m, prepend=0.0)
    left = betas(layers.soil, layers.wet)
    around = skin_kpa * thickness * (section.outer_m + section.inner_m)
    toe = toe_kpa * section.toe_area_m2
    return Resistance(np.cumsum(around), toe, np.cumsum(around * left) + toe * left)
