"""Reads the small tables whole: diary of the works, log of what people did, stations as installed."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from envpredict.core.words import suggestion
from envpredict.monitoring.records.columns import LOG_KINDS, TABLES, Column
from envpredict.monitoring.records.faults import Faults
from envpredict.monitoring.records.stamps import GOOD, NO_OFFSET, parse_iso


@dataclass(frozen=True, slots=True)
class SmallTable:
    """A table read whole: one mapping per row with every column (None where empty) and its line in the file.

    Times are milliseconds since 1970 UTC, dates `date`, truths bool.
    """

    name: str
    file: str
    rows: tuple[Mapping[str, Any], ...]

    def __len__(self) -> int:
        return len(self.rows)

    def column(self, name: str) -> list[Any]:
        """Return a column's cells."""
        return [row[name] for row in self.rows]

    def where(self, row: Mapping[str, Any]) -> str:
        """Return file and line of a row."""
        return f"{self.file}, line {row['line']}"


def read_small(name: str, folder: Path, faults: Faults, *, growing: bool = False) -> SmallTable:
    """Return a small table of a folder; empty where its file isn't there. What is wrong is noted as a fault.

    `growing`: somebody may be writing, so a last line without an end isn't read yet.
    """
    file = f"{name}.csv"
    path = folder / file
    if not path.exists():
        return SmallTable(name, file, ())
    try:
        with path.open(encoding="utf-8-sig", newline="") as text:
            read = text.read()
        whole = read[: read.rfind("\n") + 1] if growing else read
        lines = list(_numbered(io.StringIO(whole, newline="")))
        return small_table(name, file, lines, faults) if lines or not growing else SmallTable(name, file, ())
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        faults.add(file, [], f"can't be read: {error}", "give a CSV file in UTF-8")
        return SmallTable(name, file, ())


def _numbered(text: Any) -> Sequence[tuple[int, list[str]]]:
    reader = csv.reader(text)
    return [(reader.line_num, cells) for cells in reader if any(cell.strip() for cell in cells)]


def small_table(name: str, file: str, lines: Sequence[tuple[int, list[str]]], faults: Faults) -> SmallTable:
    """Return a small table from its lines, headings first."""
    known = TABLES[name]
    if not lines:
        faults.add(file, [], "is empty", f"its headings are {', '.join(known.names)}")
        return SmallTable(name, file, ())
    number, headings = lines[0]
    headings = [heading.strip() for heading in headings]
    before = len(faults)
    for heading in headings:
        if heading not in known:
            faults.add(file, [number], f"unknown heading '{heading}'", suggestion(heading, known.names, limit=30))
    for heading in {one for one in headings if headings.count(one) > 1}:
        faults.add(file, [number], f"heading '{heading}' stands twice", "give each column a heading of its own")
    for wanted in known.needs:
        if not set(headings) & set(wanted):
            faults.add(file, [number], f"no column {' or '.join(wanted)}", "add it")
    if len(faults) > before:
        return SmallTable(name, file, ())
    rows = []
    for line, cells in lines[1:]:
        if len(cells) != len(headings):
            faults.add(file, [line], f"{len(cells)} values instead of {len(headings)}",
                       "a line was cut, or a comma is loose")
            continue
        given = dict(zip(headings, (cell.strip() for cell in cells), strict=True))
        row = {column.name: _cell(column, given.get(column.name, ""), line, file, faults) for column in known.columns}
        rows.append({**row, "line": line})
    _check(name, file, rows, faults)
    return SmallTable(name, file, tuple(rows))


def _cell(column: Column, text: str, line: int, file: str, faults: Faults) -> Any:
    if not text:
        return None
    if column.kind == "time":
        millis, codes = parse_iso([text])
        if codes[0] == NO_OFFSET:
            faults.add(file, [line], f"'{text}' under {column.name} has no offset from UTC", "add it, as in +01:00")
        elif codes[0] != GOOD:
            faults.add(file, [line], f"'{text}' under {column.name} is no time", "write 2027-03-28T14:05:00+01:00")
        return int(millis[0]) if codes[0] == GOOD else None
    try:
        if column.kind == "date":
            return date.fromisoformat(text)
        if column.kind == "number":
            number = float(text)
            if not np.isfinite(number):
                raise ValueError
            if not column.low <= number <= column.high:
                faults.add(file, [line], f"{text} under {column.name} can't be", column.meaning)
            return number
    except ValueError:
        plain = f"give a plain number in {column.unit or 'its unit'}"
        faults.add(file, [line], f"'{text}' under {column.name} is no {column.kind}",
                   "write 2027-03-28" if column.kind == "date" else plain)
        return None
    return text


def _check(name: str, file: str, rows: Sequence[Mapping[str, Any]], faults: Faults) -> None:
    """Note what can't be, beyond single cells."""
    if name == "stations":
        seen: dict[str, int] = {}
        for row in rows:
            if row["station_id"] is None:
                faults.add(file, [row["line"]], "no station_id", "fill it in")
            elif row["station_id"] in seen:
                faults.add(file, [seen[row["station_id"]], row["line"]],
                           f"two stations are called '{row['station_id']}'",
                           "give each its own id, here and in its records")
            seen.setdefault(row["station_id"], row["line"])
    if name == "works":
        wrong = [row["line"] for row in rows if row["t_start"] is not None and row["t_end"] is not None
                 and row["t_end"] < row["t_start"]]
        if wrong:
            faults.add(file, wrong, "t_end lies before t_start", "correct one of the two")
        bare = [row["line"] for row in rows if row["t_start"] is None or row["t_end"] is None]
        if bare:
            faults.add(file, bare, "start or end is missing", "give both")
    if name == "log":
        _check_log(file, rows, faults)


def _check_log(file: str, rows: Sequence[Mapping[str, Any]], faults: Faults) -> None:
    for row in rows:
        line, kind = [row["line"]], row["kind"]
        if row["t"] is None:
            faults.add(file, line, "no time", "fill in t")
        if kind not in LOG_KINDS:
            faults.add(file, line, f"unknown kind '{kind}'", suggestion(str(kind), LOG_KINDS, limit=20))
        if row["by"] is None:
            faults.add(file, line, "nobody is named", "fill in who did it, under `by`")
        if kind == "restart" and row["event_id"] is None and row["station_id"] is None:
            faults.add(file, line, "a restart that names neither the stop nor its station",
                       "give the stop's event_id, or the station_id")
        if kind == "excluded" and (row["t_from"] is None or row["t_to"] is None or row["remark"] is None):
            faults.add(file, line, "readings are left out without a span and a reason",
                       "fill in t_from, t_to and remark")
        if kind in ("field_check", "clock_check") and (row["value"] is None or row["station_id"] is None):
            faults.add(file, line, f"a {kind} without its value or station", "fill in value and station_id")
