"""How jobs of known length fall into shifts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class Window:
    """The hours of one shift: spans of work in order, in seconds since midnight of the date on which it starts.

    Times beyond 86 400 lie after midnight; a gap between spans is a pause. Raises ValueError for spans that are empty
    or don't follow one another.
    """

    spans: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        edges = [edge for span in self.spans for edge in span]
        if not edges or any(b <= a for a, b in self.spans) or edges != sorted(edges):
            raise ValueError("a shift needs spans of time that follow one another")

    @classmethod
    def between(cls, from_s: float, to_s: float) -> Window:
        """Return the window between two clock times; an end that isn't after the start lies on the next day."""
        return cls(((from_s, to_s if to_s > from_s else to_s + DAY_S),))

    @property
    def length_s(self) -> float:
        """Return the time of work."""
        return sum(to - start for start, to in self.spans)

    def without(self, from_s: float, to_s: float) -> Window:
        """Return the window with a pause between two clock times taken out. Raises ValueError if nothing is left."""
        pause_s = (to_s - from_s) % DAY_S
        kept = list(self.spans)
        for begin in (from_s, from_s + DAY_S):
            kept = [piece for start, to in kept
                    for piece in ((start, min(to, begin)), (max(start, begin + pause_s), to)) if piece[1] > piece[0]]
        return Window(tuple(kept))

    def shared(self, other: Window) -> Window | None:
        """Return the time that two windows have in common, also where one starts before midnight; None if none."""
        both = [(max(a, c + shift), min(b, d + shift)) for shift in (-DAY_S, 0.0, DAY_S)
                for a, b in self.spans for c, d in other.spans]
        spans = sorted((start, to) for start, to in both if to > start)
        return Window(tuple(spans)) if spans else None

    def pieces(self, begin: float, length: float) -> Iterator[tuple[float, float]]:
        """Yield the clock times of work that begins `begin` seconds of work into the shift and lasts `length`."""
        for start, to in self.spans:
            from_, until = max(begin, 0.0), min(begin + length, to - start)
            if until - from_ > 1e-9:
                yield start + from_, start + until
            begin -= to - start


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


def fill_shifts(durations_s: Floats, windows: Sequence[Window]) -> Shifts:
    """Lay jobs one after another into shifts, in order.

    durations_s: (J,), finite and positive; windows: the hours of each job's shifts, one for each. A job that would
    overrun the shift's end starts with the next shift, and so does one with other hours than the job before it: a crew
    works one kind of shift a day. A job longer than a whole shift is split into parts over successive shifts. Raises
    ValueError for a duration that isn't positive and finite.
    """
    durations = np.asarray(durations_s, dtype=float)
    if not (np.isfinite(durations).all() and (durations > 0).all()):
        raise ValueError("every job needs a positive, finite duration")
    rows: list[tuple[int, int, int, float, float]] = []
    shift, clock = 0, 0.0
    before: Window | None = None
    for job, (duration, window) in enumerate(zip(durations, windows, strict=True)):
        left, part, room = float(duration), 0, window.length_s
        overruns = clock + left > room + 1e-6
        if clock > 0.0 and (overruns or window != before):
            shift, clock = shift + 1, 0.0
        before = window
        while left > 1e-9:
            worked = min(left, room - clock)
            for start, end in window.pieces(clock, worked):
                rows.append((job, part, shift, start, end))
                part += 1
            left, clock = left - worked, clock + worked
            if left > 1e-9:
                shift, clock = shift + 1, 0.0
    table = np.array(rows, dtype=float).reshape(-1, 5)
    return Shifts(table[:, 0].astype(np.int64), table[:, 1].astype(np.int64), table[:, 2].astype(np.int64), table[:, 3],
                  table[:, 4])
