"""Collects problems, names the place of each, and puts a validator's findings into plain words."""

from __future__ import annotations

import re
import types
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from envpredict.core.errors import Problem
from envpredict.core.words import nearest, suggestion

SCENARIO_FILE = "scenario.toml"
ROWS_NAMED = 60
Place = tuple[str | int, ...]

_HEADER = re.compile(r"^\s*(\[{1,2})\s*([^\[\]]+?)\s*\]{1,2}\s*(?:#.*)?$")
_KEY = re.compile(r"""^\s*((?:"[^"]*"|'[^']*'|[A-Za-z0-9_-]+)(?:\s*\.\s*(?:"[^"]*"|'[^']*'|[A-Za-z0-9_-]+))*)\s*=""")
_PART = re.compile(r"""\s*(?:"([^"]*)"|'([^']*)'|([A-Za-z0-9_-]+))\s*\.?""")


def _parts(dotted: str) -> tuple[str, ...]:
    return tuple(a or b or c for a, b, c in _PART.findall(dotted))


def key_lines(text: str) -> dict[Place, int]:
    """Return the line (from 1) of every table and key that stands at the start of a line of a TOML text.

    A simple scan: keys inside inline tables are not seen; their line is that of the key that holds them.
    """
    lines: dict[Place, int] = {}
    counts: dict[Place, int] = {}
    table: Place = ()
    for number, line in enumerate(text.splitlines(), 1):
        header = _HEADER.match(line)
        if header:
            table = _indexed(_parts(header[2]), counts, entry=header[1] == "[[")
            lines.setdefault(table, number)
            continue
        key = _KEY.match(line)
        if key:
            lines.setdefault((*table, *_parts(key[1])), number)
    return lines


def _indexed(names: tuple[str, ...], counts: dict[Place, int], *, entry: bool) -> Place:
    """Return the place of a table header: entries of an array of tables are counted from 0."""
    place: Place = ()
    for depth, name in enumerate(names):
        place = (*place, name)
        last = depth == len(names) - 1
        if last and entry:
            counts[place] = counts.get(place, -1) + 1
        if place in counts:
            place = (*place, counts[place])
    return place


class Findings:
    """Everything wrong that has been found so far in one scenario, and what has been assumed."""

    def __init__(self) -> None:
        self.problems: list[Problem] = []
        self.notes: list[str] = []
        self.lines: dict[Place, int] = {}

    def add(self, where: str, what: str, hint: str = "") -> None:
        """Add one problem."""
        self.problems.append(Problem(where, what, hint))

    def note(self, text: str) -> None:
        """Say something that was assumed."""
        if text not in self.notes:
            self.notes.append(text)

    def at(self, *place: str | int) -> str:
        """Return a place of scenario.toml in words: its line where one is known, and its key."""
        line = next((self.lines[place[:n]] for n in range(len(place), 0, -1) if place[:n] in self.lines), None)
        name = "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in place).lstrip(".")
        return SCENARIO_FILE + (f", line {line}" if line else "") + (f", key '{name}'" if name else "")

    def key(self, place: Sequence[str | int], what: str, hint: str = "") -> None:
        """Add a problem at a key of scenario.toml."""
        self.add(self.at(*place), what, hint)

    def unknown(self, place: Sequence[str | int], kind: str, word: str, known: Iterable[str]) -> None:
        """Add the problem of a word that isn't known, with the nearest one that is."""
        self.key(place, f"unknown {kind} '{word}'", suggestion(word, known))


class RowFaults:
    """The problems of one file's rows; equal ones are told once, with every row that has them.

    `complete` tells whether every row of the file could be taken apart: what compares neighbouring rows asks for it.
    """

    def __init__(self, found: Findings, where: str, labels: Sequence[str], noun: str = "feature", *,
                 complete: bool = True) -> None:
        self.found = found
        self.where = where
        self.labels = labels
        self.noun = noun
        self.complete = complete
        self._rows: dict[tuple[str, str], list[int]] = {}

    def add(self, row: int, what: str, hint: str = "") -> None:
        """Add the problem of one row (counted from 0)."""
        self._rows.setdefault((what, hint), []).append(row)

    def names(self, row: int, column: str) -> bool:
        """Return whether a fault of this row's cell in a column has been added already."""
        return any(row in rows and what.startswith((f"{column} ", f"unknown {column} "))
                   for (what, _), rows in self._rows.items())

    def tell(self) -> bool:
        """Hand over what was found; return whether all rows are sound."""
        for (what, hint), rows in self._rows.items():
            named = ", ".join(self.labels[row] for row in rows[:ROWS_NAMED])
            more = f" and {len(rows) - ROWS_NAMED} more" if len(rows) > ROWS_NAMED else ""
            noun = self.noun + ("s" if len(rows) > 1 else "")
            self.found.add(f"{self.where}, {noun} {named}{more}", what, hint)
        return not self._rows


def validated(model: type[BaseModel], data: Any, place: Place, found: Findings) -> Any | None:
    """Return the validated table, or None with every fault of it added to `found`."""
    try:
        return model.model_validate(data)
    except ValidationError as error:
        for fault in error.errors():
            loc = tuple(fault["loc"])
            what, hint = _in_words(model, loc, fault)
            found.key((*place, *loc), what, hint)
        return None


_KINDS: dict[str, tuple[str, str]] = {
    "string_type": ("must be text, not {given}", "write it in quotes"),
    "float_type": ("must be a number, not {given}", "write it without quotes, with a decimal point"),
    "int_type": ("must be a whole number, not {given}", "write it without quotes and without a decimal point"),
    "bool_type": ("must be true or false, not {given}", "write true or false without quotes"),
    "date_type": ("must be a date, not {given}", "write it without quotes as 2027-03-01"),
    "list_type": ("must be a list, not {given}", 'write it in square brackets, as ["..."]'),
    "dict_type": ("must be a table, not {given}", "write it as { key = value } or under a [header]"),
    "model_type": ("must be a table, not {given}", "write it as { key = value } or under a [header]"),
    "finite_number": ("must be a finite number, not {given}", "nan and inf are no values"),
    "greater_than": ("{given} is out of range: it must be above {gt}", "check the value and its unit"),
    "greater_than_equal": ("{given} is out of range: it must be at least {ge}", "check the value and its unit"),
    "less_than": ("{given} is out of range: it must be below {lt}", "check the value and its unit"),
    "less_than_equal": ("{given} is out of range: it must be at most {le}", "check the value and its unit"),
    "string_too_short": ("is empty", "write something, or leave the key out"),
    "too_short": ("has {actual_length} entries, at least {min_length} are needed", "add what is missing"),
    "too_long": ("has more than {max_length} entries", "take the surplus away"),
    "scenario": ("{what}", "{hint}"),
}


def _in_words(model: type[BaseModel], loc: Place, fault: Mapping[str, Any]) -> tuple[str, str]:
    """Return what is wrong and how to mend it, for one of pydantic's findings."""
    kind, context = fault["type"], dict(fault.get("ctx", {}), given=repr(fault.get("input")))
    if kind == "missing":
        return f"'{loc[-1]}' is missing", "add it; `envpredict new FOLDER` writes an example with every key"
    if kind == "extra_forbidden":
        known = keys_at(model, loc[:-1])
        best = nearest(str(loc[-1]), known)
        meant = f"did you mean '{best}'? " if best else ""
        return f"unknown key '{loc[-1]}'", f"{meant}known keys: {', '.join(sorted(known))}"
    what, hint = _KINDS.get(kind, ("{message}, not {given}", "correct it"))
    filled = {"message": fault["msg"], **context}
    # a remedy may show braces of its own, so only the whole placeholder is filled
    return what.format(**filled), str(context["hint"]) if hint == "{hint}" else hint


def keys_at(model: type[BaseModel], loc: Place) -> list[str]:
    """Return the keys that the table at `loc` may have."""
    kind: Any = model
    for part in loc:
        if isinstance(part, int):
            kind = next((arg for arg in get_args(kind)), None)
            continue
        fields = _fields(kind)
        if part not in fields:
            return []
        kind = fields[part].annotation
    return list(_fields(kind))


def _fields(kind: Any) -> dict[str, FieldInfo]:
    """Return a table's fields by the key that a user writes."""
    if get_origin(kind) in (Union, types.UnionType):
        kind = next((arg for arg in get_args(kind) if arg is not type(None)), None)
    if not (isinstance(kind, type) and issubclass(kind, BaseModel)):
        return {}
    return {field.alias or name: field for name, field in kind.model_fields.items()}
