"""Which candidate reaches the toe at which pile, with which aid, and which rule says so."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.works.feasible import ASPECTS, VERDICTS, Check, worst
from envpredict.engine.works.feasible_ground import Column, columns, suited
from envpredict.engine.works.feasible_site import site_checks
from envpredict.engine.works.feasible_size import driven, size_check
from envpredict.engine.works.programme import cycle_s

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.run import Run
    from envpredict.engine.works.choices import MethodChoice

FEASIBILITY_COLUMNS: dict[str, str] = {
    "method": "identifier of the candidate method",
    "section": "part of the wall",
    "pile": "identifier of the pile",
    "aspect": "what was checked, a key of ASPECTS",
    "verdict": "feasible, feasible_with_aid, needs_trial, cannot_judge or not_feasible",
    "rule": "the rule that decided",
    "aid": "what helps, or what is asked for",
    "depth_m": "depth below ground at which it happens; missing away from the ground",
    "stratum": "description of the stratum in which it happens",
    "borehole": "the borehole that stands for the ground: the nearest one",
    "reason": "the verdict in words",
    "source": "place of the rule, with its verify mark",
    "basis": "how the rule is known: read, memory, practice or estimate",
}
SHAKY = frozenset({"not_feasible", "cannot_judge"})
"""Verdicts under which nobody has shown that the method reaches the toe: its prediction is no reassurance."""
UNSHOWN = "the method isn't shown to reach the toe"
SHORT = {"not_feasible": "not held feasible at this pile",
         "cannot_judge": "whether it's feasible at this pile can't be judged",
         "needs_trial": "needs a trial at this pile", "feasible_with_aid": "feasible with aid at this pile"}


@dataclass(frozen=True, slots=True, eq=False)
class Feasibility:
    """The checks of one candidate: those of each pile that it works on (W), and the one that decides there.

    `pile` (W): numbers of the piles; `checks` (W): all checks of each; `deciding` (W): the worst of them.
    """

    method: str
    pile: NDArray[np.intp]
    checks: tuple[tuple[Check, ...], ...]
    deciding: tuple[Check, ...]

    @property
    def worst(self) -> Check:
        """Return the check that decides for the whole candidate."""
        return worst(self.deciding)

    def _spread(self, texts: Sequence[str], piles: int) -> NDArray[np.object_]:
        found = np.full(piles, "", dtype=object)
        found[self.pile] = np.array(texts, dtype=object)
        return found

    def doubts(self, piles: int) -> NDArray[np.object_]:
        """Return (P,) why a low prediction at each pile is no reassurance; empty where the method is feasible."""
        return self._spread([UNSHOWN if one.verdict in SHAKY else "" for one in self.deciding], piles)

    def remarks(self, piles: int) -> NDArray[np.object_]:
        """Return (P,) what is to be said of each pile: an aid, a trial, or the doubt; empty where it's feasible."""
        told = []
        for one in self.deciding:
            asks = one.aid if one.verdict == "feasible_with_aid" else one.reason
            told.append(f"{SHORT[one.verdict]}: {asks}" if one.verdict in SHORT else "")
        return self._spread(told, piles)


def _borehole_columns(run: Run) -> tuple[list[Column], NDArray[np.intp]]:
    """Return the columns of the ground, and the number (P) of the one that stands for each pile."""
    defaults = run.scenario.ground_defaults
    found = columns(run.drive.ground, defaults.ground_class, defaults.groundwater_m)
    return found, np.maximum(run.drive.borehole, 0)


def feasibility(run: Run, choice: MethodChoice) -> Feasibility:
    """Return the checks of a candidate at every pile of its sections; piles alike share those of ground and size."""
    piles, site = run.scenario.piles, run.site
    ground, hole = _borehole_columns(run)
    cycles = cycle_s(choice, run.drive, "likely")[0]
    chosen = np.arange(len(piles))
    if choice.sections:
        chosen = chosen[piles["section"].isin(choice.sections).to_numpy()]
    kinds, lengths = piles["pile_type"].to_numpy(), piles["length_m"].to_numpy(dtype=float)
    spacing = piles["spacing_m"].to_numpy(dtype=float)
    alike: dict[tuple[Any, ...], tuple[Check, ...]] = {}
    found = []
    for pile in chosen:
        kind = run.catalogue.pile_types[kinds[pile]]
        key = (kind.id, lengths[pile], str(spacing[pile]), hole[pile])
        if key not in alike:
            column = ground[hole[pile]]
            size = size_check(choice, driven(kind, lengths[pile], spacing[pile]), column)
            alike[key] = (suited(choice.method, kind, column).check(lengths[pile]), *((size,) if size else ()))
        found.append((*alike[key], *site_checks(choice, kind, lengths[pile], cycles[pile], site, int(pile))))
    order = list(ASPECTS)
    checks = tuple(tuple(sorted(each, key=lambda one: order.index(one.aspect))) for each in found)
    return Feasibility(choice.id, chosen, checks, tuple(worst(each) for each in checks))


def frame(run: Run, found: Sequence[Feasibility]) -> pd.DataFrame:
    """Return the checks of all candidates, one row per method, pile and aspect, columns `FEASIBILITY_COLUMNS`."""
    import pandas as pd

    ids, sections = run.scenario.piles["id"].to_numpy(), run.scenario.piles["section"].to_numpy()
    rows = [(one.method, sections[pile], ids[pile], check.aspect, check.verdict, check.rule, check.aid, check.depth_m,
             check.stratum, check.borehole, check.reason, str(check.citation or ""),
             check.citation.basis if check.citation else "")
            for one in found for pile, checks in zip(one.pile, one.checks, strict=True) for check in checks]
    return pd.DataFrame(rows, columns=list(FEASIBILITY_COLUMNS))


def decided(checks: pd.DataFrame, by: Sequence[str] = ("method", "section")) -> pd.DataFrame:
    """Return, of a frame of checks, the row that decides in each group, with `piles`, how many it decides for.

    The worst verdict decides, then the order of `ASPECTS`, then the order of the piles. `by` = method, section, pile
    for each pile; method and section; or method alone.
    """
    keys = list(by)
    order = checks.assign(_rank=checks["verdict"].map(VERDICTS.index),
                          _aspect=checks["aspect"].map(list(ASPECTS).index), _row=np.arange(len(checks)))
    first = order.groupby(keys, sort=False)["_row"].transform("min")
    order = order.assign(_group=first).sort_values(["_group", "_rank", "_aspect", "_row"],
                                                   ascending=[True, False, True, True], kind="stable")
    best = order.drop_duplicates("_group")
    shared = list(dict.fromkeys((*keys, "verdict", "aspect")))
    same = order.merge(best[shared], on=shared)
    counts = same.groupby(keys, sort=False)["pile"].nunique()
    found = checks.loc[best.index].reset_index(drop=True)
    return found.assign(piles=[int(counts[key]) for key in best[keys].itertuples(index=False, name=None)]
                        if len(keys) > 1 else [int(counts[key]) for key in best[keys[0]]])
