"""KB_FTr as measured: the weighted strength of an assessment time, from the maxima of its intervals of 30 s."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from envpredict.limits.adjust import RestHours
from envpredict.limits.outcome import LimitValue
from envpredict.models.vibration.din4150_2_1999 import FELT, INTERVAL_S, STANDARD
from envpredict.monitoring.records import flags as flag
from envpredict.monitoring.records.civil import Clock, Hours, Spans, spans
from envpredict.monitoring.records.rows import Rows
from envpredict.monitoring.records.stamps import Millis
from envpredict.monitoring.statistics.means import block_sums
from envpredict.monitoring.statistics.slots import Asked, Measured, effective_end, loudest, made

Floats = NDArray[np.float64]
INTERVAL_MS = round(1000.0 * INTERVAL_S)


def interval_maxima(start: Millis, end: Millis, kb_fmax: Floats) -> tuple[Millis, Floats]:
    """Return the starts (K,) of the intervals of 30 s on the clock that rows (N,) reach into, and their maxima (K,).

    A longer row counts with its maximum in every interval: the strength is then an upper value. Rows in order of time.
    """
    if not len(start):
        return np.zeros(0, dtype=np.int64), np.zeros(0)
    first = start // INTERVAL_MS
    count = np.maximum((np.maximum(end, start + 1) - 1) // INTERVAL_MS - first + 1, 1)
    number = np.arange(int(count.sum())) - np.repeat(np.cumsum(count) - count, count)
    interval, strength_ = np.repeat(first, count) + number, np.repeat(kb_fmax, count)
    order = np.argsort(interval, kind="stable")
    interval, strength_ = interval[order], strength_[order]
    edges = np.flatnonzero(np.diff(interval, prepend=interval[0] - 1))
    return interval[edges] * INTERVAL_MS, np.maximum.reduceat(strength_, edges)


def strength(rows: Rows, values: Floats, asked: Asked, clock: Clock, held: Spans) -> Measured | str:
    """Return KB_FTr of each assessment time (spans), as if the vibration had been nil where nothing was recorded.

    `values` (N,): KB_Fmax of each row. KB_FTr = sqrt(sum of 30 s KB_FT^2 / T_r), hours of rest counted as often as the
    rule says. Where the rule decides between two bounds, times whose KB_Fmax doesn't pass the lower one are left out.
    """
    width_ms = 1000.0 * float(asked.criterion.averaging_s or 0.0)
    begin, kb = interval_maxima(rows.start, effective_end(rows), values)
    sure = np.ones(len(kb), dtype=bool)
    squares, said = _weighted(kb**2, begin, asked, clock, held)
    total, known, _ = block_sums(begin, begin + INTERVAL_MS, squares, sure, held.start, held.end)
    _, _, valid = block_sums(rows.start, effective_end(rows), values, flag.complete(rows.flags), held.start, held.end)
    busy = np.flatnonzero(known > 0)
    if not busy.size:
        return "no reading within the period"
    row = loudest(rows, values, held.start[busy], held.end[busy])
    passed, gate = _passed(values[row], asked)
    level = np.sqrt(total[busy] / width_ms)
    coverage = np.minimum(valid / (held.end - held.start), 1.0)[busy]
    note = (f"{STANDARD.document}: intervals of {INTERVAL_S:g} s at their KB_Fmax, also those at or below {FELT:g}, "
            "which may count for nothing: an upper value; recalled: verify")
    found = made(rows, asked, clock, (held.start[busy], held.end[busy], held.day[busy]), level, level, coverage, row,
                 also=(note, *said, *gate))
    return found.take(passed)


def _weighted(squares: Floats, begin: Millis, asked: Asked, clock: Clock, held: Spans) -> tuple[Floats, list[str]]:
    """Return squares as often as the rule counts their time, and what it says of that."""
    period = None if asked.period is None else asked.period.id
    said = []
    for one in asked.rule.adjustments if asked.rule is not None else ():
        if isinstance(one, RestHours) and one.holds_in(period) and len(held):
            hours = [Hours(tuple(each.days), each.start, each.end) for each in one.hours]
            rest = spans(clock, hours, held.day.min() - np.timedelta64(1, "D"), held.day.max())
            squares = np.where(rest.holds(begin) >= 0, squares * one.factor, squares)
            said.append(str(one))
    return squares, said


def _passed(kb_fmax: Floats, asked: Asked) -> tuple[NDArray[np.bool_], list[str]]:
    """Return which assessment times pass the lower bound, by their KB_Fmax, and what is to be said of that."""
    everything = np.ones(len(kb_fmax), dtype=bool)
    if asked.lower is None:
        return everything, []
    value = asked.lower_value
    if value is None:
        # days with notable vibration, by which the document's values go
        days = float(max(int((kb_fmax > FELT).sum()), 1))
        found = asked.lower.limit(asked.criterion.receptor_class or "any", days=days,
                                  period_id=None if asked.period is None else asked.period.id)
        value = found.value if isinstance(found, LimitValue) else None
    if value is None:
        return everything, ["the lower bound of KB_Fmax isn't known here: KB_FTr is judged alone"]
    passed = kb_fmax > value
    met = int((~passed).sum())
    return passed, [f"{met} of {len(passed)} periods stay at or below the lower bound of {value:g}: met without "
                    "regard to KB_FTr"] if met else []
