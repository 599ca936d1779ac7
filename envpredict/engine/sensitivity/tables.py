"""What the verdicts hang on, as tables and in plain words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.sensitivity.study import FAR_DB, Options, Sampled, in_doubt, sample
from envpredict.engine.sensitivity.unknowns import HELD, KINDS

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.results import Assessment

UNKNOWN_COLUMNS: dict[str, tuple[str, str]] = {
    "unknown": ("text", "identifier: kind and name"),
    "kind": ("text", "kind of unknown"),
    "title": ("text", "what isn't known"),
    "share": ("number", "share of the doubt in all studied verdicts that would go on average if it were known"),
    "share_se": ("number", "standard error of that by the sampling"),
    "verdicts": ("number", "studied verdicts in doubt that hang on it"),
    "method": ("text", "candidate of the verdict that it moves most"),
    "effect": ("text", "effect of that verdict"),
    "receptor": ("text", "receptor of that verdict"),
    "share_there": ("number", "share of the doubt in that verdict that would go"),
    "changes": ("number", "chance that knowing it moves that verdict to another of unlikely, possible and likely"),
    "learn": ("text", "what would make it known"),
    "spread": ("text", "its distribution"),
    "source": ("text", "where the distribution comes from"),
    "basis": ("text", "how well the distribution is known: read, memory, practice or estimate"),
    "in_findings": ("truth", "it is in the findings' own chances; else they hold it at its likely value"),
}
VERDICT_COLUMNS: dict[str, tuple[str, str]] = {
    "method": ("text", "identifier of the candidate"),
    "effect": ("text", "what is judged"),
    "receptor": ("text", "identifier of the receptor"),
    "chosen": ("text", "why it is studied: the worst receptor, or the one whose verdict is most in doubt"),
    "limit_set": ("text", "identifier of the limit set"),
    "rule": ("text", "identifier of the rule"),
    "period": ("text", "period that it speaks of"),
    "p_exceed": ("number", "chance of exceedance in the findings"),
    "p_sampled": ("number", "chance with everything sampled that isn't known"),
    "p_se": ("number", "standard error of that by the sampling"),
    "level_sd_db": ("number", "standard deviation of the highest level less its limit; missing where a rate decides "
                              "whether the rule holds"),
    "unknown": ("text", "the unknown that moves it most"),
    "share": ("number", "share of its doubt that would go if that were known"),
    "learn": ("text", "what would make that known"),
}
SHARE_COLUMNS: dict[str, tuple[str, str]] = {
    "method": ("text", "identifier of the candidate"),
    "effect": ("text", "what is judged"),
    "receptor": ("text", "identifier of the receptor"),
    "unknown": ("text", "identifier of the unknown"),
    "doubt_first": ("number", "first-order Sobol index of exceeding the limit"),
    "doubt_se": ("number", "standard error of that by the sampling"),
    "changes": ("number", "chance that knowing it moves the verdict to another of unlikely, possible and likely"),
    "level_first": ("number", "first-order Sobol index of the level over the limit"),
    "level_total": ("number", "total Sobol index of the level over the limit"),
}
BELOW = 0.005
"""Shares smaller than this aren't told apart from none."""
Floats = NDArray[np.float64]
NOT_BEFOREHAND = ("within", "daily")
LISTED = 3
DIFFERS = ("The findings hold ground, energies, mean on-times, rates and background at their likely value, take the "
           "worst of three programmes where days decide, let one error stand for all the laws of a method, and add the "
           "errors of several sound sources to first order; sampling does none of that, so its chances may lie on "
           "either side of theirs. The findings' own verdicts stand.")


@dataclass(frozen=True, slots=True, eq=False)
class Study:
    """What the verdicts hang on.

    `unknowns`, the weightiest first (`UNKNOWN_COLUMNS`); `verdicts` (`VERDICT_COLUMNS`); `shares`, one row per verdict
    and unknown (`SHARE_COLUMNS`); `answer`, `convergence`, `sampled`, `held`, `left_out` in words; `differs`: why the
    chances aren't those of the findings.
    """

    unknowns: pd.DataFrame
    verdicts: pd.DataFrame
    shares: pd.DataFrame
    answer: tuple[str, ...]
    convergence: str
    sampled: str
    held: tuple[str, ...]
    left_out: tuple[str, ...]
    differs: str = DIFFERS


def study(assessment: Assessment, options: Options | None = None) -> Study:
    """Return what the verdicts of an assessment hang on. Raises as `study.sample` does."""
    found = sample(assessment, options)
    changes = found.slices.changes(found.exceeds.mean(), assessment.scenario.design_exceedance)
    unknowns, verdicts, shares = _unknowns(found, changes), _verdicts(found), _shares(found, changes)
    kinds = dict.fromkeys(one.kind for one in found.unknowns)
    held = tuple(f"{KINDS[kind].title}: held at its likely value by the user" for kind in found.options.hold)
    return Study(unknowns, verdicts, shares, tuple(_answer(found, unknowns)), _convergence(found),
                 "Sampled: " + "; ".join(KINDS[kind].title for kind in kinds) + ".", (*held, *HELD), found.left_out)


def with_unknowns(assessment: Assessment, options: Options | None = None) -> Assessment:
    """Return an assessment that holds the study of its unknowns too, under `detail["unknowns"]`."""
    # what outputs keep belongs to one table of findings: a copy keeps the two assessments' outputs apart
    return replace(assessment, findings=assessment.findings.copy(), detail={
        **assessment.detail, "unknowns": study(assessment, options)})


def _unknowns(found: Sampled, changes: Floats) -> pd.DataFrame:
    import pandas as pd

    doubtful = in_doubt(found.exceeds)
    share, error = found.exceeds.pooled(doubtful) if len(doubtful) else (np.zeros(len(found.unknowns)),) * 2
    first, variance = found.exceeds.first(), found.exceeds.variance()
    rows = []
    for number, one in enumerate(found.unknowns):
        touched = [k for k in doubtful.tolist() if one.id in {own.id for own in found.studied[k].response.unknowns}]
        # the verdict from which it takes most doubt, not the one whose share is greatest by chance
        best = max(touched or range(len(found.studied)), key=lambda k: first[number, k] * variance[k])
        finding = found.studied[best].finding
        rows.append((one.id, one.kind, one.title, max(share[number], 0.0), error[number], len(touched),
                     *(finding[["method", "effect", "receptor"]] if touched else ("", "", "")),
                     *((max(first[number, best], 0.0), changes[number, best]) if touched else (0.0, 0.0)),
                     one.learn, one.spread, "; ".join(map(str, one.sources)), one.basis, not KINDS[one.kind].beside))
    table = pd.DataFrame(rows, columns=list(UNKNOWN_COLUMNS))
    return table.sort_values("share", ascending=False, kind="stable").reset_index(drop=True)


def _undefined(found: Sampled, number: int) -> bool:
    """Tell whether a finding's limit holds under some programmes alone, so that its level has no distance from it."""
    return bool(found.over.variance()[number] > (0.2 * FAR_DB) ** 2)


def _verdicts(found: Sampled) -> pd.DataFrame:
    import pandas as pd

    chance, error, first = found.exceeds.mean(), found.exceeds.mean_se(), found.exceeds.first()
    spread = np.sqrt(found.over.variance())
    doubtful = set(in_doubt(found.exceeds).tolist())
    rows = []
    for number, each in enumerate(found.studied):
        finding = each.finding
        top = int(first[:, number].argmax())
        known = number in doubtful and first[top, number] > BELOW
        rows.append((*finding[["method", "effect", "receptor"]], each.chosen,
                     *finding[["limit_set", "rule", "period", "p_exceed"]], chance[number], error[number],
                     np.nan if _undefined(found, number) else spread[number],
                     *((found.unknowns[top].id, first[top, number], found.unknowns[top].learn) if known
                       else ("", 0.0, ""))))
    return pd.DataFrame(rows, columns=list(VERDICT_COLUMNS))


def _shares(found: Sampled, changes: Floats) -> pd.DataFrame:
    import pandas as pd

    doubt, doubt_se = found.exceeds.first(), found.exceeds.first_se()
    level, total = found.over.first(), found.over.total()
    doubtful = set(in_doubt(found.exceeds).tolist())
    rows = []
    for k, each in enumerate(found.studied):
        names = {one.id for one in each.response.unknowns}
        undefined = _undefined(found, k)
        for i, one in enumerate(found.unknowns):
            if one.id in names:
                rows.append((*each.finding[["method", "effect", "receptor"]], one.id,
                             doubt[i, k] if k in doubtful else np.nan, doubt_se[i, k] if k in doubtful else np.nan,
                             changes[i, k], np.nan if undefined else level[i, k], np.nan if undefined else total[i, k]))
    return pd.DataFrame(rows, columns=list(SHARE_COLUMNS))


def _answer(found: Sampled, unknowns: pd.DataFrame) -> Iterator[str]:
    """Yield which borehole, trial or measurement takes most of the doubt away."""
    doubtful, count = in_doubt(found.exceeds), len(found.studied)
    if not len(doubtful):
        yield (f"None of the {count} verdicts studied is in doubt: every chance of exceedance lies below 1 % or above "
               "99 %. No borehole, trial or measurement would change them; other methods or reductions would.")
        return
    yield (f"{len(doubtful)} of the {count} verdicts studied are in doubt: their chance of exceedance lies between 1 "
           "and 99 %.")
    buyable = unknowns[~unknowns["kind"].isin(NOT_BEFOREHAND) & (unknowns["share"] > BELOW)]
    for place, row in enumerate(buyable.head(LISTED).to_dict("records"), 1):
        yield (f"{place}. The {row['title']}: knowing it would take away {100 * row['share']:.0f} % of all that doubt, "
               f"and {100 * row['share_there']:.0f} % of that about {row['effect']} at {row['receptor']} under "
               f"{row['method']}, whose verdict would change with a chance of {100 * row['changes']:.0f} %. To learn "
               f"it: {row['learn']}.")
    never = float(unknowns.loc[unknowns["kind"].isin(NOT_BEFOREHAND), "share"].sum())
    if never > BELOW:
        yield (f"{100 * never:.0f} % of the doubt is of a kind that nothing removes beforehand: what differs from pile "
               "to pile and from day to day shows during the works alone.")


def _convergence(found: Sampled) -> str:
    worst = 100.0 * float(found.exceeds.mean_se().max())
    doubtful = in_doubt(found.exceeds)
    share = 100.0 * float(found.exceeds.pooled(doubtful)[1].max()) if len(doubtful) else 0.0
    end = "the errors asked for were reached" if found.converged else \
        "the errors asked for were NOT reached: allow more batches or samples"
    return (f"{len(found.exceeds)} batches of {found.options.samples} scrambled Sobol' samples, "
            f"{found.evaluations} evaluations. Standard errors: of the chances at most {worst:.2f} percentage points, "
            f"of the shares of all doubt at most {share:.1f}; asked for {100 * found.options.p_se:g} and "
            f"{100 * found.options.share_se:g}: {end}.")
