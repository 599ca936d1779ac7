"""One number traced: where each input came from, equation and place, range, combination, clause, margin."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from envpredict.core.citation import Citation
from envpredict.core.errors import InputProblems, Problem, UnknownName
from envpredict.core.quantities import POSITIONS, QUANTITIES
from envpredict.core.words import suggestion
from envpredict.engine.confirmed import confirmed
from envpredict.engine.traced.noise import noise_lines
from envpredict.engine.traced.vibration import vibration_lines
from envpredict.engine.works.worst_programme import of_finding

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.results import Assessment
    from envpredict.engine.run import MethodRun, Run

WIDTH = 100


def cited(citation: Citation) -> str:
    """Return a citation with its basis."""
    return f"{citation} [basis: {citation.basis}]"


def chosen_findings(assessment: Assessment, receptor: str, method: str | None) -> pd.DataFrame:
    """Return the governing finding of every effect for a receptor, of one method or of all.

    Raises UnknownName for a receptor or method that the scenario doesn't hold.
    """
    ids = assessment.receptors["id"].tolist()
    if receptor not in ids:
        raise UnknownName(f"unknown receptor '{receptor}'", suggestion(receptor, ids))
    methods = [choice.id for choice in assessment.methods]
    if method is not None and method not in methods:
        raise UnknownName(f"unknown method '{method}' in this scenario", suggestion(method, methods))
    rows = assessment.findings[assessment.findings["receptor"] == receptor]
    if method is not None:
        rows = rows[rows["method"] == method]
    from envpredict.engine.govern import governing

    return governing(rows)


def _wrapped(lines: Iterable[str]) -> list[str]:
    out: list[str] = []
    for line in lines:
        indent = " " * (len(line) - len(line.lstrip()))
        out += textwrap.wrap(line, WIDTH, subsequent_indent=indent + "    ", break_long_words=False) or [""]
    return out


def in_unit(value: float, unit: str) -> str:
    """Return a value with its unit, if it has one."""
    return f"{value:g}" if unit in ("", "1") else f"{value:g} {unit}"


def _limit_lines(run: Run, finding: pd.Series) -> list[str]:
    limit_set = run.catalogue.limit_sets[finding["limit_set"]]
    rule = limit_set.rule(finding["rule"])
    dated = f" ({limit_set.dated})" if limit_set.dated else ""
    lines = [f"  Limit: {limit_set.document}, {limit_set.edition}{dated}; {rule.clause}; status "
             f"{rule.status or limit_set.status}"]
    if finding["class"]:
        lines.append(f"    class of the receptor: {finding['class']} ({limit_set.meaning(finding['class'])})")
    if finding["limit"] == finding["limit"]:
        lines.append(f"    value {in_unit(finding['limit'], finding['unit'])}, judged {POSITIONS[rule.place]}")
    compared = confirmed(run, limit_set, rule).text
    lines += [f"    {compared}"] if compared else []
    lines += [f"    source: {cited(citation)}" for citation in rule.citations]
    return lines


def _verdict_lines(finding: pd.Series, design: float) -> list[str]:
    lines = []
    if finding["p_exceed"] == finding["p_exceed"] and finding["predicted_design"] == finding["predicted_design"]:
        design_level = in_unit(finding["predicted_design"], finding["unit"])
        lines += [
            f"  Chance of at least one exceedance: {finding['p_exceed']:.4g} (the governing slot alone: "
            f"{finding['p_one_pile']:.4g}); slots share the error of the law and the plant, the rest is each one's own",
            f"  Level exceeded at least once with a chance of {design:g}: {design_level}",
            f"  Margin: {_margin(finding)}{finding['margin_db']:.2f} dB ({_formula(finding)})",
            f"  Days above: {finding['days_above']:.3g} expected, {finding['days_above_low']:.0f} to "
            f"{finding['days_above_high']:.0f} (5 % to 95 %)",
        ]
    word = str(finding["likelihood"]).replace("_", " ")
    lines += [f"  Likelihood: {word.upper()}", f"    {finding['reason']}"]
    if finding["basis"]:
        lines.append(f"    basis of the median: {finding['median_basis'] or 'none'}; weakest basis of all inputs: "
                     f"{finding['basis']}")
    return lines


def _margin(finding: pd.Series) -> str:
    """Return the margin in the limit's own unit, where that isn't decibels already."""
    if QUANTITIES[finding["quantity"]].scale == "decibel":
        return ""
    return f"{in_unit(finding['limit'] - finding['predicted_design'], finding['unit'])}, "


def _formula(finding: pd.Series) -> str:
    if QUANTITIES[finding["quantity"]].scale == "decibel":
        return f"{finding['limit']:g} - {finding['predicted_design']:g}"
    return f"20 log10({finding['limit']:g} / {finding['predicted_design']:g})"


def _prediction_lines(run: Run, method: MethodRun, finding: pd.Series, row: int,
                      chances: Sequence[float]) -> list[str]:
    if finding["predicted_median"] != finding["predicted_median"]:
        return ["  No prediction is compared here: see the reason below."]
    if QUANTITIES[finding["quantity"]].effect == "noise":
        return [*noise_lines(run, method, finding, row),
                *(f"  Measured on this site: {note}" for note in method.choice.site.plant_notes)]
    return vibration_lines(run, method, finding, row, chances)


def explain(assessment: Assessment, receptor: str, method: str | None = None,
            exceedances: Sequence[float] = ()) -> str:
    """Return the governing findings of a receptor, each traced to its inputs and sources, as text.

    `exceedances`: chances (0 to 1) for which levels of vibration are stated beside the usual ones. Raises UnknownName
    for a receptor or method that the scenario doesn't hold, InputProblems for a chance that is none.
    """
    wrong = [Problem("--exceedance", f"{chance} is no chance", "give a number between 0 and 1")
             for chance in exceedances if not 0.0 < chance < 1.0]
    if wrong:
        raise InputProblems(wrong, "the question")
    run: Run = assessment.detail["run"]
    row = assessment.receptors["id"].tolist().index(receptor) if receptor in set(assessment.receptors["id"]) else -1
    findings = chosen_findings(assessment, receptor, method)
    part = run.at(np.array([row], dtype=np.int64))
    facts = ", ".join(f"{key} {value}" for key, value in part.facts[0] if value is not None)
    lines = [f"{assessment.scenario.title}", f"Receptor {receptor}: {facts}"]
    at_part = {name: one.at(part) for name, one in assessment.detail["methods"].items()}
    for _, finding in findings.iterrows():
        chosen: MethodRun = of_finding(at_part[finding["method"]], finding)
        lines += ["", f"{chosen.choice.title} ({finding['method']}): {finding['effect']}, rule '{finding['rule']}' of "
                      f"{finding['limit_set']}" + (f", {finding['period']}" if finding["period"] else "")]
        lines += _prediction_lines(part, chosen, finding, 0, exceedances)
        lines += _limit_lines(part, finding)
        lines += _verdict_lines(finding, run.design_exceedance)
    lines += ["", *(f"! {caution}" for caution in assessment.cautions)]
    return "\n".join(_wrapped(lines))

