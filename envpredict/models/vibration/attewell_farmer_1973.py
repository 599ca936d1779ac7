"""Attewell and Farmer (1973): scaled distance laws for driven piles."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from envpredict.core.citation import Citation
from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, positive
from envpredict.models.spec import Scatter, model

SOURCE: Final = Citation("Attewell and Farmer, Attenuation of ground vibrations from pile driving", 1973,
                         "scaled distance laws: conservative bound and mean of the data", "memory")
BOUND_SCATTER: Final = Scatter.from_total(
    0.32,
    Citation("our judgement", None, "no percentage given: median = bound / 2.5 and scatter as for the percussive law "
             "of BS 5228-2", "estimate"),
    bound_z=math.log10(2.5) / 0.32,
)
MEAN_SCATTER: Final = Scatter.from_total(
    0.32, Citation("our judgement", None, "geometric middle of 0.226 and 0.446 of other impact laws", "estimate"))


@model(
    "attewell_farmer_1973_bound",
    title="Impact driving, conservative bound (Attewell and Farmer 1973)",
    quantity="ppv_unspecified",
    statistic="upper_bound",
    distance="plan",
    validity={"distance_m": Range.unstated(), "energy_j": Range.unstated()},
    source=SOURCE,
    scatter=BOUND_SCATTER,
)
def bound(distance_m: ArrayLike, energy_j: ArrayLike) -> Floats:
    """Return the conservative bound of the PPV in mm/s: v = 1.5 sqrt(W) / r.

    distance_m: plan distance r, m; energy_j: energy W per blow, J. Arrays broadcast. No valid range recalled. Raises
    ValueError for a distance or an energy that isn't positive. Source: Attewell and Farmer 1973 (from memory: verify).

    >>> round(float(bound(10.0, 30_000.0)), 2)
    25.98
    """
    r = positive(distance_m, "distance_m")
    return 1.5 * np.sqrt(positive(energy_j, "energy_j")) / r


@model(
    "attewell_farmer_1973_mean",
    title="Impact driving, mean line of the data (Attewell and Farmer 1973)",
    quantity="ppv_unspecified",
    statistic="median",
    distance="plan",
    validity={"distance_m": Range.unstated(), "energy_j": Range.unstated()},
    source=SOURCE,
    scatter=MEAN_SCATTER,
)
def mean(distance_m: ArrayLike, energy_j: ArrayLike) -> Floats:
    """Return the mean line of the PPV in mm/s, a median since it's fitted on logarithms: v = 0.76 (sqrt(W) / r)^0.87.

    distance_m: plan distance r, m; energy_j: energy W per blow, J. Arrays broadcast. No valid range recalled. Raises
    ValueError for a distance or an energy that isn't positive. Source: Attewell and Farmer 1973 (from memory: verify).

    >>> round(float(mean(10.0, 30_000.0)), 1)
    9.1
    """
    r = positive(distance_m, "distance_m")
    return 0.76 * (np.sqrt(positive(energy_j, "energy_j")) / r) ** 0.87
