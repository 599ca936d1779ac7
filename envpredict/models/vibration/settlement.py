"""Shear strain of the ground under vibration, screened against strain bands for loose saturated sand.

A check of its own, never hidden inside a velocity limit: settlement has been seen in loose clean sand at velocities as
low as 2.5 mm/s (Lacy and Gould 1985, from memory), and it can reach farther than direct damage.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from envpredict.core.citation import Citation
from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, not_negative, positive
from envpredict.models.spec import model

MASSARSCH: Final = "Massarsch, settlements and damage caused by construction-induced vibrations"
STRAIN: Final = Citation(MASSARSCH, 2000, "strain from particle velocity and wave speed; settlement depends on strain "
                         "and cycles", "read", via="abstract")
BANDS: Final = Citation(MASSARSCH, 2000, "bands of shear strain", "memory")


@dataclass(frozen=True, slots=True)
class StrainBand:
    """A band of shear strain: `low` is included, the band ends where the next one begins."""

    word: str
    low: float
    meaning: str
    source: Citation = BANDS


STRAIN_BANDS: Final = (
    StrainBand("negligible", 0.0, "below 0.001 %: settlement negligible"),
    StrainBand("low", 1e-5, "0.001 to 0.01 %: risk of settlement low"),
    StrainBand("possible", 1e-4, "0.01 to 0.1 %: above the threshold of volume change, settlement possible"),
    StrainBand("considerable", 1e-3, "0.1 % and more: considerable settlement to be expected"),
)
"""For loose to medium dense saturated sand and silt. The strain of the last band needs a reduced wave speed."""

SPEED: Final = Range(50.0, 1500.0, "our judgement: soft soil to weak rock")
SMALL: Final = Range(0.0, 1e-3, "our judgement: wave speeds fall at larger strain")


@model(
    "shear_strain_from_ppv",
    title="Shear strain of the ground from its vibration and stiffness",
    quantity="shear_strain", statistic="deterministic", distance="none",
    validity={"ppv_mm_s": Range.unstated(), "shear_wave_speed_m_s": SPEED}, source=STRAIN,
)
def shear_strain_from_ppv(ppv_mm_s: ArrayLike, shear_wave_speed_m_s: ArrayLike) -> Floats:
    """Return the peak shear strain (1 = 100 %): PPV / V_S.

    ppv_mm_s: in the ground, mm/s; shear_wave_speed_m_s: V_S of the layer, m/s, reduced for strains near 0.1 %. Arrays
    broadcast. Raises ValueError for arguments that aren't positive. Source: Massarsch 2000.

    >>> round(float(shear_strain_from_ppv(10.0, 100.0)), 6)
    0.0001
    """
    return 1e-3 * positive(ppv_mm_s, "ppv_mm_s") / positive(shear_wave_speed_m_s, "shear_wave_speed_m_s")


@model(
    "ppv_from_shear_strain",
    title="Vibration at which the ground reaches a shear strain",
    quantity="ppv_unspecified", statistic="deterministic", distance="none",
    validity={"shear_strain": SMALL, "shear_wave_speed_m_s": SPEED}, source=STRAIN,
)
def ppv_from_shear_strain(shear_strain: ArrayLike, shear_wave_speed_m_s: ArrayLike) -> Floats:
    """Return the PPV in mm/s at a peak shear strain. The inverse of `shear_strain_from_ppv`.

    shear_strain: 1 = 100 %; shear_wave_speed_m_s: m/s. Arrays broadcast. Raises ValueError for arguments that aren't
    positive. Source: Massarsch 2000.

    >>> round(float(ppv_from_shear_strain(1e-4, 150.0)), 1)
    15.0
    """
    return 1e3 * positive(shear_strain, "shear_strain") * positive(shear_wave_speed_m_s, "shear_wave_speed_m_s")


def strain_band(shear_strain: ArrayLike) -> NDArray[np.str_]:
    """Return the word of the band that each shear strain lies in, any shape; `unknown` for NaN.

    Raises ValueError for a negative strain. Source: Massarsch 2000 (bands from memory: verify).

    >>> str(strain_band(5e-5))
    'low'
    """
    strain = not_negative(shear_strain, "shear_strain")
    words = np.array([band.word for band in STRAIN_BANDS])
    number = np.searchsorted(np.array([band.low for band in STRAIN_BANDS]), strain, side="right") - 1
    return np.where(np.isnan(strain), "unknown", words[number])
