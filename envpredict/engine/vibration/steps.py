"""From the ground into a building: which declared step is taken to each place, by default or by the scenario's choice.

Losses at the foundation are never taken by default. A scenario may choose a number that it vouches for, a declared
step by name, or `by_structure`: the losses of the US transit guidance by structure, floors and foundation.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from envpredict.core.errors import Problem
from envpredict.core.words import suggestion
from envpredict.engine.works.overrides import STATED
from envpredict.limits.outcome import Missing

if TYPE_CHECKING:
    from envpredict.models.vibration.building_response import Transfer as Step

Facts = tuple[str, int, str]
"""What a step may depend on: structure, floors, foundation."""

BY_STRUCTURE = "by_structure"
CHOICES = {"ground_to_foundation": ("ground", "foundation"), "foundation_to_floor": ("foundation", "floor"),
           "ground_to_floor": ("ground", "floor")}
"""The keys of [choice] that say how a building responds, with the ends of the steps that they may name."""
FLOORS = frozenset({"floor", "slab", "top_floor", "instrument"})
BUILDING_PLACES = FLOORS | {"foundation"}


def words_of(key: str) -> tuple[str, ...]:
    """Return the words that a key of [choice] may hold instead of a number."""
    from envpredict.models.vibration.building_response import TRANSFERS

    named = tuple(name for name, step in TRANSFERS.items() if (step.start, step.end) == CHOICES[key])
    return (*named, BY_STRUCTURE) if key == "ground_to_foundation" else named


def check_choice(choice: Mapping[str, Any]) -> list[Problem]:
    """Return what is wrong with the steps that a scenario chooses."""
    found = [Problem(f"scenario.toml, key 'choice.{key}'", f"unknown step '{choice[key]}'",
                     f"a number, or {suggestion(choice[key], words_of(key))}")
             for key in CHOICES if isinstance(choice.get(key), str) and choice[key] not in words_of(key)]
    if choice.get("foundation_to_floor") is not None and choice.get("ground_to_floor") is not None:
        found.append(Problem("scenario.toml, key 'choice.ground_to_floor'", "is chosen beside foundation_to_floor",
                             "keep one of them: both lead to the floor"))
    return found


def step_to(place: str, choice: Mapping[str, Any], facts: Facts) -> Step | Missing | None:
    """Return the step from the ground to a place in a building, None on the ground, or what is missing to tell it."""
    if place not in BUILDING_PLACES:
        return None
    first = _chosen("ground_to_foundation", "as_ground", choice, facts)
    if place == "foundation":
        return first
    if choice.get("foundation_to_floor") is None:
        return _chosen("ground_to_floor", "light_house_floor", choice, facts)
    last = _chosen("foundation_to_floor", "as_foundation", choice, facts)
    if isinstance(first, Missing) or isinstance(last, Missing):
        return first if isinstance(first, Missing) else last
    return replace(last, id=f"{first.id}+{last.id}", title=f"{first.title}, then {last.title}", start="ground",
                   factor=first.factor * last.factor, scatter=math.hypot(first.scatter, last.scatter),
                   source=max(first.source, last.source, key=lambda source: _RANK[source.basis]))


_RANK = {"read": 0, "memory": 1, "practice": 2, "estimate": 3}


def _chosen(key: str, default: str, choice: Mapping[str, Any], facts: Facts) -> Step | Missing:
    """Return the step that the scenario chooses under a key, or the default where it leaves the key out.

    A number takes the place of the declared factor and keeps the scatter of such steps.
    """
    from envpredict.models.vibration.building_response import FLOOR_SD, FOUNDATION_SD, TRANSFERS

    stated = choice.get(key, default)
    if stated == BY_STRUCTURE:
        name = foundation_loss(facts)
        return name if isinstance(name, Missing) else TRANSFERS[name]
    if isinstance(stated, str):
        return TRANSFERS[stated]
    start, end = CHOICES[key]
    spread, like = (FOUNDATION_SD, "as_ground") if end == "foundation" else (FLOOR_SD, "light_house_floor")
    return replace(TRANSFERS[like], id="stated", start=start, end=end, factor=float(stated), scatter=spread,
                   source=STATED, title=f"factor {stated:g} from the {start}, stated by the scenario")


def foundation_loss(facts: Facts) -> str | Missing:
    """Return the step of the US transit guidance for a building: by structure, floors and foundation."""
    structure, floors, foundation = facts
    if structure == "timber":
        return "wood_frame_house"
    if structure in ("masonry", "historic") and floors <= 4:
        return "masonry_1_2_storeys" if floors <= 2 else "masonry_3_4_storeys"
    if structure in ("masonry", "historic", "concrete", "steel"):
        if foundation in ("shaft_bearing_piles", "toe_bearing_piles"):
            return "large_masonry_on_piles"
        if foundation == "spread":
            return "large_masonry_on_footings"
        return Missing("foundation", "what the building stands on: the loss at the foundation depends on it")
    return Missing("structure", "what the structure is made of: the loss at the foundation depends on it")
