"""Means over certain hours of many days, as measured: Lnight of a year, Ldn of thirty days, Lden of a year.

The hours, their days and what is added to each stand where predictions take them from.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.noise.longterm import LONG_TERM, LongTerm
from envpredict.limits.periods import DAY_S
from envpredict.monitoring.plan_fields import DAY_WORDS
from envpredict.monitoring.records import flags as flag
from envpredict.monitoring.records.civil import Clock, Hours, spans
from envpredict.monitoring.records.rows import Rows
from envpredict.monitoring.statistics.choices import MIN_COVERAGE
from envpredict.monitoring.statistics.means import block_sums, level_db
from envpredict.monitoring.statistics.slots import Asked, Measured, correction_db, effective_end, loudest, made

Floats = NDArray[np.float64]
ONE_DAY = np.timedelta64(1, "D")


def long_term(rows: Rows, values: Floats, asked: Asked, clock: Clock) -> Measured | str:
    """Return the mean over every window of so many days that begins with a day of the records and ends within them.

    `values` (N,): LAeq of each row. Records that are shorter than a window are held against the first: as with other
    means, a level counts as measured from a share of valid time on, and below that only the part that is certain does.
    """
    wanted = LONG_TERM[str(asked.criterion.quantity)]
    dates = clock.dates(np.array([rows.start[0], rows.end.max() - 1]))
    # the small hours of the first day end the night of the day before
    first, last = dates[0] - ONE_DAY, max(dates[1], dates[0] - ONE_DAY + np.timedelta64(wanted.days - 1, "D"))
    days = np.arange(first, last + ONE_DAY, dtype="datetime64[D]")
    parts = _by_day(rows, values, clock, wanted, days)
    held = np.flatnonzero((parts[:, 1] > 0).any(axis=0))
    if not held.size:
        return "no reading within its hours"
    starts = np.arange(held[0], max(held[-1] - wanted.days + 2, held[0] + 1))
    starts = starts[starts + wanted.days <= len(days)] if len(days) >= held[0] + wanted.days else starts[:1]
    total, known, valid, length = (_windows(parts[:, number], starts, wanted.days) for number in range(4))
    weight = np.array([10.0 ** (added / 10.0) for _, _, added in wanted.hours])[:, None]
    lower = level_db((weight * total).sum(axis=0), length.sum(axis=0))
    with np.errstate(invalid="ignore", divide="ignore"):
        whole = np.where(known > 0, total / known, 0.0) * length
        coverage = np.minimum(valid / length, 1.0).min(axis=0)
    level = np.where(coverage >= MIN_COVERAGE.value, level_db((weight * whole).sum(axis=0), length.sum(axis=0)), lower)
    begin, end = clock.moments(days[starts], 0), clock.moments(days[starts], wanted.days * DAY_S)
    hours = ", ".join(f"{start}-{end_}" + (f" {added:+g} dB" if added else "") for start, end_, added in wanted.hours)
    said = f"mean over {wanted.label}, {hours}; hours and days as predictions take them, recalled: verify"
    shift = correction_db(asked)
    return made(rows, asked, clock, (begin, end, days[starts]), level + shift, lower + shift, coverage,
                loudest(rows, values, begin, end), also=(said,))


def _by_day(rows: Rows, values: Floats, clock: Clock, wanted: LongTerm, days: NDArray[np.datetime64]) -> Floats:
    """Return, per part of the day (H), energy, known, valid and whole milliseconds (4) of each date (D)."""
    rate, good, end = 10.0 ** (values / 10.0), flag.complete(rows.flags), effective_end(rows)
    found = np.zeros((len(wanted.hours), 4, len(days)))
    for number, (begin, finish, _) in enumerate(wanted.hours):
        held = spans(clock, [Hours(DAY_WORDS, begin, finish)], days[0], days[-1])
        at = (held.day - days[0]).astype(int)
        sums = block_sums(rows.start, end, rate, good, held.start, held.end)
        for place, one in enumerate((*sums, (held.end - held.start).astype(float))):
            found[number, place, at] = one
    return found


def _windows(by_day: Floats, starts: NDArray[np.int64], days: int) -> Floats:
    """Return sums (H, S) over so many days from each start."""
    running = np.concatenate([np.zeros((len(by_day), 1)), np.cumsum(by_day, axis=1)], axis=1)
    return np.asarray(running[:, np.minimum(starts + days, by_day.shape[1])] - running[:, starts])
