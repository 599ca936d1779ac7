"""Turns blocks of lines into rows, fast where everything is sound, and line by line where something isn't."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envpredict.core.words import suggestion
from envpredict.monitoring.records import flags as flag
from envpredict.monitoring.records.columns import Column
from envpredict.monitoring.records.faults import Faults
from envpredict.monitoring.records.form import Form
from envpredict.monitoring.records.lines import Block, kept, values_per_line
from envpredict.monitoring.records.rows import Floats, Rows, empty
from envpredict.monitoring.records.settings import SETTINGS_FILE
from envpredict.monitoring.records.stamps import (
    AMBIGUOUS,
    MALFORMED,
    NEVER,
    NO_OFFSET,
    Millis,
    from_zone,
    offset_ms,
    parse_format,
    parse_iso,
)

if TYPE_CHECKING:
    import pandas as pd

Bools = NDArray[np.bool_]
Lines = NDArray[np.int64]
_UNIT_IN_CELL = re.compile(r"\s*[-+]?\d[\d.,]*(?:[eE][-+]?\d+)?\s*[A-Za-z%µ\"/]")
_TRUE, _FALSE = frozenset({"1", "true", "yes", "y", "x"}), frozenset({"", "0", "false", "no", "n"})


@dataclass(frozen=True, slots=True)
class Notebook:
    """Where the reading of one file writes down what is wrong (`faults`) and what is only flagged (`notes`)."""

    file: str
    faults: Faults
    notes: Faults


def parse(block: Block, form: Form, book: Notebook) -> Rows:
    """Return the rows of a block; lines that can't be read are faults and give no row."""
    starts, lengths, counts = values_per_line(block.data, form.export.delimiter)
    numbers = block.first_line + np.arange(len(starts), dtype=np.int64)
    keep = counts == len(form.headings)
    for count in np.unique(counts[~keep & (counts > 0)]):
        book.faults.add(book.file, numbers[counts == count], f"{count} values instead of {len(form.headings)}",
                        "a line was cut, or a value holds the delimiter")
    lines = numbers[keep]
    frame = _frame(kept(block.data, starts, lengths, keep), form, lines, book) if len(lines) else None
    return rows_of(frame, form, lines, book)


def _frame(data: bytes, form: Form, lines: Lines, book: Notebook) -> pd.DataFrame:
    """Return the cells that are read, numbers as numbers; where one isn't, its column is read cell by cell."""
    import pandas as pd

    wanted = [number for number, name in enumerate(form.names) if name is not None]
    names = [str(form.names[number]) for number in wanted]
    kinds: dict[str, Any] = {name: _dtype(form.table[name]) for name in names}
    options: dict[str, Any] = {
        "header": None, "usecols": wanted, "names": names, "sep": form.export.delimiter, "decimal": form.export.decimal,
        "na_values": {name: list(form.export.missing) if form.table[name].kind == "number" else [] for name in names},
        "keep_default_na": False, "engine": "c", "encoding_errors": "replace",
        "encoding": form.export.encoding, "skip_blank_lines": False, "index_col": False}
    try:
        frame: pd.DataFrame = pd.read_csv(io.BytesIO(data), dtype=kinds, **options)
    except (ValueError, OverflowError):
        plain = {name: object if kind is np.float64 else kind for name, kind in kinds.items()}
        frame = pd.read_csv(io.BytesIO(data), dtype=plain, **options)
        for column in form.columns("number"):
            frame[column.name] = _numbers(frame[column.name], column, form, lines, book)
    return frame


def _dtype(column: Column) -> Any:
    if column.kind == "number":
        return np.float64
    return object if column.kind == "time" or column.name in ("remark", "setting") else "category"


def _numbers(cells: pd.Series, column: Column, form: Form, lines: Lines, book: Notebook) -> Floats:
    """Return a column's numbers cell by cell, with a fault for each cell that is none."""
    import pandas as pd

    empty = cells.isna()
    plain = cells.where(~empty, "").astype(str).str.strip()
    if form.export.decimal == ",":
        plain = plain.str.replace(".", "!", regex=False).str.replace(",", ".", regex=False)
    found = pd.to_numeric(plain.where(plain != "", "nan"), errors="coerce").to_numpy(dtype=np.float64)
    bad = np.isnan(found) & ~empty.to_numpy()
    for cell in pd.unique(cells[bad]):
        where = lines[bad & (cells == cell).to_numpy()]
        if _UNIT_IN_CELL.match(str(cell)):
            book.faults.add(book.file, where, f"'{cell}' under {form.heading(column.name)} carries a unit of its own",
                            f"give plain numbers in {column.unit or 'one unit'}; another unit of the whole column "
                            f"stands in {SETTINGS_FILE}: units.{column.name}")
        else:
            book.faults.add(book.file, where, f"'{cell}' under {form.heading(column.name)} is no number",
                            f"list it in {SETTINGS_FILE} under `missing` if it stands for no value")
    return found


def rows_of(frame: pd.DataFrame | None, form: Form, lines: Lines, book: Notebook) -> Rows:
    """Return the rows of a frame of cells, checked; `lines` tell where each stands."""
    if frame is None or not len(frame):
        return empty(form.table.name)
    start, end, sound = _times(frame, form, lines, book)
    stations, station = _stations(frame, form, lines, book)
    values = {column.name: frame[column.name].to_numpy(dtype=np.float64) * form.factor(column.name)
              for column in form.columns("number") if column.name != "duration_s"}
    for name, column in values.items():
        wild = np.isinf(column)
        if wild.any():
            book.faults.add(book.file, lines[wild], f"an infinite number under {form.heading(name)}", "correct it")
    flags = _status(frame, form, lines, book) | _levels(values, form)
    triggered = _truth(frame, "trigger", form, lines, book)
    rows = Rows(form.table.name, stations, station, start, end, values, flags, lines, (book.file,),
                np.zeros(len(lines), dtype=np.int32), triggered)
    _note_flags(rows, book)
    return rows if sound.all() else rows.take(np.flatnonzero(sound))


def _times(frame: pd.DataFrame, form: Form, lines: Lines, book: Notebook) -> tuple[Millis, Millis, Bools]:
    """Return start and end of every row, and whether its stamp could be read."""
    millis, sound = read_stamps(frame[form.stamp].to_numpy(dtype=object), form, lines, book)
    if form.table.timing == "instant":
        return millis, millis, sound
    given = frame["duration_s"].to_numpy(dtype=np.float64) * form.factor("duration_s") if "duration_s" in frame else (
        np.full(len(frame), form.export.duration_s or np.nan))
    bad = ~(given > 0)
    if bad.any():
        book.faults.add(book.file, lines[bad], "the length of the interval isn't above 0", "correct duration_s")
    length = np.rint(np.where(bad, 0.0, given) * 1000.0).astype(np.int64)
    start = millis - length if form.stamp == "t_end" else millis
    return start, start + length, sound & ~bad


def read_stamps(cells: NDArray[np.object_], form: Form, lines: Lines, book: Notebook) -> tuple[Millis, Bools]:
    """Return milliseconds since 1970 UTC of stamps, and which could be read.

    A stamp without its offset is a fault, unless the export tells where its clock stands.
    """
    export, heading = form.export, form.heading(form.stamp)
    texts = cells
    millis, codes = _stamps(texts, form)
    if (codes == MALFORMED).any():
        texts = np.array([str(cell).strip() for cell in cells], dtype=object)
        millis, codes = _stamps(texts, form)
    bad = codes == MALFORMED
    if bad.any():
        first = str(texts[np.flatnonzero(bad)[0]])
        book.faults.add(book.file, lines[bad], f"'{first}' under {heading} is no time",
                        "write 2027-03-28T14:05:00+01:00, or give time_format in " + SETTINGS_FILE)
    local = codes == NO_OFFSET
    if local.any() and export.offset is not None:
        millis = np.where(local, millis - (offset_ms(export.offset) or 0), millis)
    elif local.any() and export.time_zone is not None:
        shifted, found = from_zone(millis[local], export.time_zone)
        millis = millis.copy()
        millis[local] = shifted
        places = np.flatnonzero(local)
        for code, what in ((AMBIGUOUS, "happens twice when clocks change: which one isn't stated"),
                           (NEVER, "never happens: clocks jump over it")):
            hit = places[found == code]
            if len(hit):
                book.faults.add(book.file, lines[hit], f"{texts[hit[0]]} in {export.time_zone} {what}",
                                "export the stamps with their offset from UTC")
                bad[hit] = True
    elif local.any():
        book.faults.add(book.file, lines[local], f"time stamps under {heading} without an offset from UTC",
                        f"export them with one (+01:00), or state offset or time_zone in {SETTINGS_FILE}")
        bad = bad | local
    return millis, ~bad


def _stamps(texts: NDArray[np.object_], form: Form) -> tuple[Millis, NDArray[np.int8]]:
    return parse_iso(texts) if form.export.time_format is None else parse_format(texts, form.export.time_format)


def _stations(frame: pd.DataFrame, form: Form, lines: Lines,
              book: Notebook) -> tuple[tuple[str, ...], NDArray[np.int32]]:
    """Return the stations of a block and the number of each row's."""
    if "station_id" not in frame:
        return (str(form.export.station),), np.zeros(len(frame), dtype=np.int32)
    cells = frame["station_id"].cat
    names = [form.export.stations.get(str(name).strip(), str(name).strip()) for name in cells.categories]
    codes = cells.codes.to_numpy().astype(np.int32)
    blank = np.isin(codes, [number for number, name in enumerate(names) if not name]) | (codes < 0)
    if blank.any():
        book.faults.add(book.file, lines[blank], "no station", "fill in station_id")
    unique = tuple(dict.fromkeys(names))
    at = np.array([unique.index(name) for name in names], dtype=np.int32)
    return unique, at[codes]


def _truth(frame: pd.DataFrame, name: str, form: Form, lines: Lines, book: Notebook) -> Bools:
    if name not in frame:
        return np.zeros(len(frame), dtype=bool)
    cells = frame[name].cat
    words = [str(word).strip().casefold() for word in cells.categories]
    codes = cells.codes.to_numpy()
    for number, word in enumerate(words):
        if word not in _TRUE | _FALSE:
            what = f"'{word}' under {form.heading(name)} is neither yes nor no"
            book.faults.add(book.file, lines[codes == number], what, "write 1 or 0, true or false")
    return np.asarray(np.isin(codes, [number for number, word in enumerate(words) if word in _TRUE]))


def _status(frame: pd.DataFrame, form: Form, lines: Lines, book: Notebook) -> flag.Flags:
    """Return the flags that the logger itself reports."""
    flags = np.where(_truth(frame, "overload", form, lines, book), flag.OVERLOAD, 0).astype(np.int32)
    if "status" not in frame:
        return flags
    cells = frame["status"].cat
    codes = cells.codes.to_numpy()
    for number, given in enumerate(cells.categories):
        word = form.export.status.get(str(given).strip(), str(given).strip())
        if word in flag.STATUS_WORDS:
            flags[codes == number] |= flag.STATUS_WORDS[word]
        else:
            book.faults.add(book.file, lines[codes == number], f"unknown status '{word}'",
                            f"{suggestion(word, [one for one in flag.STATUS_WORDS if one])}; map the logger's words in "
                            f"{SETTINGS_FILE}: status")
    return flags


def _levels(values: dict[str, Floats], form: Form) -> flag.Flags:
    """Return the flags that the numbers themselves call for."""
    primary = [name for name in form.table.needs[-1] if name in values]
    rows = len(next(iter(values.values()))) if values else 0
    flags, empty = np.zeros(rows, dtype=np.int32), np.ones(rows, dtype=bool)
    for name in primary:
        column = form.table[name]
        level = values[name]
        empty &= np.isnan(level)
        if column.unit == "dB":
            flags |= np.where(level <= 0.0, flag.FILLER, 0).astype(np.int32)
            level = np.where(level <= 0.0, np.nan, level)
        flags |= np.where((level < column.low) | (level > column.high), flag.IMPLAUSIBLE, 0).astype(np.int32)
    return flags | np.where(empty, flag.EMPTY, 0).astype(np.int32)


def _note_flags(rows: Rows, book: Notebook) -> None:
    noted: Sequence[int] = (flag.FILLER, flag.IMPLAUSIBLE, flag.EMPTY, flag.OVERLOAD, flag.UNDER_RANGE, flag.FAULT)
    for bit in noted:
        hit = (rows.flags & bit) != 0
        if hit.any():
            book.notes.add(book.file, rows.line[hit], flag.MEANING[bit][1])
