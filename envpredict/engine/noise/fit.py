"""What a scenario says of noise that can't be: screens that aren't there, choices without a use, overlapping plant."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

import numpy as np

from envpredict.core.errors import Problem
from envpredict.core.words import suggestion
from envpredict.engine.works.stated_plant import with_stated

if TYPE_CHECKING:
    from collections.abc import Sequence

    from envpredict.engine.catalogue import Catalogue
    from envpredict.methods.fields import PlantUse
    from envpredict.methods.schema import Method, Plant
    from envpredict.scenario.types import Scenario

OCTAVE_ALONE = ("c0_db", "reflections")
"""Choices that only the octave method takes up."""


def noise_problems(scenario: Scenario, catalogue: Catalogue) -> list[Problem]:
    """Return every problem of screens, choices and working times that only show together."""
    found = [*_screens(scenario), *_choices(scenario)]
    for entry in scenario.methods:
        stated = entry.overrides.get("plant") or ()
        method = catalogue.methods[entry.method]
        found += _twice(entry.id, stated)
        if all(str(one["id"]) in catalogue.plant for one in stated):
            listed = [(use, catalogue.plant[use.plant]) for use in method.plant]
            found += _overlaps(entry.id, method, with_stated(entry.id, method, listed, stated, catalogue.plant))
    return found


def _screens(scenario: Scenario) -> list[Problem]:
    """Return the reductions whose screen isn't a line of the obstacles' layer."""
    found = []
    for number, entry in enumerate(scenario.reductions, 1):
        where, name = f"scenario.toml, key 'reductions[{number}].screen'", entry.overrides.get("screen")
        height = entry.overrides.get("height_m")
        if name is None:
            if height is not None:
                found.append(Problem(f"scenario.toml, key 'reductions[{number}].height_m'",
                                     "a height is stated, but no screen that has it",
                                     "name the screen's line in the obstacles' layer: screen = \"...\""))
            continue
        if scenario.obstacles is None:
            found.append(Problem(where, f"screen '{name}' is named, but there is no layer of obstacles",
                                 "draw it as a line in a layer and name that layer as obstacles under [layers]"))
            continue
        known = scenario.obstacles["id"].astype(str)
        here = np.flatnonzero(known == str(name))
        if not here.size:
            found.append(Problem(where, f"unknown screen '{name}'", suggestion(str(name), known.tolist())))
        elif "Line" not in scenario.obstacles.geometry.iloc[int(here[0])].geom_type:
            found.append(Problem(where, f"'{name}' is a building, not a screen", "name an obstacle drawn as a line"))
    return found


def _choices(scenario: Scenario) -> list[Problem]:
    """Return the choices that the chosen method of noise doesn't take up."""
    method = scenario.choice.get("noise", "octave")
    if method == "octave":
        return []
    return [Problem(f"scenario.toml, key 'choice.{key}'", f"the method '{method}' doesn't use it",
                    "take it out, or choose noise = \"octave\"")
            for key in OCTAVE_ALONE if scenario.choice.get(key) is not None]


def _twice(candidate: str, stated: Any) -> list[Problem]:
    """Return the items of plant that a candidate's tables name more than once."""
    names = Counter(str(one["id"]) for one in stated)
    return [Problem(f"scenario.toml, method '{candidate}', plant '{name}'", f"the plant is listed {count} times",
                    "one item can't be in two places: list it once, with count for several at work together")
            for name, count in names.items() if count > 1]


def _overlaps(candidate: str, method: Method, plant: Sequence[tuple[PlantUse, Plant]]) -> list[Problem]:
    """Return the stages in which what sits on the pile's head would work for longer than there is time."""
    stages = {stage.id: stage.time_share for stage in method.stages} or {"drive": 1.0}
    found = []
    for stage, share in stages.items():
        heads = [use for use, item in plant if item.height == "pile_head" and use.stage == stage]
        total = sum(use.on_time_fraction for use in heads)
        if len(heads) > 1 and total > share + 1e-9:
            names = " and ".join(f"'{use.plant}'" for use in heads)
            found.append(Problem(f"scenario.toml, method '{candidate}'",
                                 f"{names} sit on the pile's head for {100 * total:.0f} % of its cycle together, which "
                                 f"leaves them {100 * share:.0f} %", "one rig's uses can't overlap: lower their "
                                 "on_time_fraction, or take one of them out"))
    return found
