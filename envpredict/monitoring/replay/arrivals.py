"""The order in which one station's records arrive: which are late, copies, or stamped by a clock that stepped back."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from envpredict.monitoring.records import flags as flag
from envpredict.monitoring.records.rows import Rows
from envpredict.monitoring.records.stamps import Millis

Bools = NDArray[np.bool_]
NEVER = -(2**62)


@dataclass(frozen=True, slots=True, eq=False)
class Arrived:
    """What is known of rows as they arrive.

    `flags` with copies and contradictions; `late`; `clash`: on time that an earlier row has taken, so the clock stepped
    back; `ahead`: the newest end before each row.
    """

    flags: flag.Flags
    late: Bools
    clash: Bools
    ahead: Millis


class Arrivals:
    """Remembers a station's newest records, as far back as a record may come without being late."""

    def __init__(self, late_ms: int, tolerance_ms: int) -> None:
        self.late_ms, self.tolerance_ms = late_ms, tolerance_ms
        self.newest = NEVER
        self._start: list[int] = []
        self._end: list[int] = []
        self._values: list[list[float]] = []

    def push(self, rows: Rows) -> Arrived:
        """Take rows in the order of arrival."""
        newest = np.maximum.accumulate(np.concatenate([[self.newest], rows.end]))
        ahead = newest[:-1]
        late = rows.end < ahead - self.late_ms
        flags, clash = rows.flags.copy(), np.zeros(len(rows), dtype=bool)
        names = sorted(rows.values)
        start, end = np.concatenate([self._start, rows.start]), np.concatenate([self._end, rows.end])
        kept = len(self._start)
        for row in np.flatnonzero((rows.start < ahead - self.tolerance_ms) & ~late).tolist():
            # a row whose end lies beyond the lateness can't have come before the newest end did
            since = int(np.searchsorted(newest[1:], ahead[row] - self.late_ms, side="right"))
            looked = np.concatenate([np.arange(kept), np.arange(kept + since, kept + row)]).astype(np.intp)
            near = looked[(end[looked] > ahead[row] - self.late_ms)
                          & (start[looked] < rows.end[row] - self.tolerance_ms)
                          & (end[looked] > rows.start[row] + self.tolerance_ms)]
            if not near.size:
                continue
            mine = [float(rows.values[name][row]) for name in names]
            if any(start[one] == rows.start[row] and end[one] == rows.end[row]
                   and _alike(mine, self._of(int(one), rows, names)) for one in near):
                flags[row] |= flag.DUPLICATE
            else:
                flags[row] |= flag.CONFLICT
                clash[row] = True
        self._keep(rows, names, newest)
        return Arrived(flags, late, clash, ahead)

    def _of(self, at: int, rows: Rows, names: list[str]) -> list[float]:
        kept = len(self._start)
        return self._values[at] if at < kept else [float(rows.values[name][at - kept]) for name in names]

    def _keep(self, rows: Rows, names: list[str], newest: Millis) -> None:
        """Keep what a later row may still meet."""
        self.newest = int(newest[-1])
        oldest = self.newest - self.late_ms
        held = [at for at, end in enumerate(self._end) if end > oldest]
        fresh = np.flatnonzero(rows.end > oldest).tolist()
        self._values = [self._values[at] for at in held] + [[float(rows.values[name][row]) for name in names]
                                                            for row in fresh]
        self._start = [self._start[at] for at in held] + rows.start[fresh].tolist()
        self._end = [self._end[at] for at in held] + rows.end[fresh].tolist()

    def state(self) -> dict[str, Any]:
        """Return what a restart needs; no value is written as null."""
        values = [[None if math.isnan(value) else value for value in row] for row in self._values]
        return {"newest": self.newest, "start": self._start, "end": self._end, "values": values}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up a state."""
        self.newest = int(state["newest"])
        self._start, self._end = list(map(int, state["start"])), list(map(int, state["end"]))
        self._values = [[float("nan") if value is None else float(value) for value in row] for row in state["values"]]


def _alike(first: list[float], second: list[float]) -> bool:
    return all(a == b or (math.isnan(a) and math.isnan(b)) for a, b in zip(first, second, strict=True))
