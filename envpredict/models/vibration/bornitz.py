"""Bornitz: geometric spreading with material damping, for single frequencies and root mean square levels.

An exponent of 0.5 to 1 with damping is never combined with the composite exponents of 1.1 to 1.6 of other laws: those
already hold the damping. A broad spectrum decays as a power of the distance instead (Auersch 2010).
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from envpredict.core.citation import Citation
from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, choose, not_negative, positive
from envpredict.models.spec import Scatter, model

MANUAL: Final = "California DOT, Transportation and Construction Vibration Guidance Manual"
SOURCE: Final = Citation("Bornitz", None, "decay of amplitude with distance", "read",
                         via=f"{MANUAL} (2013), equation 6, and a sheet of the Japanese Ministry of the Environment")
GEOMETRY_SOURCE: Final = Citation(MANUAL, 2013, "text of equation 6: exponents of surface and body waves; for a "
                                  "mixture 0.75, the practice of Japanese construction assessment", "read")
DAMPING_SOURCE: Final = Citation("Woods and Jedele", 1985, "damping by soil class at 5 and 50 Hz", "memory")
DAMPING_RATIO_SOURCE: Final = Citation("plane wave of constant damping ratio", None, "alpha = 2 pi f D / V_R, with "
                                       "V_R = 0.93 V_S", "practice")

GEOMETRY_EXPONENT: Final = {"surface_wave": 0.5, "mixed": 0.75, "body_wave": 1.0, "body_wave_surface": 2.0}
CLASS_DAMPING_5_HZ: Final = {
    "low": {"I": 0.01, "II": 0.003, "III": 0.0003, "IV": 0.0},
    "high": {"I": 0.03, "II": 0.01, "III": 0.003, "IV": 0.0003},
}
"""alpha in 1/m at 5 Hz, ends of the ranges by soil class: I weak or soft (N < 5), II competent (5 to 15), III hard (15
to 50), IV rock (above 50), for which only an upper end is given: the low end is none."""
RAYLEIGH_OVER_SHEAR: Final = 0.93

SCATTER: Final = Scatter.from_total(
    0.30, Citation("our judgement", None, "as for the drilled methods, on which this decay is used", "estimate"))
FREE: Final = Range.unstated("the source names uniform soil and no structure in the path, but no range")


@model(
    "bornitz",
    title="Spreading with damping of the ground, from a level at a reference distance (Bornitz)",
    quantity="ppv_unspecified", statistic="median", distance="plan",
    validity={"distance_m": FREE, "reference_ppv_mm_s": FREE, "reference_distance_m": FREE,
              "damping_per_m": Range(0.0, 0.3, "the span of published values, at up to 50 Hz")},
    source=SOURCE, sources=(GEOMETRY_SOURCE,), scatter=SCATTER, flags=frozenset({"generic"}),
    options={"geometry": tuple(GEOMETRY_EXPONENT)},
)
def bornitz(distance_m: ArrayLike, *, reference_ppv_mm_s: ArrayLike, reference_distance_m: ArrayLike,
            damping_per_m: ArrayLike, geometry: ArrayLike = "surface_wave") -> Floats:
    """Return the PPV in mm/s: v = v_1 (r_1 / r)^n exp(-alpha (r - r_1)).

    distance_m: r, m; reference_ppv_mm_s: v_1 at reference_distance_m r_1; damping_per_m: alpha at the frequency that
    governs, 1/m, 0 or above; geometry: surface_wave (n 0.5), mixed (0.75), body_wave (1.0), body_wave_surface (2.0, a
    body wave along the surface). Arrays broadcast. Uniform soil, no structure in the path. Raises ValueError for a
    distance or reference that isn't positive, a negative damping and an unknown word. Source: Bornitz.

    >>> v = bornitz(10.0, reference_ppv_mm_s=1.0, reference_distance_m=5.0, damping_per_m=0.01, geometry="mixed")
    >>> round(20.0 * float(np.log10(v)), 2)
    -4.95
    """
    r = positive(distance_m, "distance_m")
    r_1 = positive(reference_distance_m, "reference_distance_m")
    alpha = not_negative(damping_per_m, "damping_per_m")
    n = choose(geometry, GEOMETRY_EXPONENT, "geometry")
    return positive(reference_ppv_mm_s, "reference_ppv_mm_s") * (r_1 / r) ** n * np.exp(alpha * (r_1 - r))


@model(
    "damping_of_class",
    title="Damping of the ground from its class and the frequency (Woods and Jedele 1985)",
    quantity="material_damping", statistic="deterministic", distance="none",
    validity={"frequency_hz": Range(5.0, 50.0, "values given at 5 and 50 Hz, proportional to frequency")},
    source=DAMPING_SOURCE,
    options={"caltrans_class": ("I", "II", "III", "IV"), "damping_bound": tuple(CLASS_DAMPING_5_HZ)},
)
def damping_of_class(frequency_hz: ArrayLike, *, caltrans_class: ArrayLike,
                     damping_bound: ArrayLike = "low") -> Floats:
    """Return the damping alpha in 1/m, proportional to frequency from its value at 5 Hz.

    frequency_hz: Hz; caltrans_class: I, II, III or IV; damping_bound: the low end of the class's range, which keeps
    levels high beyond the reference distance, or the high end. Arrays broadcast. Valid for 5 to 50 Hz. Raises
    ValueError for a frequency that isn't positive and for unknown words. Source: Woods and Jedele 1985 (from memory:
    verify).

    >>> round(float(damping_of_class(50.0, caltrans_class="I")), 3)
    0.1
    """
    f = positive(frequency_hz, "frequency_hz")
    low = choose(caltrans_class, CLASS_DAMPING_5_HZ["low"], "caltrans_class")
    high = choose(caltrans_class, CLASS_DAMPING_5_HZ["high"], "caltrans_class")
    share = choose(damping_bound, {"low": 0.0, "high": 1.0}, "damping_bound")
    return f / 5.0 * ((1.0 - share) * low + share * high)


@model(
    "damping_of_ratio",
    title="Damping of the ground from its damping ratio and shear wave speed",
    quantity="material_damping", statistic="deterministic", distance="none",
    validity={"frequency_hz": Range.unstated(), "shear_wave_speed_m_s": Range.unstated(),
              "damping_ratio": Range(0.0, 0.2, "small damping")},
    source=DAMPING_RATIO_SOURCE,
)
def damping_of_ratio(frequency_hz: ArrayLike, shear_wave_speed_m_s: ArrayLike, *, damping_ratio: ArrayLike) -> Floats:
    """Return the damping alpha in 1/m: 2 pi f D / V_R with the surface wave's speed V_R = 0.93 V_S.

    frequency_hz: f, Hz; shear_wave_speed_m_s: V_S, m/s; damping_ratio: D, fraction of critical, 0 or above and small.
    Arrays broadcast. Raises ValueError for a frequency or speed that isn't positive and a negative ratio. Source:
    wave of constant damping ratio (practice).

    >>> round(float(damping_of_ratio(15.0, 200.0 / 0.93, damping_ratio=0.03)), 4)
    0.0141
    """
    V_R = RAYLEIGH_OVER_SHEAR * positive(shear_wave_speed_m_s, "shear_wave_speed_m_s")
    return 2.0 * np.pi * positive(frequency_hz, "frequency_hz") * not_negative(damping_ratio, "damping_ratio") / V_R


@model(
    "bornitz_class",
    title="Spreading with the damping of the ground's class at a frequency (Bornitz; Woods and Jedele)",
    quantity="ppv_unspecified", statistic="median", distance="plan",
    validity={"distance_m": FREE, "reference_ppv_mm_s": FREE, "reference_distance_m": FREE,
              "frequency_hz": Range(5.0, 50.0, "damping given at 5 and 50 Hz")},
    source=SOURCE, sources=(GEOMETRY_SOURCE, DAMPING_SOURCE), scatter=SCATTER, flags=frozenset({"generic"}),
    options={"geometry": tuple(GEOMETRY_EXPONENT), "caltrans_class": ("I", "II", "III", "IV"),
             "damping_bound": tuple(CLASS_DAMPING_5_HZ)},
)
def bornitz_class(distance_m: ArrayLike, frequency_hz: ArrayLike, *, reference_ppv_mm_s: ArrayLike,
                  reference_distance_m: ArrayLike, caltrans_class: ArrayLike, geometry: ArrayLike = "surface_wave",
                  damping_bound: ArrayLike = "low") -> Floats:
    """Return the PPV in mm/s by `bornitz` with the damping of `damping_of_class`.

    distance_m: m; frequency_hz: Hz; reference_ppv_mm_s at reference_distance_m; the words as there. Arrays broadcast.
    Valid for 5 to 50 Hz. Raises ValueError as there. Source: Bornitz; Woods and Jedele 1985 (from memory:
    verify).

    >>> round(float(bornitz_class(20.0, 10.0, reference_ppv_mm_s=4.0, reference_distance_m=5.0, caltrans_class="I")), 3)
    1.482
    """
    alpha = damping_of_class(frequency_hz, caltrans_class=caltrans_class, damping_bound=damping_bound)
    return bornitz(distance_m, reference_ppv_mm_s=reference_ppv_mm_s, reference_distance_m=reference_distance_m,
                   damping_per_m=alpha, geometry=geometry)
