"""Reads a plan from a spreadsheet: one sheet per list, one for what stands once; every fault is named by its cell."""

from __future__ import annotations

import importlib
import types
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from pathlib import Path
from typing import Annotated, Any, Union, get_args, get_origin

from envpredict.core.errors import EnvpredictError, InputProblems, Problem
from envpredict.core.words import nearest, suggestion
from envpredict.monitoring.plan_build import Source
from envpredict.monitoring.plan_fields import Part
from envpredict.monitoring.plan_schema import HEAD, LISTS, SECTIONS, Plan

GUIDE_SHEET = "guide"
PLAN_SHEET = "plan"
PLAN_COLUMNS = ("table", "key", "value", "meaning")
HEAD_TABLE = "(head)"
"""What stands in the column `table` for the keys above the first table."""
_TRUTHS = {"yes": True, "true": True, "no": False, "false": False}


@dataclass
class _Reading:
    """What has been read so far."""

    file: str
    tables: dict[str, Any] = field(default_factory=dict)
    places: dict[str, str] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    unsure: set[str] = field(default_factory=set)

    def add(self, cell: str, what: str, hint: str = "") -> None:
        self.problems.append(Problem(f"{self.file}, {cell}", what, hint))


def sheet_source(file: Path) -> Source:
    """Return the tables of a spreadsheet. Raises InputProblems if it can't be opened."""
    values, formulas = _workbooks(file)
    reading = _Reading(file.name)
    known = {*LISTS, PLAN_SHEET, GUIDE_SHEET}
    for sheet in values.worksheets:
        if sheet.title not in known:
            reading.add(f"sheet '{sheet.title}'", f"unknown sheet '{sheet.title}'", suggestion(sheet.title, known, 40))
    if PLAN_SHEET not in values.sheetnames:
        reading.add(f"sheet '{PLAN_SHEET}'", "is missing", "it holds the title and every key that stands once")
    for name in values.sheetnames:
        if name == PLAN_SHEET:
            _plan_sheet(reading, values[name], formulas[name])
        elif name in LISTS:
            _list_sheet(reading, name, values[name], formulas[name])
    return Source(reading.file, reading.tables, reading.places, reading.problems, frozenset(reading.unsure))


def _workbooks(file: Path) -> tuple[Any, Any]:
    """Return the workbook with the values that formulas had when it was saved, and with the formulas themselves."""
    try:
        openpyxl = importlib.import_module("openpyxl")
    except ModuleNotFoundError:
        raise EnvpredictError("reading a spreadsheet needs the package openpyxl",
                              "pip install openpyxl, or give the plan as plan.toml") from None
    try:
        return (openpyxl.load_workbook(file, data_only=True), openpyxl.load_workbook(file, data_only=False))
    except Exception as error:
        # the reader raises whatever its parts raise: zip, XML, key and value errors alike
        problem = Problem(file.name, f"can't be opened as a spreadsheet: {error}", "save it again as .xlsx")
        raise InputProblems([problem], file.name) from None


def _rows(sheet: Any, formulas: Any, reading: _Reading) -> Iterator[tuple[int, dict[int, Any]]]:
    """Yield the rows below the header that hold anything: row number, column to value."""
    for cells in sheet.iter_rows(min_row=2):
        row = {}
        for cell in cells:
            value = cell.value if not isinstance(cell.value, str) or cell.value.strip() else None
            if cell.value is None and formulas[cell.coordinate].value is not None:
                reading.add(f"cell {sheet.title}!{cell.coordinate}", "holds a formula without a saved value",
                            "enter the value, or save the file in a spreadsheet program")
            elif cell.data_type == "e":
                reading.add(f"cell {sheet.title}!{cell.coordinate}", f"holds the error {value}", "enter the value")
            elif value is not None:
                row[cell.column] = value
        if row:
            yield cells[0].row, row


def _header(sheet: Any, known: Mapping[str, Any], reading: _Reading) -> dict[int, str]:
    """Return column number to key; a column whose name is only near to a key is told, and read as that key."""
    named: dict[int, str] = {}
    for cell in sheet[1] if sheet.max_row else ():
        if cell.value is not None and str(cell.value).strip() in known:
            key = str(cell.value).strip()
            if key in named.values():
                reading.add(f"cell {sheet.title}!{cell.coordinate}", f"column '{key}' stands twice", "keep one")
            else:
                named[cell.column] = key
    for cell in sheet[1] if sheet.max_row else ():
        if cell.value is None or cell.column in named or str(cell.value).strip() in known:
            continue
        word = str(cell.value).strip()
        free = [key for key in known if key not in named.values()]
        reading.add(f"cell {sheet.title}!{cell.coordinate}", f"unknown column '{word}'", suggestion(word, free, 40))
        if (guess := nearest(word, free)) is not None:
            named[cell.column] = guess
    return named


def _cell(sheet: Any, column: int, row: int) -> str:
    return f"cell {sheet.title}!{sheet.cell(row=row, column=column).coordinate}"


def _plan_sheet(reading: _Reading, sheet: Any, formulas: Any) -> None:
    header = _header(sheet, dict.fromkeys(PLAN_COLUMNS), reading)
    column = {name: number for number, name in header.items()}
    lacking = [name for name in PLAN_COLUMNS[:3] if name not in column]
    if lacking:
        reading.add(f"sheet '{sheet.title}'", f"has no column {', '.join(lacking)}",
                    f"its columns are {', '.join(PLAN_COLUMNS)}")
        return
    for number, row in _rows(sheet, formulas, reading):
        table, key = str(row.get(column["table"], HEAD_TABLE)).strip(), str(row.get(column["key"], "")).strip()
        value = row.get(column["value"])
        if table != HEAD_TABLE and table not in SECTIONS:
            reading.add(_cell(sheet, column["table"], number), f"unknown table '{table}'",
                        suggestion(table, (HEAD_TABLE, *SECTIONS), limit=40))
            continue
        part: type[Part] = Plan if table == HEAD_TABLE else SECTIONS[table]
        keys = HEAD if table == HEAD_TABLE else tuple(part.model_fields)
        if key not in keys:
            reading.add(_cell(sheet, column["key"], number), f"unknown key '{key}' of {table}",
                        suggestion(key, keys, 40))
            continue
        name = key if table == HEAD_TABLE else f"{table}.{key}"
        if name in reading.places:
            reading.add(_cell(sheet, column["key"], number), f"'{name}' stands twice", "keep one")
        reading.places[name] = _cell(sheet, column["value"], number)
        if value is not None:
            into = reading.tables if table == HEAD_TABLE else reading.tables.setdefault(table, {})
            into[key] = converted(value, part.model_fields[key].annotation)


def _list_sheet(reading: _Reading, name: str, sheet: Any, formulas: Any) -> None:
    fields = LISTS[name].model_fields
    header = _header(sheet, fields, reading)
    lacking = [key for key, field in fields.items() if field.is_required() and key not in header.values()]
    rows = list(_rows(sheet, formulas, reading))
    if lacking and rows:
        reading.add(f"sheet '{name}'", f"has no column {', '.join(lacking)}", f"its columns are {', '.join(fields)}")
        reading.unsure.add(name)
        return
    made: list[dict[str, Any]] = []
    for number, row in rows:
        place = f"{name}[{len(made) + 1}]"
        reading.places[place] = f"row {number} of sheet {name}"
        stated = {column: value for column, value in row.items() if column in header}
        made.append({header[column]: converted(value, fields[header[column]].annotation)
                     for column, value in stated.items()})
        reading.places |= {f"{place}.{header[column]}": _cell(sheet, column, number) for column in stated}
    if made:
        reading.tables[name] = made


def base_type(annotation: Any) -> tuple[Any, bool]:
    """Return the plain type of a field's annotation, and whether the field is a list of it."""
    origin, args = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        return base_type(args[0])
    if origin in (Union, types.UnionType):
        return base_type(next(arg for arg in args if arg is not type(None)))
    if origin is tuple:
        return base_type(args[0])[0], True
    return annotation, False


def converted(value: Any, annotation: Any) -> Any:
    """Return a cell's value as the type that the key wants where it says the same; else as it stands, to be told."""
    base, many = base_type(annotation)
    if many:
        text = value if isinstance(value, str) else str(_plain(value, base))
        parts = text.split("\n") if "\n" in text else text.split(";")
        entries = [part.strip() for part in parts if part.strip()]
        return [_tried(float, entry) if base is float else _plain(entry, base) for entry in entries]
    return _plain(value.strip() if isinstance(value, str) else value, base)


def _tried(kind: Callable[[str], Any], text: str) -> Any:
    """Return a text as a number or date, or as it stands, for the check to name."""
    try:
        return kind(text)
    except ValueError:
        return text


def _plain(value: Any, base: Any) -> Any:
    convert = _PLAIN.get(base)
    return convert(value) if convert is not None else value


def _as_text(value: Any) -> Any:
    if isinstance(value, time):
        return value.strftime("%H:%M")
    if isinstance(value, int | float) and not isinstance(value, bool):
        return str(int(value)) if float(value).is_integer() else str(value)
    return value


def _as_date(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.date() if value.time() == time() else value
    return _tried(date.fromisoformat, value) if isinstance(value, str) else value


_PLAIN: dict[Any, Callable[[Any], Any]] = {
    str: _as_text,
    date: _as_date,
    int: lambda value: int(value) if isinstance(value, float) and value.is_integer() else value,
    bool: lambda value: _TRUTHS.get(value.casefold(), value) if isinstance(value, str) else value,
}
