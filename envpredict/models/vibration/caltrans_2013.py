"""California Department of Transportation (2013): impact, vibratory and other equipment by a reference at 25 ft.

The equations are printed in inches per second, feet and foot-pounds; they stand here in the units of the package. The
printed label "typical worst case" and the number, the mean of reports, don't agree: equation 9 is taken as central.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from envpredict.core.citation import Citation
from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, choose, positive
from envpredict.models.spec import Scatter, model

DOCUMENT: Final = "California DOT, Transportation and Construction Vibration Guidance Manual"
EQUATION_9: Final = Citation(DOCUMENT, 2013, "section 7, equation 9", "read")
EQUATION_10: Final = Citation(DOCUMENT, 2013, "section 7, equation 10: the value of start and stop", "read")
EQUATION_12: Final = Citation(DOCUMENT, 2013, "section 7, equation 12", "read")
EXPONENTS: Final = Citation("Woods and Jedele", 1985, "suggested exponents by soil class; of the table only 1.1 as "
                            "default, 1.0 for class IV and the upper end 1.4 were seen", "memory", via=DOCUMENT)

CLASS_EXPONENT: Final = {"I": 1.4, "II": 1.3, "III": 1.1, "IV": 1.0}
"""n: I weak or soft (N < 5), II competent (5 to 15), III hard (15 to 50), IV hard competent rock or N > 50. The manual
takes 1.1 where the soil isn't known."""

INCH_MM: Final = 25.4
FOOT_M: Final = 0.3048
FOOT_POUND_J: Final = 1.3558179483314
REFERENCE_M: Final = 25.0 * FOOT_M
REFERENCE_J: Final = 36_000.0 * FOOT_POUND_J
REFERENCE_MM_S: Final = 0.65 * INCH_MM

IMPACT_SCATTER: Final = Scatter.from_total(
    0.32, Citation("our judgement", None, "geometric middle of 0.226 and 0.446 of other impact laws", "estimate"))
VIBRATORY_SCATTER: Final = Scatter.from_total(
    0.39,
    Citation("our judgement", None, "16.5 mm/s at 7.62 m lies beside the 5 % line of BS 5228-2 (19.0) and the upper "
             "value of FTA (18.6), whose scatter is taken", "estimate"),
    bound_z=1.645,
)
OTHER_SCATTER: Final = Scatter.from_total(
    0.39, Citation("our judgement", None, "as for vibratory driving; the manual gives none", "estimate"))
IMPACT_VALIDITY: Final = {
    "distance_m": Range(3.0, 60.0, "our judgement: the manual states none"),
    "energy_j": Range(1500.0, 200_000.0, "our judgement: the manual states none"),
}
CLASSES: Final = {"caltrans_class": tuple(CLASS_EXPONENT)}


def _falling(distance_m: ArrayLike, caltrans_class: ArrayLike) -> Floats:
    n = choose(caltrans_class, CLASS_EXPONENT, "caltrans_class")
    return (REFERENCE_M / positive(distance_m, "distance_m")) ** n


@model(
    "caltrans_impact",
    title="Impact driving, central value by energy and soil class (California 2013)",
    quantity="ppv_unspecified", statistic="median", distance="plan", validity=IMPACT_VALIDITY,
    source=EQUATION_9, sources=(EXPONENTS,), scatter=IMPACT_SCATTER, options=CLASSES,
)
def impact(distance_m: ArrayLike, energy_j: ArrayLike, *, caltrans_class: ArrayLike = "III") -> Floats:
    """Return the PPV in mm/s: v = 16.5 (7.62 / D)^n sqrt(E / 48.8 kJ), in print 0.65 (25/D)^n (E/36000)^0.5 in/s.

    distance_m: plan distance D, m; energy_j: rated energy E per blow, J; caltrans_class: I (n 1.4), II (1.3), III (1.1,
    the manual's default) or IV (1.0). Arrays broadcast. Used for 3 to 60 m and 1.5 to 200 kJ (our judgement). Raises
    ValueError for a distance or an energy that isn't positive and for an unknown class. Source: California DOT 2013,
    equation 9; the exponents of classes I and II from memory: verify.

    >>> round(float(impact(30.48, 108_465.4)) / 25.4, 4)
    0.2109
    """
    E = positive(energy_j, "energy_j")
    return REFERENCE_MM_S * np.sqrt(E / REFERENCE_J) * _falling(distance_m, caltrans_class)


@model(
    "caltrans_vibratory",
    title="Vibratory driving, start and stop, near the upper line (California 2013)",
    quantity="ppv_unspecified", statistic="upper_bound", distance="plan",
    validity={"distance_m": IMPACT_VALIDITY["distance_m"]},
    source=EQUATION_10, sources=(EXPONENTS,), scatter=VIBRATORY_SCATTER, options=CLASSES, phase="start_stop",
)
def vibratory(distance_m: ArrayLike, *, caltrans_class: ArrayLike = "III") -> Floats:
    """Return the PPV of start and stop in mm/s: v = 16.5 (7.62 / D)^n, in print 0.65 (25/D)^n in/s.

    distance_m: plan distance D, m; caltrans_class as for `impact`. The running level is at most half of it. Arrays
    broadcast. Used for 3 to 60 m (our judgement). Raises ValueError for a distance that isn't positive and for an
    unknown class. Source: California DOT 2013, equation 10.

    >>> round(float(vibratory(7.62)), 2)
    16.51
    """
    return REFERENCE_MM_S * _falling(distance_m, caltrans_class)


@model(
    "caltrans_other",
    title="Other equipment from its level at the reference distance (California 2013)",
    quantity="ppv_unspecified", statistic="median", distance="plan",
    validity={"distance_m": IMPACT_VALIDITY["distance_m"], "reference_ppv_mm_s": Range.unstated()},
    source=EQUATION_12, sources=(EXPONENTS,), scatter=OTHER_SCATTER, options=CLASSES,
)
def other(distance_m: ArrayLike, *, reference_ppv_mm_s: ArrayLike, caltrans_class: ArrayLike = "III") -> Floats:
    """Return the PPV in mm/s: v = v_ref (7.62 / D)^n.

    distance_m: plan distance D, m; reference_ppv_mm_s: PPV at 7.62 m (25 ft), mm/s; caltrans_class as for `impact`.
    Arrays broadcast. Used for 3 to 60 m (our judgement). Raises ValueError for a distance or a reference that isn't
    positive and for an unknown class. Source: California DOT 2013, equation 12.

    >>> round(float(other(15.24, reference_ppv_mm_s=0.21 * 25.4, caltrans_class="IV")) / 25.4, 3)
    0.105
    """
    return positive(reference_ppv_mm_s, "reference_ppv_mm_s") * _falling(distance_m, caltrans_class)
