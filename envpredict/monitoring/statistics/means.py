"""Energy means of levels and what else an auditor works out from them: pure functions on arrays."""

from __future__ import annotations

from typing import cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

from envpredict.models.noise.compiled import compiled
from envpredict.monitoring.records.stamps import Millis
from envpredict.monitoring.statistics.choices import NOT_SEPARABLE

Floats = NDArray[np.float64]


def site_only_db(total_db: ArrayLike, background_db: ArrayLike) -> Floats:
    """Return the site's own level by energy subtraction (dB); NaN where the total isn't 3 dB above the background.

    Shapes broadcast. NaN in, NaN out.
    """
    total, background = np.broadcast_arrays(np.asarray(total_db, dtype=float), np.asarray(background_db, dtype=float))
    apart = total - background >= NOT_SEPARABLE.value
    safe = np.where(apart, total, background + NOT_SEPARABLE.value)
    return np.asarray(np.where(apart, 10.0 * np.log10(10.0 ** (safe / 10.0) - 10.0 ** (background / 10.0)), np.nan))


def budget_db(limit_db: ArrayLike, so_far_db: ArrayLike, elapsed_s: ArrayLike, period_s: ArrayLike) -> Floats:
    """Return the level that the rest of a period may have so that the whole just meets its limit (dB).

    `so_far_db` is the mean over `elapsed_s`; -inf where the limit is used up already. Shapes broadcast. Raises
    ValueError unless 0 <= elapsed_s < period_s.
    """
    elapsed, period = np.asarray(elapsed_s, dtype=float), np.asarray(period_s, dtype=float)
    if np.any(elapsed < 0) or np.any(elapsed >= period):
        raise ValueError("elapsed_s must not be negative and must be shorter than period_s")
    allowed = 10.0 ** (np.asarray(limit_db, dtype=float) / 10.0) * period
    spent = np.where(elapsed > 0, 10.0 ** (np.asarray(so_far_db, dtype=float) / 10.0) * elapsed, 0.0)
    with np.errstate(divide="ignore"):
        return np.asarray(10.0 * np.log10(np.maximum(allowed - spent, 0.0) / (period - elapsed)))


@compiled
def _sums(start: Millis, end: Millis, rate: Floats, good: NDArray[np.bool_], block_start: Millis, block_end: Millis,
          total: Floats, known: Floats, valid: Floats) -> None:
    first = 0
    for row in range(start.size):
        while first < block_start.size and block_end[first] <= start[row]:
            first += 1
        block = first
        while block < block_start.size and block_start[block] < end[row]:
            overlap = min(end[row], block_end[block]) - max(start[row], block_start[block])
            if overlap > 0 and rate[row] >= 0.0:
                total[block] += rate[row] * overlap
                known[block] += overlap
                if good[row]:
                    valid[block] += overlap
            block += 1


def block_sums(start: Millis, end: Millis, rate: Floats, good: NDArray[np.bool_], block_start: Millis,
               block_end: Millis) -> tuple[Floats, Floats, Floats]:
    """Return, per block (B,), the sum of rate times milliseconds, the milliseconds with a level and the valid ones.

    Rows (N,) in order of time that don't overlap; NaN rates count for nothing. Blocks in order that don't overlap; a
    row that crosses an edge is shared out by time.
    """
    total, known, valid = (np.zeros(len(block_start)) for _ in range(3))
    _sums(start, end, np.where(np.isnan(rate), -1.0, rate), good, block_start, block_end, total, known, valid)
    return total, known, valid


@compiled
def _running(start: Millis, end: Millis, rate: Floats, span: NDArray[np.int64], span_start: Millis, width: int,
             best: Floats, at: NDArray[np.int64]) -> None:
    for row in range(start.size):
        here = span[row]
        if here < 0 or rate[row] < 0.0:
            continue
        begin, total, back = max(end[row] - width, span_start[here]), 0.0, row
        while back >= 0 and end[back] > begin:
            if rate[back] > 0.0:
                total += rate[back] * (end[back] - max(start[back], begin))
            back -= 1
        if total > best[here]:
            best[here], at[here] = total, row


def running_highest(start: Millis, end: Millis, rate: Floats, span: NDArray[np.int64], span_start: Millis,
                    width_ms: int) -> tuple[Floats, NDArray[np.int64]]:
    """Return, per span (K,), the largest sum of rate times milliseconds over any `width_ms`, and the row that ends it.

    Rows (N,) as in `block_sums`; `span` is the number of the span that each row starts in, -1 for none. Windows end
    with a row and don't reach back before their span; -1 where a span holds no row.
    """
    best, at = np.zeros(len(span_start)), np.full(len(span_start), -1, dtype=np.int64)
    _running(start, end, np.where(np.isnan(rate), -1.0, rate), span.astype(np.int64), span_start, width_ms, best, at)
    return best, at


def level_db(total: Floats, milliseconds: Floats) -> Floats:
    """Return the mean level of sums over so many milliseconds, rounded to a millionth dB; -inf where nothing is."""
    with np.errstate(divide="ignore", invalid="ignore"):
        level = np.where(milliseconds > 0, 10.0 * np.log10(total / np.maximum(milliseconds, 1e-9)), -np.inf)
    return cast("Floats", np.where(np.isfinite(level), np.round(level, 6), level))
