"""One station's readings in order of time: copies, contradictions, overlaps, steps of its clock, gaps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from envpredict.monitoring.records import flags as flag
from envpredict.monitoring.records.rows import Rows
from envpredict.monitoring.records.stamps import Millis

TWO_LOGGERS = 10
"""So many contradictions, most of them with a step back of their own, mean two loggers under one id; an estimate."""
STUCK_ROWS = 20
STUCK_S = 3600.0
"""Equal rows for so many intervals and so long mean that an instrument is stuck; estimates."""
STUCK_ABOVE_MM_S = 0.1
"""Vibration below this may well stay the same: loggers show few digits; an estimate."""

What = Literal["shuffled", "clock_back", "two_loggers"]


@dataclass(frozen=True, slots=True)
class Disorder:
    """Something that isn't as rows in order would be: `size_s` is how far a clock stepped back."""

    what: What
    where: str
    at: int
    size_s: float
    rows: int


@dataclass(frozen=True, slots=True, eq=False)
class Ordered:
    """A station's readings in order of time, flagged; gaps (K,) from `gap_start` to `gap_end`."""

    rows: Rows
    disorder: tuple[Disorder, ...]
    gap_start: Millis
    gap_end: Millis

    @property
    def good(self) -> NDArray[np.bool_]:
        """Return which rows count as measured time."""
        return flag.complete(self.rows.flags)


def in_order(rows: Rows, tolerance_ms: int = 500) -> Ordered:
    """Return one station's rows in order of time with copies, contradictions and overlaps flagged.

    `rows` come in the order in which they arrived. Of identical rows the first is kept; rows of one time with other
    values contradict one another and count as lower bounds. Nothing is left out or filled in.
    """
    if not len(rows):
        none = np.zeros(0, dtype=np.int64)
        return Ordered(rows, (), none, none)
    ahead = np.maximum.accumulate(rows.end)
    back = np.flatnonzero(np.concatenate([[False], rows.start[1:] < ahead[:-1] - tolerance_ms]))
    if bool((rows.start[1:] >= rows.start[:-1]).all()):
        order, placed = np.arange(len(rows)), rows
    else:
        order = np.argsort(rows.start, kind="stable")
        placed = rows.take(order)
    flags = placed.flags.copy()
    same = np.concatenate([[False], placed.start[1:] == placed.start[:-1]])
    if same.any():
        flags |= _copies(placed, same)
    single = np.flatnonzero((flags & flag.DUPLICATE) == 0)
    reach = np.maximum.accumulate(placed.end[single])
    over = np.concatenate([[False], (placed.start[single][1:] < reach[:-1] - tolerance_ms)])
    flags[single[over]] |= flag.OVERLAP
    placed = placed.flagged(flags | _stuck(placed))
    disorder = _disorder(rows, back, order, placed.flags, ahead) if back.size else ()
    gap = placed.start[single][1:] - reach[:-1] > np.maximum(tolerance_ms, (placed.end - placed.start)[single][1:] // 2)
    if rows.table == "movement":
        gap = np.zeros_like(gap)
    return Ordered(placed, disorder, reach[:-1][gap], placed.start[single][1:][gap])


def _copies(rows: Rows, same: NDArray[np.bool_]) -> flag.Flags:
    """Return the flags of rows that share their start: copies of an earlier one, or contradictions."""
    flags = np.zeros(len(rows), dtype=np.int32)
    group = np.cumsum(~same)
    members = np.flatnonzero(np.isin(group, group[same]))
    columns = np.stack([rows.end[members].astype(float), *(column[members] for column in rows.values.values())])
    seen: dict[int, list[int]] = {}
    for at, row in enumerate(members.tolist()):
        others = seen.setdefault(int(group[row]), [])
        if any(np.array_equal(columns[:, at], columns[:, other], equal_nan=True) for other in others):
            flags[row] |= flag.DUPLICATE
        else:
            others.append(at)
    for kept in seen.values():
        if len(kept) > 1:
            flags[members[kept]] |= flag.CONFLICT
    return flags


def _stuck(rows: Rows) -> flag.Flags:
    """Return the flag of rows whose numbers all stay the same for too long."""
    names = [name for name in rows.values if not name.startswith(("wind", "gust", "rain", "battery", "temperature"))]
    if rows.table == "movement" or len(rows) < STUCK_ROWS or not names:
        return np.zeros(len(rows), dtype=np.int32)
    equal = np.ones(len(rows) - 1, dtype=bool)
    for name in names:
        column = rows.values[name]
        equal &= (column[1:] == column[:-1]) | (np.isnan(column[1:]) & np.isnan(column[:-1]))
        # most instruments never come near so many equal rows: the other columns needn't be looked at then
        if np.count_nonzero(equal) < STUCK_ROWS - 1:
            return np.zeros(len(rows), dtype=np.int32)
    run = np.concatenate([[0], np.cumsum(~equal)])
    counts = np.bincount(run)
    first = np.searchsorted(run, np.arange(len(counts)))
    last = first + counts - 1
    long_ = (counts >= STUCK_ROWS) & ((rows.end[last] - rows.start[first]) >= 1000.0 * STUCK_S)
    if rows.table == "vibration":
        peaks = [rows.values[name] for name in names if name.startswith(("ppv", "pvs"))]
        highest = np.fmax.reduce(peaks) if peaks else np.zeros(len(rows))
        long_ &= highest[first] >= STUCK_ABOVE_MM_S
    return np.where(long_[run], flag.STUCK, 0).astype(np.int32)


def _disorder(rows: Rows, back: NDArray[np.intp], order: NDArray[np.intp], placed: flag.Flags,
              ahead: Millis) -> tuple[Disorder, ...]:
    """Return what the steps back in the order of arrival mean.

    A row that arrives late into a free place was only shuffled; one that lands on time already taken shows a clock that
    stepped back, or a second logger under the same id where that happens over and over.
    """
    flags = np.empty_like(placed)
    flags[order] = placed
    taken = (flags & (flag.OVERLAP | flag.CONFLICT)) != 0
    collided = _near(back, taken, rows)
    copies = (flags[back] & flag.DUPLICATE) != 0
    found: list[Disorder] = []
    contradictions = int(((flags & flag.CONFLICT) != 0).sum())
    clashes = back[collided & ~copies]
    begins = clashes[np.concatenate([[True], np.diff(clashes) > 1])] if clashes.size else clashes
    if contradictions >= TWO_LOGGERS and begins.size * 4 >= contradictions:
        found.append(Disorder("two_loggers", rows.where(int(clashes[0])), int(rows.start[clashes[0]]), 0.0,
                              contradictions))
    else:
        found += [Disorder("clock_back", rows.where(int(row)), int(rows.start[row]),
                           float(ahead[row - 1] - rows.start[row]) / 1000.0, 1) for row in begins]
    late = back[~collided & ~copies]
    if late.size:
        found.append(Disorder("shuffled", rows.where(int(late[0])), int(rows.start[late[0]]), 0.0, int(late.size)))
    return tuple(found)


def _near(back: NDArray[np.intp], taken: NDArray[np.bool_], rows: Rows) -> NDArray[np.bool_]:
    """Return which of the rows that step back land on time that an earlier row has taken."""
    if not taken.any():
        return np.zeros(len(back), dtype=bool)
    hit = np.flatnonzero(taken)
    starts, ends = np.sort(rows.start[hit]), np.sort(rows.end[hit])
    # a row collides if it is marked itself, or overlaps one that is
    overlapping = np.searchsorted(starts, rows.end[back], side="left") - np.searchsorted(ends, rows.start[back],
                                                                                        side="right")
    return np.asarray(taken[back] | (overlapping > 0))
