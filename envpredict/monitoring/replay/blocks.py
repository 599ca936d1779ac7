"""Averages over fixed blocks of a criterion's period: told as soon as they are sure to reach a level."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from envpredict.monitoring.records.civil import Clock, Hours, blocks_of
from envpredict.monitoring.records.stamps import DAY_MS, Millis

Floats = NDArray[np.float64]


class Blocks:
    """The blocks of one trigger, with what has been added to those that aren't closed."""

    def __init__(self, clock: Clock, hours: Hours, width_s: float) -> None:
        self.clock, self.hours, self.width_s = clock, hours, width_s
        self.sums: dict[int, float] = {}

    def push(self, start: Millis, end: Millis, rate: Floats) -> list[tuple[int, int, NDArray[np.intp], Floats]]:
        """Take rows in the order of arrival; return what became of each block that they reach.

        Per block: its start, its end, the rows that added to it, and its sum after each of them.
        """
        busy = np.flatnonzero(rate > 0.0)
        if not busy.size:
            return []
        dates = self.clock.dates(np.array([start[busy].min() - DAY_MS, end[busy].max()]))
        held = blocks_of(self.clock, self.hours, self.width_s, dates[0], dates[1])
        if not len(held):
            return []
        first = np.searchsorted(held.end, start[busy], side="right")
        last = np.searchsorted(held.start, end[busy], side="left")
        counts = np.maximum(last - first, 0)
        row = np.repeat(busy, counts)
        block = np.repeat(first, counts) + np.arange(int(counts.sum())) - np.repeat(np.cumsum(counts) - counts, counts)
        overlap = np.minimum(end[row], held.end[block]) - np.maximum(start[row], held.start[block])
        found = []
        order = np.argsort(block, kind="stable")
        for mine in np.split(order, np.flatnonzero(np.diff(block[order])) + 1) if order.size else ():
            number = block[mine[0]]
            key = int(held.start[number])
            added = rate[row[mine]] * overlap[mine]
            running = np.cumsum(np.concatenate([[self.sums.get(key, 0.0)], added]))[1:]
            self.sums[key] = float(running[-1])
            found.append((key, int(held.end[number]), row[mine], running))
        return found

    def forget(self, before: int) -> None:
        """Drop blocks that started before a moment."""
        self.sums = {key: total for key, total in self.sums.items() if key >= before}

    def state(self) -> dict[str, float]:
        """Return what a restart needs."""
        return {str(key): total for key, total in sorted(self.sums.items())}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up a state."""
        self.sums = {int(key): float(total) for key, total in state.items()}
