"""What trial records of a site do to a finding: whether `unlikely` may rest on them, and what they changed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import Citation
from envpredict.core.quantities import QUANTITIES
from envpredict.engine.applied import rank
from envpredict.engine.findings import rounded
from envpredict.engine.learned.site_law import STRATA, speaks_for
from envpredict.engine.learned.use import DOUBLED, NOT_MINE, PROVEN, RAISED, TOLD, UPDATED

if TYPE_CHECKING:
    from envpredict.engine.chances.judge import Judgement
    from envpredict.engine.findings import Evidence
    from envpredict.engine.vibration.field import LawField
    from envpredict.engine.vibration.rules import Examined

Texts = NDArray[np.object_]
SHOWN = 24
HARDER_FACTOR = 5.0
HARDER_SOURCE = Citation("BS 5228-2:2009+A1:2014", 2014, "Annex E, Table E.1: the pile at refusal against soft ground, "
                         "constants 5 and 1", "memory")
"""Why a pile in harder ground than known is looked at wherever it may come within this factor of the governing one."""


@dataclass(frozen=True, slots=True, eq=False)
class TrialRows:
    """What the site's records say at each receptor (R): `code` of `use.TOLD`, `proven`, `told` in words.

    `lacks`: what the records of the governing law lack; `harder`: what shows that the ground is harder than known.
    """

    code: NDArray[np.int8]
    proven: NDArray[np.bool_]
    told: Texts
    lacks: Texts
    harder: Texts

    def unless_proven(self, unproven: Texts) -> Texts:
        """Return why `unlikely` can't rest on the law, without what the records have settled."""
        return np.where(self.proven, "", np.where(self.harder == "", unproven, self.harder)).astype(object)

    def median_basis(self, ranks: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return how well medians are known: measured on the site where the records suffice."""
        return np.where(self.proven, rank("read"), ranks)


def trial_rows(seen: Examined) -> TrialRows:
    """Return what the site's records say of the governing law and pile of each receptor."""
    case, which, pile = seen.case, seen.field, seen.pile
    count, unlike = len(which), case.method.choice.site.unlike
    code, lacks = np.zeros(count, dtype=np.int8), np.full(count, "", dtype=object)
    mine = np.zeros(count, dtype=bool)
    of = seen.spots.of
    for number, field in enumerate(seen.spots.vibration.fields):
        here = which == number
        if field.trial is None or not here.any():
            continue
        code[here] = field.trial.code[of[here], pile[here]]
        mine[here] = speaks_for(field.trial.law.quantity, case.rule.quantity or "")
        missing = "; ".join(dict.fromkeys(text for fit in field.trial.law.strata for text in fit.lacks()))
        lacks[here] = "; ".join(text for text in (missing, unlike) if text) or (
            "the energy of the trial isn't stated or was lower")
    told = np.array([TOLD[int(one)] + (f" ({unlike})" if unlike and one in (UPDATED, DOUBLED) else "")
                     for one in code], dtype=object)
    told = np.where((code == PROVEN) & ~mine, f"{TOLD[PROVEN]}; they say nothing sure of {case.rule.quantity}",
                    told).astype(object)
    laws = ", ".join(dict.fromkeys(law.model for law in case.method.choice.site.laws))
    aside = f"another law or phase than that of the trial records ({laws}) governs here"
    told = np.where((told == "") & bool(laws), aside, told).astype(object)
    return TrialRows(code, (code == PROVEN) & mine, told, lacks, _harder(seen))


def _harder(seen: Examined) -> Texts:
    """Return what shows that a pile which may govern stands in harder ground than known, or an empty text.

    A pile in ground that proved harder may shake up to `HARDER_FACTOR` times as much as predicted.
    """
    case, pile = seen.case, seen.pile
    harder = case.method.choice.site.harder
    text = np.full(len(pile), "", dtype=object)
    ids = case.run.scenario.piles["id"].astype(str).to_numpy()
    affected = np.flatnonzero(np.isin(ids, list(harder)))
    if not affected.size:
        return text
    level = seen.spots.vibration.log_median[seen.spots.of]
    governing = level[np.arange(len(pile)), pile]
    with np.errstate(invalid="ignore"):
        near = level[:, affected] >= governing[:, None] - np.log10(HARDER_FACTOR)
    worst = affected[np.where(near, level[:, affected], -np.inf).argmax(axis=1)]
    hit = near.any(axis=1)
    text[hit] = [f"the ground proved harder than the boreholes show: {harder[name]}" for name in ids[worst[hit]]]
    return text


def with_trial(found: Evidence, rows: TrialRows, after: Judgement, before: Judgement, quantity: str,
               design_exceedance: float) -> Evidence:
    """Return the evidence with what the records changed against the published law.

    `after`, `before`: the judgements with and without them. A chance that is low only by provisional records can't be
    called `unlikely`.
    """
    unit = QUANTITIES[quantity].unit
    changed = np.isin(rows.code, (UPDATED, PROVEN, DOUBLED))
    medians, chances = rounded(before.median, 3), rounded(before.p_exceed, 2)
    beside = np.array([f"by the published law alone: median {median:g} {unit}, chance {chance:.2g}" if hit else ""
                       for median, chance, hit in zip(medians, chances, changed, strict=True)], dtype=object)
    with np.errstate(invalid="ignore"):
        rests = ((rows.code == UPDATED) | (rows.code == DOUBLED) | ((rows.code == PROVEN) & ~rows.proven)) & (
            after.p_exceed < design_exceedance) & ~(before.p_exceed < design_exceedance)
    provisional = np.array([f"the chance is low only by provisional trial records ({text})" for text in rows.lacks],
                           dtype=object)
    unproven = np.where(rests & (found.unproven == ""), provisional, found.unproven).astype(object)
    raised = (rows.code == RAISED) & (unproven == "")
    unproven = np.where(raised, "where the trial records reach, this ground shakes more than the published law says, "
                                "which alone speaks here", unproven).astype(object)
    own = np.full(len(unproven), "", dtype=object) if found.row_notes is None else found.row_notes
    notes = np.array(["; ".join(str(text) for text in texts if text)
                      for texts in zip(rows.told, beside, own, strict=True)], dtype=object)
    return replace(found, unproven=unproven, row_notes=notes)


def trial_lines(field: LawField, row: int, pile: int) -> list[str]:
    """Return prior, records, posterior and what changed for a law at a place and a pile, as lines of a trace."""
    trial = field.trial
    if trial is None or trial.code[row, pile] == NOT_MINE:
        return []
    law, code = trial.law, int(trial.code[row, pile])
    lines = [f"    trial records: {TOLD[code]}"]
    before, after = float(trial.published[row, pile]), float(field.log_median[row, pile])
    if code in (UPDATED, PROVEN, DOUBLED):
        lines += [f"      prior: median {10.0**before:.4g} mm/s; scatter between sites {law.prior.between_site:.3g}, "
                  f"within the site {law.prior.within_site:.3g}; {law.prior.scatter_source}",
                  f"      posterior: median {10.0**after:.4g} mm/s (times {10.0 ** (after - before):.3g}); scatter "
                  f"between sites {trial.shared[row, pile]:.3g}, within the site {trial.own[row, pile]:.3g}"]
    for fit in law.strata:
        low, high = fit.reach_m
        lacks = fit.lacks()
        shown = ", ".join(f"{'<' if reads == 'below' else '>' if reads == 'above' else ''}{level:g} at {distance:g} m"
                          for distance, level, reads in sorted(zip(fit.data.distance_m, fit.data.ppv_mm_s,
                                                                   fit.data.reads, strict=True))[:SHOWN])
        more = f" and {len(fit.data.pile) - SHOWN} more" if len(fit.data.pile) > SHOWN else ""
        lines.append(f"      records of {STRATA[fit.ground]}, {law.quantity} in mm/s: {shown}{more}; they reach from "
                     f"{low:.3g} to {high:.3g} m" + (f"; provisional: {', '.join(lacks)}" if lacks else ""))
    return lines


__all__ = ["TrialRows", "trial_lines", "trial_rows", "with_trial"]
