"""The monitoring plan that a run's report and pictures propose: the draft that `envpredict plan` would write."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from envpredict.core.errors import EnvpredictError
from envpredict.outputs.once import once

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment
    from envpredict.monitoring.plan_rows import Station
    from envpredict.monitoring.plan_schema import Plan

MOST_RECEPTORS = 600
"""Beyond this many no plan is drafted along the way: finding who stands for whom grows with their square."""
PLACE_M = 0.1
LETTERS = {"noise": "N", "vibration": "V", "movement": "M"}
"""What stands on a mark for each kind of station."""


@dataclass(frozen=True, slots=True)
class Place:
    """A measuring position on a map: the letters of what is measured there, and its stations."""

    x: float
    y: float
    letters: str
    stations: tuple[str, ...]


def drafted(assessment: Assessment) -> Plan | None:
    """Return the drafted monitoring plan of a run, made at the first call.

    None where a run kept nothing to draft from, has no work at all, or more than `MOST_RECEPTORS` receptors.
    """
    return once(assessment, _drafted)


def _drafted(assessment: Assessment) -> Plan | None:
    if "run" not in assessment.detail or len(assessment.receptors) > MOST_RECEPTORS:
        return None
    from envpredict.monitoring.draft import draft_plan

    try:
        return draft_plan(assessment)
    except EnvpredictError:
        return None


def places(plan: Plan | None, hidden: frozenset[str]) -> tuple[Place, ...]:
    """Return where a plan's stations stand, those of one spot together; none at receptors whose place stays out."""
    at: dict[tuple[int, int], list[Station]] = {}
    for station in () if plan is None else plan.stations:
        if station.x is not None and station.y is not None and station.receptor not in hidden:
            at.setdefault((round(station.x / PLACE_M), round(station.y / PLACE_M)), []).append(station)
    return tuple(
        Place(float(mine[0].x or 0.0), float(mine[0].y or 0.0),
              "".join(letter for kind, letter in LETTERS.items() if any(one.kind == kind for one in mine)),
              tuple(one.id for one in mine)) for mine in at.values())
