"""What is predicted at each receptor under each limit, from an assessment or from what the plan itself states."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from envpredict.core.quantities import QUANTITIES
from envpredict.monitoring.hours import DAY_MIN, minutes, overlap
from envpredict.monitoring.plan_fields import DAY_WORDS
from envpredict.monitoring.plan_fit import kind_of

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment
    from envpredict.limits.periods import Period
    from envpredict.limits.schema import LimitSet
    from envpredict.monitoring.plan_rows import Criterion
    from envpredict.monitoring.plan_schema import Plan


COLUMNS = ("receptor", "method", "effect", "quantity", "position", "period", "limit_set", "rule", "class",
           "predicted_median", "predicted_design", "limit", "likelihood")
"""The columns of findings that this reads."""


@dataclass(frozen=True, slots=True)
class Predicted:
    """One receptor under one limit with one method; numbers in the quantity's unit, NaN where there is none.

    `kind`: noise, vibration or movement, the kind of station that would measure it. `period` is the period's label.
    """

    receptor: str
    method: str
    kind: str
    effect: str
    quantity: str
    position: str
    period: str
    limit_set: str
    rule: str
    receptor_class: str
    median: float
    design: float
    limit: float
    likelihood: str
    where: str

    @property
    def margin_db(self) -> float:
        """Return how far the design level lies below the limit, in dB; NaN where a number is missing."""
        return margin_db(self.quantity, self.limit, self.design)

    @property
    def spent(self) -> float:
        """Return how far the limit is used up, in dB: above 0 the design level lies above it; NaN sorts last."""
        return -math.inf if math.isnan(self.margin_db) else -self.margin_db

    def falls_under(self, criterion: Criterion) -> bool:
        """Tell whether a criterion of a plan is the limit that this speaks of."""
        # the most telling first: a draft asks this some hundred thousand times
        if _differ(criterion.rule, self.rule) or _differ(criterion.limit_set, self.limit_set):
            return False
        if _differ(criterion.period, self.period) or _differ(criterion.receptor_class, self.receptor_class):
            return False
        if _differ(criterion.quantity, self.quantity):
            return False
        return not criterion.receptors or self.receptor in criterion.receptors


def _differ(stated: str | None, found: str) -> bool:
    """Tell whether a criterion states something else than what a prediction has; what either leaves open fits."""
    return stated is not None and bool(found) and stated != found


def margin_db(quantity: str, limit: float, level: float) -> float:
    """Return how far a level lies below a limit in dB: their difference, or 20 lg of the ratio if linear."""
    if math.isnan(limit) or math.isnan(level):
        return math.nan
    if quantity in QUANTITIES and QUANTITIES[quantity].scale == "decibel":
        return limit - level
    if level <= 0:
        return math.inf
    return 20.0 * math.log10(limit / level) if limit > 0 else -math.inf


def from_assessment(assessment: Assessment) -> tuple[Predicted, ...]:
    """Return what an assessment's findings say of limits that are measured; rules of hours and days alone are none."""
    findings = assessment.findings
    counts = (findings["likelihood"].ne("not_applicable") & findings["quantity"].isin(list(QUANTITIES))).to_numpy()
    kept = findings[list(COLUMNS)][counts]
    # column by column: a record per row would cost most of a draft
    cells = zip(*(kept[name].to_numpy(dtype=object).tolist() for name in COLUMNS), strict=True)
    found = []
    for number, (receptor, method, effect, quantity, position, period, limit_set, rule, receptor_class, median, design,
                 limit, likelihood) in zip(np.flatnonzero(counts).tolist(), cells, strict=True):
        found.append(Predicted(
            receptor=str(receptor), method=str(method), kind=kind_of(quantity), effect=str(effect), quantity=quantity,
            position=str(position), period=_text(period), limit_set=str(limit_set), rule=str(rule),
            receptor_class=_text(receptor_class), median=float(median), design=float(design), limit=float(limit),
            likelihood=str(likelihood), where=f"assessment, finding {number + 1}"))
    return tuple(found)


def _text(value: Any) -> str:
    return "" if value is None or (isinstance(value, float) and math.isnan(value)) else str(value)


def from_plan(plan: Plan) -> tuple[Predicted, ...] | None:
    """Return what the plan states as predicted, or None where it states nothing."""
    criteria = {criterion.id: criterion for criterion in plan.criteria}
    found = []
    for number, row in enumerate(plan.predictions):
        criterion = criteria[row.criterion]
        if criterion.quantity is None:
            continue
        median = math.nan if row.median is None else row.median
        design = median if row.design is None else row.design
        limit = criterion.value if criterion.consented_value is None else criterion.consented_value
        limit = math.nan if limit is None else limit
        margin = margin_db(criterion.quantity, limit, design)
        word = "cannot_judge" if math.isnan(margin) else "possible" if margin < 0 else "unlikely"
        found.append(Predicted(
            receptor=row.receptor, method=row.method, kind=kind_of(criterion.quantity), effect=criterion.effect or "",
            quantity=criterion.quantity, position=criterion.position or "", period=criterion.period or "",
            limit_set=criterion.limit_set or "", rule=criterion.rule or "",
            receptor_class=criterion.receptor_class or "", median=median, design=design, limit=limit, likelihood=word,
            where=plan.at("predictions", number)))
    return tuple(found) or None


def period_of(register: Mapping[str, LimitSet], limit_set: str, rule: str, label: str) -> Period | None:
    """Return the clock period that a label or id means, or None where the rule holds at all times or isn't known."""
    if limit_set not in register:
        return None
    periods = (period for one in register[limit_set].rules if one.id == rule for period in one.periods)
    return next((period for period in periods if label in (period.label, period.id)), None)


def worked(predicted: tuple[Predicted, ...], plan: Plan, register: Mapping[str, LimitSet]) -> tuple[Predicted, ...]:
    """Leave out what has no number since nobody works in its period: nothing is lacking there."""
    work = np.zeros((len(DAY_WORDS), DAY_MIN), dtype=bool)
    for activity in plan.activities:
        if not activity.days or activity.starts is None or activity.ends is None:
            return predicted
        work |= minutes(activity.days, activity.starts, activity.ends, widest=True)

    def counts(one: Predicted) -> bool:
        period = period_of(register, one.limit_set, one.rule, one.period)
        return (not math.isnan(one.median) or period is None
                or overlap(work, minutes(period.days, period.start, period.end)))

    return tuple(one for one in predicted if counts(one)) if plan.activities else predicted


def of_methods(predicted: tuple[Predicted, ...], plan: Plan) -> tuple[Predicted, ...]:
    """Return what is predicted for the plan's own methods; for all where the plan names none."""
    ids = {method.id for method in plan.methods}
    return tuple(one for one in predicted if not ids or one.method in ids)
