"""Estimates of ours where no document gives a law: each says from what it was made, and needs a trial."""

from __future__ import annotations

from typing import Final

from numpy.typing import ArrayLike

from envpredict.core.citation import Citation
from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, positive
from envpredict.models.spec import Scatter, model

ESTIMATE: Final = frozenset({"estimate"})


@model(
    "vibratory_variable_moment",
    title="Vibratory driving with variable moment, estimated: running level only",
    quantity="ppv_resultant", statistic="median", distance="plan", phase="running",
    validity={"distance_m": Range(2.0, 50.0, "our judgement"),
              "frequency_hz": Range(33.0, 60.0, "our judgement: high-frequency machines only")},
    source=Citation("our judgement", None, "5 dB below the running level 60 / x^1.4 of a normal vibrator (BS 5228-2, "
                    "from memory)", "estimate"),
    sources=(Citation("Japanese answers on vibratory driving", None, "table of machine classes: electric machines of "
                      "variable moment 5 dB below normal ones, no rise at start and stop; no distance", "read"),),
    scatter=Scatter.from_total(
        0.40, Citation("our judgement", None, "a little wider than for normal vibrators", "estimate")),
    flags=ESTIMATE,
)
def variable_moment(distance_m: ArrayLike) -> Floats:
    """Return the estimated running PPV in mm/s: v = 34 / x^1.4.

    distance_m: plan distance x, m, any shape. No start-up term: only for a machine whose moment is zero through
    run-up and run-down, at 33 Hz or more. Used for 2 to 50 m. Resonant floors at 30 to 40 Hz can undo the gain.
    Raises ValueError for a distance that isn't positive. Source: estimate of ours: trial and measurement needed.

    >>> round(float(variable_moment(10.0)), 2)
    1.35
    """
    return 34.0 / positive(distance_m, "distance_m") ** 1.4


@model(
    "down_the_hole_placeholder",
    title="Down-the-hole hammering, a placeholder: no published measurement was seen",
    quantity="ppv_unspecified", statistic="median", distance="plan",
    validity={"distance_m": Range.unstated("no range is proven")},
    source=Citation("our judgement", None, "the US transit value for caisson drilling, 2.3 mm/s at 7.62 m, falling "
                    "with the exponent 1.1", "estimate"),
    scatter=Scatter.from_total(0.45, Citation("our judgement", None, "no evidence: wide", "estimate")),
    flags=frozenset({"estimate", "proxy", "placeholder"}),
)
def down_the_hole(distance_m: ArrayLike) -> Floats:
    """Return a placeholder PPV in mm/s: v = 2.3 (7.62 / x)^1.1.

    distance_m: plan distance x, m, any shape. No range proven. Raises ValueError for a distance that isn't positive.
    Source: estimate of ours without evidence: a trial is required.

    >>> round(float(down_the_hole(10.0)), 1)
    1.7
    """
    return 2.3 * (7.62 / positive(distance_m, "distance_m")) ** 1.1
