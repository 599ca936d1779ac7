"""Shear-wave speed from SPT N: published correlations with their range, and the scatter to allow for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from envpredict.core.citation import Citation
from envpredict.core.ranges import Range
from envpredict.core.registry import Registry

Floats = NDArray[np.float64]

SCATTER_FRACTION = 0.30
SCATTER = Citation("engineering practice", None, "allow 25 to 30 % either way", "practice",
                   note="Ohta and Goto: about 300 data, correlation 0.72 on N alone, 0.86 at best "
                        "(it.scribd.com/document/437014583)")
RAYLEIGH_RATIO = 0.93
"""Speed of the surface wave over that of the shear wave, for Poisson's ratios of soil."""

_LECTURE = "a university's lecture tables, cit.nihon-u.ac.jp, bookdataA54-2, index54"
_SURVEY = "a regional survey's report, hp1039.jishin.go.jp/kozo/Mie9/3-2-4-2.htm"
AGE_FACTOR = {"alluvial": 1.0, "diluvial": 1.303}
SOIL_FACTOR = {"clay": 1.0, "fine_sand": 1.086}


@dataclass(frozen=True, slots=True)
class Correlation:
    """A published correlation of shear-wave speed with N."""

    id: str
    title: str
    soils: str
    function: Callable[[Floats], Floats]
    validity: Range
    citation: Citation


@dataclass(frozen=True, slots=True, eq=False)
class ShearWaveSpeed:
    """Shear-wave speeds in m/s: the correlation's value, the ends of its scatter, and whether N lies in its range."""

    m_s: Floats
    low_m_s: Floats
    high_m_s: Floats
    in_range: NDArray[np.bool_]


CORRELATIONS: Registry[Correlation] = Registry("correlation")


def _power(id: str, title: str, soils: str, factor: float, exponent: float, citation: Citation,
           validity: Range | None = None) -> None:
    def law(n: Floats) -> Floats:
        return np.asarray(factor * n**exponent)

    CORRELATIONS.add(id, Correlation(id, title, soils, law, validity or Range.unstated(), citation))


_power("imai_tonouchi_1982", "Imai and Tonouchi: 97.0 N^0.314", "all soils", 97.0, 0.314,
       Citation("Imai and Tonouchi", 1982, "shear-wave speed from N", "read", via=_LECTURE))
_power("imai_1975", "Imai: 89.8 N^0.341", "all soils", 89.8, 0.341,
       Citation("Imai", 1975, "shear-wave speed from N", "read", via=_SURVEY))
_power("road_bridge_sand", "Japanese road bridge specification: 80 N^(1/3)", "sand", 80.0, 1 / 3,
       Citation("Japanese specification for highway bridges", None, "sandy soil", "read", via=_LECTURE),
       Range(1, 50, "1 <= N <= 50"))
_power("road_bridge_clay", "Japanese road bridge specification: 100 N^(1/3)", "clay", 100.0, 1 / 3,
       Citation("Japanese specification for highway bridges", None, "clayey soil", "read", via=_LECTURE),
       Range(1, 25, "1 <= N <= 25"))
_power("regional_sand", "regional survey: 87.936 N^0.3267", "sand and gravel", 87.936, 0.3267,
       Citation("regional survey, Japan", None, "sand and gravel", "read", via=_SURVEY))
_power("regional_clay", "regional survey: 110.77 N^0.3371", "clay", 110.77, 0.3371,
       Citation("regional survey, Japan", None, "clay", "read", via=_SURVEY))


def shear_wave_speed(spt_n: ArrayLike, correlation: str) -> ShearWaveSpeed:
    """Return the shear-wave speed of ground with SPT N by a published correlation, with its scatter.

    spt_n: converted N, any shape; correlation: an id of `CORRELATIONS`. NaN gives NaN. Raises ValueError for a negative
    N, UnknownName for an unknown correlation. The range is `SCATTER_FRACTION` either way (practice).
    """
    n = np.asarray(spt_n, dtype=float)
    if (n < 0).any():
        raise ValueError("spt_n must not be negative")
    law = CORRELATIONS[correlation]
    speed = law.function(n)
    return ShearWaveSpeed(speed, speed * (1 - SCATTER_FRACTION), speed * (1 + SCATTER_FRACTION), law.validity.holds(n))


def ohta_goto_1978_m_s(spt_n: ArrayLike, depth_m: ArrayLike, *, age: str, soil: str) -> Floats:
    """Return the shear-wave speed in m/s by Ohta and Goto (1978): 68.79 N^0.171 H^0.199 Y S.

    spt_n: N; depth_m: depth H, m; age: alluvial (Y 1.0) or diluvial (1.303); soil: clay (S 1.000) or fine_sand (1.086).
    Arrays broadcast, NaN gives NaN; no range stated. Raises ValueError for a negative N or depth and unknown words.
    Source as for `imai_tonouchi_1982` (read at second hand); about 300 data, correlation 0.86.
    """
    n, depth = np.asarray(spt_n, dtype=float), np.asarray(depth_m, dtype=float)
    if (n < 0).any() or (depth < 0).any():
        raise ValueError("spt_n and depth_m must not be negative")
    if age not in AGE_FACTOR or soil not in SOIL_FACTOR:
        raise ValueError(f"age is one of {', '.join(AGE_FACTOR)}; soil one of {', '.join(SOIL_FACTOR)}")
    return np.asarray(68.79 * n**0.171 * depth**0.199 * AGE_FACTOR[age] * SOIL_FACTOR[soil])


def surface_wavelength_m(shear_wave_speed_m_s: ArrayLike, frequency_hz: ArrayLike) -> Floats:
    """Return the wavelength of the surface wave in m: 0.93 Vs / f. Arrays broadcast.

    Raises ValueError for a frequency or speed that isn't positive; NaN gives NaN.
    """
    speed, frequency = np.asarray(shear_wave_speed_m_s, dtype=float), np.asarray(frequency_hz, dtype=float)
    if (speed <= 0).any() or (frequency <= 0).any():
        raise ValueError("shear_wave_speed_m_s and frequency_hz must be positive")
    return np.asarray(RAYLEIGH_RATIO * speed / frequency)
