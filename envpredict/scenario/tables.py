"""Reads the CSV tables: strata of boreholes, the baseline of sound levels, other sources."""

from __future__ import annotations

import csv
import io
import itertools
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from envpredict.core.errors import EnvpredictError
from envpredict.core.words import nearest
from envpredict.scenario.columns import METRES, Column, Source, read_columns
from envpredict.scenario.document import Document
from envpredict.scenario.layers import file_there, looks_like
from envpredict.scenario.problems import Findings, RowFaults
from envpredict.scenario.schema import FileTable
from envpredict.scenario.types import POSITION_WORDS, Known

if TYPE_CHECKING:
    import pandas as pd

Cells = dict[str, list[Any]]
GAP_M = 0.01
DEPTH = f"the depth below ground, downwards: {METRES}"
LEVEL = "a sound level in dB"

STRATA: tuple[Column, ...] = (
    Column("borehole", required=True),
    Column("x", "number", required=True, hint="in the scenario's coordinate reference system"),
    Column("y", "number", required=True, hint="in the scenario's coordinate reference system"),
    Column("top_m", "number", low=0.0, high=200.0, required=True, hint=DEPTH),
    Column("base_m", "number", above=0.0, high=200.0, required=True, hint=DEPTH),
    Column("description"), Column("spt_n"),
    Column("cu_kpa", "number", above=0.0, high=2000.0, hint="the undrained shear strength in kPa"),
    Column("ucs_mpa", "number", above=0.0, high=500.0, hint="the unconfined compressive strength in MPa"),
    Column("vs_m_s", "number", above=0.0, high=5000.0, hint="the measured shear-wave speed in m/s"),
    Column("cobble_m", "number", low=0.0, high=0.5, hint=f"the size of the largest cobble: {METRES}"),
    Column("boulder_m", "number", low=0.0, high=10.0, hint=f"the size of the largest boulder: {METRES}"),
    Column("gravel", "word", ("yes", "no")),
    Column("water_m", "number", low=0.0, high=200.0, hint=f"the depth of groundwater below ground: {METRES}"),
)
BASELINE: tuple[Column, ...] = (
    Column("receptor", required=True), Column("period", required=True),
    Column("laeq_db", "number", low=10.0, high=130.0, required=True, hint=LEVEL),
    Column("la90_db", "number", low=10.0, high=130.0, hint=LEVEL), Column("dates"),
    Column("position", "word", POSITION_WORDS, required=True), Column("instrument"), Column("weather"),
)
OTHER_SOURCES: tuple[Column, ...] = (
    Column("id", required=True), Column("name"),
    Column("x", "number", required=True), Column("y", "number", required=True),
    Column("lwa_db", "number", low=30.0, high=160.0, required=True, hint="the A-weighted sound power level in dB"),
    Column("height_m", "number", low=0.0, high=150.0, required=True, hint=METRES),
    Column("from", "clock", required=True), Column("to", "clock", required=True),
)


def read_table(document: Document, table: FileTable, place: Sequence[str], wanted: tuple[Column, ...],
               check: Callable[[Cells, RowFaults], None], found: Findings) -> pd.DataFrame | None:
    """Return a CSV table with the wanted columns, or None if it can't be read; every fault is told with its line."""
    path = file_there(document, table.file, place, found)
    text = _text(path, table.file, found) if path is not None else None
    if text is None:
        return None
    rows = list(_rows(text))
    if not _sound_header(rows, table.file, wanted, found):
        return None
    header, body = [name.strip() for name in rows[0][1]], []
    for line, row in rows[1:]:
        if len(row) == len(header):
            body.append((line, row))
        else:
            found.add(f"{table.file}, line {line}", f"has {len(row)} cells, the header has {len(header)}",
                      "a text that holds a comma stands in quotes; decimals have a point")
    faults = RowFaults(found, table.file, [str(line) for line, _ in body], noun="line",
                       complete=len(body) == len(rows) - 1)
    columns = {name: [row[n] for _, row in body] for n, name in enumerate(header)}
    read = read_columns(Source(columns, len(body)), wanted, faults, found)
    check(read, faults)
    faults.tell()
    return _frame(read, wanted)


def _text(path: Path, name: str, found: Findings) -> str | None:
    data, kind = path.read_bytes(), looks_like(path)
    what = f"isn't a CSV text: it looks like {kind}"
    if b"\x00" not in data:
        try:
            return data.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            line = data[: error.start].count(b"\n") + 1
            what = f"line {line} isn't UTF-8 text" if kind == "plain text" else what
    found.add(name, what, "save it as CSV, comma-separated, UTF-8")
    return None


def _rows(text: str) -> list[tuple[int, list[str]]]:
    """Return the rows that aren't blank, each with its line."""
    reader = csv.reader(io.StringIO(text, newline=""))
    return [(reader.line_num, row) for row in reader if any(cell.strip() for cell in row)]


def _sound_header(rows: list[tuple[int, list[str]]], name: str, wanted: tuple[Column, ...], found: Findings) -> bool:
    """Return whether the header can be used."""
    if len(rows) < 2:
        found.add(name, "is empty" if not rows else "holds a header but no rows", "give at least one row")
        return False
    header = [cell.strip() for cell in rows[0][1]]
    if len(header) == 1 and (";" in header[0] or "\t" in header[0]):
        found.add(f"{name}, line 1", "cells are not separated by commas",
                  "save it with commas between cells and a point in decimals")
        return False
    known = [column.name for column in wanted]
    for cell in header:
        near = nearest(cell, [word for word in known if word not in header]) if cell not in known else None
        if header.count(cell) > 1:
            found.add(f"{name}, line 1", f"column '{cell}' stands twice", "take one of them out")
        elif cell not in known:
            found.add(f"{name}, line 1", f"unknown column '{cell}'",
                      (f"did you mean '{near}'? " if near else "") + f"known: {', '.join(known)}")
    return True


def _frame(cells: Cells, wanted: tuple[Column, ...]) -> pd.DataFrame:
    import pandas as pd

    kinds = {column.name: float if column.kind == "number" else object for column in wanted}
    return pd.DataFrame({name: pd.Series(values, dtype=kinds[name]) for name, values in cells.items()})


def check_strata(known: Known) -> Callable[[Cells, RowFaults], None]:
    """Return the check of a table of strata."""
    def check(cells: Cells, faults: RowFaults) -> None:
        for row, text in enumerate(cells["spt_n"]):
            if text is not None and known.read_spt is not None:
                try:
                    known.read_spt(text)
                except (ValueError, EnvpredictError) as error:
                    faults.add(row, f"spt_n '{text}' can't be read: {error}",
                               "write the count, or a refusal as 50/75 mm")
        for rows in _by_borehole(cells).values() if faults.complete else ():
            _check_borehole(rows, cells, faults)
    return check


def _by_borehole(cells: Cells) -> dict[str, list[int]]:
    """Return the rows of every borehole whose depths could all be read, from the top down."""
    rows: dict[str, list[int]] = {}
    unread: set[str] = set()
    for row, name in enumerate(cells["borehole"]):
        if cells["top_m"][row] is None or cells["base_m"][row] is None:
            unread.add(name)
        elif name is not None:
            rows.setdefault(name, []).append(row)
    return {name: sorted(numbers, key=lambda row: float(cells["top_m"][row])) for name, numbers in rows.items()
            if name not in unread}


def _check_borehole(rows: list[int], cells: Cells, faults: RowFaults) -> None:
    """Tell of strata that are upside down, overlap, leave a gap or move about."""
    top, base, name = cells["top_m"], cells["base_m"], cells["borehole"][rows[0]]
    for row in rows:
        if base[row] <= top[row]:
            faults.add(row, f"the stratum's base {base[row]:g} m isn't below its top {top[row]:g} m",
                       "depths are below ground and grow downwards")
        if any(cells[axis][row] != cells[axis][rows[0]] for axis in ("x", "y")):
            faults.add(row, f"borehole '{name}' changes its place", "every stratum of a borehole has the same x and y")
    if top[rows[0]] > GAP_M:
        faults.add(rows[0], f"borehole '{name}' begins {top[rows[0]]:g} m below ground",
                   "let its first stratum begin at 0, made ground included")
    for upper, lower in itertools.pairwise(rows):
        step = top[lower] - base[upper]
        if abs(step) > GAP_M:
            what = (f"leaves a gap of {step:.2f} m below the stratum above it" if step > 0
                    else f"overlaps the stratum above it by {-step:.2f} m")
            faults.add(lower, f"the stratum {what} in borehole '{name}'", "let each stratum begin where the last ends")


def check_baseline(receptors: frozenset[str]) -> Callable[[Cells, RowFaults], None]:
    """Return the check of a baseline; `receptors` are the known identifiers, none if they couldn't be read."""
    def check(cells: Cells, faults: RowFaults) -> None:
        seen: set[tuple[str, str]] = set()
        for row, (name, period) in enumerate(zip(cells["receptor"], cells["period"], strict=True)):
            if receptors and name is not None and name not in receptors:
                near = nearest(name, receptors)
                faults.add(row, f"unknown receptor '{name}'", f"did you mean '{near}'?" if near
                           else "use an id of the receptor layer")
            if (name, period) in seen:
                faults.add(row, f"receptor '{name}' has a second row for period '{period}'", "keep one row of them")
            seen.add((name, period))
    return check


def check_other_sources(cells: Cells, faults: RowFaults) -> None:
    """Tell of sources with one identifier or without working time."""
    seen: set[str] = set()
    for row, name in enumerate(cells["id"]):
        if name in seen:
            faults.add(row, f"source id '{name}' stands a second time", "give every source its own id")
        seen.add(name)
        if cells["from"][row] is not None and cells["from"][row] == cells["to"][row]:
            faults.add(row, f"source '{name}' works for no time: from and to are equal",
                       "write 00:00 to 24:00 for the whole day")
