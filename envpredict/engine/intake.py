"""Reading a scenario: everything that can be wrong with it, and with what it brings, in one pass."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from envpredict.core.errors import InputProblems, Problem, ScenarioProblems
from envpredict.core.words import suggestion
from envpredict.engine.catalogue import Catalogue, load_catalogue
from envpredict.engine.confirmed import check_confirmations
from envpredict.engine.learned.read import file_faults, site_law_faults
from envpredict.engine.noise.fit import noise_problems
from envpredict.engine.own_laws import own_ids
from envpredict.engine.vibration.steps import check_choice
from envpredict.engine.works.fit import works_problems

if TYPE_CHECKING:
    from envpredict.limits.schema import LimitSet
    from envpredict.scenario.types import Known, Scenario


def _needs_holidays(limit_set: LimitSet) -> bool:
    """Tell whether a set treats holidays unlike the weekday that they fall on: it can't be judged without them."""
    return any(any(("holiday" in period.days) != (day in period.days) for day in ("mon", "tue", "wed", "thu", "fri"))
               for rule in limit_set.rules for period in rule.periods)


def laws_of(catalogue: Catalogue) -> dict[str, frozenset[str]]:
    """Return the models by which each method may be predicted: its own list, and every law that the user brings."""
    brought = own_ids(catalogue.models)
    return {name: brought.union(law.model for law in method.laws) for name, method in catalogue.methods.items()}


def known_words(catalogue: Catalogue) -> Known:
    """Return the words that a scenario may use."""
    from envpredict.engine.sound.run_sound import NOISE_METHODS
    from envpredict.ground.spt import read_spt
    from envpredict.limits.facts import FACTS
    from envpredict.methods.fields import GROUND_CLASSES
    from envpredict.models.noise.weighting import a_weighted_level
    from envpredict.scenario.types import Known

    sets = catalogue.limit_sets
    return Known(
        methods=frozenset(catalogue.methods), limit_sets=frozenset(sets), pile_types=frozenset(catalogue.pile_types),
        models=frozenset(catalogue.models), reductions=frozenset(catalogue.reductions),
        plant=frozenset(catalogue.plant), ground_classes=frozenset(GROUND_CLASSES),
        noise_methods=frozenset(NOISE_METHODS),
        limit_effects={name: frozenset(limit_set.effects) for name, limit_set in sets.items()},
        need_holidays=frozenset(name for name, limit_set in sets.items() if _needs_holidays(limit_set)),
        facts=frozenset(FACTS), fact_words={name: tuple(fact.words) for name, fact in FACTS.items() if fact.words},
        laws=laws_of(catalogue),
        read_spt=read_spt, a_weighted_sum=lambda octaves: float(a_weighted_level(octaves)),
    )


def _unfitting(scenario: Scenario, catalogue: Catalogue) -> list[Problem]:
    """Return what a scenario states that doesn't fit the catalogue's entries."""
    found: list[Problem] = []
    models, laws = scenario.choice.get("models") or {}, laws_of(catalogue)
    piles = scenario.piles
    for entry in scenario.methods:
        method, where = catalogue.methods[entry.method], f"scenario.toml, method '{entry.id}'"
        mine = piles[piles["section"].isin(entry.sections)] if entry.sections else piles
        forms = {catalogue.pile_types[name].form for name in mine["pile_type"].unique()}
        energy = entry.overrides.get("energy_kj")
        if energy is not None and method.energy is None:
            found.append(Problem(where, "energy_kj is stated, but the method has no energy per blow or cycle",
                                 "leave energy_kj out"))
        chosen = models.get(entry.id) or models.get(entry.method)
        if chosen is not None and chosen not in laws[entry.method]:
            found.append(Problem(f"scenario.toml, key 'choice.models.{entry.id}'",
                                 f"'{chosen}' doesn't predict '{entry.method}'",
                                 suggestion(chosen, laws[entry.method])))
        unfit = sorted(forms - set(method.forms))
        if unfit and not method.cast_in_place:
            found.append(Problem(where, f"the method can't install these forms of pile: {', '.join(unfit)}",
                                 f"it installs: {', '.join(method.forms)}; give it `sections` of other piles or leave "
                                 "it out"))
    return [*found, *works_problems(scenario, catalogue)]


def read_scenario(folder: str | Path) -> Scenario:
    """Read a scenario folder. Raises ScenarioProblems with every problem of the folder and of the files it brings."""
    from envpredict.scenario.load import load_scenario, own_files

    path = Path(folder)
    problems: list[Problem] = []
    own = own_files(path)
    try:
        catalogue = load_catalogue(own)
    except InputProblems as error:
        problems += error.problems
        catalogue = load_catalogue()
    try:
        scenario = load_scenario(path, known_words(catalogue))
    except ScenarioProblems as error:
        raise ScenarioProblems([*problems, *error.problems, *file_faults(path)], error.subject) from None
    problems += [*_unfitting(scenario, catalogue), *site_law_faults(scenario, catalogue),
                 *check_confirmations(scenario, catalogue), *check_choice(scenario.choice),
                 *noise_problems(scenario, catalogue)]
    if problems:
        raise ScenarioProblems(problems, f"scenario {path.name}")
    return scenario
