"""Readings in memory: one array per column, in the order in which they arrived."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from envpredict.monitoring.records.flags import Flags
from envpredict.monitoring.records.stamps import Millis

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Rows of one table; every array has the shape (N,).

    `station` numbers `stations`; `start`, `end` are milliseconds since 1970 UTC (equal for single moments); `values`
    holds the numbers by column, NaN where a cell is empty; `flags` are those of `records.flags`; `line` and `file`
    (numbering `files`) tell where each row stands.
    """

    table: str
    stations: tuple[str, ...]
    station: NDArray[np.int32]
    start: Millis
    end: Millis
    values: Mapping[str, Floats]
    flags: Flags
    line: NDArray[np.int64]
    files: tuple[str, ...]
    file: NDArray[np.int32]
    triggered: NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, dtype=bool))

    def __len__(self) -> int:
        return len(self.start)

    def take(self, keep: NDArray[np.bool_] | NDArray[np.intp]) -> Rows:
        """Return the chosen rows."""
        return Rows(self.table, self.stations, self.station[keep], self.start[keep], self.end[keep],
                    {name: column[keep] for name, column in self.values.items()}, self.flags[keep], self.line[keep],
                    self.files, self.file[keep], self.triggered[keep] if self.triggered.size else self.triggered)

    def flagged(self, flags: Flags) -> Rows:
        """Return the same rows with other flags."""
        return Rows(self.table, self.stations, self.station, self.start, self.end, self.values, flags, self.line,
                    self.files, self.file, self.triggered)

    def of(self, station: str) -> Rows:
        """Return the rows of one station."""
        if station not in self.stations:
            return self.take(np.zeros(0, dtype=np.intp))
        if len(self.stations) == 1:
            return self
        return self.take(np.flatnonzero(self.station == self.stations.index(station)))

    def where(self, row: int) -> str:
        """Return file and line of a row."""
        return f"{self.files[self.file[row]]}, line {self.line[row]}"

    @property
    def duration_s(self) -> Floats:
        """Return the lengths of the intervals in seconds."""
        return np.asarray((self.end - self.start) / 1000.0)


def empty(table: str, columns: Sequence[str] = ()) -> Rows:
    """Return a table without rows."""
    none = np.zeros(0, dtype=np.int64)
    return Rows(table, (), none.astype(np.int32), none, none, {name: np.zeros(0) for name in columns},
                none.astype(np.int32), none, (), none.astype(np.int32), np.zeros(0, dtype=bool))


def joined(parts: Sequence[Rows], table: str) -> Rows:
    """Return several tables of one kind as one, in order; a column that one of them lacks is NaN there."""
    parts = [part for part in parts if len(part)]
    if not parts:
        return empty(table)
    if len(parts) == 1:
        return parts[0]
    stations = tuple(dict.fromkeys(name for part in parts for name in part.stations))
    files = tuple(dict.fromkeys(name for part in parts for name in part.files))
    columns = tuple(dict.fromkeys(name for part in parts for name in part.values))
    at = {name: number for number, name in enumerate(stations)}
    place = {name: number for number, name in enumerate(files)}
    station = [np.array([at[name] for name in part.stations], dtype=np.int32)[part.station] for part in parts]
    file = [np.array([place[name] for name in part.files], dtype=np.int32)[part.file] for part in parts]
    values = {name: np.concatenate([part.values.get(name, np.full(len(part), np.nan)) for part in parts])
              for name in columns}
    triggered = [part.triggered if part.triggered.size else np.zeros(len(part), dtype=bool) for part in parts]
    return Rows(table, stations, np.concatenate(station), np.concatenate([part.start for part in parts]),
                np.concatenate([part.end for part in parts]), values, np.concatenate([part.flags for part in parts]),
                np.concatenate([part.line for part in parts]), files, np.concatenate(file), np.concatenate(triggered))
