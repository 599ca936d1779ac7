"""Whether a method suits the strata that a pile goes through."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import BASES, Citation
from envpredict.engine.works.feasible import OF_CODE, VERDICTS, Check
from envpredict.methods.load import load_counter_cases
from envpredict.methods.suitability import UNKNOWN, Suitability, suitability

if TYPE_CHECKING:
    from envpredict.ground.ground import Ground
    from envpredict.methods.schema import Method, PileType

Floats = NDArray[np.float64]
NO_GROUND = "neither boreholes nor a ground class are given: find out the strata down to the toe, with their strength"
STATED_CLASS = "stated for the whole site"


@dataclass(frozen=True, eq=False)
class Column:
    """The strata (S) that one borehole shows, from the surface down; one stratum for a stated class.

    Strengths are NaN where unknown; `missing` (S): what to find out, empty where the class is known.
    """

    borehole: str
    top_m: Floats
    base_m: Floats
    description: tuple[str, ...]
    soil: NDArray[np.str_]
    n: Floats
    cu_kpa: Floats
    ucs_mpa: Floats
    cobble_m: Floats
    boulder_m: Floats
    water_m: float
    missing: tuple[str, ...]

    @cached_property
    def strengths(self) -> tuple[str, ...]:
        """Return each stratum's strength in words, empty where none is known."""
        found = []
        for n, cu, ucs, boulder in zip(self.n, self.cu_kpa, self.ucs_mpa, self.boulder_m, strict=True):
            parts = [f"N {n:.0f}" if np.isfinite(n) and not np.isfinite(cu) else "",
                     f"cu {cu:.0f} kPa" if np.isfinite(cu) else "", f"UCS {ucs:g} MPa" if np.isfinite(ucs) else "",
                     f"boulders to {boulder:g} m" if np.isfinite(boulder) else ""]
            found.append(", ".join(part for part in parts if part))
        return tuple(found)

    def name(self, row: int) -> str:
        """Return what a stratum is and how deep it lies, in words."""
        if not self.borehole:
            known = self.soil[row] != UNKNOWN
            return f"{self.description[row]} ({STATED_CLASS})" if known else "the ground isn't known"
        strength = f" ({self.strengths[row]})" if self.strengths[row] else ""
        return f"{self.description[row] or 'no description'}{strength}, {self.top_m[row]:g} to {self.base_m[row]:g} m"


WANTED = {"coarse": "SPT N", "fill": "SPT N", "cohesive": "its undrained strength or SPT N",
          "rock": "its unconfined strength"}


def columns(ground: Ground | None, stated: str | None, water_m: float | None) -> list[Column]:
    """Return the column of every borehole; without boreholes one column of the stated class, or of unknown ground."""
    water = np.nan if water_m is None else water_m
    if ground is None:
        word, nothing = stated or UNKNOWN, np.full(1, np.nan)
        return [Column("", np.zeros(1), np.full(1, np.inf), (word.replace("_", " "),), np.array([word]), nothing,
                       nothing, nothing, nothing, nothing, water, ("" if stated else NO_GROUND,))]
    from envpredict.ground.schemes import SCHEMES, clay_strength_kpa

    s, words = ground.strata, SCHEMES["catalogue"](ground.strata)
    cu = clay_strength_kpa(s)
    found = []
    for hole, name in enumerate(s.names):
        at = np.flatnonzero(s.borehole == hole)
        missing = tuple(f"find out {WANTED.get(str(s.kind[row]), 'what it is, and its strength')}"
                        if words[row] == UNKNOWN else "" for row in at)
        own = float(s.water_m[hole])
        found.append(Column(name, s.top_m[at], s.base_m[at], tuple(str(text) for text in s.description[at]),
                            words[at], s.n[at], cu[at], s.ucs_mpa[at], s.cobble_m[at], s.boulder_m[at],
                            own if np.isfinite(own) else water, missing))
    return found


@dataclass(frozen=True, slots=True, eq=False)
class Suited:
    """A method and a type of pile judged in every stratum of a column (S): the rules met and the verdicts."""

    column: Column
    found: Suitability
    verdict: NDArray[np.str_]

    def check(self, length_m: float) -> Check:
        """Return the check of a pile of this length: its worst stratum, the shallowest of equally bad ones."""
        rows = np.flatnonzero(self.column.top_m < length_m - 1e-9)
        ranks = np.array([VERDICTS.index(word) for word in self.verdict[rows]])
        if not ranks.any():
            return self._suits(rows, length_m)
        row = int(rows[ranks.argmax()])
        decision = self.found.decisions[int(self.found.index[row])]
        aids = dict.fromkeys(text for text in (self._aid(int(number)) for number in rows) if text)
        column = self.column
        verdict = VERDICTS[int(ranks.max())]
        case = str(self.found.cases[row])
        rule = f"{decision.rule}; contradicted by {case.replace(' ', ', ')}" if case else decision.rule
        return Check("ground", verdict, rule, "; ".join(aids), f"{column.name(row)}: {self._why(row)}",
                     decision.citation, float(column.top_m[row]) if column.borehole else np.nan,
                     column.description[row], column.borehole)

    def _suits(self, rows: NDArray[np.intp], length_m: float) -> Check:
        """Return the check of a pile that the method suits all the way: the worst known of its rules is named."""
        row = max(rows, key=lambda number: BASES.index(self.found.basis[number]))
        decision = self.found.decisions[int(self.found.index[row])]
        return Check("ground", "feasible", decision.rule, "", f"suits every stratum down to the toe at {length_m:g} m",
                     decision.citation, float(length_m) if self.column.borehole else np.nan,
                     self.column.description[int(rows[-1])], self.column.borehole)

    def _aid(self, row: int) -> str:
        """Return the aid that a stratum asks for; empty where the method needs none, or nothing helps."""
        return str(self.found.aid[row]) if self.found.code[row] == "A" else ""

    def _why(self, row: int) -> str:
        verdict, aid, missing = self.verdict[row], str(self.found.aid[row]), self.column.missing[row]
        if verdict == "cannot_judge":
            return missing or f"SPT N is missing: find it out, {self.found.rule[row]} alone doesn't decide"
        if verdict == "needs_trial":
            story = load_counter_cases()[str(self.found.cases[row]).split()[0]].title
            told = {"N": "not held feasible by the table", "A": f"with aid by the table ({aid})",
                    "F": "feasible by the table"}[str(self.found.code[row])]
            return f"{told}, but a published job contradicts it ({story}): trial"
        return {"feasible": "suits" + (f" ({aid})" if aid else ""), "feasible_with_aid": aid or "with care",
                "not_feasible": "not feasible alone" + (f": {aid}" if aid else "")}[str(verdict)]


def suited(method: Method, pile_type: PileType, column: Column) -> Suited:
    """Judge a method and a type of pile in every stratum of a column.

    Where a handbook table speaks of gravel by its N and N isn't known, the class alone can't clear the method.
    """
    found = suitability(method, column.soil, n=column.n, cu_kpa=column.cu_kpa, ucs_mpa=column.ucs_mpa,
                        cobble_m=column.cobble_m, boulder_m=column.boulder_m, pile_type=pile_type)
    verdict = found.verdict
    asks_n = method.handbook_column is not None and method.family not in pile_type.suits
    blind = (column.soil == "gravel_cobbles") & np.isnan(column.n) & (found.code != "N") & bool(column.borehole)
    return Suited(column, found, np.where(blind & asks_n, "cannot_judge", verdict))


OBSTACLES = Citation("EN 12063:1999", 1999, "Annex C.1: obstacles that can't be removed are pre-drilled, or driven "
                     "through by careful impact", "read", via="geotechnicaldesign.info/en12063-1999/c-1.html")


def obstruction(method: Method) -> Check:
    """Return the check of a known obstruction: judged as boulders, removed where a method can't pass."""
    suit = method.suits.get("boulders")
    if suit is None or suit.code == "N":
        return Check("obstruction", "feasible_with_aid", "obstruction in the way",
                     "remove the obstruction or pre-drill",
                     "the method doesn't pass obstructions: remove it first, or pre-drill", OBSTACLES)
    return Check("obstruction", OF_CODE[suit.code], "as in boulders", suit.aid,
                 f"judged as boulders: {suit.aid or 'the method passes them'}", suit.citation)
