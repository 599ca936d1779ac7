"""Reads a site law's file and holds it against the catalogue and the scenario: every fault by its key."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from pydantic import ValidationError

from envpredict.core.errors import InputProblems, Problem
from envpredict.core.words import suggestion
from envpredict.engine.learned.site_law import LawPrior, SiteFile, SiteLaw

if TYPE_CHECKING:
    from envpredict.engine.catalogue import Catalogue
    from envpredict.methods.fields import LawUse
    from envpredict.scenario.types import Scenario

AGAIN = "fit the records again"
TOLERANCE = 1e-6


def read_site_law(path: Path) -> SiteFile:
    """Return a site law. Raises InputProblems with every fault of the file, each with its key."""
    name = path.name
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except UnicodeDecodeError:
        raise _refused(name, "the file isn't UTF-8 text", "save it as UTF-8") from None
    except tomllib.TOMLDecodeError as error:
        raise _refused(name, f"not valid TOML: {error}", "mend the syntax at that line") from None
    except OSError as error:
        raise _refused(name, f"the file can't be read: {error.strerror}", "check the path in [site_law] file") from None
    try:
        return SiteFile.model_validate(content)
    except ValidationError as error:
        raise InputProblems([_problem(name, dict(fault)) for fault in error.errors()], name) from None


def _refused(name: str, what: str, hint: str) -> InputProblems:
    return InputProblems([Problem(name, what, hint)], name)


def _problem(name: str, fault: dict[str, Any]) -> Problem:
    """Return one of the validator's findings in plain words; entries of lists are counted from 1."""
    key = "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in fault["loc"]).lstrip(".")
    what = str(fault["msg"]).removeprefix("Value error, ")
    what = what[:1].lower() + what[1:]
    hint = f"{AGAIN}: `envpredict fit` writes the file whole"
    if fault["type"] == "missing":
        what = "is missing"
    elif fault["type"] == "extra_forbidden":
        what = "isn't a key of a site law"
    return Problem(f"{name}, key '{key}'" if key else name, what, hint)


def site_law_of(scenario: Scenario) -> SiteFile | None:
    """Return the site law that a scenario names, or None. Raises InputProblems for faults of its file."""
    return None if scenario.site_law is None else read_site_law(scenario.site_law)


def proved_hard(scenario: Scenario) -> NDArray[np.bool_]:
    """Return (P) at which of the scenario's piles press records show harder ground than the borehole."""
    ids = scenario.piles["id"].astype(str).to_numpy()
    site = site_law_of(scenario)
    named = [] if site is None else [pile for one in site.harder_ground for pile in one.piles]
    return np.asarray(np.isin(ids, named), dtype=bool)


def law_of(law: SiteLaw, laws: tuple[LawUse, ...]) -> LawUse | None:
    """Return the law among a method's that a site law has updated, or None."""
    return next((one for one in laws if one.model == law.model and one.phase == law.phase and one.stage == law.stage
                 and dict(one.parameters) == law.prior.parameters), None)


def site_law_faults(scenario: Scenario, catalogue: Catalogue) -> list[Problem]:
    """Return everything that is wrong with the site law that a scenario names; nothing where it names none."""
    if scenario.site_law is None:
        return []
    try:
        site = read_site_law(scenario.site_law)
    except InputProblems as error:
        return list(error.problems)
    return site_law_problems(site, scenario, catalogue, scenario.site_law.name)


def file_faults(folder: Path) -> list[Problem]:
    """Return the faults of the site law's file alone, where the rest of the scenario can't be read."""
    try:
        named = tomllib.loads((folder / "scenario.toml").read_text(encoding="utf-8")).get("site_law")
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError):
        return []
    name = named.get("file") if isinstance(named, dict) else None
    if not isinstance(name, str) or not (folder / name).is_file():
        return []
    try:
        read_site_law(folder / name)
    except InputProblems as error:
        return list(error.problems)
    return []


def site_law_problems(site: SiteFile, scenario: Scenario, catalogue: Catalogue, name: str) -> list[Problem]:
    """Return what in a site law doesn't fit the catalogue or the scenario."""
    found: list[Problem] = []
    used = {entry.method for entry in scenario.methods}
    for number, law in enumerate(site.vibration, 1):
        where = f"{name}, key 'vibration[{number}]'"
        found += _law_problems(where, law, scenario, catalogue)
    for number, item in enumerate(site.plant, 1):
        where = f"{name}, key 'plant[{number}].plant'"
        if item.plant not in catalogue.plant:
            found.append(Problem(where, f"unknown plant '{item.plant}'", suggestion(item.plant, catalogue.plant)))
    piles = set(scenario.piles["id"].astype(str))
    for number, one in enumerate(site.harder_ground, 1):
        strange = sorted(set(one.piles) - piles)
        if strange:
            found.append(Problem(f"{name}, key 'harder_ground[{number}].piles'",
                                 f"no such pile in the scenario: {', '.join(strange[:8])}",
                                 suggestion(strange[0], piles)))
    if site.vibration and not used & {law.method for law in site.vibration} and not site.plant:
        found.append(Problem(f"{name}, key 'vibration'", "speaks of none of the scenario's methods",
                             f"the scenario's: {', '.join(sorted(used))}"))
    return found


def _law_problems(where: str, law: SiteLaw, scenario: Scenario, catalogue: Catalogue) -> list[Problem]:
    if law.method not in catalogue.methods:
        return [Problem(f"{where}.method", f"unknown method '{law.method}'",
                        suggestion(law.method, catalogue.methods))]
    if law.model not in catalogue.models:
        return [Problem(f"{where}.model", f"unknown model '{law.model}'", suggestion(law.model, catalogue.models))]
    found: list[Problem] = []
    spec = catalogue.models[law.model]
    use = law_of(law, catalogue.methods[law.method].laws)
    own = "own" in spec.flags
    if use is None and not own:
        found.append(Problem(f"{where}.model", f"'{law.model}' in this form doesn't predict '{law.method}', phase "
                                               f"{law.phase}, any more", AGAIN))
    elif _changed(law.prior, spec.scatter, use):
        found.append(Problem(f"{where}.prior", "the law's scatter or factor isn't what it was when the records were "
                                               "fitted", AGAIN))
    chosen = scenario.choice.get("models") or {}
    for entry in scenario.methods:
        model = entry.overrides.get("model") or chosen.get(entry.id) or chosen.get(entry.method)
        if entry.method == law.method and model is not None and model != law.model:
            found.append(Problem(f"{where}.model",
                                 f"updates '{law.model}', but the scenario chooses '{model}' for '{entry.id}'",
                                 "fit the law that is chosen, or take the choice out"))
    return found


def _changed(prior: LawPrior, scatter: Any, use: LawUse | None) -> bool:
    if scatter is None:
        return True
    pairs = [(prior.between_site, scatter.between_site), (prior.within_site, scatter.within_site)]
    pairs += [(prior.factor, use.factor)] if use is not None else []
    return any(abs(one - other) > TOLERANCE for one, other in pairs)
