"""FTA, Transit Noise and Vibration Impact Assessment, 2006, chapter 12: noise of construction by hand."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from envpredict.core.citation import Citation
from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, not_negative, numbers, positive
from envpredict.models.noise.arguments import between, result
from envpredict.models.spec import Scatter, model

FOOT_M: Final = 0.3048
REFERENCE_DISTANCE_M: Final = 50.0 * FOOT_M
_TITLE = "FTA, Transit Noise and Vibration Impact Assessment"
EQUATION: Final = Citation(f"{_TITLE}, FTA-VA-90-1003-06", 2006, "chapter 12, equation for Leq(equip)", "read")
TABLE_12_1: Final = Citation(f"{_TITLE}, FTA-VA-90-1003-06", 2006, "Table 12-1", "read")
TABLE_7_1: Final = Citation(f"{_TITLE} Manual, Report 0123", 2018, "Table 7-1", "memory")
GROUND: Final = Citation(f"{_TITLE} Manual, Report 0123", 2018, "ground factor G by effective path height", "memory")
FIELD_TEST: Final = Citation(
    "Staiano, Transportation Research Record 1702, paper 05", 2000, "8 sites: mean error 3 dB(A) of single machines",
    "read", via="an index of papers", note="groups of plant over a whole period were over-predicted by about 6 dB(A)")

TYPICAL_2006_DB: Final = MappingProxyType({
    "impact_pile_driver": 101.0, "vibratory_pile_driver": 96.0, "rock_drill": 98.0, "derrick_crane": 88.0,
    "mobile_crane": 83.0, "air_compressor": 81.0, "backhoe": 80.0, "concrete_mixer": 85.0, "concrete_pump": 82.0,
    "concrete_vibrator": 76.0, "dozer": 85.0, "generator": 81.0, "jackhammer": 88.0, "loader": 85.0,
    "pneumatic_tool": 85.0, "pump": 76.0, "roller": 74.0, "saw": 76.0, "shovel": 82.0, "truck": 88.0,
})
"""Typical maximum level in dB(A) at 50 ft (15.24 m); see `TABLE_12_1`."""
TYPICAL_2018_DB: Final = MappingProxyType({
    "impact_pile_driver": 101.0, "vibratory_pile_driver": 95.0, "rock_drill": 95.0, "derrick_crane": 88.0,
    "mobile_crane": 83.0, "pneumatic_tool": 85.0, "jackhammer": 88.0, "shovel": 82.0, "backhoe": 80.0, "loader": 80.0,
    "dozer": 85.0, "generator": 82.0, "air_compressor": 80.0, "concrete_mixer": 85.0, "concrete_pump": 82.0,
    "truck": 84.0, "saw": 76.0,
})
"""The later edition's values, recalled: verify; see `TABLE_7_1`."""


def soft_ground_coefficient(effective_height_m: ArrayLike) -> Floats:
    """Return G over soft ground: 0.66 below 5 ft, 0.75 (1 - H/42 ft) up to 42 ft, 0 above; over hard ground G is 0.

    effective_height_m: effective path height in m, 0 or more, any shape. Raises ValueError for a negative height.
    Source: recalled (`GROUND`).

    >>> round(float(soft_ground_coefficient(1.0)), 2), float(soft_ground_coefficient(13.0))
    (0.66, 0.0)
    """
    feet = not_negative(effective_height_m, "effective_height_m") / FOOT_M
    return result(np.where(feet < 5.0, 0.66, np.maximum(0.75 * (1.0 - feet / 42.0), 0.0)))


@model("fta_noise", title="Level of construction plant by hand (FTA)", quantity="laeq_db", statistic="median",
       position="free_field", distance="plan", source=EQUATION,
       validity={"reference_level_db": Range.unstated(), "distance_m": Range.unstated(),
                 "usage": Range(0.0, 1.0, "chapter 12: fraction of the period"),
                 "ground_coefficient": Range(0.0, 0.75, "ground factor of the general method")},
       scatter=Scatter(3.0, 0.0, FIELD_TEST))
def construction_leq(reference_level_db: ArrayLike, distance_m: ArrayLike, *, usage: ArrayLike = 1.0,
                     ground_coefficient: ArrayLike = 0.0) -> Floats:
    """Return Leq(equip) = E.L. + 10 lg U.F. - 20 lg(D/50 ft) - 10 G lg(D/50 ft) in dB(A), incident.

    reference_level_db: E.L., the level at 50 ft (15.24 m); the document's typical ones are maxima, so that the result
    is high for a mean. distance_m: D in m. usage: U.F., the fraction of the period at full power, 0 to 1 (1 in a
    general assessment). ground_coefficient: G, 0 over hard ground. All broadcast; a usage of 0 gives -inf.
    Raises ValueError that names the argument.

    >>> round(float(construction_leq(101.0, 100 * FOOT_M)), 1)
    95.0
    """
    ratio = np.log10(positive(distance_m, "distance_m") / REFERENCE_DISTANCE_M)
    with np.errstate(divide="ignore"):
        working = 10.0 * np.log10(between(usage, 0.0, 1.0, "usage"))
    slope = 20.0 + 10.0 * not_negative(ground_coefficient, "ground_coefficient")
    return result(numbers(reference_level_db, "reference_level_db") + working - slope * ratio)
