"""US Federal Transit Administration (2006): reference levels at 25 ft, falling with the distance to the power 1.5.

The manual averages reports; it takes a crest factor of 4 throughout and knows no energy. Its pair "upper range" and
"typical" is read as 95 % line and median, which is our inference: the manual gives no percentages.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from envpredict.core.citation import Citation
from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, choose, numbers, positive, power
from envpredict.models.spec import Origin, Scatter, model

DOCUMENT: Final = "US FTA, Transit Noise and Vibration Impact Assessment"
TABLE_12_2: Final = Citation(DOCUMENT, 2006, "Table 12-2 and the equations beside it", "read")

INCH_MM: Final = 25.4
REFERENCE_M: Final = 25.0 * 0.3048
CREST_FACTOR: Final = 4.0
EXPONENT: Final = 1.5


@dataclass(frozen=True, slots=True)
class SourceLevel:
    """A row of Table 12-2 as printed: PPV in inches per second and velocity level in dB re 1e-6 in/s, both at 25 ft."""

    ppv_in_s: float
    level_db: float


SOURCE_LEVELS: Final = {
    "impact_upper": SourceLevel(1.518, 112),
    "impact": SourceLevel(0.644, 104),
    "vibratory_upper": SourceLevel(0.734, 105),
    "vibratory": SourceLevel(0.170, 93),
    "clam_shovel_drop": SourceLevel(0.202, 94),
    "hydromill_soil": SourceLevel(0.008, 66),
    "hydromill_rock": SourceLevel(0.017, 75),
    "vibratory_roller": SourceLevel(0.210, 94),
    "hoe_ram": SourceLevel(0.089, 87),
    "large_bulldozer": SourceLevel(0.089, 87),
    "caisson_drilling": SourceLevel(0.089, 87),
    "loaded_truck": SourceLevel(0.076, 86),
    "jackhammer": SourceLevel(0.035, 79),
    "small_bulldozer": SourceLevel(0.003, 58),
}
"""The level printed for `hydromill_rock` doesn't follow from its PPV with the manual's crest factor (72.6, not 75)."""
REFERENCE_PPV_MM_S: Final = {name: row.ppv_in_s * INCH_MM for name, row in SOURCE_LEVELS.items()}
OTHER_SOURCES: Final = tuple(name for name in SOURCE_LEVELS if not name.startswith(("impact", "vibratory_upper")))

IMPACT_SD: Final = 0.32
VIBRATORY_SD: Final = 0.386
IMPACT_INFERENCE: Final = Citation(
    "our judgement", None, "log10(1.518 / 0.644) = 0.372, that is 0.226 if the upper range is the 95 % line; widened "
    "to 0.32, the middle of the impact laws", "estimate")
VIBRATORY_INFERENCE: Final = Citation(
    "our judgement", None, "log10(0.734 / 0.170) / 1.645: the upper range taken as the 95 % line", "estimate")
ORIGIN: Final = Origin("velocity_level_us_db", "velocity_level_us_from_ppv", CREST_FACTOR, None,
                       "root mean square over 1 s, as the manual's levels")
DISTANCE: Final = {"distance_m": Range.unstated("the manual states no range")}


def _falling(distance_m: ArrayLike) -> Floats:
    return (REFERENCE_M / positive(distance_m, "distance_m")) ** EXPONENT


@model(
    "fta_impact",
    title="Impact driving, typical level without energy (US transit guidance 2006)",
    quantity="ppv_unspecified", statistic="median", distance="plan", validity=DISTANCE, source=TABLE_12_2,
    scatter=Scatter.from_total(IMPACT_SD, IMPACT_INFERENCE), origin=ORIGIN,
)
def impact(distance_m: ArrayLike) -> Floats:
    """Return the typical PPV in mm/s: v = 16.4 (7.62 / D)^1.5; in print 0.644 in/s at 25 ft.

    distance_m: plan distance D, m, any shape. No range stated. Raises ValueError for a distance that isn't positive.
    Source: FTA 2006, Table 12-2.

    >>> round(float(impact(7.62)), 2)
    16.36
    """
    return REFERENCE_PPV_MM_S["impact"] * _falling(distance_m)


@model(
    "fta_impact_upper",
    title="Impact driving, upper range without energy (US transit guidance 2006)",
    quantity="ppv_unspecified", statistic="upper_bound", distance="plan", validity=DISTANCE, source=TABLE_12_2,
    scatter=Scatter.from_total(IMPACT_SD, IMPACT_INFERENCE, bound_z=math.log10(1.518 / 0.644) / IMPACT_SD),
    origin=ORIGIN,
)
def impact_upper(distance_m: ArrayLike) -> Floats:
    """Return the upper range of the PPV in mm/s: v = 38.6 (7.62 / D)^1.5; in print 1.518 in/s at 25 ft.

    distance_m: plan distance D, m, any shape. No range stated. Raises ValueError for a distance that isn't positive.
    Source: FTA 2006, Table 12-2.

    >>> round(float(impact_upper(7.62)), 2)
    38.56
    """
    return REFERENCE_PPV_MM_S["impact_upper"] * _falling(distance_m)


@model(
    "fta_vibratory",
    title="Vibratory driving, typical level (US transit guidance 2006)",
    quantity="ppv_unspecified", statistic="median", distance="plan", validity=DISTANCE, source=TABLE_12_2,
    scatter=Scatter.from_total(VIBRATORY_SD, VIBRATORY_INFERENCE), origin=ORIGIN,
)
def vibratory(distance_m: ArrayLike) -> Floats:
    """Return the typical PPV in mm/s: v = 4.32 (7.62 / D)^1.5; in print 0.170 in/s at 25 ft.

    distance_m: plan distance D, m, any shape. No range stated. Raises ValueError for a distance that isn't positive.
    Source: FTA 2006, Table 12-2.

    >>> round(float(vibratory(7.62)), 2)
    4.32
    """
    return REFERENCE_PPV_MM_S["vibratory"] * _falling(distance_m)


@model(
    "fta_vibratory_upper",
    title="Vibratory driving, upper range (US transit guidance 2006)",
    quantity="ppv_unspecified", statistic="upper_bound", distance="plan", validity=DISTANCE, source=TABLE_12_2,
    scatter=Scatter.from_total(VIBRATORY_SD, VIBRATORY_INFERENCE, bound_z=math.log10(0.734 / 0.170) / VIBRATORY_SD),
    origin=ORIGIN,
)
def vibratory_upper(distance_m: ArrayLike) -> Floats:
    """Return the upper range of the PPV in mm/s: v = 18.6 (7.62 / D)^1.5; in print 0.734 in/s at 25 ft.

    distance_m: plan distance D, m, any shape. No range stated. Raises ValueError for a distance that isn't positive.
    Source: FTA 2006, Table 12-2.

    >>> round(float(vibratory_upper(7.62)), 2)
    18.64
    """
    return REFERENCE_PPV_MM_S["vibratory_upper"] * _falling(distance_m)


OTHER_SCATTER: Final = Scatter.from_total(
    0.39, Citation("our judgement", None, "as for vibratory driving; the manual says 'wide'", "estimate"))


@model(
    "fta_source",
    title="Drilling, slurry walls and other plant by name (US transit guidance 2006)",
    quantity="ppv_unspecified", statistic="median", distance="plan", validity=DISTANCE, source=TABLE_12_2,
    scatter=OTHER_SCATTER, options={"fta_source": OTHER_SOURCES}, origin=ORIGIN,
)
def source(distance_m: ArrayLike, *, fta_source: ArrayLike) -> Floats:
    """Return the PPV in mm/s of a row of the manual's table: v = v_ref (7.62 / D)^1.5.

    distance_m: plan distance D, m; fta_source: a row (caisson_drilling, hydromill_soil, ...). Arrays broadcast. No
    range stated. Raises ValueError for a distance that isn't positive and for an unknown row. The value for drilling
    lies above every Japanese range for augers and drills: an upper one. Source: FTA 2006, Table 12-2.

    >>> round(float(source(7.62, fta_source="caisson_drilling")), 2)
    2.26
    """
    rows = {name: REFERENCE_PPV_MM_S[name] for name in OTHER_SOURCES}
    return choose(fta_source, rows, "fta_source") * _falling(distance_m)


@model(
    "fta_reference",
    title="Any source from its level at the reference distance (US transit guidance 2006)",
    quantity="ppv_unspecified", statistic="median", distance="plan",
    validity={**DISTANCE, "reference_ppv_mm_s": Range.unstated(), "reference_distance_m": Range.unstated(),
              "exponent": Range.unstated()},
    source=TABLE_12_2, scatter=OTHER_SCATTER, origin=ORIGIN,
)
def reference(distance_m: ArrayLike, *, reference_ppv_mm_s: ArrayLike, reference_distance_m: ArrayLike = REFERENCE_M,
              exponent: ArrayLike = EXPONENT) -> Floats:
    """Return the PPV in mm/s: v = v_ref (D_ref / D)^n.

    distance_m: plan distance D, m; reference_ppv_mm_s: PPV at reference_distance_m (7.62 m, 25 ft), mm/s; exponent: n,
    1.5 in the manual. Arrays broadcast. No range stated. Raises ValueError for arguments that aren't positive. Source:
    FTA 2006, text of Table 12-2.

    >>> round(float(reference(15.24, reference_ppv_mm_s=4.32)), 2)
    1.53
    """
    ratio = positive(reference_distance_m, "reference_distance_m") / positive(distance_m, "distance_m")
    return positive(reference_ppv_mm_s, "reference_ppv_mm_s") * power(ratio, positive(exponent, "exponent"))


@model(
    "fta_level",
    title="Velocity level from its value at the reference distance (US transit guidance 2006)",
    quantity="velocity_level_us_db", statistic="median", distance="plan",
    validity={**DISTANCE, "reference_level_db": Range.unstated(), "reference_distance_m": Range.unstated()},
    source=TABLE_12_2,
    scatter=Scatter.from_total(7.8, OTHER_SCATTER.source, within_site=4.0),
)
def level(distance_m: ArrayLike, *, reference_level_db: ArrayLike,
          reference_distance_m: ArrayLike = REFERENCE_M) -> Floats:
    """Return the velocity level in dB re 1e-6 in/s: L = L_ref - 30 log(D / D_ref).

    distance_m: plan distance D, m; reference_level_db: level at reference_distance_m (7.62 m, 25 ft), dB re 1e-6 in/s.
    Arrays broadcast. No range stated. Raises ValueError for a distance that isn't positive. Source: FTA 2006, text of
    Table 12-2.

    >>> round(float(level(13.1, reference_level_db=87.0)), 1)
    79.9
    """
    ratio = positive(distance_m, "distance_m") / positive(reference_distance_m, "reference_distance_m")
    return numbers(reference_level_db, "reference_level_db") - 30.0 * np.log10(ratio)
