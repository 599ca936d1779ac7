"""What was going on when a level was reached: the diary of the works, looked up by time."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from envpredict.monitoring.records.small import SmallTable

if TYPE_CHECKING:
    from envpredict.monitoring.plan_schema import Plan

RESOLUTION_MIN = 1.0
"""Time step of a diary in minutes where the plan states none; an estimate."""
CLOCK_S = 10.0
NAMED = 6
"""Entries that an event names; their number isn't limited elsewhere."""


def tolerance_ms(plan: Plan) -> int:
    """Return by how much diary and logger may disagree: the diary's time step and the clocks' tolerance."""
    step = plan.works_log.resolution_min if plan.works_log.resolution_min is not None else RESOLUTION_MIN
    clock = plan.clock.tolerance_s if plan.clock.tolerance_s is not None else CLOCK_S
    return round(1000.0 * (60.0 * step + clock))


class WorksDiary:
    """The diary's entries by time; callable as `engine.Diary`."""

    def __init__(self, works: SmallTable, tolerance: int) -> None:
        self.works, self.tolerance = works, tolerance
        rows = sorted(works.rows, key=lambda row: (row["t_start"], row["t_end"]))
        self.names = [str(row["pile_id"] or row["activity"] or row["method"]) for row in rows]
        self.start = np.array([row["t_start"] for row in rows], dtype=np.int64)
        self.end = np.array([row["t_end"] for row in rows], dtype=np.int64)
        self.rows = rows

    def entries(self, start: int, end: int) -> np.ndarray:
        """Return the numbers of the entries that were going on between two moments."""
        hit = (self.start < end + self.tolerance) & (self.end > start - self.tolerance)
        return np.flatnonzero(hit)

    def __call__(self, _station: str, start: int, end: int) -> tuple[str, ...] | None:
        """Return the piles or activities between two moments; None where there's no diary at all."""
        if not len(self.works):
            return None
        return tuple(dict.fromkeys(self.names[number] for number in self.entries(start, end).tolist()))[:NAMED]
