"""Measured levels judged by the code that judges predictions: exceeded or not, on which days, in which windows."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.errors import Incommensurable
from envpredict.engine.chances.day_rules import judge_days
from envpredict.engine.chances.judge import PLAIN, Judgement, judge
from envpredict.engine.chances.judge_rule import check_alike, comparison_of, counts_days, in_season, judge_rule
from envpredict.limits.persistence import Counted, after_months
from envpredict.monitoring.statistics.slots import Measured

if TYPE_CHECKING:
    from envpredict.limits.rule import Rule
    from envpredict.monitoring.plan_rows import CountWindow

Dates = NDArray[np.datetime64]
Bools = NDArray[np.bool_]
CERTAIN = 0.5
"""Records have no scatter: a chance is 0 or 1, and this parts the two."""
USUAL: tuple[Counted, ...] = (
    Counted(kind="count", days=1, compare="at_least", window=15, unit="calendar_days", basis="read",
            note="any 15 consecutive calendar days"),
    Counted(kind="count", days=1, compare="at_least", window=6, unit="months", basis="read", note="any 6 months"))
"""Windows that are reported for every limit, whether or not a rule counts in them."""
_WITHIN = re.compile(r"\s*(\d+)\s*(working days?|calendar days?|days?|months?|weeks?)\s*")


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """One point under one criterion: `days` (D,) are the dates with a level, `above` which of them lie above the limit.

    `judgement` is the judge's; `whole_rule` tells whether the document's own rule was applied, or its number alone.
    """

    measured: Measured
    point: int
    judgement: Judgement
    limit: float
    days: Dates
    above: Bools
    whole_rule: bool

    @property
    def slot(self) -> int:
        """Return the governing slot, -1 where there's none."""
        return int(self.judgement.slot[self.point])

    @property
    def exceeded(self) -> bool:
        """Tell whether the limit was exceeded, or the rule that counts days was triggered.

        A lower bound that is passed is no verdict where the plan has the rule that then decides.
        """
        return not self.measured.asked.defers and bool(self.judgement.p_exceed[self.point] > CERTAIN)


@dataclass(frozen=True, slots=True)
class WindowCount:
    """Days above a limit in windows of one kind: the most in any, from when to when, and in the one that ends now.

    `allowed`: days that may lie above the limit, None where nothing is stated; `left` of them in the running window.
    """

    window: str
    allowed: int | None
    most: int
    first: np.datetime64 | None
    last: np.datetime64 | None
    now: int

    @property
    def left(self) -> int | None:
        """Return how many days may still lie above the limit in the running window; negative: too many did."""
        return None if self.allowed is None else self.allowed - self.now

    @property
    def broken(self) -> bool:
        """Tell whether any window holds more days than allowed."""
        return self.allowed is not None and self.most > self.allowed


def judged(measured: Measured) -> list[Judged]:
    """Return every point's judgement: by the document's rule where the register has it, else by the plan's number.

    Where the plan says that days are counted and the rule itself doesn't count them, the plan's windows hold.
    """
    rule, limit, comparison = measured.asked.rule, measured.limit, PLAIN
    whole = rule is not None and _alike(measured, rule)
    if rule is not None and whole:
        measured, comparison = measured.take(in_season(rule, measured.series.slots.day)), comparison_of(rule)
    if rule is not None and whole and (counts_days(rule) or not measured.asked.counted):
        found, limit = judge_rule(measured.series, rule, measured.limit, CERTAIN)
    elif measured.asked.counted:
        found = judge_days(measured.series, measured.limit, CERTAIN, measured.asked.counted, comparison)
    else:
        found = judge(measured.series, measured.limit, CERTAIN)
    days = np.unique(measured.series.slots.day)
    single = judge(measured.series, measured.limit, CERTAIN, comparison)
    return [Judged(measured, point, found, float(limit[point]), days,
                   single.p_day[point] > CERTAIN if len(days) else np.zeros(0, dtype=bool), whole)
            for point in range(len(measured.points))]


def _alike(measured: Measured, rule: Rule) -> bool:
    """Tell whether a rule speaks of what was measured, where it was measured."""
    try:
        check_alike(measured.series, rule)
    except Incommensurable:
        return False
    return True


def windows(days: Dates, above: Bools, rules: list[tuple[Counted, int | None]],
            today: np.datetime64) -> list[WindowCount]:
    """Return the days above a limit in windows of each kind, given with the number of days allowed.

    `days` (D,): distinct dates in order, `above` (D,) which lie above the limit; `today` ends the running window.
    """
    found = []
    for rule, allowed in rules:
        counts = rule.counts_in(above, days) if len(days) else np.zeros(0, dtype=np.int64)
        most = int(counts.max(initial=0))
        first = last = None
        if most:
            at = int(np.argmax(counts))
            first, last = days[at], _until(rule, days, at)
        found.append(WindowCount(_said(rule), allowed, most, first, last, _running(rule, days, above, today)))
    return found


def _until(rule: Counted, days: Dates, at: int) -> np.datetime64:
    """Return the last date of a window that starts on a date."""
    if rule.unit == "working_days":
        return np.datetime64(days[min(at + rule.window, len(days)) - 1])
    day = days[at:at + 1]
    end = after_months(day, rule.window) if rule.unit == "months" else day + np.timedelta64(rule.window, "D")
    return np.datetime64((end - np.timedelta64(1, "D"))[0])


def _running(rule: Counted, days: Dates, above: Bools, today: np.datetime64) -> int:
    """Return the days above the limit in the window that ends today."""
    if rule.unit == "working_days":
        return int(above[-rule.window:].sum())
    if rule.unit == "months":
        inside = np.asarray(after_months(days, rule.window) > today)
    else:
        inside = days > today - np.timedelta64(rule.window, "D")
    return int(above[inside & (days <= today)].sum())


def _said(rule: Counted) -> str:
    unit = {"calendar_days": "consecutive calendar days", "working_days": "working days", "months": "months"}[rule.unit]
    return f"any {rule.window} {unit}"


def counted_by(rule: Rule | None, rows: list[CountWindow]) -> tuple[list[tuple[Counted, int | None]], list[str]]:
    """Return the windows to count in, with the days allowed: those of the rule, of the plan, and the usual ones.

    Also in words what of the plan couldn't be read.
    """
    found: dict[tuple[int, str], tuple[Counted, int | None]] = {}
    unread: list[str] = []
    for one in rule.persistence if rule is not None else ():
        if isinstance(one, Counted) and one.counts == "exceedance":
            found[one.window, one.unit] = (one, one.threshold - 1)
    for row in rows:
        window = window_of(row.within or "")
        if window is None:
            unread.append(f"window '{row.within}' isn't a number of days, working days, weeks or months: not counted")
        else:
            allowed = None if row.more_than_days is None else int(row.more_than_days)
            found[window.window, window.unit] = (window, allowed)
    for one in USUAL:
        found.setdefault((one.window, one.unit), (one, None))
    return list(found.values()), unread


def plans_windows(rows: list[CountWindow]) -> tuple[Counted, ...]:
    """Return the windows of a plan that state how many days may lie above a limit; what can't be read is left out."""
    found = []
    for row in rows:
        window = window_of(row.within or "")
        if window is not None and row.more_than_days is not None:
            found.append(window.model_copy(update={"days": int(row.more_than_days) + 1}))
    return tuple(found)


def window_of(text: str) -> Counted | None:
    """Return a window written as '15 days', '10 working days', '2 weeks' or '6 months'; None if it's none of these."""
    match = _WITHIN.fullmatch(text.casefold())
    if match is None or int(match[1]) < 1:
        return None
    size, unit = int(match[1]), match[2].rstrip("s")
    if unit == "week":
        size, unit = 7 * size, "day"
    known = {"day": "calendar_days", "calendar day": "calendar_days", "working day": "working_days", "month": "months"}
    return Counted.model_validate({"kind": "count", "days": 1, "compare": "at_least", "window": size,
                                   "unit": known[unit]})
