"""Attewell, Selby and O'Donnell (1992): quadratic regressions on the logarithm of the scaled distance."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from envpredict.core.citation import Citation
from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, choose, positive
from envpredict.models.spec import DerivedRange, Scatter, model

SOURCE: Final = Citation("Attewell, Selby and O'Donnell, Estimation of ground vibration from driven piling based on "
                         "statistical analyses of recorded data", 1992, "quadratic regressions, three levels", "memory")
IMPACT_CONSTANT: Final = {"best fit": -0.519, "+0.5 sd": -0.296, "+1 sd": -0.073}
VIBRATORY_CONSTANT: Final = {"best fit": -0.464, "+0.5 sd": -0.213, "+1 sd": 0.038}
IMPACT_SCATTER: Final = Scatter.from_total(
    0.446, Citation(SOURCE.document, 1992, "distance of the constants: -0.073 - (-0.519)", "memory"))
VIBRATORY_SCATTER: Final = Scatter.from_total(
    0.502, Citation(SOURCE.document, 1992, "distance of the constants: 0.038 - (-0.464)", "memory"))
VALIDITY: Final = {"distance_m": Range.unstated(), "energy_j": Range.unstated()}


def scaled(distance_m: Floats, energy_j: Floats) -> Floats:
    """Return S = log10(sqrt(W) / r); W in J, r in m."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(0.5 * np.log10(energy_j) - np.log10(distance_m))


RISING_BRANCH: Final = (
    DerivedRange("log10 of the square root of the energy over the distance", ("distance_m", "energy_j"), scaled,
                 Range(-np.inf, 2.3, "the quadratic peaks at 2.95 (impact) and 2.46 (vibratory): not used beyond 2.3")),
)


def _quadratic(distance_m: ArrayLike, energy_j: ArrayLike, constant: Floats | float, slope: float,
               curvature: float) -> Floats:
    S = scaled(positive(distance_m, "distance_m"), positive(energy_j, "energy_j"))
    return 10.0 ** (constant + (slope + curvature * S) * S)


@model(
    "attewell_1992_impact",
    title="Impact driving, best fit of a quadratic regression (Attewell and others 1992)",
    quantity="ppv_unspecified", statistic="median", distance="plan", validity=VALIDITY, derived=RISING_BRANCH,
    source=SOURCE, scatter=IMPACT_SCATTER,
)
def impact(distance_m: ArrayLike, energy_j: ArrayLike) -> Floats:
    """Return the best-fit PPV in mm/s: log v = -0.519 + 1.38 S - 0.234 S^2 with S = log(sqrt(W) / r).

    distance_m: plan distance r, m; energy_j: energy W per blow, J. Arrays broadcast. Not valid beyond S = 2.3, near
    the peak of the quadratic. Raises ValueError for a distance or an energy that isn't positive. Source: Attewell,
    Selby and O'Donnell 1992 (from memory: verify).

    >>> round(float(impact(10.0, 30_000.0)), 2)
    6.78
    """
    return _quadratic(distance_m, energy_j, IMPACT_CONSTANT["best fit"], 1.38, -0.234)


@model(
    "attewell_1992_impact_printed",
    title="Impact driving, the three printed levels of a quadratic regression (Attewell and others 1992)",
    quantity="ppv_unspecified", statistic="exceedance", medians="attewell_1992_impact", distance="plan",
    validity=VALIDITY, derived=RISING_BRANCH, source=SOURCE, scatter=IMPACT_SCATTER,
    options={"label": tuple(IMPACT_CONSTANT)},
)
def impact_printed(distance_m: ArrayLike, energy_j: ArrayLike, *, label: ArrayLike = "best fit") -> Floats:
    """Return the PPV in mm/s under a printed label: "best fit", "+0.5 sd" or "+1 sd".

    distance_m: plan distance, m; energy_j: energy per blow, J. Arrays broadcast. Range, errors and source as for
    `impact`.

    >>> round(float(impact_printed(10.0, 30_000.0, label="+1 sd")), 2)
    18.93
    """
    return _quadratic(distance_m, energy_j, choose(label, IMPACT_CONSTANT, "label"), 1.38, -0.234)


@model(
    "attewell_1992_vibratory",
    title="Vibratory driving, best fit of a quadratic regression (Attewell and others 1992)",
    quantity="ppv_unspecified", statistic="median", distance="plan", validity=VALIDITY, derived=RISING_BRANCH,
    source=SOURCE, scatter=VIBRATORY_SCATTER,
)
def vibratory(distance_m: ArrayLike, energy_j: ArrayLike) -> Floats:
    """Return the best-fit PPV in mm/s: log v = -0.464 + 1.64 S - 0.334 S^2 with S = log(sqrt(W) / r).

    distance_m: plan distance r, m; energy_j: energy W per cycle, J. Arrays broadcast. Not valid beyond S = 2.3, near
    the peak of the quadratic. Raises ValueError for a distance or an energy that isn't positive. Source: Attewell,
    Selby and O'Donnell 1992 (from memory: verify).

    >>> round(float(vibratory(10.0, 4500.0)), 2)
    4.61
    """
    return _quadratic(distance_m, energy_j, VIBRATORY_CONSTANT["best fit"], 1.64, -0.334)


@model(
    "attewell_1992_vibratory_printed",
    title="Vibratory driving, the three printed levels of a quadratic regression (Attewell and others 1992)",
    quantity="ppv_unspecified", statistic="exceedance", medians="attewell_1992_vibratory", distance="plan",
    validity=VALIDITY, derived=RISING_BRANCH, source=SOURCE, scatter=VIBRATORY_SCATTER,
    options={"label": tuple(VIBRATORY_CONSTANT)},
)
def vibratory_printed(distance_m: ArrayLike, energy_j: ArrayLike, *, label: ArrayLike = "best fit") -> Floats:
    """Return the PPV in mm/s under a printed label: "best fit", "+0.5 sd" or "+1 sd".

    distance_m: plan distance, m; energy_j: energy per cycle, J. Arrays broadcast. Range, errors and source as for
    `vibratory`.

    >>> round(float(vibratory_printed(10.0, 4500.0, label="+1 sd")), 1)
    14.6
    """
    return _quadratic(distance_m, energy_j, choose(label, VIBRATORY_CONSTANT, "label"), 1.64, -0.334)
