"""What a scenario says of the works that can't be: plant, reductions and possessions that don't fit."""

from __future__ import annotations

from typing import TYPE_CHECKING

from envpredict.core.errors import Problem
from envpredict.engine.works import reductions
from envpredict.engine.works.site import common_time, possession_windows
from envpredict.engine.works.stated_plant import plant_problems

if TYPE_CHECKING:
    from collections.abc import Sequence

    from envpredict.engine.catalogue import Catalogue
    from envpredict.scenario.types import MethodEntry, ReductionEntry, Scenario


def reduction_problems(where: str, entry: ReductionEntry, candidates: Sequence[MethodEntry],
                       catalogue: Catalogue) -> list[Problem]:
    """Return what is wrong with a reduction that is adopted for some candidates."""
    meant = [one for one in candidates if not entry.methods or one.id in entry.methods]
    found: list[Problem] = []
    for candidate in meant[:1]:
        one = reductions.adopted(candidate, [entry], catalogue.reductions)[0]
        found += reductions.problems(where, one, meant, catalogue.methods)
        fitting = [one for one in meant if reductions.fits(catalogue.reductions[entry.id], one, catalogue.methods)]
        if not fitting:
            named = ", ".join(f"'{one.id}'" for one in meant)
            found.append(Problem(where, f"'{entry.id}' can't be used with {named}: it would change nothing",
                                 "take it out, or name other candidates in `methods`"))
    return found


def works_problems(scenario: Scenario, catalogue: Catalogue) -> list[Problem]:
    """Return every problem of the works: of stated plant, of reductions, of possessions."""
    found: list[Problem] = []
    for entry in scenario.methods:
        where = f"scenario.toml, method '{entry.id}'"
        found += plant_problems(where, catalogue.methods[entry.method], entry.overrides.get("plant") or (),
                                catalogue.plant)
    for number, adopted in enumerate(scenario.reductions, 1):
        found += reduction_problems(f"scenario.toml, reductions[{number}]", adopted, scenario.methods, catalogue)
    ids = scenario.piles["id"].to_numpy()
    for pile, windows in enumerate(possession_windows(scenario)):
        if windows and common_time(windows) is None:
            found.append(Problem("constraints", f"pile '{ids[pile]}' stands in possessions that share no time",
                                 "let them share hours, or draw them apart"))
            break
    return found
