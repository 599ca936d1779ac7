"""What a drafted plan leaves open, as its own audit finds it, and who gets a letter."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from envpredict.monitoring.audit_checks import Facts
from envpredict.monitoring.audit_rules import load_rules
from envpredict.monitoring.checks.neighbours import above_alert
from envpredict.monitoring.plan_rows import OpenPoint
from envpredict.monitoring.predicted import Predicted

if TYPE_CHECKING:
    from envpredict.monitoring.audit import AuditReport
    from envpredict.monitoring.plan_schema import Plan

SHOWN = 3
ALWAYS: tuple[str, ...] = (
    "Stations are placed by geometry alone: look at each place for access, power, screening walls and other sources "
    "before it's fixed.",
    "The piles, levels and stations of this draft follow a screening prediction: after the trial fit them to what was "
    "measured.",
)


def letters_to(plan: Plan, predicted: Sequence[Predicted]) -> tuple[str, ...]:
    """Return the receptors whose prediction passes an alert level: they get a letter."""
    facts = Facts(plan, load_rules()["M36"], {}, tuple(predicted))
    return tuple(sorted({one.receptor for one in predicted if above_alert(facts, one)}))


def open_points(report: AuditReport, plan: Plan, limited: set[str]) -> tuple[OpenPoint, ...]:
    """Return what is open: what the audit finds broken or not stated, the user's thresholds, and what always is.

    `limited`: the receptors for which any limit is adopted; the others are named.
    """
    found = []
    for outcome in ("fail", "not_stated"):
        for one in report.rules(outcome):
            seen = [evidence for evidence in one.evidence if evidence.verdict in ("broken", "missing")]
            more = f"; and {len(seen) - SHOWN} more" if len(seen) > SHOWN else ""
            said = "; ".join(str(evidence) for evidence in seen[:SHOWN])
            found.append(OpenPoint(rule=one.rule.id, what=f"{one.rule.checked}: {said}{more}"))
    if plan.methods and all(method.condition for method in plan.methods):
        found.append(OpenPoint(what="No method of this plan leaves room for alert levels below every limit as it's "
                                    "predicted: none may start before its condition (see the methods) is met. Each row "
                                    "of levels names the methods that reach it by their median alone."))
    bare = [station.id for station in plan.stations if station.kind == "movement" and not station.criteria]
    if bare:
        found.append(OpenPoint(what=f"Thresholds of movement points {', '.join(bare)}: no adopted document states any; "
                                    "the engineer answerable for each structure sets them."))
    free = [receptor.id for receptor in plan.receptors if receptor.id not in limited]
    if free:
        found.append(OpenPoint(what=f"No adopted limit governs {', '.join(free)}: ask each owner for theirs, or adopt "
                                    "a document that speaks of such receptors."))
    return (*found, *(OpenPoint(what=text) for text in ALWAYS))
