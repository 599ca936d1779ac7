"""Which limit holds for which receptor: classes from plain words, values from classes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import BASES, Basis
from envpredict.limits.outcome import LimitValue, Missing, NotGoverned

if TYPE_CHECKING:
    from envpredict.limits.schema import LimitSet
    from envpredict.scenario.types import Scenario

Floats = NDArray[np.float64]

JUDGED, MISSING, NOT_GOVERNED = 0, 1, 2


@dataclass(frozen=True, slots=True, eq=False)
class Classed:
    """The receptors (R) under one set: `class_id` (R), `status` (R) judged, missing or not governed, `text` (R) why."""

    class_id: NDArray[np.object_]
    status: NDArray[np.int64]
    text: NDArray[np.object_]


NEAR_SITE_M = 150.0


def _near_site(scenario: Scenario) -> list[str | None]:
    """Return whether the site lies less than 150 m from each receptor; None where only a boundary could tell."""
    import shapely

    piles = shapely.multipoints(np.asarray(scenario.piles.geometry.values, dtype=object))
    bounded = scenario.boundary is not None and not scenario.boundary.empty
    site = scenario.boundary.geometry.union_all() if scenario.boundary is not None and bounded else piles
    near = shapely.distance(np.asarray(scenario.receptors.geometry.values, dtype=object), site) < NEAR_SITE_M
    return ["yes" if close else "no" if bounded else None for close in near.tolist()]


def receptor_facts(scenario: Scenario) -> list[tuple[tuple[str, str | None], ...]]:
    """Return the facts of every receptor, hashable, without what is its own alone (id and name)."""
    near = _near_site(scenario)
    return [tuple(sorted((key, value) for key, value in {**facts, "site_within_150_m": close}.items()
                         if key not in ("id", "name")))
            for facts, close in zip(scenario.every_fact(), near, strict=True)]


def classed(limit_set: LimitSet, facts: Sequence[tuple[tuple[str, str | None], ...]]) -> Classed:
    """Return every receptor's class under a set; receptors with the same facts are classed once."""
    answers: dict[tuple[tuple[str, str | None], ...], tuple[str, int, str]] = {}
    for key in set(facts):
        answer = limit_set.classify(dict(key))
        if isinstance(answer, Missing):
            answers[key] = ("", MISSING, f"the set needs {answer.fact}: {answer.why}")
        elif isinstance(answer, NotGoverned):
            answers[key] = ("", NOT_GOVERNED, answer.reason)
        else:
            answers[key] = (str(answer), JUDGED, "")
    rows = [answers[key] for key in facts]
    return Classed(np.array([row[0] for row in rows], dtype=object), np.array([row[1] for row in rows], dtype=np.int64),
                   np.array([row[2] for row in rows], dtype=object))


@dataclass(frozen=True, slots=True, eq=False)
class Applied:
    """The limit of every receptor (R): value (NaN where none), basis rank, status and text as in `Classed`, notes."""

    value: Floats
    basis: NDArray[np.int64]
    status: NDArray[np.int64]
    text: NDArray[np.object_]
    note: NDArray[np.object_]


def apply(classes: Classed, keys: Sequence[object],
          ask: Callable[[str, int], LimitValue | Missing | NotGoverned]) -> Applied:
    """Ask a rule for the limit of every judged receptor.

    `keys`: per receptor, what beside the class decides the limit (its baseline, say); `ask(class_id, row)` is called
    once for each distinct pair.
    """
    rows = len(classes.class_id)
    value = np.full(rows, np.nan)
    basis = np.zeros(rows, dtype=np.int64)
    status, text = classes.status.copy(), classes.text.copy()
    note = np.full(rows, "", dtype=object)
    answers: dict[tuple[object, object], LimitValue | Missing | NotGoverned] = {}
    for row in np.flatnonzero(classes.status == JUDGED).tolist():
        key = (classes.class_id[row], keys[row])
        if key not in answers:
            answers[key] = ask(str(classes.class_id[row]), row)
        answer = answers[key]
        if isinstance(answer, LimitValue):
            value[row], basis[row], note[row] = answer.value, BASES.index(answer.basis), answer.note
        elif isinstance(answer, NotGoverned):
            status[row], text[row] = NOT_GOVERNED, answer.reason
        else:
            status[row], text[row] = MISSING, f"the rule needs {answer.fact}: {answer.why}"
    return Applied(value, basis, status, text, note)


def rank(basis: Basis) -> int:
    """Return the rank of a basis: the higher, the weaker."""
    return BASES.index(basis)
