"""Builds a plan from what a file held: every row is checked, then how the rows fit together, all in one pass."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from pydantic import ValidationError

from envpredict.core.errors import InputProblems, Problem
from envpredict.core.words import nearest, suggestion
from envpredict.monitoring.plan_fields import Part, Row
from envpredict.monitoring.plan_fit import fit_faults
from envpredict.monitoring.plan_schema import HEAD, LISTS, SECTIONS, Plan, refers_to

TEMPLATE_HINT = "`envpredict plan --template FILE.xlsx` writes a table with every key and its meaning"
_KINDS: dict[str, tuple[str, str]] = {
    "string_type": ("must be text", "TOML wants it in quotes"),
    "float_type": ("must be a number", "as 2.5, without a unit and without quotes"),
    "int_type": ("must be a whole number", "as 2, without quotes"),
    "int_from_float": ("must be a whole number", "as 2"),
    "bool_type": ("must be true or false", "in TOML true or false without quotes, in a cell yes or no"),
    "date_type": ("must be a date", "as 2027-03-01, without quotes"),
    "date_from_datetime_inexact": ("must be a date without a time of day", "as 2027-03-01, without quotes"),
    "tuple_type": ("must be a list", 'in TOML in square brackets, as ["..."]; in a cell parted by ;'),
    "finite_number": ("must be a finite number", "nan and inf are no values"),
    "string_too_short": ("must not be empty", "leave the key out until it's known"),
}
_BOUNDS = {"greater_than": ("gt", "above"), "greater_than_equal": ("ge", "at least"), "less_than": ("lt", "below"),
           "less_than_equal": ("le", "at most")}


@dataclass(frozen=True)
class Source:
    """What a file held: tables by name, and where each key stands (key to 'line 4' or 'cell stations!B2').

    `problems`: what was wrong with the file itself; `unsure`: lists that couldn't be read, so that nothing that
    names their rows can be checked.
    """

    name: str
    tables: Mapping[str, Any]
    places: Mapping[str, str] = field(default_factory=dict)
    problems: Sequence[Problem] = ()
    unsure: frozenset[str] = frozenset()

    def where(self, key: str) -> str:
        """Return the place of a key in words: file, line or cell, key."""
        probe = key
        while probe and probe not in self.places:
            dot, bracket = probe.rfind("."), probe.rfind("[")
            probe = probe[: max(dot, bracket, 0)]
        found = self.places.get(probe)
        return f"{self.name}" + (f", {found}" if found else "") + (f", key '{key}'" if key else "")


def key_of(loc: Iterable[str | int]) -> str:
    """Return a place as a key: rows are counted from 1."""
    return "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in loc).lstrip(".")


def build(source: Source) -> Plan:
    """Return the plan that the tables describe. Raises InputProblems with everything that is wrong with them."""
    problems: list[Problem] = list(source.problems)
    known = {*HEAD, *SECTIONS, *LISTS}
    for name in source.tables:
        if name not in known:
            problems.append(Problem(source.where(name), f"unknown key '{name}'", suggestion(name, known, limit=60)))
    head = {name: source.tables[name] for name in HEAD if name in source.tables}
    problems += _faults(Plan, head, source, ())
    sections: dict[str, Part] = {}
    for name, part in SECTIONS.items():
        if name in source.tables:
            made, found = _made(part, source.tables[name], source, (name,))
            problems += found
            if made is not None:
                sections[name] = made
    rows: dict[str, dict[int, Row]] = {}
    for name, row in LISTS.items():
        rows[name], found = _rows(row, source.tables.get(name, []), source, name)
        problems += found
    problems += _repeated(source) + _references(source)
    problems += [Problem(source.where(key), what, hint) for key, what, hint in fit_faults(rows, sections, head)]
    if problems:
        raise InputProblems(problems, source.name)
    lists = {name: tuple(made.values()) for name, made in rows.items() if made}
    located = {key: f"{source.name}, {place}" for key, place in source.places.items()}
    return Plan.model_validate({**head, **sections, **lists}).located(located)


def check_references(plan: Plan) -> None:
    """Raise InputProblems if a plan made in memory names rows that it doesn't have, or has two of one name."""
    source = Source("plan", plan.model_dump())
    problems = _repeated(source) + _references(source)
    if problems:
        raise InputProblems(problems, "plan")


def _rows(row: type[Row], given: Any, source: Source, name: str) -> tuple[dict[int, Row], list[Problem]]:
    if not isinstance(given, list | tuple):
        return {}, [Problem(source.where(name), "must be a list of tables", f"write each under a [[{name}]] header")]
    rows: dict[int, Row] = {}
    problems: list[Problem] = []
    for number, data in enumerate(given):
        made, found = _made(row, data, source, (name, number))
        problems += found
        if isinstance(made, Row):
            rows[number] = made
    return rows, problems


def _made(part: type[Part], data: Any, source: Source, loc: tuple[str | int, ...]) -> tuple[Part | None, list[Problem]]:
    if not isinstance(data, Mapping):
        what = f"must be a table, not {data!r}"
        return None, [Problem(source.where(key_of(loc)), what, f"write its keys under a [{loc[0]}] header")]
    problems = _faults(part, data, source, loc)
    return (None if problems else part.model_validate(dict(data))), problems


def _faults(part: type[Part], data: Mapping[str, Any], source: Source, loc: tuple[str | int, ...]) -> list[Problem]:
    try:
        part.model_validate(dict(data))
    except ValidationError as error:
        return [Problem(source.where(key_of((*loc, *fault["loc"]))), *_in_words(part, fault))
                for fault in error.errors()]
    return []


def _in_words(part: type[Part], fault: Mapping[str, Any]) -> tuple[str, str]:
    """Return what is wrong and how to mend it, for one of the validator's findings."""
    kind, given, context, key = fault["type"], fault.get("input"), fault.get("ctx", {}), str(fault["loc"][0])
    if kind == "missing":
        return f"'{key}' is missing", f"add it: {part.model_fields[key].description}; {TEMPLATE_HINT}"
    if kind == "extra_forbidden":
        best = nearest(key, part.model_fields)
        keys = ", ".join(part.model_fields)
        return f"unknown key '{key}'", (f"did you mean '{best}'? " if best else "") + f"known keys: {keys}"
    if kind == "literal_error":
        words = [word.strip(" '") for word in str(context["expected"]).replace(" or ", ", ").split(", ")]
        return f"unknown word {given!r}", suggestion(str(given), words, limit=40)
    if kind in _BOUNDS:
        name, words_of = _BOUNDS[kind]
        bound = f"it must be {words_of} {context[name]:g}"
        return f"{given!r} is out of range: {bound}", str(part.model_fields[key].description)
    if kind in _KINDS:
        what, hint = _KINDS[kind]
        return f"{what}, not {given!r}", hint
    return str(fault["msg"]), str(context.get("hint", ""))


def _given(source: Source, name: str) -> list[tuple[int, Mapping[str, Any]]]:
    """Return the rows of a list as the file gave them, faulty ones too, with their numbers from 0."""
    rows = source.tables.get(name, [])
    return [(number, row) for number, row in enumerate(rows if isinstance(rows, list | tuple) else [])
            if isinstance(row, Mapping)]


def _repeated(source: Source) -> list[Problem]:
    """Return the rows that can't be told apart from an earlier one."""
    problems = []
    for name, kind in LISTS.items():
        seen: dict[tuple[str, ...], int] = {}
        for number, row in _given(source, name):
            tags = tuple("" if row.get(key) is None else str(row[key]) for key in kind.unique)
            if not any(tags):
                continue
            if tags in seen:
                said = ", ".join(f"{key} '{tag}'" for key, tag in zip(kind.unique, tags, strict=True) if tag)
                problems.append(Problem(source.where(f"{name}[{number + 1}].{kind.unique[0]}"),
                                        f"{said} stands already in row {seen[tags] + 1}", "give each row its own"))
            seen.setdefault(tags, number)
    return problems


def _references(source: Source) -> list[Problem]:
    """Return the keys that name a row which isn't there; a faulty row still counts as being there."""
    known = {name: {str(row[kind.unique[0]]) for _, row in _given(source, name) if kind.unique[0] in row}
             for name, kind in LISTS.items() if kind.unique}
    parts = [(name, kind, data) for name, kind in SECTIONS.items()
             if isinstance(data := source.tables.get(name), Mapping)]
    parts += [(f"{name}[{number + 1}]", kind, row) for name, kind in LISTS.items()
              for number, row in _given(source, name)]
    problems = []
    for place, kind, data in parts:
        for key in kind.model_fields:
            target, value = refers_to(kind, key), data.get(key)
            if target is None or target in source.unsure:
                continue
            for word in value if isinstance(value, list | tuple) else (value,):
                if isinstance(word, str) and word not in known[target]:
                    problems.append(Problem(source.where(f"{place}.{key}"), f"'{word}' isn't among the {target}",
                                            suggestion(word, known[target], limit=40)))
    return problems
