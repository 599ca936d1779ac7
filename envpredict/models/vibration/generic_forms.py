"""The forms that published laws take, with every constant an argument: for laws that a user brings.

Each form was printed somewhere; a user's own law picks one and states its constants, its range, its scatter and where
they come from. Without a stated scatter the widest of the published laws holds.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from envpredict.core.citation import Citation
from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, numbers, positive, power
from envpredict.models.spec import Scatter, model

MANUAL: Final = "California DOT, Transportation and Construction Vibration Guidance Manual"
POWER: Final = Citation("Wiss, Construction vibrations: state of the art", 1981, "V = k D^-n", "read",
                        via=f"{MANUAL} (2013), equation 7")
SCALED: Final = Citation("Wiss, Construction vibrations: state of the art", 1981, "V = K (D / sqrt(E))^-n", "memory")
REFERENCE: Final = Citation(MANUAL, 2013, "section 7, equations 9 and 12: a reference at a distance, an exponent and "
                            "the square root of the energy", "read")
QUADRATIC: Final = Citation("Attewell, Selby and O'Donnell", 1992, "quadratic on the logarithm of the scaled distance",
                            "memory")
WIDEST: Final = Scatter.from_total(
    0.45, Citation("our judgement", None, "near the widest scatter of the published impact laws", "estimate"))
GENERIC: Final = frozenset({"generic"})
FREE: Final = Range.unstated("the constants' own source states the range")


@model(
    "power_law",
    title="A law of your own: power of the distance",
    quantity="ppv_unspecified", statistic="median", distance="plan",
    validity={"distance_m": FREE, "coefficient": FREE, "exponent": FREE},
    source=POWER, scatter=WIDEST, flags=GENERIC,
)
def power_law(distance_m: ArrayLike, *, coefficient: ArrayLike, exponent: ArrayLike) -> Floats:
    """Return the PPV in mm/s: v = k / x^n.

    distance_m: x, m; coefficient: k, the PPV at 1 m, mm/s; exponent: n. Arrays broadcast. The range is that of the
    constants. Raises ValueError for arguments that aren't positive. Source: Wiss 1981.

    >>> round(float(power_law(10.0, coefficient=60.0, exponent=1.3)), 2)
    3.01
    """
    x = positive(distance_m, "distance_m")
    return positive(coefficient, "coefficient") * power(x, -positive(exponent, "exponent"))


@model(
    "scaled_distance",
    title="A law of your own: power of the distance over the square root of the energy",
    quantity="ppv_unspecified", statistic="median", distance="plan",
    validity={"distance_m": FREE, "energy_j": FREE, "coefficient": FREE, "exponent": FREE},
    source=SCALED, scatter=WIDEST, flags=GENERIC,
)
def scaled_distance(distance_m: ArrayLike, energy_j: ArrayLike, *, coefficient: ArrayLike,
                    exponent: ArrayLike) -> Floats:
    """Return the PPV in mm/s: v = K (sqrt(W) / r)^n.

    distance_m: r, m; energy_j: W per blow or per cycle, J; coefficient: K; exponent: n. Arrays broadcast. The range
    is that of the constants. Raises ValueError for arguments that aren't positive. Source: Wiss 1981 (from memory:
    verify).

    >>> round(float(scaled_distance(10.0, 30_000.0, coefficient=1.5, exponent=1.0)), 2)
    25.98
    """
    ratio = np.sqrt(positive(energy_j, "energy_j")) / positive(distance_m, "distance_m")
    return positive(coefficient, "coefficient") * power(ratio, positive(exponent, "exponent"))


@model(
    "reference_distance",
    title="A law of your own: level at a reference distance",
    quantity="ppv_unspecified", statistic="median", distance="plan",
    validity={"distance_m": FREE, "reference_ppv_mm_s": FREE, "reference_distance_m": FREE, "exponent": FREE},
    source=REFERENCE, scatter=WIDEST, flags=GENERIC,
)
def reference_distance(distance_m: ArrayLike, *, reference_ppv_mm_s: ArrayLike, reference_distance_m: ArrayLike,
                       exponent: ArrayLike) -> Floats:
    """Return the PPV in mm/s: v = v_ref (r_ref / r)^n.

    distance_m: r, m; reference_ppv_mm_s: PPV at reference_distance_m, mm/s; exponent: n. Arrays broadcast. The range
    is that of the constants. Raises ValueError for arguments that aren't positive. Source: California DOT 2013,
    equation 12.

    >>> round(float(reference_distance(20.0, reference_ppv_mm_s=4.0, reference_distance_m=10.0, exponent=1.0)), 2)
    2.0
    """
    ratio = positive(reference_distance_m, "reference_distance_m") / positive(distance_m, "distance_m")
    return positive(reference_ppv_mm_s, "reference_ppv_mm_s") * power(ratio, positive(exponent, "exponent"))


@model(
    "reference_distance_energy",
    title="A law of your own: level at a reference distance and a reference energy",
    quantity="ppv_unspecified", statistic="median", distance="plan",
    validity={"distance_m": FREE, "energy_j": FREE, "reference_ppv_mm_s": FREE, "reference_distance_m": FREE,
              "reference_energy_j": FREE, "exponent": FREE},
    source=REFERENCE, scatter=WIDEST, flags=GENERIC,
)
def reference_distance_energy(distance_m: ArrayLike, energy_j: ArrayLike, *, reference_ppv_mm_s: ArrayLike,
                              reference_distance_m: ArrayLike, reference_energy_j: ArrayLike,
                              exponent: ArrayLike) -> Floats:
    """Return the PPV in mm/s: v = v_ref (r_ref / r)^n sqrt(W / W_ref).

    distance_m: r, m; energy_j: W per blow or per cycle, J; reference_ppv_mm_s: PPV at reference_distance_m and
    reference_energy_j, mm/s; exponent: n. Arrays broadcast. The range is that of the constants. Raises ValueError for
    arguments that aren't positive. Source: California DOT 2013, equations 8 and 9.

    >>> round(float(reference_distance_energy(20.0, 4e4, reference_ppv_mm_s=4.0, reference_distance_m=10.0,
    ...                                       reference_energy_j=1e4, exponent=1.0)), 2)
    4.0
    """
    energy: Floats = np.sqrt(positive(energy_j, "energy_j") / positive(reference_energy_j, "reference_energy_j"))
    return energy * reference_distance(distance_m, reference_ppv_mm_s=reference_ppv_mm_s,
                                       reference_distance_m=reference_distance_m, exponent=exponent)


@model(
    "log_quadratic",
    title="A law of your own: quadratic on the logarithm of the scaled distance",
    quantity="ppv_unspecified", statistic="median", distance="plan",
    validity={"distance_m": FREE, "energy_j": FREE, "log_constant": FREE, "log_slope": FREE, "log_curvature": FREE},
    source=QUADRATIC, scatter=WIDEST, flags=GENERIC, falls_with_distance=False,
)
def log_quadratic(distance_m: ArrayLike, energy_j: ArrayLike, *, log_constant: ArrayLike, log_slope: ArrayLike,
                  log_curvature: ArrayLike = 0.0) -> Floats:
    """Return the PPV in mm/s: log v = a + b S + c S^2 with S = log(sqrt(W) / r).

    distance_m: r, m; energy_j: W per blow or per cycle, J; log_constant, log_slope, log_curvature: a, b, c. Arrays
    broadcast. The range is that of the constants; with c < 0 the law turns at S = -b / (2 c). Raises ValueError for a
    distance or an energy that isn't positive. Source: form of Attewell, Selby and O'Donnell 1992 (from memory: verify).

    >>> round(float(log_quadratic(10.0, 30_000.0, log_constant=-0.519, log_slope=1.38, log_curvature=-0.234)), 2)
    6.78
    """
    S = 0.5 * np.log10(positive(energy_j, "energy_j")) - np.log10(positive(distance_m, "distance_m"))
    a, b, c = (numbers(log_constant, "log_constant"), numbers(log_slope, "log_slope"),
               numbers(log_curvature, "log_curvature"))
    return 10.0 ** (a + (b + c * S) * S)
