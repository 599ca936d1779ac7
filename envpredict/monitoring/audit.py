"""The audit of a plan: every rule with its evidence, as a table and as text."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from envpredict.core.cautions import INVENTED, LOCAL_RULES, NOT_A_SAFETY_SYSTEM
from envpredict.core.errors import InputProblems, Problem, UnknownName
from envpredict.core.words import suggestion
from envpredict.limits.load import load_limit_sets
from envpredict.monitoring.audit_checks import VERDICTS, Evidence, Facts, load_checks
from envpredict.monitoring.audit_rules import SEVERITIES, Rule, load_rules
from envpredict.monitoring.plan_build import check_references
from envpredict.monitoring.predicted import Predicted, from_assessment, from_plan, of_methods, worked

if TYPE_CHECKING:
    import pandas as pd
    from shapely.geometry.base import BaseGeometry

    from envpredict.engine.results import Assessment
    from envpredict.limits.schema import LimitSet
    from envpredict.monitoring.plan_schema import Plan

Outcome = Literal["pass", "fail", "not_stated"]
OUTCOMES: tuple[Outcome, ...] = ("fail", "not_stated", "pass")
OUTCOME_WORDS: dict[Outcome, str] = {"fail": "FAILS", "not_stated": "NOT STATED", "pass": "PASSES"}
AUDIT_COLUMNS: dict[str, str] = {
    "rule": "id of the rule",
    "checked": "what is checked",
    "outcome": "pass, fail or not_stated",
    "severity": "high, medium or low",
    "essential": "a plan that doesn't state it can't pass",
    "applies": "there was something to check",
    "verdict": "what this piece of evidence says: met, broken, missing or idle",
    "where": "key or row, with its line or cell",
    "found": "what stands there",
    "passes_when": "when the rule passes",
    "source": "where the rule comes from, with its verify mark",
}
SHOWN = 8
"""Pieces of evidence of one rule that the text shows; the table holds all."""


@dataclass(frozen=True, slots=True)
class RuleResult:
    """One rule's outcome with its evidence, the gravest first; `applies` is False where nothing was there to check.

    `by_records`: the plan keeps the rule, what records show breaks it.
    """

    rule: Rule
    outcome: Outcome
    applies: bool
    evidence: tuple[Evidence, ...]
    by_records: bool = False

    @classmethod
    def of(cls, rule: Rule, evidence: Sequence[Evidence], records: Sequence[Evidence] = ()) -> RuleResult:
        """Return the outcome that the evidence gives: anything broken fails, else anything missing is not stated.

        `evidence`: of the plan; `records`: what records show beside it.
        """
        order = ("broken", "missing", "met", "idle")
        ranked = tuple(sorted((*evidence, *records), key=lambda one: order.index(one.verdict)))
        if not ranked:
            raise ValueError(f"the check of {rule.id} gave no evidence")
        outcomes: dict[str, Outcome] = {"broken": "fail", "missing": "not_stated", "met": "pass", "idle": "pass"}
        by_records = ranked[0].verdict == "broken" and not any(one.verdict == "broken" for one in evidence)
        return cls(rule, outcomes[ranked[0].verdict], ranked[0].verdict != "idle", ranked, by_records)


@dataclass(frozen=True, slots=True)
class AuditReport:
    """The findings of an audit, in the order of the rules' ids.

    `against`: what the plan was compared with beside itself; `unchecked`: what only records could show, by rule.
    """

    title: str
    invented: bool
    against: tuple[str, ...]
    results: tuple[RuleResult, ...]
    unchecked: tuple[tuple[str, str], ...]

    @property
    def passed(self) -> bool:
        """Tell whether no rule fails and every essential one is stated. Rules not stated are still open."""
        return not any(one.outcome == "fail" or (one.rule.essential and one.outcome == "not_stated")
                       for one in self.results)

    def rules(self, outcome: Outcome) -> tuple[RuleResult, ...]:
        """Return the results with an outcome, the most severe first."""
        found = [one for one in self.results if one.outcome == outcome]
        return tuple(sorted(found, key=lambda one: (SEVERITIES.index(one.rule.severity), one.rule.id)))

    def __getitem__(self, rule: str) -> RuleResult:
        """Return a rule's result by its id."""
        for one in self.results:
            if one.rule.id == rule:
                return one
        raise UnknownName(f"unknown rule '{rule}'", suggestion(rule, [one.rule.id for one in self.results]))

    def frame(self) -> pd.DataFrame:
        """Return the findings as a table, one row per piece of evidence, columns `AUDIT_COLUMNS`."""
        import pandas as pd

        rows = [(one.rule.id, one.rule.checked, one.outcome, one.rule.severity, one.rule.essential, one.applies,
                 seen.verdict, seen.where, seen.said, one.rule.passes_when, one.rule.source)
                for one in self.results for seen in one.evidence]
        return pd.DataFrame(rows, columns=list(AUDIT_COLUMNS))

    def csv(self) -> str:
        """Return the table as CSV."""
        return str(self.frame().to_csv(index=False, lineterminator="\n"))

    def verdict(self) -> str:
        """Return the outcome in one sentence."""
        counts = ", ".join(f"{len(self.rules(outcome))} {OUTCOME_WORDS[outcome].lower()}" for outcome in OUTCOMES)
        if self.passed:
            open_ = bool(self.rules("not_stated"))
            end = "No rule fails; what isn't stated must be settled before use." if open_ else "No rule fails."
        else:
            end = self._cause()
        return f"{len(self.results)} rules: {counts}. {end}"

    def _cause(self) -> str:
        """Return whether the plan, the records or both fail, and what follows."""
        lacking = [one.rule.id for one in self.rules("not_stated") if one.rule.essential]
        shown = sorted(one.rule.id for one in self.rules("fail") if one.by_records)
        said = []
        if lacking or len(shown) < len(self.rules("fail")):
            why = f": {' and '.join(lacking)} must be stated" if lacking else ""
            said.append(f"The plan must not be used as it stands{why}.")
        elif shown:
            said.append("The plan itself fails no rule.")
        if shown:
            said.append(f"The records fail {', '.join(shown)}: explain and close each before work goes on.")
        return " ".join(said)

    def text(self, width: int = 100) -> str:
        """Return the findings as plain text: what fails, what isn't stated, what passes, what wasn't checked."""
        lines = [f"Audit of: {self.title}", *([INVENTED] if self.invented else []), self.verdict(),
                 f"Compared with: {', '.join(self.against)}"]
        for outcome in ("fail", "not_stated"):
            for one in self.rules(outcome):
                lines += ["", f"{OUTCOME_WORDS[outcome]}  {one.rule.id}  {one.rule.checked} ({one.rule.severity})"]
                seen = [evidence for evidence in one.evidence if evidence.verdict in ("broken", "missing")]
                lines += [f"    - {evidence}" for evidence in seen[:SHOWN]]
                if len(seen) > SHOWN:
                    lines.append(f"    - and {len(seen) - SHOWN} more in the table")
                lines += [f"    asked: {one.rule.passes_when}", f"    source: {one.rule.source}"]
        passing = [one.rule.id + ("" if one.applies else " (nothing to check)") for one in self.rules("pass")]
        lines += ["", f"PASSES  {', '.join(sorted(passing)) or 'none'}"]
        if self.unchecked:
            lines += ["", "NOT CHECKED, since no records were given:"]
            lines += [f"    {rule}: {what}" for rule, what in self.unchecked]
        lines += ["", f"{NOT_A_SAFETY_SYSTEM} A plan that passes may still be wrong for its site. {LOCAL_RULES}"]
        return "\n".join(wrapped for line in lines for wrapped in _wrapped(line, width)) + "\n"


def _wrapped(line: str, width: int) -> list[str]:
    indent = " " * (len(line) - len(line.lstrip()) + (2 if line.lstrip().startswith("- ") else 0))
    return textwrap.wrap(line, width, subsequent_indent=indent, break_long_words=False) or [""]


def audit(
    plan: Plan,
    assessment: Assessment | None = None,
    records: Mapping[str, Sequence[Evidence]] | None = None,
    *,
    rules: Mapping[str, Rule] | None = None,
    limit_sets: Mapping[str, LimitSet] | None = None,
) -> AuditReport:
    """Return the findings of every rule on a plan.

    `assessment`: the prediction to compare coverage and levels with; without it, what the plan itself states as
    predicted. `records`: what measured records show, as evidence by rule; without it, the rules are judged by the plan
    alone and `AuditReport.unchecked` says what wasn't looked at. `rules`, `limit_sets`: instead of the shipped ones.
    Raises InputProblems if the plan names rows that it doesn't have or methods that aren't the assessment's, and
    UnknownName for evidence on an unknown rule.
    """
    check_references(plan)
    known = load_rules() if rules is None else rules
    register = _register(assessment) if limit_sets is None else limit_sets
    checks = load_checks()
    for name in records or {}:
        if name not in known:
            raise UnknownName(f"unknown audit rule '{name}'", suggestion(name, known))
    predicted = _predicted(plan, assessment, register)
    first = next(iter(known.values()))
    facts = Facts(plan, first, register, predicted, _shapes(plan, assessment))
    results = []
    for name in sorted(known):
        rule = known[name]
        evidence = tuple(checks[name](replace(facts, rule=rule)))
        results.append(RuleResult.of(rule, evidence, (records or {}).get(name, ())))
    against = ["the prediction of its scenario" if assessment is not None
               else "what the plan states as predicted" if predicted is not None else "no prediction",
               "records" if records is not None else "no records"]
    unchecked = () if records is not None else tuple((name, known[name].records) for name in sorted(known)
                                                     if known[name].records)
    return AuditReport(plan.title, plan.invented, tuple(against), tuple(results), unchecked)


def _register(assessment: Assessment | None) -> Mapping[str, LimitSet]:
    """Return the known limit sets, the scenario's own included."""
    own = assessment.scenario.own.limits if assessment is not None else None
    return load_limit_sets(() if own is None else (own,))


def _predicted(plan: Plan, assessment: Assessment | None,
               register: Mapping[str, LimitSet]) -> tuple[Predicted, ...] | None:
    """Return what is predicted for the plan's methods, or None where nothing is."""
    if assessment is None:
        stated = from_plan(plan)
        return None if stated is None else of_methods(stated, plan)
    known = [choice.id for choice in assessment.methods]
    problems = [Problem(plan.at("methods", number, "id"), f"method '{method.id}' isn't among the scenario's methods",
                        suggestion(method.id, known))
                for number, method in enumerate(plan.methods) if method.id not in known]
    if problems:
        raise InputProblems(problems, "plan and scenario")
    return worked(of_methods(from_assessment(assessment), plan), plan, register)


def _shapes(plan: Plan, assessment: Assessment | None) -> dict[str, BaseGeometry]:
    """Return the receptors' geometry in the plan's coordinates: the scenario's, else the points in the plan."""
    from shapely import Point

    shapes: dict[str, BaseGeometry] = {row.id: Point(row.x, row.y) for row in plan.receptors
                                       if row.x is not None and row.y is not None}
    if assessment is not None and plan.crs is not None:
        moved = assessment.receptors.to_crs(plan.crs)
        shapes |= dict(zip(moved["id"].astype(str), moved.geometry, strict=True))
    return shapes


__all__ = ["AUDIT_COLUMNS", "OUTCOMES", "OUTCOME_WORDS", "VERDICTS", "AuditReport", "RuleResult", "audit"]
