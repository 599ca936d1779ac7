"""Findings: judgements put into rows, each with its likelihood and the reason for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import BASES, VERIFY_MARK, Basis
from envpredict.core.quantities import QUANTITIES
from envpredict.engine.applied import JUDGED, MISSING, NOT_GOVERNED, Applied
from envpredict.engine.chances.judge import Judgement, margin_db
from envpredict.engine.phrases import Phrases, coded
from envpredict.engine.results import FINDING_COLUMNS, LIKELIHOOD_MEANING

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]
SIGNIFICANT = 6
MEMORY, ESTIMATE = BASES.index("memory"), BASES.index("estimate")
_TENS = np.array([float(f"1e{power}") for power in range(23)])


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """What a prediction at receptors (R) stands on.

    `model` (R) names; `median_basis`, `basis` (R) ranks; `unproven` (R) why the word `unlikely` can't rest on it, empty
    where it can; `pile` (R) name of the governing pile or of the nearest working one; `day` (R) its date; `notes`: what
    holds for every row; `row_notes` (R); `others` (R), (R): lowest and highest median of the other published laws.
    """

    model: NDArray[np.object_]
    median_basis: NDArray[np.int64]
    basis: NDArray[np.int64]
    unproven: NDArray[np.object_]
    pile: NDArray[np.object_]
    day: NDArray[np.object_]
    notes: tuple[str, ...] = ()
    row_notes: NDArray[np.object_] | None = None
    others: tuple[Floats, Floats] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Heading:
    """What all rows of one rule, method and period have in common.

    `whole_db`: levels are compared in whole dB. `defers`: what decides where the limit is exceeded, for limits whose
    exceedance is no verdict of its own; empty for all others. `confirmed`: who compared the rule with its document,
    every recalled value in use; `compared`: who compared a part of it only.
    """

    method: str
    effect: str
    quantity: str
    position: str
    period: str
    limit_set: str
    rule: str
    clause: str
    whole_db: bool = False
    defers: str = ""
    confirmed: str = ""
    compared: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """The findings of one rule, method and period: columns of all receptors, and the chances by day behind them.

    `days` (D,), `p_day` (R, D) NaN where a receptor isn't judged by the rule.
    """

    columns: dict[str, Any]
    method: str
    effect: str
    days: NDArray[np.datetime64]
    p_day: NDArray[np.float32]


def rounded(values: Floats, digits: int = SIGNIFICANT) -> Floats:
    """Return values rounded to significant digits; NaN and infinities stay."""
    out = np.array(values, dtype=float)
    ok = np.isfinite(out) & (out != 0.0)
    power = digits - 1 - np.floor(np.log10(np.abs(np.where(ok, out, 1.0)))).astype(int)
    up, down = _TENS[np.clip(power, 0, len(_TENS) - 1)], _TENS[np.clip(-power, 0, len(_TENS) - 1)]
    # whole numbers divided by exact powers of ten are the nearest floats to what is written
    out[ok] = (np.round(np.where(ok, out, 1.0) * up / down) * down / up)[ok]
    return out


def likelihoods(judged: NDArray[np.bool_], not_governed: NDArray[np.bool_], p_exceed: Floats, silent: NDArray[np.bool_],
                doubtful: NDArray[np.bool_], design_exceedance: float) -> NDArray[np.str_]:
    """Return the likelihood of each row from its chance; every array (R,).

    Below the design exceedance a doubtful prediction (an estimate, a proxy, out of range) can't be judged: a low number
    from weak evidence is no reassurance. A silent point has nothing that could exceed and is not applicable.
    """
    with np.errstate(invalid="ignore"):
        return np.select(
            [not_governed | (silent & judged), ~judged | np.isnan(p_exceed), p_exceed >= 0.5,
             p_exceed >= design_exceedance, doubtful],
            ["not_applicable", "cannot_judge", "likely", "possible", "cannot_judge"], default="unlikely")


LIMIT_MARK: dict[Basis, str] = {**VERIFY_MARK, "estimate": f"{VERIFY_MARK['memory']}; how it is applied is in part our "
                                                           "estimate"}
"""What to verify of a limit: an estimate of ours in it is how the document is read, which no trial can settle."""


def _verify(marks: Phrases, ranks: NDArray[np.int64], what: str, said: Mapping[Basis, str]) -> None:
    marks.add(ranks, [f"{what}: {said[basis]}" if said[basis] else "" for basis in BASES])


def _margins(limit: Floats, judgement: Judgement, p_exceed: Floats, scale: str, design_exceedance: float,
             whole_db: bool) -> Floats:
    """Return the margins; at a hair's breadth their sign follows the chance as written.

    In whole dB a hair may be a whole step: a level rounds to the limit or to the next dB.
    """
    margin = margin_db(limit, judgement.design, scale)
    with np.errstate(invalid="ignore"):
        meets = p_exceed <= design_exceedance
        hair = np.abs(margin) < 1e-6
        if whole_db:
            margin = np.where(meets, np.maximum(margin, 0.0), margin)
        margin = np.where(hair & meets, np.abs(margin), np.where(hair & ~meets, -np.abs(margin) - 1e-12, margin))
    return np.where(np.isnan(p_exceed), np.nan, margin)


def _reasons(likelihood: NDArray[np.str_], applied: Applied, judgement: Judgement, evidence: Evidence,
             doubtful: NDArray[np.bool_], p_exceed: Floats, deferred: NDArray[np.object_],
             confirmed: NDArray[np.object_], compared: str = "") -> NDArray[np.object_]:
    rows = len(likelihood)
    told = Phrases(rows)
    judged = applied.status == JUDGED
    told.add(*coded(deferred))
    told.add(*coded(applied.text))
    told.add_where(judged & judgement.unknown, "no prediction: the ground along the drive isn't known well enough for "
                                               "the law; find out its strength")
    told.add_where(judged & judgement.silent, "nothing works in this period or season")
    low = judged & doubtful & (likelihood == "cannot_judge") & ~np.isnan(p_exceed)
    told.add_where(low, "unproven, trial needed: the chance is low, but it rests on weak evidence")
    active = judged & ~judgement.silent
    codes, wordings = coded(evidence.unproven)
    told.add(np.where(active, codes, _empty(wordings)), _with_empty(wordings))
    told.add_where(active & ~judgement.in_range & ~judgement.unknown, "outside the law's valid range")
    _verify(told, np.where(active, evidence.median_basis, 0), "prediction", VERIFY_MARK)
    _verify(told, np.where(judged & (confirmed == ""), applied.basis, 0), "limit", LIMIT_MARK)
    told.add(*coded(confirmed))
    if compared:
        told.add_where(judged & (applied.basis != 0), compared)
    told.add(*coded(np.where(judged, applied.note, "")))
    for note in evidence.notes:
        told.add_where(active, note)
    if evidence.row_notes is not None:
        told.add(*coded(np.where(active, evidence.row_notes, "")))
    texts = told.texts()
    plain = np.array([LIKELIHOOD_MEANING[word] for word in likelihood.tolist()], dtype=object)
    return np.where(texts == "", plain, texts).astype(object)


def _empty(wordings: Sequence[str]) -> int:
    return wordings.index("") if "" in wordings else len(wordings)


def _with_empty(wordings: Sequence[str]) -> tuple[str, ...]:
    return tuple(wordings) if "" in wordings else (*wordings, "")


def rows(heading: Heading, receptors: pd.DataFrame, class_id: NDArray[np.object_], applied: Applied,
         judgement: Judgement, evidence: Evidence, days: NDArray[np.datetime64], design_exceedance: float) -> Block:
    """Return the findings of one rule, method and period for all receptors, columns in the order of the schema."""
    unit = QUANTITIES[heading.quantity].unit
    scale = QUANTITIES[heading.quantity].scale
    judged = applied.status == JUDGED
    seen = judged & ~judgement.silent & ~judgement.unknown
    p_exceed = rounded(np.where(judged & ~judgement.unknown, judgement.p_exceed, np.nan))
    doubtful = ~judgement.in_range | (evidence.unproven != "") | (evidence.median_basis == ESTIMATE)
    likelihood = likelihoods(judged & ~judgement.unknown, applied.status == NOT_GOVERNED, p_exceed, judgement.silent,
                             doubtful, design_exceedance)
    deferred = seen & (likelihood != "unlikely") if heading.defers else np.zeros(len(receptors), dtype=bool)
    likelihood = np.where(deferred, "not_applicable", likelihood)
    # what somebody has compared with its document is as good as read; how we apply it stays ours
    recalled = judged & (applied.basis != 0) & bool(heading.confirmed)
    said = np.select([recalled & (applied.basis == MEMORY), recalled],
                     [f"limit: {heading.confirmed}", f"limit: {heading.confirmed}; how it is applied is in part our "
                                                     "estimate"], "")
    applied = replace(applied, basis=np.where(recalled & (applied.basis == MEMORY), 0, applied.basis))
    basis = np.maximum(np.where(seen, evidence.basis, 0), np.where(judged, applied.basis, 0))
    nothing = np.full(len(receptors), np.nan)
    low, high = evidence.others or (nothing, nothing)
    margin = _margins(applied.value, judgement, p_exceed, scale, design_exceedance, heading.whole_db)
    table = {
        "receptor": receptors["id"].to_numpy(), "use": receptors["use"].to_numpy(), "method": heading.method,
        "effect": heading.effect, "model": np.where(applied.status == NOT_GOVERNED, "", evidence.model),
        "quantity": heading.quantity, "position": heading.position, "period": heading.period,
        "limit_set": heading.limit_set, "rule": heading.rule, "clause": heading.clause, "class": class_id,
        "predicted_median": rounded(np.where(seen, judgement.median, np.nan)),
        "scatter": rounded(np.where(seen, judgement.scatter, np.nan)),
        "other_laws_low": rounded(np.where(seen, low, np.nan)),
        "other_laws_high": rounded(np.where(seen, high, np.nan)),
        "predicted_design": rounded(np.where(seen, judgement.design, np.nan)),
        "limit": rounded(applied.value), "unit": unit,
        "margin_db": np.where(seen, rounded(margin), np.nan),
        "p_exceed": p_exceed, "likelihood": likelihood,
        "p_one_pile": rounded(np.where(seen, judgement.p_one, np.nan)),
        "governing_pile": np.where(seen, evidence.pile, ""), "governing_day": np.where(seen, evidence.day, ""),
        "days_above": rounded(np.where(judged, judgement.days, np.nan)),
        "days_above_low": np.where(judged, judgement.days_low, np.nan),
        "days_above_high": np.where(judged, judgement.days_high, np.nan),
        "in_range": judgement.in_range | ~seen,
        "median_basis": np.where(seen, np.array(BASES)[evidence.median_basis], ""),
        "basis": np.where(judged, np.array(BASES)[basis], ""),
        "reason": _reasons(likelihood, applied, judgement, evidence, doubtful, p_exceed,
                           np.where(deferred, heading.defers, "").astype(object),
                           said.astype(object), heading.compared),
    }
    # a limit whose exceedance is no verdict of its own has no chance of a day to show
    shown = judged & (heading.defers == "")
    p_day = np.where(shown[:, None], judgement.p_day, np.float32(np.nan))
    return Block({name: table[name] for name in FINDING_COLUMNS}, heading.method, heading.effect,
                 days[: p_day.shape[1]], p_day)


def by_day(blocks: Sequence[Block]) -> tuple[NDArray[np.datetime64], dict[tuple[str, str], NDArray[np.float32]]]:
    """Return the worked dates of all blocks (D,) and, per method and effect, the highest chance of each day (R, D).

    NaN where no rule of the effect judges the receptor; 0 on days without work.
    """
    if not blocks:
        return np.zeros(0, dtype="datetime64[D]"), {}
    dates = np.unique(np.concatenate([block.days for block in blocks]))
    found: dict[tuple[str, str], NDArray[np.float32]] = {}
    for block in blocks:
        if not len(block.days):
            continue
        spread = np.zeros((block.p_day.shape[0], len(dates)), dtype=np.float32)
        spread[:, np.searchsorted(dates, block.days)] = block.p_day
        spread[np.isnan(block.p_day).all(axis=1)] = np.nan
        key = (block.method, block.effect)
        found[key] = np.fmax(found[key], spread) if key in found else spread
    return dates, found


def frame(blocks: Sequence[Block]) -> pd.DataFrame:
    """Return blocks of rows as one frame: by method, then rule by rule in the order adopted, receptor by receptor."""
    import pandas as pd

    frames = [pd.DataFrame(block.columns) for block in blocks]
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=list(FINDING_COLUMNS))


__all__ = ["MISSING", "Block", "Evidence", "Heading", "by_day", "frame", "likelihoods", "rounded", "rows"]
