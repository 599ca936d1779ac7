"""A growing CSV file: its new complete lines as rows, and a place from which reading goes on after a stop."""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from envpredict.core.errors import EnvpredictError, InputProblems
from envpredict.monitoring.records.csv_file import CsvFile, Place
from envpredict.monitoring.records.faults import Faults
from envpredict.monitoring.records.form import Form
from envpredict.monitoring.records.lines import blocks
from envpredict.monitoring.records.rows import Rows, empty, joined
from envpredict.monitoring.records.stamps import Millis

NEVER = -(2**62)
TAIL = 256
"""Bytes before the place of reading by which a file is known again."""


@dataclass(frozen=True, slots=True, eq=False)
class Batch:
    """Rows of a file, each with its key, the newest end in the file up to there; and lines that couldn't be read.

    `before` is the key before the first of them; `said` tells what was wrong.
    """

    rows: Rows
    keys: Millis
    bad: NDArray[np.int64]
    before: int
    said: tuple[str, ...]

    def key_at(self, row: int) -> int:
        """Return the key just before a row."""
        return int(self.keys[row - 1]) if row else self.before


class Feed:
    """Reads what was added to one file. Rows that were taken are never handed out again."""

    def __init__(self, file: CsvFile) -> None:
        self.file = file
        self.form: Form | None = None
        self.next = Place(0, 1)
        self.done = 0
        self.key = NEVER
        self.at_end = False
        self.waiting: list[Rows] = []
        self.bad: list[NDArray[np.int64]] = []
        self.said: list[str] = []
        self._marks: list[tuple[Place, int]] = []
        self._newest = NEVER

    def fill(self, room: int) -> bool:
        """Read up to so many bytes of new complete lines unless earlier ones wait; tell whether there were any."""
        if self.waiting and not self.at_end:
            return False
        if self.form is None and not self._begin():
            self.at_end = True
            return False
        size = self.file.path.stat().st_size
        if size < self.next.byte:
            raise EnvpredictError(f"{self.file.name} has become shorter: {size} bytes, {self.next.byte} were read",
                                  "a followed file may only grow; begin anew with another events file")
        self.at_end = size - self.next.byte <= room
        with self.file.path.open("rb") as opened:
            block = next(blocks(opened, self.next.byte, self.next.line, room), None)
        if block is None or self.form is None:
            return False
        faults = Faults()
        begin = self.next
        rows, self.next = self.file.part(block, self.form, faults, Faults())
        self._marks.append((begin, self.next.line - 1))
        self._take(rows, faults)
        return True

    def _take(self, rows: Rows, faults: Faults) -> None:
        rows = rows.take(np.flatnonzero(rows.line > self.done))
        bad = np.unique(np.concatenate([np.zeros(0, dtype=np.int64), *faults.lines]))
        bad = bad[bad > self.done]
        if len(rows):
            self.waiting.append(rows)
            self._newest = max(self._newest, int(rows.end.max()))
        if bad.size:
            self.bad.append(bad)
            self.said += [str(problem) for problem in faults.problems()]

    def _begin(self) -> bool:
        """Read the line of headings; tell whether it's there. Raises InputProblems where it can't be used."""
        faults, notes = Faults(), Faults()
        found = self.file.head(faults, notes) if self.file.path.exists() else None
        if faults:
            raise InputProblems(faults.problems(), self.file.name)
        if found is None:
            return False
        self.form = found[0]
        if self.next.byte == 0:
            self.next = found[1]
        return True

    @property
    def horizon(self) -> int:
        """Return the key up to which nothing more can come: unbounded where the file is at its end for now."""
        return 2**62 if self.at_end else self._newest

    def take(self, until: int) -> Batch:
        """Hand out the rows and unreadable lines whose key isn't beyond a moment."""
        rows = joined(self.waiting, self.file.table) if self.waiting else empty(self.file.table)
        bad = np.concatenate([np.zeros(0, dtype=np.int64), *self.bad])
        keys = np.maximum.accumulate(np.concatenate([[self.key], rows.end]))
        bad_keys = keys[np.searchsorted(rows.line, bad)]
        mine, also = keys[1:] <= until, bad_keys <= until
        batch = Batch(rows.take(np.flatnonzero(mine)), keys[1:][mine], bad[also], self.key, tuple(self.said))
        left, bad = rows.take(np.flatnonzero(~mine)), bad[~also]
        self.waiting, self.bad, self.said = [left] if len(left) else [], [bad] if bad.size else [], []
        last = [int(lines[-1]) for lines in (batch.rows.line, batch.bad) if len(lines)]
        self.done = max([self.done, *last])
        self.key = int(batch.keys[-1]) if len(batch.keys) else self.key
        return batch

    def state(self) -> dict[str, Any]:
        """Return the place from which what hasn't been taken can be read again."""
        first = min([int(lines[0]) for lines in (*(rows.line for rows in self.waiting), *self.bad)], default=None)
        self._marks = [mark for mark in self._marks if first is not None and mark[1] >= first]
        place = self._marks[0][0] if self._marks else self.next
        return {"byte": place.byte, "line": place.line, "done": self.done, "key": self.key,
                "tail": self._tail(place.byte)}

    def _tail(self, byte: int) -> int:
        """Return a checksum of what stands before a place."""
        if byte == 0:
            return 0
        with self.file.path.open("rb") as opened:
            opened.seek(max(byte - TAIL, 0))
            return zlib.crc32(opened.read(min(byte, TAIL)))

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up a state. Raises EnvpredictError where the file isn't the one that it was."""
        self.next = Place(int(state["byte"]), int(state["line"]))
        self.done, self.key = int(state["done"]), int(state["key"])
        self._newest = self.key
        size = self.file.path.stat().st_size if self.file.path.exists() else 0
        if size < self.next.byte or self._tail(self.next.byte) != int(state["tail"]):
            raise EnvpredictError(f"{self.file.name} isn't what it was when it was last read",
                                  "a followed file may only grow; begin anew with another events file")
