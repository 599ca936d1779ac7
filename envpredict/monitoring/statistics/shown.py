"""From records to an audit's evidence in one step."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from envpredict.limits.load import load_limit_sets
from envpredict.monitoring.audit_checks import Evidence
from envpredict.monitoring.audit_rules import load_rules
from envpredict.monitoring.predicted import from_assessment
from envpredict.monitoring.records.read import read_records
from envpredict.monitoring.statistics.collect import Statistics, collect
from envpredict.monitoring.statistics.evidence import evidence

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment
    from envpredict.monitoring.plan_schema import Plan
    from envpredict.monitoring.statistics.agreement import Medians


def medians(plan: Plan, assessment: Assessment) -> Medians:
    """Return the predicted medians of an assessment by receptor, criterion of the plan, and method."""
    found: dict[tuple[str, str, str], float] = {}
    predicted = [one for one in from_assessment(assessment) if math.isfinite(one.median)]
    for criterion in plan.criteria:
        for one in predicted:
            if one.falls_under(criterion):
                found[one.receptor, criterion.id, one.method] = one.median
    return found


def statistics_of(plan: Plan, folder: str | Path, assessment: Assessment | None = None) -> Statistics:
    """Return the statistics of the records in a folder, compared with an assessment where one is given.

    Raises InputProblems for records that can't be read or don't fit the plan.
    """
    own = assessment.scenario.own.limits if assessment is not None else None
    return collect(plan, read_records(folder), register=load_limit_sets(() if own is None else (own,)),
                   predicted=None if assessment is None else medians(plan, assessment))


def shown(plan: Plan, folder: str | Path,
          assessment: Assessment | None = None) -> tuple[Statistics, Mapping[str, Sequence[Evidence]]]:
    """Return the statistics of the records in a folder, and what they show of each audit rule."""
    found = statistics_of(plan, folder, assessment)
    return found, evidence(found, load_rules())
