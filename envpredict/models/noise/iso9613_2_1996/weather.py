"""ISO 9613-2 clauses 8 and 9: the long-term correction for weather, and the accuracy that the standard states."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, not_negative, numbers, positive
from envpredict.models.noise.arguments import result
from envpredict.models.noise.iso9613_2_1996.ground import DISTANCE_RANGE, HEIGHT_RANGES
from envpredict.models.noise.iso9613_2_1996.sources import ACCURACY, WEATHER
from envpredict.models.spec import model


@model("iso9613_long_term", title="Long-term correction for weather, Cmet", quantity="attenuation_db",
       statistic="deterministic", position="free_field", distance="plan",
       validity={"distance_m": DISTANCE_RANGE, **HEIGHT_RANGES,
                 "weather_constant_db": Range(0.0, 5.0, "8: C0 is 0 to 5 dB")},
       source=WEATHER, falls_with_distance=False)
def long_term_correction_db(distance_m: ArrayLike, source_height_m: ArrayLike, receptor_height_m: ArrayLike, *,
                            weather_constant_db: ArrayLike) -> Floats:
    """Return Cmet of equations (21) and (22) in dB: what the long-term mean level lies below the downwind level.

    distance_m: plan distance dp in m. The heights are above ground in m. weather_constant_db: C0 of the place, 0 to 5,
    from its statistics of wind; there is no value for everywhere. All broadcast. Raises ValueError that names the
    argument.

    >>> round(float(long_term_correction_db(500.0, 3.0, 4.0, weather_constant_db=2.0)), 2)
    1.72
    """
    dp = positive(distance_m, "distance_m")
    heights = (not_negative(source_height_m, "source_height_m")
               + not_negative(receptor_height_m, "receptor_height_m"))
    c0 = not_negative(weather_constant_db, "weather_constant_db")
    return result(c0 * np.maximum(1.0 - 10.0 * heights / dp, 0.0))


class Accuracy(NamedTuple):
    """A cell of Table 5: limits of the mean height and of the distance in m, and the stated plus or minus in dB."""

    height_from_m: float
    height_to_m: float
    distance_from_m: float
    distance_to_m: float
    plus_minus_db: float


TABLE_5: Final = (
    Accuracy(0.0, 5.0, 0.0, 100.0, 3.0),
    Accuracy(0.0, 5.0, 100.0, 1000.0, 3.0),
    Accuracy(5.0, 30.0, 0.0, 100.0, 1.0),
    Accuracy(5.0, 30.0, 100.0, 1000.0, 3.0),
)
"""Of the A-weighted downwind level of broadband sources, without screening or reflections."""
TABLE_5_SOURCE: Final = ACCURACY


def stated_accuracy_db(distance_m: ArrayLike, mean_height_m: ArrayLike) -> Floats:
    """Return the accuracy that Table 5 states, plus or minus in dB; NaN where it states none.

    distance_m: m. mean_height_m: mean of the heights of source and receptor in m. They broadcast. On the limit between
    two cells the larger value holds. Raises ValueError for a distance not positive or a negative height.

    >>> [float(a) for a in stated_accuracy_db([50.0, 500.0, 2000.0], 8.0)]
    [1.0, 3.0, nan]
    """
    d, h = np.broadcast_arrays(positive(distance_m, "distance_m"), not_negative(mean_height_m, "mean_height_m"))
    found = np.full(d.shape, np.nan)
    for cell in TABLE_5:
        here = ((h >= cell.height_from_m) & (h <= cell.height_to_m)
                & (d >= cell.distance_from_m) & (d <= cell.distance_to_m))
        found = np.where(here, np.fmax(found, cell.plus_minus_db), found)
    return result(numbers(found, "found"))
