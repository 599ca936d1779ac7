"""Reads trial records: one row per pile and point, the highest level of a pile's drive there.

Columns, `*` needed: pile*, method*, distance_m* (in plan), ppv_mm_s*, quantity*, reads (level, below: it stayed below
this, a trigger that wasn't reached; above: it went beyond this, a clipped record), phase, station, section, energy_kj,
depth_m (of the toe when the level was reached), pile_type, length_m (of the pile), ground (of the toe: a ground class,
or the law's own word), hard_stratum (yes: the pile entered it), background_mm_s, date, remark.
"""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from envpredict.core.citation import Citation
from envpredict.core.errors import InputProblems, Problem
from envpredict.core.quantities import QUANTITIES
from envpredict.core.words import nearest
from envpredict.models.spec import PHASES
from envpredict.scenario.columns import METRES, Column, Source, read_columns
from envpredict.scenario.problems import Findings, RowFaults

PPV: tuple[str, ...] = tuple(name for name, one in QUANTITIES.items() if one.metric == "peak" and one.unit == "mm/s")
READS: tuple[str, ...] = ("level", "below", "above")
NO_LEVEL = "a record that shows no level reads `below`, with the trigger or the instrument's floor as its ppv_mm_s"
COLUMNS: tuple[Column, ...] = (
    Column("pile", required=True), Column("method", required=True),
    Column("distance_m", "number", above=0.0, high=1000.0, required=True, hint=f"the distance in plan: {METRES}"),
    Column("ppv_mm_s", "number", above=0.0, high=200.0, required=True,
           hint=f"a peak particle velocity in mm/s, above 0; {NO_LEVEL}"),
    Column("quantity", "word", PPV, required=True), Column("reads", "word", READS, otherwise="level"),
    Column("phase", "word", tuple(PHASES)), Column("station"), Column("section"),
    Column("energy_kj", "number", above=0.0, high=2000.0, hint="the energy per blow or per cycle in kJ"),
    Column("depth_m", "number", above=0.0, high=200.0, hint=f"the toe's depth when the level was reached: {METRES}"),
    Column("pile_type"), Column("length_m", "number", above=0.0, high=200.0, hint=f"the pile's length: {METRES}"),
    Column("ground"), Column("hard_stratum", "word", ("yes", "no")),
    Column("background_mm_s", "number", above=0.0, high=200.0, hint="the level before the pile was driven, in mm/s"),
    Column("date"), Column("remark"),
)
BACKGROUND_FACTOR = 3.0
NEAR_BACKGROUND = f"the level lies within {BACKGROUND_FACTOR:g} times the background"
BACKGROUND_SOURCE = Citation("our judgement", None,
                             f"levels within {BACKGROUND_FACTOR:g} times the background are left out", "estimate")


@dataclass(frozen=True, slots=True)
class Row:
    """One record; `line` of the file."""

    line: int
    pile: str
    method: str
    phase: str
    distance_m: float
    ppv_mm_s: float
    reads: str
    quantity: str
    station: str | None = None
    section: str | None = None
    energy_kj: float | None = None
    depth_m: float | None = None
    ground: str | None = None
    hard: bool | None = None
    background_mm_s: float | None = None
    pile_type: str | None = None
    length_m: float | None = None


OF_ROW = frozenset(Row.__dataclass_fields__) - {"line", "phase", "hard"}
"""What a record takes over from its columns as it stands."""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Records that take no part, and why."""

    lines: tuple[int, ...]
    why: str


@dataclass(frozen=True, slots=True)
class Trial:
    """The records of a file. `hashes`: name and SHA-256 of every file that was read."""

    name: str
    rows: tuple[Row, ...]
    hashes: Mapping[str, str] = field(default_factory=dict)
    left_out: tuple[LeftOut, ...] = ()

    def keep(self, test: Callable[[Row], bool], why: str) -> Trial:
        """Return the trial without the rows that fail a test, which are told with the reason."""
        return self.without(tuple(row.line for row in self.rows if not test(row)), why)

    def without(self, lines: tuple[int, ...], why: str) -> Trial:
        """Return the trial without the rows of some lines, which are told with the reason."""
        if not lines:
            return self
        return replace(self, rows=tuple(row for row in self.rows if row.line not in lines),
                       left_out=(*self.left_out, LeftOut(lines, why)))


def read_trial(path: Path, phase: str = "all") -> Trial:
    """Return the records of a CSV file; `phase` is that of rows that state none.

    Raises InputProblems with every fault, each with its line.
    """
    found = Findings()
    lines, cells = read_cells(path, COLUMNS, found)
    if found.problems:
        raise InputProblems(found.problems, path.name)
    rows = []
    for number, line in enumerate(lines):
        at = {name: values[number] for name, values in cells.items()}
        hard = None if at["hard_stratum"] is None else at["hard_stratum"] == "yes"
        given = {name: value for name, value in at.items() if name in OF_ROW}
        rows.append(Row(line=line, phase=at["phase"] or phase, hard=hard, **given))
    return Trial(path.name, tuple(rows), {path.name: hashlib.sha256(path.read_bytes()).hexdigest()})


def read_cells(path: Path, wanted: tuple[Column, ...], found: Findings) -> tuple[list[int], dict[str, list[Any]]]:
    """Return the lines of a CSV file's rows, and every wanted column; faults are added to `found`."""
    rows = _rows(path, found)
    if rows is None or not _sound_header(rows, path.name, wanted, found):
        return [], {}
    header = [cell.strip() for cell in rows[0][1]]
    body = []
    for line, row in rows[1:]:
        if len(row) == len(header):
            body.append((line, row))
        else:
            found.add(f"{path.name}, line {line}", f"has {len(row)} cells, the header has {len(header)}",
                      "a text that holds a comma stands in quotes; decimals have a point")
    faults = RowFaults(found, path.name, [str(line) for line, _ in body], noun="line")
    columns = {name: [row[number] for _, row in body] for number, name in enumerate(header)}
    cells = read_columns(Source(columns, len(body)), wanted, faults, found)
    faults.tell()
    return [line for line, _ in body], cells


def _rows(path: Path, found: Findings) -> list[tuple[int, list[str]]] | None:
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        found.add(str(path), f"can't be read: {error.strerror}", "name a CSV file of records")
        return None
    except UnicodeDecodeError:
        found.add(path.name, "isn't UTF-8 text", "save it as CSV, comma-separated, UTF-8")
        return None
    reader = csv.reader(io.StringIO(text, newline=""))
    try:
        return [(reader.line_num, row) for row in reader if any(cell.strip() for cell in row)]
    except csv.Error as error:
        found.add(f"{path.name}, line {reader.line_num}", f"can't be read: {error}", "save it as CSV, comma-separated")
        return None


def _sound_header(rows: list[tuple[int, list[str]]], name: str, wanted: tuple[Column, ...], found: Findings) -> bool:
    if len(rows) < 2:
        found.add(name, "holds a header but no rows" if rows else "is empty", "give at least three records")
        return False
    header = [cell.strip() for cell in rows[0][1]]
    if len(header) == 1 and any(mark in header[0] for mark in ";\t"):
        found.add(f"{name}, line 1", "cells aren't separated by commas", "save it with commas, decimals with a point")
        return False
    known = [column.name for column in wanted]
    for cell in header:
        if header.count(cell) > 1:
            found.add(f"{name}, line 1", f"column '{cell}' stands twice", "take one of them out")
        elif cell not in known:
            near = nearest(cell, [word for word in known if word not in header])
            found.add(f"{name}, line 1", f"unknown column '{cell}'",
                      (f"did you mean '{near}'? " if near else "") + f"known: {', '.join(known)}")
    return True


def highest(trial: Trial) -> Trial:
    """Return one record per pile, point and phase: the highest level of the drive there.

    A clipped record makes the level a lower bound. A trigger that wasn't reached counts only where nothing else was
    recorded of that pile at that point.
    """
    groups: dict[tuple[str, str, str, str], list[Row]] = {}
    for row in trial.rows:
        place = row.station or f"{row.distance_m:g} m"
        groups.setdefault((row.method, row.phase, row.pile, f"{place}, {row.distance_m:g}"), []).append(row)
    kept = [_highest(rows) for rows in groups.values()]
    lines = {row.line for row in kept}
    merged = tuple(row.line for row in trial.rows if row.line not in lines)
    told = (LeftOut(merged, "the same pile at the same point has a higher record: one per pile and point counts"),)
    return replace(trial, rows=tuple(kept), left_out=(*trial.left_out, *(told if merged else ())))


def _highest(rows: list[Row]) -> Row:
    read = [row for row in rows if row.reads != "below"]
    top = max(read or rows, key=lambda row: row.ppv_mm_s)
    clipped = any(row.reads == "above" for row in read)
    return replace(top, reads="above") if clipped else top


def clear_of_background(trial: Trial) -> Trial:
    """Return the trial without levels that the background may have made."""
    def clear(row: Row) -> bool:
        return (row.background_mm_s is None or row.reads != "level"
                or row.ppv_mm_s >= BACKGROUND_FACTOR * row.background_mm_s)

    return trial.keep(clear, NEAR_BACKGROUND)


def problem(trial: Trial, what: str, hint: str) -> InputProblems:
    """Return the error that says why a trial can't be used, with what was left out of it and why."""
    left = [Problem(f"{trial.name}, {lines_said(one.lines)}", one.why, "") for one in trial.left_out]
    return InputProblems([Problem(trial.name, what, hint), *left], trial.name)


def lines_said(lines: tuple[int, ...]) -> str:
    """Return lines in words: the first dozen and how many more."""
    shown = ", ".join(map(str, lines[:12])) + (f" and {len(lines) - 12} more" if len(lines) > 12 else "")
    return f"line{'s' if len(lines) > 1 else ''} {shown}"
