"""Read the catalogue: one TOML file per entry, found by its folder; users' files may be added."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import fields
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar, cast

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from envpredict.core.citation import Citation
from envpredict.core.errors import InputProblems, Problem
from envpredict.core.registry import Registry
from envpredict.core.words import suggestion
from envpredict.methods.schema import (
    CheckTable,
    CounterCase,
    HandbookTable,
    Method,
    MovementFlag,
    PileType,
    Plant,
    Reduction,
    Spectrum,
)

DATA = Path(__file__).parent / "data"
Kind = TypeVar("Kind", bound=BaseModel)
_CITATION_KEYS = {field.name for field in fields(Citation)}


def _files(folder: Path, extra: Sequence[Path]) -> Iterator[Path]:
    yield from sorted(folder.glob("*.toml"))
    for path in extra:
        yield from sorted(path.glob("*.toml")) if path.is_dir() else (path,)


def _citations(table: Any, where: str, problems: list[Problem]) -> dict[str, Citation]:
    """Read the `[citations]` table of a file: name to document, year, place, basis."""
    found: dict[str, Citation] = {}
    if not isinstance(table, dict):
        problems.append(Problem(f"{where}: citations", "isn't a table", "give [citations.<name>] tables"))
        return found
    for name, content in table.items():
        place = f"{where}: citations.{name}"
        unknown = sorted(set(content) - _CITATION_KEYS) if isinstance(content, dict) else ["(no table)"]
        if unknown:
            problems.append(Problem(place, f"unknown key '{unknown[0]}'", suggestion(unknown[0], _CITATION_KEYS)))
            continue
        try:
            found[name] = Citation(**{"year": None, **content})
        except (TypeError, ValueError) as error:
            problems.append(Problem(place, str(error), "give document, year, place and basis"))
    return found


def _resolve(value: Any, citations: dict[str, Citation], where: str, problems: list[Problem]) -> Any:
    """Put the citation in the place of its name, at every depth."""
    if isinstance(value, list):
        return [_resolve(part, citations, f"{where}[{n}]", problems) for n, part in enumerate(value, 1)]
    if not isinstance(value, dict):
        return value
    resolved: dict[str, Any] = {}
    for key, part in value.items():
        if (key == "citation" or key.endswith("_citation")) and isinstance(part, str):
            if part not in citations:
                problems.append(Problem(f"{where}.{key}", f"no citation '{part}' in this file",
                                        suggestion(part, citations)))
            resolved[key] = citations.get(part)
        else:
            resolved[key] = _resolve(part, citations, f"{where}.{key}", problems)
    return resolved


def _spectrum_of(content: dict[str, Any], where: str, problems: list[Problem]) -> None:
    """Turn `spectrum = "<id>"` of an item of plant into octaves that sum to its `lwa_db`."""
    name = content.pop("spectrum", None)
    if name is None:
        return
    if "octaves_db" in content:
        problems.append(Problem(where, "both `spectrum` and `octaves_db` are given", "keep one of them"))
        return
    spectra = load_spectra()
    if name not in spectra:
        problems.append(Problem(f"{where}: spectrum", f"unknown spectrum '{name}'", suggestion(str(name), spectra)))
        return
    if isinstance(content.get("lwa_db"), int | float):
        content["octaves_db"] = list(spectra[name].at(float(content["lwa_db"])))
    content["spectrum_citation"] = spectra[name].citation


def _read(path: Path, kind: type[Kind], problems: list[Problem]) -> Kind | None:
    """Read one file, or note what's wrong with it."""
    where = path.name
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        problems.append(Problem(str(path), f"can't be read: {error}", "check the path"))
        return None
    except tomllib.TOMLDecodeError as error:
        problems.append(Problem(where, f"isn't valid TOML: {error}", "mend the line that is named"))
        return None
    before = len(problems)
    citations = _citations(content.pop("citations", {}), where, problems)
    content = cast("dict[str, Any]", _resolve(content, citations, where, problems))
    if kind is Plant:
        _spectrum_of(content, where, problems)
    if len(problems) > before:
        return None
    try:
        return kind.model_validate(content)
    except ValidationError as error:
        problems.extend(_problem(where, fault, kind) for fault in error.errors())
        return None


def _problem(where: str, fault: ErrorDetails, kind: type[BaseModel]) -> Problem:
    """Turn one fault of the schema into a problem; items of a list are counted from 1."""
    place = "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in fault["loc"]).lstrip(".")
    what = fault["msg"].removeprefix("Value error, ")
    hint = "compare it with the shipped entries of its kind"
    if fault["type"] == "missing":
        what = "is missing"
    elif fault["type"] == "extra_forbidden":
        what = "is a key that isn't known"
        hint = suggestion(str(fault["loc"][-1]), kind.model_fields) if len(fault["loc"]) == 1 else hint
    return Problem(f"{where}: {place}" if place else where, what, hint)


def _load(kind: type[Kind], name: str, folder: str, extra: Sequence[Path]) -> Registry[Kind]:
    problems: list[Problem] = []
    registry: Registry[Kind] = Registry(name)
    for path in _files(DATA / folder, extra):
        entry = _read(path, kind, problems)
        if entry is None:
            continue
        id_ = cast("Any", entry).id
        if id_ in registry:
            problems.append(Problem(f"{path.name}: id", f"{name} '{id_}' is declared twice", "choose another id"))
        else:
            registry.add(id_, entry)
    if problems:
        raise InputProblems(problems, f"the catalogue ({folder})")
    return registry


@lru_cache(maxsize=16)
def _cached(kind: type[Kind], name: str, folder: str, extra: tuple[Path, ...]) -> Registry[Kind]:
    return _load(kind, name, folder, extra)


def load_spectra() -> Registry[Spectrum]:
    """Return the shapes of spectra. Raises InputProblems with everything that is wrong."""
    return _cached(Spectrum, "spectrum", "spectra", ())


def load_methods(extra: Sequence[Path] = ()) -> Registry[Method]:
    """Return the installation methods, with those of users' files or folders. Raises InputProblems."""
    return _cached(Method, "method", "methods", tuple(extra))


def load_plant(extra: Sequence[Path] = ()) -> Registry[Plant]:
    """Return the items of plant, with those of users' files or folders. Raises InputProblems."""
    return _cached(Plant, "plant", "plant", tuple(extra))


def load_reductions(extra: Sequence[Path] = ()) -> Registry[Reduction]:
    """Return the reductions, with those of users' files or folders. Raises InputProblems."""
    return _cached(Reduction, "reduction", "reductions", tuple(extra))


def load_pile_types(extra: Sequence[Path] = ()) -> Registry[PileType]:
    """Return the types of pile, with those of users' files or folders. Raises InputProblems."""
    return _cached(PileType, "pile type", "pile_types", tuple(extra))


def load_movement_flags(extra: Sequence[Path] = ()) -> Registry[MovementFlag]:
    """Return the flags of ground movement, with those of users' files or folders. Raises InputProblems."""
    return _cached(MovementFlag, "ground-movement flag", "movement", tuple(extra))


def load_handbook() -> Registry[HandbookTable]:
    """Return the handbook tables of method against strength. Raises InputProblems."""
    return _cached(HandbookTable, "handbook table", "handbook", ())


def load_counter_cases() -> Registry[CounterCase]:
    """Return the published jobs that contradict the tables. Raises InputProblems."""
    return _cached(CounterCase, "counter-case", "counter_cases", ())


def load_check_tables() -> Registry[CheckTable]:
    """Return the tables that size checks read. Raises InputProblems."""
    return _cached(CheckTable, "check table", "check_tables", ())


def unknown_references(methods: Registry[Method], plant: Registry[Plant],
                       flags: Registry[MovementFlag]) -> list[Problem]:
    """Return a problem for every item of plant or flag that a method names and nobody declares."""
    problems = []
    for method in methods.values():
        for name in (*(use.plant for use in method.plant), *(swap.plant for swap in method.plant_swaps)):
            if name not in plant:
                problems.append(Problem(f"method '{method.id}'", f"unknown plant '{name}'", suggestion(name, plant)))
        for flag in method.movement:
            if flag not in flags:
                problems.append(Problem(f"method '{method.id}'", f"unknown ground-movement flag '{flag}'",
                                        suggestion(flag, flags)))
    return problems
