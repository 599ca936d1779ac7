"""Running averages over slots that end at each step of the clock, added up row by row as records come in."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from envpredict.models.noise.compiled import compiled
from envpredict.monitoring.records.stamps import Millis

Floats = NDArray[np.float64]
NEVER = -(2**62)


@compiled
def _first_end(start: int, step: int) -> int:
    """Return the end of the first slot that a row starting here reaches into."""
    return (start // step + 1) * step


@compiled
def _run(start: Millis, end: Millis, rate: Floats, watermark: int, step: int, width: int, needed: float, sums: Floats,
         ends: Millis, row_out: NDArray[np.int64], end_out: Millis, sum_out: Floats) -> tuple[int, int]:
    """Add rows to the slots that they reach into; tell every slot that is over and holds at least the needed sum.

    `sums` and `ends` are the slots' store: a slot's place follows from its end, older ones are overwritten. Returns how
    many were told (beyond the room only counted) and the newest end of a row.
    """
    told, size = 0, sums.size
    for row in range(start.size):
        before = watermark
        watermark = max(watermark, end[row])
        if rate[row] > 0.0:
            slot = _first_end(start[row], step)
            while slot - width < end[row]:
                place = (slot // step) % size
                if ends[place] < slot:
                    ends[place], sums[place] = slot, 0.0
                overlap = min(end[row], slot) - max(start[row], slot - width)
                if ends[place] == slot and overlap > 0:
                    sums[place] += rate[row] * overlap
                    if slot <= before and sums[place] >= needed:
                        if told < row_out.size:
                            row_out[told], end_out[told], sum_out[told] = row, slot, sums[place]
                        told += 1
                slot += step
        if before > NEVER:
            slot = _first_end(before, step)
            last = min(watermark, before + size * step)
            while slot <= last:
                place = (slot // step) % size
                if ends[place] == slot and sums[place] >= needed:
                    if told < row_out.size:
                        row_out[told], end_out[told], sum_out[told] = row, slot, sums[place]
                    told += 1
                slot += step
    return told, watermark


class Windows:
    """The slots of one running average: `step_ms` apart, `width_ms` long, kept for `late_ms` after their end."""

    def __init__(self, step_ms: int, width_ms: int, late_ms: int, needed: float) -> None:
        self.step, self.width, self.needed = step_ms, width_ms, needed
        size = (width_ms + late_ms) // step_ms + 4
        self.sums, self.ends = np.zeros(size), np.full(size, NEVER, dtype=np.int64)
        self.watermark = NEVER

    def push(self, start: Millis, end: Millis, rate: Floats) -> tuple[NDArray[np.int64], Millis, Floats]:
        """Take rows in the order of arrival; return, for each slot told, the row at which, its end, its sum.

        A slot is told once it is over: by the first row that ends at or after its end, and again if a row that arrives
        later adds to it.
        """
        room = 2 * len(start) + self.sums.size
        while True:
            sums, ends = self.sums.copy(), self.ends.copy()
            rows, ends_out, sums_out = np.zeros(room, dtype=np.int64), np.zeros(room, dtype=np.int64), np.zeros(room)
            told, watermark = _run(start, end, rate, self.watermark, self.step, self.width, self.needed, sums, ends,
                                   rows, ends_out, sums_out)
            if told <= room:
                self.sums, self.ends, self.watermark = sums, ends, int(watermark)
                return rows[:told], ends_out[:told], sums_out[:told]
            room = told

    def state(self) -> dict[str, Any]:
        """Return what a restart needs."""
        held = self.ends > NEVER
        return {"watermark": self.watermark, "ends": self.ends[held].tolist(), "sums": self.sums[held].tolist()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up a state."""
        self.watermark = int(state["watermark"])
        for end, total in zip(state["ends"], state["sums"], strict=True):
            place = (end // self.step) % self.sums.size
            self.ends[place], self.sums[place] = end, total
