"""DIN 4150-2:1999: the weighted vibration strength of an assessment time, from the maxima of its intervals of 30 s."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from envpredict.core.citation import Citation
from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, not_negative, positive
from envpredict.models.spec import model

STANDARD: Final = Citation("DIN 4150-2", 1999, "KB_FTr from the interval maxima and the exposure time: the sum of "
                           "T_e KB_FTm^2 over the assessment time", "memory",
                           note="the symbols were read on a German state authority's page")
ALIKE: Final = Citation("definition of the interval maximum", None, "no interval exceeds KB_Fmax: every one taken at "
                        "it gives an upper value", "read")
INTERVAL_S: Final = 30.0
"""Length of an interval whose maximum counts for all of it."""
FELT: Final = 0.1
"""KB_Fmax from which vibration counts as notable: the lowest guide value of the standard (Table 1, read)."""


@model(
    "kb_ftr_from_kb_fmax",
    title="Weighted vibration strength of an assessment time from that of its intervals (DIN 4150-2)",
    position="slab", quantity="kb_ftr", statistic="deterministic", distance="none",
    validity={"kb_fmax": Range.unstated(), "on_time_s": Range.unstated(), "period_s": Range.unstated()},
    source=STANDARD, sources=(ALIKE,),
)
def kb_ftr_from_kb_fmax(kb_fmax: ArrayLike, on_time_s: ArrayLike, *, period_s: ArrayLike = 57_600.0) -> Floats:
    """Return KB_FTr: KB_Fmax sqrt(T_e / T_r), every interval of the exposure at its maximum.

    kb_fmax: largest weighted strength, unit-less as its source writes; on_time_s: exposure time T_e, s; period_s:
    assessment time T_r, s: 16 h by day, 8 h by night. Arrays broadcast; several exposures add by their squares. Raises
    ValueError for a strength or assessment time that isn't positive and a negative exposure time. Source: DIN
    4150-2:1999 (from memory: verify).

    >>> float(kb_ftr_from_kb_fmax(0.4, 14_400.0))
    0.2
    """
    share = not_negative(on_time_s, "on_time_s") / positive(period_s, "period_s")
    return positive(kb_fmax, "kb_fmax") * np.sqrt(share)
