"""ENV 1993-5:1998, the withdrawn European prestandard: energy laws. EN 1993-5:2007 gives no vibration advice."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from envpredict.core.citation import Citation
from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, choose, positive
from envpredict.models.spec import Scatter, model

DOCUMENT: Final = "ENV 1993-5:1998 (withdrawn)"
SOURCE: Final = Citation(DOCUMENT, 1998, "informative advice on driving vibration", "memory")
WITHDRAWN: Final = Citation("EN 1993-5", 2007, "gives no recommendations on vibration any more", "read",
                            via="Tomlinson and Woodward (2008), p. 98")

IMPACT_C: Final = {"soft": 0.5, "stiff": 0.75, "very_stiff": 1.0}
"""C: soft cohesive, loose granular, loose fill, organic; stiff cohesive, medium dense granular, compact fill; very
stiff cohesive, dense granular, rock, fill with large obstructions."""
VIBRATORY_C: Final = 0.7

IMPACT_SCATTER: Final = Scatter.from_total(
    0.32,
    Citation("our judgement", None, "meant as conservative screening, no percentage: median = bound / 2.5 and scatter "
             "as for the percussive law of BS 5228-2", "estimate"),
    bound_z=math.log10(2.5) / 0.32,
)
VIBRATORY_SCATTER: Final = Scatter.from_total(
    0.39,
    Citation("our judgement", None, "4.5 kJ per cycle at 10 m gives 4.7 mm/s against a median of 3.0 by BS 5228-2, "
             "whose scatter is taken: the bound lies half a standard deviation above the median", "estimate"),
    bound_z=0.5,
)
VALID_DISTANCE: Final = Range(5.0, np.inf, "r >= 5 m")


@model(
    "env1993_impact",
    title="Impact driving, conservative screening by ground class (European prestandard of 1998)",
    quantity="ppv_unspecified",
    statistic="upper_bound",
    distance="plan",
    validity={"distance_m": VALID_DISTANCE, "energy_j": Range.unstated()},
    source=SOURCE,
    sources=(WITHDRAWN,),
    scatter=IMPACT_SCATTER,
    options={"env1993_ground": tuple(IMPACT_C)},
)
def impact(distance_m: ArrayLike, energy_j: ArrayLike, *, env1993_ground: ArrayLike) -> Floats:
    """Return the screening PPV in mm/s: v = C sqrt(W) / r.

    distance_m: plan distance r, m; energy_j: energy W per blow, J; env1993_ground: soft, stiff or very_stiff. Arrays
    broadcast. Valid from 5 m. Raises ValueError for a distance or an energy that isn't positive and for an unknown
    class. Source: ENV 1993-5:1998, withdrawn (from memory: verify).

    >>> round(float(impact(10.0, 30_000.0, env1993_ground="stiff")), 2)
    12.99
    """
    r = positive(distance_m, "distance_m")
    W = positive(energy_j, "energy_j")
    return choose(env1993_ground, IMPACT_C, "env1993_ground") * np.sqrt(W) / r


@model(
    "env1993_vibratory",
    title="Vibratory driving, conservative screening (European prestandard of 1998)",
    quantity="ppv_unspecified",
    statistic="upper_bound",
    distance="plan",
    validity={"distance_m": VALID_DISTANCE, "energy_j": Range.unstated()},
    source=SOURCE,
    sources=(WITHDRAWN,),
    scatter=VIBRATORY_SCATTER,
)
def vibratory(distance_m: ArrayLike, energy_j: ArrayLike) -> Floats:
    """Return the screening PPV in mm/s: v = 0.7 sqrt(W) / r in all ground.

    distance_m: plan distance r, m; energy_j: energy W per cycle (power over frequency), J. Arrays broadcast. Valid from
    5 m. Raises ValueError for a distance or an energy that isn't positive. Source: ENV 1993-5:1998, withdrawn (from
    memory: verify).

    >>> round(float(vibratory(10.0, 4500.0)), 2)
    4.7
    """
    r = positive(distance_m, "distance_m")
    W = positive(energy_j, "energy_j")
    return VIBRATORY_C * np.sqrt(W) / r
