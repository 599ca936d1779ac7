"""Hours of the week as minutes, to tell whether work falls into hours that are allowed or limited."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from envpredict.limits.periods import clock_s
from envpredict.monitoring.plan_fields import DAY_WORDS

DAY_MIN = 1440
Minutes = NDArray[np.bool_]


def minutes(days: Sequence[str], starts: str, ends: str, *, widest: bool = False) -> Minutes:
    """Return (8, 1440): the minutes of each day, mon ... sun and holiday, that lie in a clock span on these days.

    An end at or before the start lies on the next day. Which day follows a holiday isn't known: the hours after its
    midnight fall on every day with `widest`, and on none without.
    """
    start, end = clock_s(starts) // 60, clock_s(ends) // 60
    end = end if end > start else end + DAY_MIN
    inside = np.zeros((len(DAY_WORDS), DAY_MIN), dtype=bool)
    for day in days:
        row = DAY_WORDS.index(day)
        inside[row, start:min(end, DAY_MIN)] = True
        if end > DAY_MIN:
            following = (row + 1) % 7 if day != "holiday" else slice(None) if widest else slice(0)
            inside[following, : end - DAY_MIN] = True
    return inside


def first_outside(work: Minutes, allowed: Minutes) -> str | None:
    """Return the first minute of the work that isn't allowed, as 'sat 13:00', or None."""
    outside = np.argwhere(work & ~allowed)
    if not len(outside):
        return None
    day, minute = outside[0]
    return f"{DAY_WORDS[day]} {minute // 60:02d}:{minute % 60:02d}"


def overlap(first: Minutes, second: Minutes) -> bool:
    """Tell whether two sets of minutes share any."""
    return bool((first & second).any())
