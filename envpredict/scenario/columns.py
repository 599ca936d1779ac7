"""What the columns of a layer or table may hold and how cells are read: nothing is guessed, faults are named by row."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from pydantic_core import PydanticCustomError

from envpredict.core.words import nearest, suggestion
from envpredict.scenario.problems import Findings, Place, RowFaults
from envpredict.scenario.schema import clock

Kind = Literal["text", "word", "number", "whole", "hours", "clock"]
LOOKS_LIKE = 0.8
METRES = "the unit is the metre: was it given in millimetres or in feet?"


class CellFault(ValueError):
    """A cell that can't be what it must be."""

    def __init__(self, what: str, hint: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.hint = hint


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its kind, the words or the range it allows, and what stands for an empty cell.

    `above` is a bound that isn't allowed itself. `required` makes an empty cell a fault; else `otherwise` stands for
    it.
    """

    name: str
    kind: Kind = "text"
    words: tuple[str, ...] = ()
    above: float = -math.inf
    low: float = -math.inf
    high: float = math.inf
    required: bool = False
    otherwise: Any = None
    hint: str = ""

    def read(self, value: Any) -> Any:
        """Return a cell's value, `otherwise` if it's empty. Raises CellFault if it's no value of this column."""
        if is_empty(value):
            return self.otherwise
        if self.kind in ("number", "whole"):
            return self._number(value)
        text = as_text(value)
        if self.kind == "word" and text not in self.words:
            raise CellFault(f"unknown {self.name} '{text}'", suggestion(text, self.words, limit=20))
        if self.kind == "hours":
            check_hours(text, self.name)
        if self.kind == "clock":
            check_clock(text, self.name)
        return text

    def _number(self, value: Any) -> float | int:
        try:
            number = float(str(value).strip()) if not isinstance(value, bool) else math.nan
        except ValueError:
            number = math.nan
        if not math.isfinite(number):
            raise CellFault(f"{self.name} '{value}' is not a number", "write digits with a decimal point and no unit")
        if not (number > self.above and self.low <= number <= self.high):
            raise CellFault(f"{self.name} {number:g} is out of range ({self._range()})", self.hint or "check the value")
        if self.kind == "whole":
            if number != int(number):
                raise CellFault(f"{self.name} {number:g} is not a whole number", "round it")
            return int(number)
        return number

    def _range(self) -> str:
        parts = [f"above {self.above:g}"] if math.isfinite(self.above) else []
        parts += [f"at least {self.low:g}"] if math.isfinite(self.low) else []
        parts += [f"at most {self.high:g}"] if math.isfinite(self.high) else []
        return ", ".join(parts)


def is_empty(value: Any) -> bool:
    """Return whether a cell holds nothing: None, NaN or blank text."""
    if isinstance(value, str):
        return not value.strip()
    return value is None or bool(value != value)  # noqa: PLR0124 - NaN and NaT alone differ from themselves


def as_text(value: Any) -> str:
    """Return a cell as text; a whole number that was stored as a float loses its '.0'."""
    if isinstance(value, float) and value == int(value):
        return str(int(value))
    return str(value).strip()


def check_clock(text: str, name: str) -> None:
    """Raise CellFault unless a text is a clock time, 'HH:MM'."""
    try:
        clock(text)
    except PydanticCustomError:
        raise CellFault(f"{name} '{text}' is no clock time", "write it as 07:30, from 00:00 to 24:00") from None


def check_hours(text: str, name: str) -> None:
    """Raise CellFault unless a text is clock hours, 'HH:MM-HH:MM', several separated by commas."""
    for part in text.split(","):
        ends = [end.strip() for end in part.split("-")]
        try:
            start, end = (clock(end) for end in ends)
        except (ValueError, PydanticCustomError):
            raise CellFault(f"{name} '{text}' are no clock hours", "write 08:00-18:00, or 08:00-12:00, 13:00-18:00"
                            ) from None
        if start == end:
            raise CellFault(f"{name} '{text}' has zero length", "write 00:00-24:00 for the whole day")


@dataclass(frozen=True, slots=True)
class Source:
    """Where the cells of a file are and, for a layer, what the scenario says about them at `place`."""

    columns: Mapping[str, Sequence[Any]]
    rows: int
    mapped: Mapping[str, str] = field(default_factory=dict)
    defaults: Mapping[str, Any] = field(default_factory=dict)
    place: Place | None = None


def read_columns(source: Source, wanted: Iterable[Column], faults: RowFaults, found: Findings) -> dict[str, list[Any]]:
    """Return every wanted column, cell by cell; a faulty cell is told and stands as `otherwise`."""
    wanted = tuple(wanted)
    names = [column.name for column in wanted]
    for table, given in (("columns", source.mapped), ("defaults", source.defaults)):
        for name in given:
            if name not in names:
                found.unknown([*(source.place or ()), table, name], "column", name, names)
    return {column.name: _read_column(source, column, faults, found) for column in wanted}


def _read_column(source: Source, column: Column, faults: RowFaults, found: Findings) -> list[Any]:
    default = _default(source, column, found)
    cells = _cells(source, column, faults, found, needed=column.required and default is None)
    values: list[Any] = []
    for row, cell in enumerate(cells):
        try:
            value = column.read(cell)
        except CellFault as fault:
            faults.add(row, fault.what, fault.hint)
            values.append(column.otherwise)
            continue
        if is_empty(cell) and default is not None:
            value = default
        elif is_empty(cell) and column.required and column.name in source.columns:
            by_default = f", or give defaults = {{ {column.name} = ... }}" if source.place else ""
            faults.add(row, f"{column.name} is empty", f"fill it in{by_default}")
        values.append(value)
    return values


def _default(source: Source, column: Column, found: Findings) -> Any:
    """Return the default that the scenario gives for a column, or None."""
    if column.name not in source.defaults:
        return None
    try:
        return column.read(source.defaults[column.name])
    except CellFault as fault:
        found.key([*(source.place or ()), "defaults", column.name], fault.what, fault.hint)
        return column.otherwise


def _cells(source: Source, column: Column, faults: RowFaults, found: Findings, *, needed: bool) -> Sequence[Any]:
    """Return a column's raw cells, all empty where the file has no such column and none is needed."""
    empty = [None] * source.rows
    there = list(source.columns)
    mapped = source.mapped.get(column.name)
    if mapped is not None and mapped not in source.columns:
        found.key([*(source.place or ()), "columns", column.name], f"{faults.where} has no column '{mapped}'",
                  suggestion(mapped, there))
        return empty
    name = mapped or column.name
    if name in source.columns:
        return source.columns[name]
    unused = [other for other in there if other not in source.mapped.values()]
    cut = name[:10] if len(name) > 10 and name[:10] in unused else None
    if cut:
        found.add(faults.where, f"column '{cut}' looks like '{name}', which Shapefiles cut to 10 characters",
                  f'say so: columns = {{ {name} = "{cut}" }}')
    elif needed:
        best = nearest(name, unused)
        ways = (f'rename one, map it with columns = {{ {name} = "..." }}, or give defaults = {{ {name} = ... }}'
                if source.place else "add it")
        found.add(faults.where, f"has no column '{name}'", (f"did you mean '{best}'? " if best else "") + ways
                  + f"; columns there: {', '.join(map(str, there)) or 'none'}")
    return empty
