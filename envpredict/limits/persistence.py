"""Rules that count days: n days in any m, exceedances that last, and allowances of days by level."""

from __future__ import annotations

from typing import Annotated, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import Field

from envpredict.core.citation import Basis
from envpredict.limits.base import Record

Dates = NDArray[np.datetime64]
Truths = NDArray[np.bool_]


class Counted(Record):
    """So many days in a window: `days` with `compare` ("at_least" or "more_than") in any `window` of `unit`.

    unit: calendar_days; working_days (a window of consecutive entries of the series, which then holds working days
    only); months. `counts`: days with an exceedance, or days with work.
    """

    kind: Literal["count"]
    days: Annotated[int, Field(gt=0)]
    compare: Literal["at_least", "more_than"]
    window: Annotated[int, Field(gt=0)]
    unit: Literal["calendar_days", "working_days", "months"]
    counts: Literal["exceedance", "work"] = "exceedance"
    basis: Basis | None = None
    note: str = ""

    @property
    def threshold(self) -> int:
        """Return the smallest count that triggers the rule."""
        return self.days + (self.compare == "more_than")

    def counts_in(self, flagged: ArrayLike, dates: Dates) -> NDArray[np.int64]:
        """Return the number of flagged days in the window that starts on each date.

        `flagged` (..., D) is whether each day counts, `dates` (D,) are distinct and increasing; shape (..., D).
        """
        days = _checked(dates)
        flags = np.asarray(flagged, dtype=bool)
        total = np.concatenate([np.zeros((*flags.shape[:-1], 1), dtype=np.int64), flags.cumsum(axis=-1)], axis=-1)
        starts = np.arange(len(days))
        if self.unit == "working_days":
            ends = np.minimum(starts + self.window, len(days))
        else:
            months = self.unit == "months"
            until = after_months(days, self.window) if months else days + np.timedelta64(self.window, "D")
            ends = np.searchsorted(days, until, side="left")
        counted: NDArray[np.int64] = total[..., ends] - total[..., starts]
        return counted

    def triggered(self, flagged: ArrayLike, dates: Dates) -> Truths:
        """Return whether any window holds enough flagged days; shapes as in `counts_in`, result (...)."""
        counted = self.counts_in(flagged, dates)
        return np.asarray((counted >= self.threshold).any(axis=-1))

    def __str__(self) -> str:
        how = "at least" if self.compare == "at_least" else "more than"
        what = "days" if self.counts == "exceedance" else "days of work"
        unit = {"calendar_days": "consecutive calendar days", "working_days": "working days", "months": "months"}
        return f"{how} {self.days} {what} in any {self.window} {unit[self.unit]}"


class Lasting(Record):
    """Exceedances that go on for so many months: from the first to the last day with one, both included."""

    kind: Literal["lasting"]
    months: Annotated[int, Field(gt=0)]
    basis: Basis | None = None
    note: str = ""

    def triggered(self, flagged: ArrayLike, dates: Dates) -> Truths:
        """Return whether first and last flagged day stand at least `months` apart; (..., D) to (...)."""
        days = _checked(dates)
        flags = np.asarray(flagged, dtype=bool)
        if not len(days):
            return np.zeros(flags.shape[:-1], dtype=bool)
        first = days[np.argmax(flags, axis=-1)]
        last = days[flags.shape[-1] - 1 - np.argmax(flags[..., ::-1], axis=-1)]
        reached = last + np.timedelta64(1, "D") >= after_months(first, self.months)
        return np.asarray(flags.any(axis=-1) & reached)

    def __str__(self) -> str:
        return f"for {self.months} month{'s' if self.months > 1 else ''} or longer"


Persistence = Annotated[Counted | Lasting, Field(discriminator="kind")]


def triggered(rules: tuple[Counted | Lasting, ...], flagged: ArrayLike, dates: Dates) -> Truths:
    """Return whether any of several day rules is triggered; without a rule a single flagged day is enough."""
    flags = np.asarray(flagged, dtype=bool)
    if not rules:
        return np.asarray(flags.any(axis=-1))
    return np.asarray(np.logical_or.reduce([rule.triggered(flags, dates) for rule in rules]))


def allowance_broken(levels_db: ArrayLike, steps: tuple[tuple[float, int], ...], *, nested: bool = True) -> Truths:
    """Return whether daily levels use up more days than an allowance grants.

    `levels_db` (..., D); `steps` (level, days): levels increasing, at most so many days above each level. Nested: a day
    above a higher step counts for the lower ones too; else each band counts its own days alone. NaN days don't count.
    """
    levels = np.asarray(levels_db, dtype=float)[..., None]
    bounds = np.array([step[0] for step in steps])
    allowed = np.array([step[1] for step in steps])
    above = levels > bounds
    if not nested:
        above = above & (levels <= np.append(bounds[1:], np.inf))
    return np.asarray((above.sum(axis=-2) > allowed).any(axis=-1))


def after_months(dates: Dates, months: int) -> Dates:
    """Return the same day of the month so many months later; the month's last day where it is shorter."""
    days = np.asarray(dates, dtype="datetime64[D]")
    month = days.astype("datetime64[M]")
    offset = days - month.astype("datetime64[D]")
    target = month + np.timedelta64(months, "M")
    last = (target + np.timedelta64(1, "M")).astype("datetime64[D]") - np.timedelta64(1, "D")
    return np.asarray(np.minimum(target.astype("datetime64[D]") + offset, last))


def _checked(dates: Dates) -> Dates:
    days = np.asarray(dates, dtype="datetime64[D]")
    if np.any(np.diff(days) <= np.timedelta64(0, "D")):
        raise ValueError("dates must be distinct and increasing")
    return days
