"""From the ground beside a receptor to the place where a rule is judged: the step into its building.

Every step is declared: a place without one can't be judged.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import Basis
from envpredict.engine.applied import rank
from envpredict.engine.vibration.steps import BUILDING_PLACES, step_to
from envpredict.engine.works.overrides import STATED
from envpredict.limits.outcome import Missing

if TYPE_CHECKING:
    from envpredict.engine.vibration.steps import Facts
    from envpredict.models.vibration.building_response import Transfer as Step
    from envpredict.scenario.types import Scenario

Floats = NDArray[np.float64]

ON_THE_GROUND = frozenset({"ground", "structure", "boundary", "habitat", "pipe"})
"""Places where the ground's own motion is judged; a pipe is taken to move with the ground."""
STANDS_IN = {"top_floor": "the vertical gain of a floor stands in for the horizontal one of the topmost floor, for "
                          "which no published factor was seen",
             "instrument": "the gain of a house's floor stands in for that of the instrument's floor"}


@dataclass(frozen=True, slots=True, eq=False)
class Transfer:
    """The way from the ground to a place, for receptors (R).

    `shift` (R) is added to log10 of a velocity; `scatter` (R) in log10 units, shared by all piles; `basis` (R) rank;
    `missing` (R) where there's no way and `note` (R) why; `said` (R) what was done.
    """

    shift: Floats
    scatter: Floats
    basis: NDArray[np.int64]
    missing: NDArray[np.bool_]
    note: NDArray[np.object_]
    said: NDArray[np.object_]

    @classmethod
    def nothing(cls, count: int) -> Transfer:
        """Return the way that changes nothing."""
        return cls(np.zeros(count), np.zeros(count), np.zeros(count, dtype=np.int64), np.zeros(count, dtype=bool),
                   np.full(count, "", dtype=object), np.full(count, "", dtype=object))


def step_basis(step: Step, place: str) -> Basis:
    """Return how well a step is known where it stands; a step without gain or scatter takes nothing for granted."""
    if step.factor == 1.0 and step.scatter == 0.0:
        return "read"
    if place in STANDS_IN and step.source != STATED:
        return "estimate"
    return step.source.basis


def step_facts(scenario: Scenario) -> list[Facts]:
    """Return, receptor by receptor, what a step into a building may depend on."""
    table = scenario.receptors
    words = [[str(value or "unknown") for value in table[name].tolist()] for name in ("structure", "foundation")]
    return list(zip(words[0], table["floors"].astype(int).tolist(), words[1], strict=True))


@lru_cache(maxsize=16)
def transfer(scenario: Scenario, place: str) -> Transfer | Missing:
    """Return the way from the ground to a rule's place for every receptor, or what is missing for all of them."""
    if place not in ON_THE_GROUND and place not in BUILDING_PLACES:
        return Missing("place", f"vibration {place.replace('_', ' ')} isn't predicted: judge it by measurement")
    way = Transfer.nothing(len(scenario.receptors))
    if place in ON_THE_GROUND:
        return way
    known: dict[Facts, int] = {}
    kind = np.array([known.setdefault(one, len(known)) for one in step_facts(scenario)], dtype=np.int64)
    for key, number in known.items():
        rows = kind == number
        step = step_to(place, scenario.choice, key)
        if key[1] < 1:
            way.missing[rows] = True
            way.note[rows] = f"the receptor is no building: there is no {place.replace('_', ' ')} to judge"
        elif isinstance(step, Missing):
            way.missing[rows] = True
            way.note[rows] = f"the step into the building needs {step.fact}: {step.why}"
        elif step is not None:
            way.shift[rows], way.scatter[rows] = float(np.log10(step.factor)), step.scatter
            way.basis[rows], way.said[rows] = rank(step_basis(step, place)), said(step, place)
    return way


def said(step: Step, place: str) -> str:
    """Return a step in words: what it is, its gain and its scatter."""
    spread = f", scatter {step.scatter:g} in log10 units" if step.scatter else ""
    stand_in = f"; {STANDS_IN[place]}" if place in STANDS_IN and step.source != STATED else ""
    return f"{step.title}: {step.gain_db:+.0f} dB{spread}{stand_in}"
