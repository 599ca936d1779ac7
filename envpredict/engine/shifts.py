"""How jobs of known length fall into shifts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Shifts:
    """Where each part of each job falls.

    Shapes (N,): job and part numbers, the shift's number, start and end in seconds since midnight of the date on which
    the shift starts (beyond 86 400 in a shift that crosses midnight).
    """

    job: NDArray[np.int64]
    part: NDArray[np.int64]
    shift: NDArray[np.int64]
    start_s: Floats
    end_s: Floats


def fill_shifts(durations_s: Floats, from_s: float, length_s: float) -> Shifts:
    """Lay jobs one after another into shifts, in order.

    durations_s: (J,), finite and positive; from_s: start of the shift since midnight; length_s: its length. A job that
    would overrun the shift's end starts with the next shift; a job longer than a whole shift is split into parts over
    successive shifts. Raises ValueError for a duration that isn't positive and finite.
    """
    durations = np.asarray(durations_s, dtype=float)
    if not (np.isfinite(durations).all() and (durations > 0).all()):
        raise ValueError("every job needs a positive, finite duration")
    rows: list[tuple[int, int, int, float, float]] = []
    shift, clock = 0, 0.0
    for job, duration in enumerate(durations):
        left, part = float(duration), 0
        if clock > 0.0 and clock + left > length_s + 1e-6:
            shift, clock = shift + 1, 0.0
        while left > 1e-9:
            piece = min(left, length_s - clock)
            rows.append((job, part, shift, from_s + clock, from_s + clock + piece))
            left, clock, part = left - piece, clock + piece, part + 1
            if left > 1e-9:
                shift, clock = shift + 1, 0.0
    table = np.array(rows, dtype=float).reshape(-1, 5)
    return Shifts(table[:, 0].astype(np.int64), table[:, 1].astype(np.int64), table[:, 2].astype(np.int64), table[:, 3],
                  table[:, 4])
