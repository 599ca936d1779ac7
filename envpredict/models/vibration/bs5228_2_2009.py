"""BS 5228-2:2009+A1:2014, Annex E: percussive and vibratory piling. The constants come from TRL Report 429 (2000).

Laws of the same table for compaction, stone columns and tunnelling are left out: they install no piles.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from envpredict.core.citation import Citation
from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, choose, positive
from envpredict.models.spec import DerivedRange, Scatter, model

DOCUMENT: Final = "BS 5228-2:2009+A1:2014"
TABLE_E1: Final = Citation(DOCUMENT, 2014, "Annex E, Table E.1", "memory")
TABLE_E2: Final = Citation(DOCUMENT, 2014, "Annex E, Table E.2", "memory")
TRL_429: Final = Citation("TRL Report 429", 2000, "abstract: vibratory predictors at three exceedance probabilities, "
                          "impact piling as a likely upper bound by ground type", "read")

PERCUSSIVE_K: Final = {"soft": 1.0, "stiff": 1.5, "very_stiff": 3.0, "refusal": 5.0}
"""k_p: soft cohesive, loose granular, loose fill, organic; stiff cohesive, medium dense granular, compacted fill; very
stiff cohesive, dense granular, fill with obstructions that are large against the pile; any pile at refusal."""
VIBRATORY_K: Final = {"50 %": 60.0, "33.3 %": 126.0, "5 %": 266.0}
"""k_v under the labels that the table prints. Their spacing is that of +1 and +2 standard deviations counted on both
sides, not of one-sided chances of 33.3 % and 5 %: a percentile is never interpolated through them."""
VIBRATORY_EXPONENT: Final = {"all": 1.3, "start_stop": 1.2, "steady": 1.4}
OPERATION_PHASE: Final = {"all": "all", "start_stop": "start_stop", "steady": "running"}

BOUND_OVER_MEDIAN: Final = 2.5
BOUND_SD: Final = 0.32
PERCUSSIVE_SCATTER: Final = Scatter.from_total(
    BOUND_SD,
    Citation("our judgement", None, "the bound carries no percentage: median = bound / 2.5, the ratio between the "
             "upper and the central family of impact laws at 10 m; scatter the geometric middle of 0.226 and 0.446, "
             "so that our 5 % level is 1.34 times the printed bound", "estimate"),
    bound_z=math.log10(BOUND_OVER_MEDIAN) / BOUND_SD,
)
VIBRATORY_SCATTER: Final = Scatter.from_total(
    0.39,
    Citation(DOCUMENT, 2014, "log10(266 / 60) / 1.645: the 5 % label at face value, wider than the 0.32 that the "
             "spacing of the three constants suggests", "memory"),
)


def plan_distance_m(distance_m: Floats, depth_m: Floats) -> Floats:
    """Return the horizontal distance from the slope distance and the toe depth, NaN where the slope is the shorter."""
    with np.errstate(invalid="ignore"):
        return np.asarray(np.sqrt(np.square(distance_m) - np.square(depth_m)))


@model(
    "bs5228_percussive",
    title="Impact driving, upper bound by ground class (BS 5228-2)",
    quantity="ppv_resultant",
    statistic="upper_bound",
    distance="slope",
    validity={
        "distance_m": Range(math.sqrt(2.0), math.hypot(27.0, 111.0), "from the ranges of depth and plan distance"),
        "energy_j": Range(1500.0, 85_000.0, "Table E.1: 1.5 to 85 kJ"),
        "depth_m": Range(1.0, 27.0, "Table E.1: toe depth 1 to 27 m"),
    },
    derived=(DerivedRange("plan distance from slope distance and toe depth, m", ("distance_m", "depth_m"),
                          plan_distance_m, Range(1.0 - 1e-9, 111.0 + 1e-9, "Table E.1: 1 to 111 m")),),
    source=TABLE_E1,
    sources=(TABLE_E2, TRL_429),
    scatter=PERCUSSIVE_SCATTER,
    options={"bs5228_ground": tuple(PERCUSSIVE_K)},
)
def percussive(distance_m: ArrayLike, energy_j: ArrayLike, *, bs5228_ground: ArrayLike) -> Floats:
    """Return the printed upper bound of the resultant PPV in mm/s: v <= k_p sqrt(W) / r^1.3.

    distance_m: slope distance r from the pile's toe, m; energy_j: nominal energy W per blow, J; bs5228_ground: class
    of the ground that the toe is in, one of soft, stiff, very_stiff, refusal. Arrays broadcast. Valid for toe depths
    of 1 to 27 m, plan distances of 1 to 111 m, 1.5 to 85 kJ. Raises ValueError for a distance or an energy that isn't
    positive and for an unknown class. Source: BS 5228-2:2009+A1:2014, Tables E.1 and E.2 (from memory: verify).

    >>> round(float(percussive(10.0, 30_000.0, bs5228_ground="stiff")), 2)
    13.02
    """
    r = positive(distance_m, "distance_m")
    W = positive(energy_j, "energy_j")
    return choose(bs5228_ground, PERCUSSIVE_K, "bs5228_ground") * np.sqrt(W) / r**1.3


VIBRATORY_VALIDITY: Final = {
    "distance_m": Range(1.0, 100.0, "Table E.1: 1 to 100 m"),
    "energy_j": Range(1200.0, 10_700.0, "Table E.1: 1.2 to 10.7 kJ per cycle; a condition, not an input of the law"),
}


@model(
    "bs5228_vibratory",
    title="Vibratory driving, median (BS 5228-2)",
    quantity="ppv_resultant",
    statistic="median",
    distance="plan",
    validity=VIBRATORY_VALIDITY,
    source=TABLE_E1,
    sources=(TRL_429,),
    scatter=VIBRATORY_SCATTER,
    options={"operation": tuple(VIBRATORY_EXPONENT)},
    phase_option="operation",
    phases=OPERATION_PHASE,
)
def vibratory(distance_m: ArrayLike, *, operation: ArrayLike = "all") -> Floats:
    """Return the median resultant PPV in mm/s: v = 60 / x^delta.

    distance_m: plan distance x, m; operation: all (delta 1.3), start_stop (1.2) or steady (1.4). Arrays broadcast.
    Valid for 1 to 100 m and vibrators of 1.2 to 10.7 kJ per cycle. Raises ValueError for a distance that isn't
    positive and for an unknown word. Source: BS 5228-2:2009+A1:2014, Table E.1, label 50 % (from memory: verify).

    >>> round(float(vibratory(10.0)), 2)
    3.01
    """
    x = positive(distance_m, "distance_m")
    return VIBRATORY_K["50 %"] / x ** choose(operation, VIBRATORY_EXPONENT, "operation")


@model(
    "bs5228_vibratory_printed",
    title="Vibratory driving, the curves under the labels that the document prints (BS 5228-2)",
    quantity="ppv_resultant",
    statistic="exceedance",
    medians="bs5228_vibratory",
    distance="plan",
    validity=VIBRATORY_VALIDITY,
    source=TABLE_E1,
    sources=(TRL_429,),
    scatter=VIBRATORY_SCATTER,
    options={"label": tuple(VIBRATORY_K), "operation": tuple(VIBRATORY_EXPONENT)},
    phase_option="operation",
    phases=OPERATION_PHASE,
)
def vibratory_printed(distance_m: ArrayLike, *, label: ArrayLike = "50 %", operation: ArrayLike = "all") -> Floats:
    """Return the resultant PPV in mm/s under a printed label: v = k_v / x^delta.

    distance_m: plan distance x, m; label: "50 %", "33.3 %" or "5 %", as printed, not as our statistics; operation: all,
    start_stop or steady. Arrays broadcast. Valid range, errors and source as for `vibratory`.

    >>> round(float(vibratory_printed(10.0, label="5 %")), 2)
    13.33
    """
    x = positive(distance_m, "distance_m")
    return choose(label, VIBRATORY_K, "label") / x ** choose(operation, VIBRATORY_EXPONENT, "operation")
