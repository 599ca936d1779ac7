"""How the columns of one file are read: which heading is which of ours, in which unit, and what is missing."""

from __future__ import annotations

import csv
from dataclasses import dataclass

from envpredict.core.words import nearest, suggestion
from envpredict.monitoring.records.columns import TABLES, UNITS, Column, Table
from envpredict.monitoring.records.faults import Faults
from envpredict.monitoring.records.settings import SETTINGS_FILE, Export


@dataclass(frozen=True, slots=True)
class Form:
    """The headings of a file in order, and our name of each (None: not read)."""

    table: Table
    export: Export
    headings: tuple[str, ...]
    names: tuple[str | None, ...]

    @property
    def stamp(self) -> str:
        """Return the column that holds the time."""
        return next(name for name in ("t", "t_start", "t_end") if name in self.names)

    def heading(self, name: str) -> str:
        """Return the file's heading of one of our columns."""
        return self.headings[self.names.index(name)]

    def columns(self, *kinds: str) -> list[Column]:
        """Return our columns of some kinds that the file holds."""
        return [self.table[name] for name in self.names if name is not None and self.table[name].kind in kinds]

    @property
    def numbers(self) -> tuple[str, ...]:
        """Return our names of the numbers that the file holds, the length of the interval aside."""
        return tuple(one.name for one in self.columns("number") if one.name != "duration_s")

    def factor(self, name: str) -> float:
        """Return by what a number of the file is multiplied to have the column's unit."""
        unit = self.export.units.get(name)
        return 1.0 if unit is None else UNITS.get(self.table[name].unit, {unit: 1.0})[unit]


def form_of(table: str, export: Export, header: str, line: int, file: str, faults: Faults,
            notes: Faults) -> Form | None:
    """Return how a file is read, from its line of headings; None where that can't be told, with the faults noted."""
    known = TABLES[table]
    headings = tuple(cell.strip() for cell in next(csv.reader([header], delimiter=export.delimiter)))
    before = len(faults)
    for heading in sorted({one for one in headings if headings.count(one) > 1}):
        faults.add(file, [line], f"heading '{heading}' stands twice", "give each column a heading of its own")
    ours = {heading: name for name, heading in export.columns.items()} if export.columns else {
        name: name for name in known.names}
    for name, heading in export.columns.items():
        if heading not in headings:
            faults.add(file, [line], f"there's no heading '{heading}'",
                       f"{suggestion(heading, headings)}; {SETTINGS_FILE} names it for {name}")
    names = tuple(ours.get(heading) for heading in headings)
    unread = [heading for heading, name in zip(headings, names, strict=True)
              if name is None and heading not in export.ignore]
    if unread and export.columns:
        notes.add(file, [line], f"not read: {', '.join(unread)}", f"map them in {SETTINGS_FILE} if they are wanted")
    for heading in unread if not export.columns else ():
        best = nearest(heading, known.names)
        faults.add(file, [line], f"unknown heading '{heading}'", (f"did you mean '{best}'? " if best else "")
                   + f"map the columns in {SETTINGS_FILE}, or list the heading there under `ignore`")
    _check_needs(known, export, names, line, file, faults)
    return Form(known, export, headings, names) if len(faults) == before else None


def _check_needs(table: Table, export: Export, names: tuple[str | None, ...], line: int, file: str,
                 faults: Faults) -> None:
    """Note the columns without which a file can't be read."""
    given = {*names, *(["station_id"] if export.station is not None else [])}
    for wanted in table.needs:
        if not given & set(wanted):
            faults.add(file, [line], f"no column {' or '.join(wanted)}", f"add one, or map it in {SETTINGS_FILE}")
    if table.timing != "interval":
        return
    if {"t_start", "t_end"} <= given:
        faults.add(file, [line], "both t_start and t_end are given", "keep the one that the logger stamps")
    if "duration_s" not in given and export.duration_s is None:
        faults.add(file, [line], "the length of the intervals isn't stated",
                   f"add a column duration_s, or duration_s = ... in {SETTINGS_FILE}")
