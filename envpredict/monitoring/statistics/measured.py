"""Measured levels as a series over slots, so that the judge of predictions judges them too."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from envpredict.monitoring.records import flags as flag
from envpredict.monitoring.records.civil import Clock, Hours, Spans, blocks_of, merged, spans
from envpredict.monitoring.records.order import Ordered
from envpredict.monitoring.records.quantities import DOSES, LONG_MEANS, MEANS, STRENGTHS, values_of
from envpredict.monitoring.records.rows import Rows
from envpredict.monitoring.records.stamps import Millis
from envpredict.monitoring.replay.triggers import hours_of
from envpredict.monitoring.statistics.choices import MIN_COVERAGE
from envpredict.monitoring.statistics.long_term import long_term
from envpredict.monitoring.statistics.means import block_sums, level_db, running_highest
from envpredict.monitoring.statistics.slots import Asked, Measured, correction_db, effective_end, loudest, made
from envpredict.monitoring.statistics.strength import strength

Floats = NDArray[np.float64]


def measured(readings: Ordered, asked: Asked, clock: Clock, work: Spans | None = None) -> Measured | str:
    """Return a criterion's levels as measured, or in words why there are none.

    `work`: the time of work, for limits that are averaged over it.
    """
    quantity = str(asked.criterion.quantity)
    found = _usable(readings, asked)
    if isinstance(found, str):
        return found
    rows, values = found
    dates = clock.dates(np.array([rows.start[0], rows.end.max()]))
    first, last = dates[0] - np.timedelta64(1, "D"), dates[1]
    hours = hours_of(asked.criterion)
    if quantity in LONG_MEANS:
        return long_term(rows, values, asked, clock)
    if quantity not in (*MEANS, *DOSES, *STRENGTHS):
        return _peaks(rows, values, asked, clock, spans(clock, [hours], first, last))
    if asked.criterion.averaging_s is None:
        return "the plan states no averaging time"
    if quantity in (*STRENGTHS, *DOSES):
        added = strength if quantity in STRENGTHS else _doses
        return added(rows, values, asked, clock, blocks_of(clock, hours, asked.criterion.averaging_s, first, last))
    return _means(rows, values, asked, clock, (hours, first, last), work)


def _usable(readings: Ordered, asked: Asked) -> tuple[Rows, Floats] | str:
    """Return the rows that say something of a criterion's quantity, and the quantity; or why there are none."""
    quantity = asked.criterion.quantity
    if quantity is None:
        return "the plan states no quantity"
    values = values_of(quantity, asked.station, readings.rows.values) if len(readings.rows) else np.zeros(0)
    if values is None:
        return f"{quantity} isn't recorded"
    keep = flag.usable(readings.rows.flags) & ~np.isnan(values)
    rows = replace(readings.rows, values={})  # what else was logged isn't carried along
    if bool(keep.all()):
        return (rows, values) if len(rows) else "no reading"
    return (rows.take(np.flatnonzero(keep)), values[keep]) if keep.any() else "no usable reading"


def _peaks(rows: Rows, values: Floats, asked: Asked, clock: Clock, days: Spans) -> Measured | str:
    """Return the highest reading of each day's period."""
    span = days.holds(rows.start)
    inside = np.flatnonzero(span >= 0)
    if not inside.size:
        return "no reading within the period"
    edges = np.flatnonzero(np.diff(span[inside], prepend=-1))
    row = np.empty(len(edges), dtype=np.intp)
    bounds = np.append(edges, inside.size)
    for number in range(len(edges)):
        part = inside[bounds[number]:bounds[number + 1]]
        row[number] = part[int(np.argmax(values[part]))]
    held = span[inside[edges]]
    valid = np.add.reduceat(np.where(flag.complete(rows.flags), effective_end(rows) - rows.start, 0)[inside], edges)
    length = (days.end - days.start)[held]
    coverage = np.ones(len(edges)) if rows.table == "movement" else np.minimum(valid / length, 1.0)
    level = values[row] + correction_db(asked)
    return made(rows, asked, clock, (days.start[held], days.end[held], days.day[held]), level, level, coverage, row)


def _means(rows: Rows, values: Floats, asked: Asked, clock: Clock, when: tuple[Hours, np.datetime64, np.datetime64],
           work: Spans | None) -> Measured | str:
    """Return energy means over blocks, or the highest running mean of each period, or means over the time of work."""
    hours, first, last = when
    mode = asked.period.averaging if asked.period is not None else "block"
    width_s = float(asked.criterion.averaging_s or 0.0)
    rate = 10.0 ** (values / 10.0)
    good, end = flag.complete(rows.flags), effective_end(rows)
    if mode == "rolling":
        return _rolling(rows, rate, asked, clock, spans(clock, [hours], first, last))
    held = (_working(spans(clock, [hours], first, last), work) if mode == "operation" and work is not None
            else blocks_of(clock, hours, width_s, first, last))
    total, known, valid = block_sums(rows.start, end, rate, good, held.start, held.end)
    pieces = (held.start, held.end, held.day)
    length = (held.end - held.start).astype(float)
    if mode == "operation" and work is not None:
        pieces, (total, known, valid, length) = _by_day(held, (total, known, valid, length))
    busy = np.flatnonzero(known > 0)
    if not busy.size:
        return "no reading within the period"
    coverage = np.minimum(valid / length, 1.0)[busy]
    lower = level_db(total, length)[busy] + correction_db(asked)
    level = level_db(total, known)[busy] + correction_db(asked)
    level = np.where(coverage >= MIN_COVERAGE.value, level, lower)
    return made(rows, asked, clock, (pieces[0][busy], pieces[1][busy], pieces[2][busy]), level, lower, coverage,
                 loudest(rows, rate, pieces[0][busy], pieces[1][busy]))


def _rolling(rows: Rows, rate: Floats, asked: Asked, clock: Clock, days: Spans) -> Measured | str:
    width_s = float(asked.criterion.averaging_s or 0.0)
    width = round(1000.0 * width_s)
    span, end = days.holds(rows.start), effective_end(rows)
    best, row = running_highest(rows.start, end, rate, span, days.start, width)
    held = np.flatnonzero(row >= 0)
    if not held.size:
        return "no reading within the period"
    level = level_db(best[held], np.full(held.size, float(width))) + correction_db(asked)
    valid = np.bincount(span[span >= 0], weights=np.where(flag.complete(rows.flags), end - rows.start, 0)[span >= 0],
                        minlength=len(days))[held]
    coverage = np.minimum(valid / (days.end - days.start)[held], 1.0)
    return made(rows, asked, clock, (days.start[held], days.end[held], days.day[held]), level, level, coverage,
                 row[held].astype(np.intp))


def _doses(rows: Rows, values: Floats, asked: Asked, clock: Clock, held: Spans) -> Measured | str:
    """Return doses over blocks: the fourth root of the sum of fourth powers."""
    length = np.maximum(effective_end(rows) - rows.start, 1)
    good = flag.complete(rows.flags)
    total, known, valid = block_sums(rows.start, effective_end(rows), values**4 / length, good, held.start, held.end)
    busy = np.flatnonzero(known > 0)
    if not busy.size:
        return "no reading within the period"
    level = total[busy] ** 0.25
    coverage = np.minimum(valid / (held.end - held.start), 1.0)[busy]
    return made(rows, asked, clock, (held.start[busy], held.end[busy], held.day[busy]), level, level, coverage,
                 loudest(rows, values, held.start[busy], held.end[busy]))


def _working(days: Spans, work: Spans) -> Spans:
    """Return the time of work within each day's period."""
    start = np.maximum(days.start[:, None], work.start[None, :])
    end = np.minimum(days.end[:, None], work.end[None, :])
    day, piece = np.nonzero(end > start)
    return merged(start[day, piece], end[day, piece], days.day[day])


def _by_day(held: Spans, sums: tuple[Floats, ...]) -> tuple[tuple[Millis, Millis, NDArray[np.datetime64]],
                                                          tuple[Floats, ...]]:
    """Add up the pieces of each day."""
    days, first, index = np.unique(held.day, return_index=True, return_inverse=True)
    last = np.append(first[1:], len(held)) - 1 if len(held) else first
    added = tuple(np.bincount(np.ravel(index), weights=one, minlength=len(days)).astype(np.float64) for one in sums)
    return (held.start[first], held.end[last], days), added
