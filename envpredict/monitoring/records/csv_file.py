"""A table's CSV file: its headings, then its rows in blocks, from any byte on."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from envpredict.monitoring.records.faults import Faults
from envpredict.monitoring.records.form import Form, form_of
from envpredict.monitoring.records.lines import BLOCK, Block, blocks, opened
from envpredict.monitoring.records.parse import Notebook, parse
from envpredict.monitoring.records.rows import Rows
from envpredict.monitoring.records.settings import Export

_BOM = b"\xef\xbb\xbf"


@dataclass(frozen=True, slots=True)
class Place:
    """Where reading goes on: a byte of the file and the number of the line that starts there."""

    byte: int
    line: int


class CsvFile:
    """A CSV file of one table. `name` is what messages call it."""

    def __init__(self, table: str, path: Path, name: str, export: Export) -> None:
        self.table, self.path, self.name, self.export = table, path, name, export

    def head(self, faults: Faults, notes: Faults) -> tuple[Form, Place] | None:
        """Return how the file is read and where its rows start; None, with the faults noted, where that can't be told.

        None without a fault: its line of headings isn't complete yet.
        """
        try:
            with opened(self.path) as file:
                read = [file.readline() for _ in range(self.export.skip_lines + 1)]
        except OSError as error:
            faults.add(self.name, [], f"can't be read: {error.strerror or error}", "check file and rights")
            return None
        if not read[-1].endswith(b"\n"):
            return None
        number = len(read)
        raw = read[-1].removeprefix(_BOM) if number == 1 else read[-1]
        try:
            header = raw.decode(self.export.encoding).rstrip("\r\n")
        except UnicodeDecodeError as error:
            faults.add(self.name, [number], f"isn't {self.export.encoding}: {error.reason}",
                       "save it as UTF-8, or state its encoding in records.toml")
            return None
        form = form_of(self.table, self.export, header, number, self.name, faults, notes)
        return None if form is None else (form, Place(sum(map(len, read)), number + 1))

    def columns(self, faults: Faults) -> tuple[str, ...]:
        """Return our names of the numbers that the file holds."""
        found = self.head(faults, Faults())
        return () if found is None else found[0].numbers

    def parts(self, form: Form, start: Place, faults: Faults, notes: Faults, size: int = BLOCK) -> Iterator[
            tuple[Rows, Place]]:
        """Yield rows from a place on, block by block, each with the place after it; only complete lines are read."""
        with opened(self.path) as file:
            for block in blocks(file, start.byte, start.line, size):
                yield self.part(block, form, faults, notes)

    def part(self, block: Block, form: Form, faults: Faults, notes: Faults) -> tuple[Rows, Place]:
        """Return the rows of one block and the place after it."""
        rows = parse(block, form, Notebook(self.name, faults, notes))
        return rows, Place(block.end, block.first_line + block.data.count(b"\n"))

    def rows(self, faults: Faults, notes: Faults) -> Iterator[Rows]:
        """Yield every row; a last line without its end may be cut, so it's left out and named."""
        found = self.head(faults, notes)
        if found is None:
            if not faults:
                faults.add(self.name, [1], "no line of headings", "give the columns' names in the first line")
            return
        form, place = found
        for part, after in self.parts(form, place, faults, notes):
            place = after
            yield part
        with opened(self.path) as file:
            file.seek(place.byte)
            rest = file.read(1 << 16)
        if rest.strip():
            notes.add(self.name, [place.line], "the last line has no end and may be cut: left out",
                      "end it with a line break if it's whole")

    def digest(self) -> str:
        """Return the SHA-256 of the file as it stands."""
        with self.path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
