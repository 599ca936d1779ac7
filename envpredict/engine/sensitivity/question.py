"""A finding taken up again: its rule, period and candidate, at some receptors of the run."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.quantities import QUANTITIES
from envpredict.core.series import Slots
from envpredict.engine.chances.day_rules import trigger_level
from envpredict.engine.chances.judge_rule import comparison_of, counted
from envpredict.engine.works.programme import SPEEDS, Speed
from envpredict.engine.works.worst_programme import of_finding
from envpredict.limits.values import DayAllowance

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.run import MethodRun, Run
    from envpredict.limits.periods import Period
    from envpredict.limits.rule import Rule
    from envpredict.limits.schema import LimitSet

Floats = NDArray[np.float64]
SMALLEST_LEVEL = 4.0
"""Own standard deviations below the highest slot beyond which a slot doesn't count beside it."""
SAME_DB = 0.01
"""Limits that differ by less are the same."""


class Unsampled(Exception):
    """A finding that can't be sampled; the text says why."""


@dataclass(frozen=True, slots=True, eq=False)
class Question:
    """A finding in the run of some receptors: `row` is its receptor's there; `method` has the likely programme."""

    finding: pd.Series
    run: Run
    method: MethodRun
    row: int
    limit_set: LimitSet
    rule: Rule
    period: Period | None

    @classmethod
    def of(cls, finding: pd.Series, run: Run, method: MethodRun, row: int) -> Question:
        """Return the question behind a finding. Raises Unsampled where its verdict isn't one of levels over a limit."""
        limit_set = run.catalogue.limit_sets[str(finding["limit_set"])]
        rule = limit_set.rule(str(finding["rule"]))
        if isinstance(rule.value, DayAllowance):
            raise Unsampled("an allowance of days above several levels at once isn't sampled")
        period = next((one for one in rule.periods if one.label == finding["period"]), None)
        return cls(finding, run, method, row, limit_set, rule, period)

    @property
    def decibel(self) -> bool:
        """Tell whether the rule's quantity is in decibels."""
        return QUANTITIES[self.rule.quantity or ""].scale == "decibel"

    def judged_on(self, threshold_db: Mapping[Speed, float]) -> Speed:
        """Return the programme that the finding was judged on, given the threshold under each.

        A finding that can't be judged doesn't name it; where limits follow the length of the works its own limit does.
        """
        said = of_finding(self.method, self.finding).passes.speed
        own = float(self.threshold_db(np.array([float(self.finding["limit"])]))[0])
        fits = [speed for speed in (said, *SPEEDS) if abs(threshold_db[speed] - own) < SAME_DB]
        return fits[0] if fits else said

    def at(self, speed: Speed, method: MethodRun | None = None) -> MethodRun:
        """Return a candidate (the question's own, or another state of it) with one of its programmes."""
        one = method or self.method
        return replace(one, passes=one.programmes[speed])

    def threshold_db(self, limit: Floats) -> Floats:
        """Return the highest levels in dB that don't exceed limits in the rule's unit."""
        found = comparison_of(self.rule).threshold(limit, "decibel" if self.decibel else "linear")
        return found if self.decibel else 20.0 * found

    def in_db(self, level: Floats) -> Floats:
        """Return levels in the rule's unit in dB; those of linear quantities count from 1 in their unit."""
        with np.errstate(divide="ignore"):
            return level if self.decibel else np.asarray(20.0 * np.log10(level))

    def trigger(self, slots: Slots) -> Callable[[Floats], Floats] | None:
        """Return what turns levels of slots into the level that triggers the rule; None where one exceedance does."""
        rules = counted(self.rule)
        if not rules:
            return None
        dates, day = np.unique(slots.day, return_inverse=True)
        order = np.argsort(np.ravel(day), kind="stable")
        starts = np.searchsorted(np.ravel(day)[order], np.arange(len(dates)))

        def level(levels: Floats) -> Floats:
            return trigger_level(np.maximum.reduceat(levels[:, order], starts, axis=1), dates, rules)

        return level
