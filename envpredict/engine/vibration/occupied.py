"""Limits for people count what goes on while the place is occupied: which passes fall wholly outside its hours.

`occupied_hours` of a receptor are clock hours of every day; a receptor that states none is always occupied. A pass that
reaches into them counts whole. Buildings, pipes and equipment are there at all hours: their limits count every pass.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.works.programme import Passes
    from envpredict.limits.rule import Rule

DAY_S = 86_400.0
EFFECT = "people"
"""The effect whose rules ask whether somebody is there."""


def spans(hours: str) -> list[tuple[float, float]]:
    """Return clock hours 'HH:MM-HH:MM, ...' as spans in s since midnight; an end not after the start lies a day on."""
    found = []
    for part in hours.split(","):
        start, end = (60.0 * (60 * int(text.split(":")[0]) + int(text.split(":")[1]))
                      for text in part.strip().split("-"))
        found.append((start, end if end > start else end + DAY_S))
    return found


def reaches(passes: Passes, hours: str) -> NDArray[np.bool_]:
    """Return (N,) which passes reach into clock hours; passes may run past midnight."""
    found = np.zeros(len(passes.pile), dtype=bool)
    for start, end in spans(hours):
        for shift in (-DAY_S, 0.0, DAY_S):
            found |= (passes.start_s < end + shift) & (passes.end_s > start + shift)
    return found


def vacant(rule: Rule, receptors: pd.DataFrame, passes: Passes) -> NDArray[np.bool_] | None:
    """Return (R, N) the passes that a rule doesn't count at a receptor since nobody is there; None where all count.

    A rule on the site's boundary asks for nobody's hours.
    """
    stated = receptors["occupied_hours"].fillna("").astype(str).to_numpy()
    if rule.effect != EFFECT or rule.place == "boundary" or not (stated != "").any():
        return None
    found = np.zeros((len(stated), len(passes.pile)), dtype=bool)
    for hours in np.unique(stated[stated != ""]):
        found[stated == hours] = ~reaches(passes, str(hours))
    return found if found.any() else None


def told(rule: Rule, receptors: pd.DataFrame) -> NDArray[np.object_]:
    """Return (R,) what is said of a receptor's hours under a rule; empty where they don't matter."""
    stated = receptors["occupied_hours"].fillna("").astype(str)
    said = "people are there " + stated + ": work wholly outside these hours isn't counted"
    asks = rule.effect == EFFECT and rule.place != "boundary"
    return np.where((stated != "").to_numpy() & asks, said.to_numpy(), "").astype(object)
