"""A user's own laws: a generic form with constants, declared as fully as a published one.

An entry names its `form` (a model flagged `generic`), its `constants`, where they come from (`source`: document,
place, basis, year), and may state `title`, `quantity`, `statistic` ("median" or "upper_bound" with `bound_z`),
`distance` ("plan" or "slope"), `phase`, `range` (input = [low, high]) and `scatter` (`total`, or `between_site` and
`within_site`).
"""

from __future__ import annotations

import inspect
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import Any, Literal, TypeVar, get_args

from envpredict.core.citation import BASES, Citation
from envpredict.core.errors import InputProblems, Problem
from envpredict.core.quantities import QUANTITIES
from envpredict.core.ranges import Range
from envpredict.core.registry import Registry
from envpredict.core.vocabulary import INPUTS
from envpredict.core.words import suggestion
from envpredict.models.spec import PHASES, ModelSpec, Scatter, load_models

KEYS = ("form", "constants", "source", "title", "quantity", "statistic", "bound_z", "distance", "phase", "range",
        "scatter")
SUPPLIED = ("distance_m", "energy_j", "frequency_hz", "depth_m")
"""Inputs that a run supplies: every other argument of a form is a constant of the law."""
UNSTATED = "the law states no range"
OwnStatistic = Literal["median", "upper_bound"]
OwnDistance = Literal["plan", "slope"]
Word = TypeVar("Word", bound=str)


class _Entry:
    """One law as the user wrote it, and the problems found in it."""

    def __init__(self, id: str, entry: Mapping[str, Any], where: str) -> None:
        self.id = id
        self.entry = entry
        self.where = where
        self.problems: list[Problem] = []

    def wrong(self, key: str, what: str, hint: str = "") -> None:
        place = f"{self.where}, law '{self.id}'" + (f", {key}" if key else "")
        self.problems.append(Problem(place, what, hint))

    def table(self, key: str) -> Mapping[str, Any]:
        value = self.entry.get(key, {})
        if isinstance(value, Mapping):
            return value
        self.wrong(key, f"must be a table, not {value!r}", f"write {key} = {{ ... }}")
        return {}

    def word(self, key: str, known: Iterable[Word], default: Word) -> Word:
        value = self.entry.get(key, default)
        names: dict[str, Word] = {str(word): word for word in known}
        if str(value) in names:
            return names[str(value)]
        self.wrong(key, f"unknown word '{value}'", suggestion(str(value), names))
        return default

    def number(self, key: str, value: Any, *, least: float = 0.0) -> float:
        if not _is_number(value) or value < least:
            self.wrong(key, f"must be a number of {least:g} or more, not {value!r}")
            return least
        return float(value)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _forms() -> dict[str, ModelSpec]:
    return {name: spec for name, spec in load_models().items() if "generic" in spec.flags}


def _constants(entry: _Entry, form: ModelSpec) -> dict[str, Any]:
    """Return the constants as given; a missing or unknown one and one that the form refuses is a problem."""
    given = dict(entry.table("constants"))
    found = len(entry.problems)
    if not isinstance(entry.entry.get("constants", {}), Mapping):
        return given
    takes = [name for name in form.inputs if name not in SUPPLIED]
    for name, value in given.items():
        if name not in takes:
            entry.wrong(f"constants.{name}", f"isn't a constant of '{form.id}'", suggestion(name, takes))
        elif name in INPUTS and not _is_number(value):
            entry.wrong(f"constants.{name}", f"must be a number, not {value!r}")
    for name in takes:
        if name not in given and name not in form.defaults and name not in form.options:
            entry.wrong(f"constants.{name}", "is missing", f"{INPUTS[name].meaning}, {INPUTS[name].unit}")
    if len(entry.problems) == found:
        left: dict[str, Any] = {name: 10.0 for name in form.inputs if name in SUPPLIED}
        left |= {name: form.options[name][0] for name in takes if name not in given and name in form.options}
        try:
            form(**left, **given)
        except ValueError as refused:
            entry.wrong("constants", str(refused))
    return given


def _ranges(entry: _Entry, inputs: Iterable[str]) -> dict[str, Range]:
    ranges = {name: Range.unstated(UNSTATED) for name in inputs}
    for name, ends in entry.table("range").items():
        if name not in INPUTS:
            entry.wrong(f"range.{name}", "isn't an input of a law", suggestion(name, [*ranges, "depth_m"]))
            continue
        if not isinstance(ends, list) or len(ends) != 2 or not all(map(_is_number, ends)) or not ends[0] < ends[1]:
            entry.wrong(f"range.{name}", f"must be [low, high] with low below high, not {ends!r}")
            continue
        ranges[name] = Range(float(ends[0]), float(ends[1]), "stated with the law")
    return ranges


def _source(entry: _Entry) -> Citation:
    given = entry.table("source")
    for key in ("document", "place"):
        if not str(given.get(key, "")).strip():
            entry.wrong(f"source.{key}", "is missing", "say where the constants come from")
    basis = given.get("basis")
    if basis not in BASES:
        entry.wrong("source.basis", f"must say how it is known, not {basis!r}", f"one of {', '.join(BASES)}")
    year = given.get("year")
    if year is not None and (isinstance(year, bool) or not isinstance(year, int)):
        entry.wrong("source.year", f"must be a whole number, not {year!r}")
    if entry.problems:
        return Citation("unknown", None, "unknown", "estimate")
    return Citation(str(given["document"]), year, str(given["place"]), given["basis"], note=str(given.get("note", "")))


def _scatter(entry: _Entry, form: ModelSpec, source: Citation, statistic: OwnStatistic) -> Scatter | None:
    given = entry.table("scatter")
    bound_z: float | None = None
    if statistic == "upper_bound":
        if "bound_z" not in entry.entry:
            entry.wrong("bound_z", "is missing", "standard deviations between median and bound, 1.645 for a 5 % line")
        bound_z = entry.number("bound_z", entry.entry.get("bound_z", 0.0))
    if not given:
        return None if form.scatter is None else replace(form.scatter, bound_z=bound_z)
    if set(given) == {"total"}:
        return Scatter.from_total(entry.number("scatter.total", given["total"]), source, bound_z=bound_z)
    if set(given) == {"between_site", "within_site"}:
        return Scatter(entry.number("scatter.between_site", given["between_site"]),
                       entry.number("scatter.within_site", given["within_site"]), source, bound_z)
    entry.wrong("scatter", f"holds {', '.join(sorted(given))}", "give total, or between_site and within_site (log10)")
    return None


def _fixed(function: Callable[..., Any], constants: Mapping[str, Any]) -> Callable[..., Any]:
    """Return the form with its constants fixed; they are no inputs any more."""
    signature = inspect.signature(function)

    def law(*args: Any, **kwargs: Any) -> Any:
        return function(*args, **kwargs, **constants)

    left = [parameter for name, parameter in signature.parameters.items() if name not in constants]
    law.__signature__ = signature.replace(parameters=left)  # type: ignore[attr-defined]
    law.__doc__ = function.__doc__
    return law


def _law(entry: _Entry) -> ModelSpec | None:
    forms = _forms()
    for key in entry.entry:
        if key not in KEYS:
            entry.wrong(key, "isn't a key of a law", suggestion(key, KEYS))
    if entry.entry.get("form") not in forms:
        named = entry.entry.get("form")
        entry.wrong("form", "is missing" if named is None else f"unknown form '{named}'", suggestion(str(named), forms))
        return None
    form = forms[entry.entry["form"]]
    constants = _constants(entry, form)
    quantities = [name for name, one in QUANTITIES.items() if one.effect == "vibration" and one.unit == "mm/s"]
    quantity = entry.word("quantity", quantities, form.quantity)
    statistic: OwnStatistic = entry.word("statistic", get_args(OwnStatistic), "median")
    distance: OwnDistance = entry.word("distance", get_args(OwnDistance), "plan")
    phase = entry.word("phase", PHASES, "all")
    left = [name for name in form.inputs if name not in constants and name not in form.options]
    validity = _ranges(entry, left)
    source = _source(entry)
    scatter = _scatter(entry, form, source, statistic)
    if entry.problems:
        return None
    options = {name: words for name, words in form.options.items() if name not in constants}
    return replace(form, id=entry.id, title=str(entry.entry.get("title", f"Own law {entry.id}: {form.title}")),
                   function=_fixed(form.function, constants), quantity=quantity, statistic=statistic, distance=distance,
                   phase=phase, validity=validity, source=source, sources=(), scatter=scatter, options=options,
                   flags=frozenset({"own"}), derived=())


def own_laws(entries: Mapping[str, Any], where: str = "own_laws.toml") -> Registry[ModelSpec]:
    """Return a user's laws as models, by id.

    `entries`: id to table, as read from the file `where`. Raises InputProblems with every problem of every law: unknown
    form or word, missing, unknown or impossible constant, range, scatter or source, an id that a published law has.
    """
    problems: list[Problem] = []
    laws: Registry[ModelSpec] = Registry("own law")
    for id, table in entries.items():
        entry = _Entry(id, table if isinstance(table, Mapping) else {}, where)
        if not isinstance(table, Mapping):
            entry.wrong("", f"must be a table, not {table!r}", f"write [laws.{id}]")
        elif id in load_models():
            entry.wrong("", "has the id of a published law", "choose another id")
        law = _law(entry) if isinstance(table, Mapping) else None
        problems += entry.problems
        if law is not None and not entry.problems:
            laws.add(id, law)
    if problems:
        raise InputProblems(problems, where)
    return laws
