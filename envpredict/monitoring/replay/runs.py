"""Runs of slots that belong together, so that a level that is reached over and over is told once."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from envpredict.monitoring.records.stamps import Millis

QUIET_S: Final = 900.0
"""Slots that reach a level less than this apart are one run, told once; an estimate: a pile takes about so long."""


class Runs:
    """The end of the latest slot of each run, by name."""

    def __init__(self) -> None:
        self._until: dict[str, int] = {}
        self._inside: dict[str, bool] = {}

    def begin(self, name: str, start: Millis, end: Millis) -> NDArray[np.intp]:
        """Return which slots, given in the order in which they are told, begin a new run."""
        quiet = round(1000.0 * QUIET_S)
        before = np.maximum.accumulate(np.concatenate([[self._until.get(name, -(2**62))], end]))
        self._until[name] = int(before[-1])
        return np.flatnonzero(start - before[:-1] > quiet)

    def starts(self, name: str, marked: NDArray[np.bool_]) -> NDArray[np.intp]:
        """Return where, row by row, a mark appears after a row without it."""
        before = np.concatenate([[self._inside.get(name, False)], marked[:-1]])
        if marked.size:
            self._inside[name] = bool(marked[-1])
        return np.flatnonzero(marked & ~before)

    def clear(self) -> None:
        """Forget every run of slots."""
        self._until.clear()

    def state(self) -> dict[str, Any]:
        """Return what a restart needs."""
        return {"until": dict(sorted(self._until.items())), "inside": dict(sorted(self._inside.items()))}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up a state."""
        self._until = {name: int(end) for name, end in state["until"].items()}
        self._inside = {name: bool(held) for name, held in state["inside"].items()}
