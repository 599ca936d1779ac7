"""Whether a method suits the ground: the handbook's cell, the class's code, the method's own limits, counter-cases."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from envpredict.core.citation import Basis, Citation, weakest
from envpredict.methods.fields import GROUND_CLASSES, Code, GroundClass, Suit
from envpredict.methods.load import load_counter_cases, load_handbook
from envpredict.methods.schema import CounterCase, HandbookTable, Method, PileType

Flags = NDArray[np.bool_]
Words = NDArray[np.str_]
Verdict = Literal["feasible", "feasible_with_aid", "needs_trial", "not_feasible", "cannot_judge"]
VERDICT_MEANING: dict[Verdict, str] = {
    "feasible": "feasible",
    "feasible_with_aid": "feasible with the aid named",
    "needs_trial": "needs a trial: published jobs contradict the table",
    "not_feasible": "not feasible alone, or not recommended",
    "cannot_judge": "cannot be judged: a fact about the ground is missing",
}
_RANK: dict[Code, int] = {"F": 0, "A": 1, "N": 2}
UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Decision:
    """The rule that decided, with its code, aid and place; `code` is None where nothing could decide."""

    rule: str
    code: Code | None
    aid: str
    citation: Citation | None


@dataclass(frozen=True, slots=True, eq=False)
class Suitability:
    """The suitability of a method at every element of the arrays that went in.

    `decisions` are the rules met; `index` tells, per element, which of them decided; `trial`: a published job
    contradicts it; `cases`: the ids of those jobs, separated by blanks.
    """

    decisions: tuple[Decision, ...]
    index: NDArray[np.intp]
    trial: Flags
    cases: Words

    def _take(self, texts: list[str]) -> Words:
        return np.array(texts)[self.index]

    @property
    def code(self) -> Words:
        """Return F, A, N, or an empty text where it can't be judged."""
        return self._take([decision.code or "" for decision in self.decisions])

    @property
    def aid(self) -> Words:
        """Return the aid, or what to find out."""
        return self._take([decision.aid for decision in self.decisions])

    @property
    def rule(self) -> Words:
        """Return the id of the rule that decided."""
        return self._take([decision.rule for decision in self.decisions])

    @property
    def source(self) -> Words:
        """Return the place of the rule in one line."""
        return self._take([str(decision.citation or "") for decision in self.decisions])

    @property
    def basis(self) -> Words:
        """Return how the rule is known; an empty text where nothing could decide."""
        return self._take([decision.citation.basis if decision.citation else "" for decision in self.decisions])

    @property
    def verdict(self) -> Words:
        """Return feasible, feasible_with_aid, needs_trial, not_feasible or cannot_judge."""
        code = self.code
        plain = np.select([code == "F", code == "A", code == "N"],
                          ["feasible", "feasible_with_aid", "not_feasible"], "cannot_judge")
        return np.where(self.trial & (code != ""), "needs_trial", plain)


class _Judge:
    """Keeps the worst decision of each element."""

    def __init__(self, shape: tuple[int, ...]) -> None:
        self.decisions: list[Decision] = [Decision("no_ground", None, "find out what the ground is and its strength",
                                                   None)]
        self.index = np.zeros(shape, dtype=np.intp)
        self.rank = np.full(shape, -1)

    def put(self, where: Flags, decision: Decision) -> None:
        """Let a decision stand where nothing stands yet, in the place of what does."""
        if decision.code is None or not where.any():
            return
        self.decisions.append(decision)
        self.index[where] = len(self.decisions) - 1
        self.rank[where] = _RANK[decision.code]

    def worsen(self, where: Flags, decision: Decision, *, equal: bool = False) -> None:
        """Let a decision stand where it's worse than what stands, with `equal` also where it's as bad."""
        if decision.code is not None:
            rank = _RANK[decision.code]
            self.put(where & (self.rank >= 0) & ((self.rank <= rank) if equal else (self.rank < rank)), decision)


def _in_band(values: NDArray[np.float64], low: float | None, high: float | None) -> Flags:
    """Return which values lie above `low` and at most at `high`; NaN never does, unless there's no end at all."""
    inside: Flags = np.ones(values.shape, dtype=bool)
    if low is not None:
        inside &= values > low
    if high is not None:
        inside &= values <= high
    return inside


def _apply_table(judge: _Judge, table: HandbookTable, column: str, soil: Words,
                 measures: Mapping[str, NDArray[np.float64]]) -> None:
    values = measures[table.measure]
    spoken = np.isin(soil, table.soils) & ~np.isnan(values)
    decided = np.isin(soil, table.decides)
    for row in table.rows:
        cell = getattr(row, column)
        here = spoken & _in_band(values, row.low, row.high)
        decision = Decision(f"handbook {table.id} {row.band}", cell.code, cell.aid, table.citation)
        judge.put(here & decided, decision)
        judge.worsen(here & ~decided, decision)


def _contradicted(case: CounterCase, method: Method, soil: Words,
                  measures: Mapping[str, NDArray[np.float64]]) -> Flags:
    if method.handbook_column not in case.columns:
        return np.zeros(soil.shape, dtype=bool)
    return np.isin(soil, case.soils) & _in_band(measures[case.measure], case.above, case.at_most)


def _class_suits(method: Method, pile_type: PileType | None) -> Mapping[GroundClass, Suit]:
    """Return the codes by ground class: the pile's own for this family of methods, else the method's."""
    own = pile_type.suits.get(method.family) if pile_type is not None else None
    return method.suits if own is None else own


def fits(method: Method, pile_type: PileType) -> bool:
    """Return whether a method installs this form of pile, or makes a wall of its own instead."""
    return method.cast_in_place or pile_type.form in method.forms


def suitability(
    method: Method,
    ground_class: ArrayLike,
    *,
    n: ArrayLike = np.nan,
    cu_kpa: ArrayLike = np.nan,
    ucs_mpa: ArrayLike = np.nan,
    cobble_m: ArrayLike = np.nan,
    boulder_m: ArrayLike = np.nan,
    pile_type: PileType | None = None,
) -> Suitability:
    """Return the suitability of a method in ground; all arrays broadcast.

    ground_class: words of the eight classes, or `unknown` (judged as cannot_judge); n: SPT N converted to 300 mm;
    cu_kpa, ucs_mpa: strengths; cobble_m, boulder_m: sizes; NaN is not known and decides nothing. Where a handbook table
    speaks of the method and the strength is known its cell decides, else the class's code; the method's own limits can
    only worsen it; a published job to the contrary turns it into a matter of trial. Raises ValueError for a word that
    is no ground class.
    """
    soil, *rest = np.broadcast_arrays(np.asarray(ground_class, dtype=np.str_), *(
        np.asarray(value, dtype=float) for value in (n, cu_kpa, ucs_mpa, cobble_m, boulder_m)))
    measures = dict(zip(("n", "cu_kpa", "ucs_mpa", "cobble_m", "boulder_m"), rest, strict=True))
    strange = sorted(set(np.unique(soil)) - {*GROUND_CLASSES, UNKNOWN})
    if strange:
        raise ValueError(f"'{strange[0]}' is no ground class: {', '.join(GROUND_CLASSES)} or {UNKNOWN}")
    judge = _Judge(soil.shape)
    if pile_type is not None and not fits(method, pile_type):
        place = Citation("the catalogue", None, f"forms of pile that {method.id} installs", "practice")
        judge.put(np.ones(soil.shape, dtype=bool),
                  Decision("form", "N", f"doesn't install this form of pile: {pile_type.title}", place))
        return Suitability(tuple(judge.decisions), judge.index, np.zeros(soil.shape, dtype=bool),
                           np.full(soil.shape, ""))
    for name, suit in _class_suits(method, pile_type).items():
        judge.put(soil == name, Decision(f"class {name}", suit.code, suit.aid, suit.citation))
    own = pile_type is not None and method.family in pile_type.suits
    if method.handbook_column is not None and not own:
        for table in load_handbook().values():
            _apply_table(judge, table, method.handbook_column, soil, measures)
    for limit in method.ground_limits:
        values = measures[limit.measure]
        beyond = values > limit.value if limit.side == "above" else values <= limit.value
        where = beyond & (np.isin(soil, limit.soils) if limit.soils else np.ones(soil.shape, dtype=bool))
        # what was measured says more than the class, so it speaks where both are as bad
        judge.worsen(where, Decision(f"limit {limit.id}", limit.code, limit.aid, limit.citation), equal=True)
    trial, cases = np.zeros(soil.shape, dtype=bool), np.full(soil.shape, "", dtype=object)
    for case in load_counter_cases().values():
        hit = _contradicted(case, method, soil, measures)
        trial |= hit
        cases[hit] = np.array([f"{text} {case.id}".strip() for text in cases[hit]], dtype=object)
    return Suitability(tuple(judge.decisions), judge.index, trial, cases.astype(np.str_))


def worst_basis(result: Suitability) -> Basis | None:
    """Return the weakest basis among the rules that decided somewhere, or None if nothing could decide."""
    used = [result.decisions[number].citation for number in np.unique(result.index)]
    bases = [citation.basis for citation in used if citation is not None]
    return weakest(bases) if bases else None
