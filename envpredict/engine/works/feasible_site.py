"""Whether a method finds the room and the time that it needs at a pile."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from envpredict.core.citation import Citation
from envpredict.engine.works.feasible import OF_CODE, Check
from envpredict.engine.works.feasible_ground import obstruction
from envpredict.methods.access import site_findings

if TYPE_CHECKING:
    from envpredict.engine.works.choices import MethodChoice
    from envpredict.engine.works.shifts import Window
    from envpredict.engine.works.site import Site
    from envpredict.methods.schema import PileType

HALF_DRIVEN = Citation("trade practice in possessions", None, "a pile that isn't finished when the possession ends is "
                       "left safe: cut, braced or held", "practice")


def _given(value: float) -> float | None:
    """Return a length to the centimetre, None where there is none."""
    return round(float(value), 2) if np.isfinite(value) else None


def _hours(seconds: float) -> str:
    return f"{seconds / 3600.0:.1f} h"


def _clock(seconds: float) -> str:
    minutes = round(seconds / 60.0) % 1440
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def possession_check(window: Window, cycle_s: float) -> Check:
    """Return the check of a pile that may be worked in a possession alone, from the time of its cycle."""
    hours = " and ".join(f"{_clock(start)} to {_clock(to)}" for start, to in window.spans)
    told = f"work only from {hours}; a pile takes {_hours(cycle_s)} of {_hours(window.length_s)}"
    if cycle_s <= window.length_s:
        return Check("possession", "feasible", "possession", "", told, HALF_DRIVEN)
    return Check("possession", "feasible_with_aid", "pile longer than a possession",
                 "leave piles safe between possessions", f"{told}: it goes on over several", HALF_DRIVEN)


def site_checks(choice: MethodChoice, pile_type: PileType, length_m: float, cycle_s: float, site: Site,
                pile: int) -> list[Check]:
    """Return the checks of everything that the site demands at one pile; what nothing is known of isn't checked.

    length_m: the pile's length; cycle_s: the time that it takes; pile: its number in the site's arrays.
    """
    method = choice.method
    found = site_findings(
        method, pile_length_m=length_m, headroom_m=_given(site.headroom_m[pile]), width_m=_given(site.width_m[pile]),
        clearance_m=_given(site.clearance_m[pile]), over_water=bool(site.over_water[pile]),
        on_slope=bool(site.on_slope[pile]), running_line_m=_given(site.running_line_m[pile]),
        pile_type=pile_type)
    beside = {"clearance": f" to {site.face[pile]}", "running_line": f" ({site.line[pile]})"}
    checks = []
    for one in found:
        aid = one.what.partition(": ")[2] or one.what if one.code == "A" else ""
        checks.append(Check(one.constraint, OF_CODE[one.code], one.constraint.replace("_", " "), aid,
                            f"{one.what}{beside.get(one.constraint, '')}", one.citation))
    window = site.possession[pile]
    if window is not None:
        checks.append(possession_check(window, cycle_s))
    if site.obstructed[pile]:
        checks.append(obstruction(method))
    return checks
