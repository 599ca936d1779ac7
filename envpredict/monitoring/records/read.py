"""Reads a folder of records: every file checked, every problem named, nothing filled in."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from envpredict.core.errors import EnvpredictError, InputProblems, Problem
from envpredict.monitoring.records.columns import SMALL, STREAMED, TABLES
from envpredict.monitoring.records.csv_file import CsvFile
from envpredict.monitoring.records.faults import Faults
from envpredict.monitoring.records.parquet import MANIFEST, Store, extent, manifest, stored
from envpredict.monitoring.records.plain_parquet import PlainParquet
from envpredict.monitoring.records.rows import Rows, empty, joined
from envpredict.monitoring.records.settings import Export, Settings, read_settings
from envpredict.monitoring.records.small import SmallTable, read_small

Source = CsvFile | PlainParquet
OWN_NAMES = ("{}.csv", "{}.csv.gz", "{}.parquet")
"""The files in which a table is looked for where `records.toml` names none."""


@dataclass(eq=False)
class Records:
    """The records of a folder.

    `works`, `log`, `stations`: the small tables; `notes`: what was only flagged or left out, each with its place.
    Readings are held by table and station, in the order in which they arrived.
    """

    folder: Path
    settings: Settings
    works: SmallTable
    log: SmallTable
    stations: SmallTable
    notes: tuple[Problem, ...]
    digests: Mapping[str, str]
    _held: dict[tuple[str, str], Rows] = field(default_factory=dict)
    _files: dict[tuple[str, str], tuple[Path, int]] = field(default_factory=dict)

    def station_ids(self, table: str) -> tuple[str, ...]:
        """Return the stations with readings in a table."""
        return tuple(sorted(name for held, name in (*self._held, *self._files) if held == table))

    def rows(self, table: str, station: str) -> Rows:
        """Return a station's readings in the order in which they arrived; no rows where it has none."""
        if (table, station) in self._held:
            return self._held[table, station]
        if (table, station) in self._files:
            return joined(list(stored(self._files[table, station][0], table, station)), table)
        return empty(table)

    def extent(self) -> tuple[int, int]:
        """Return when the first reading of any station starts and the last one ends; 0 and 0 where there's none."""
        spans = [(int(rows.start.min()), int(rows.end.max())) for rows in self._held.values() if len(rows)]
        spans += [extent(path) for path, rows in self._files.values() if rows]
        return (min(start for start, _ in spans), max(end for _, end in spans)) if spans else (0, 0)

    def count(self) -> int:
        """Return the number of rows of all readings."""
        return sum(map(len, self._held.values())) + sum(rows for _, rows in self._files.values())


def read_records(folder: str | Path) -> Records:
    """Return the records in a folder of CSV or Parquet files, or in a folder that `convert` wrote.

    Raises InputProblems with everything that can't be read, each with file and line.
    """
    path = Path(folder)
    if not path.is_dir():
        raise EnvpredictError(f"no records at {folder}", "name a folder with noise.csv, vibration.csv, ...")
    faults, notes = Faults(), Faults()
    problems: list[Problem] = []
    settings = read_settings(path, problems)
    held: dict[tuple[str, str], list[Rows]] = {}
    files: dict[tuple[str, str], tuple[Path, int]] = {}
    digests: dict[str, str] = {}
    if (path / MANIFEST).exists():
        files = manifest(path)
        digests[MANIFEST] = CsvFile("", path / MANIFEST, MANIFEST, Export(file=MANIFEST)).digest()
    else:
        for source in _sources(path, settings, problems):
            for rows in source.rows(faults, notes):
                for name in rows.stations:
                    held.setdefault((source.table, name), []).append(rows.of(name))
            digests[source.name] = source.digest()
        if not digests and not problems:
            problems.append(Problem(path.name, "holds no readings",
                                    "put noise.csv or vibration.csv there, or name files in records.toml"))
    small = {name: read_small(name, path, faults) for name in SMALL}
    problems += faults.problems()
    if problems:
        raise InputProblems(problems, f"records {path.name}")
    whole = {key: joined(held.pop(key), key[0]) for key in list(held)}
    return Records(path, settings, small["works"], small["log"], small["stations"], tuple(notes.problems()), digests,
                   whole, files)


def _sources(folder: Path, settings: Settings, problems: list[Problem]) -> Iterator[Source]:
    """Yield the files of every table: those that `records.toml` names, else those with our own names."""
    for table in STREAMED:
        exports = settings.exports(table)
        if not exports:
            found = [folder / name.format(table) for name in OWN_NAMES if (folder / name.format(table)).exists()]
            if len(found) > 1:
                names = ", ".join(path.name for path in found)
                problems.append(Problem(folder.name, f"{names} hold the same table", "keep one of them"))
            yield from (_source(table, path, path.name, Export(file=path.name)) for path in found[:1])
        for number, export in enumerate(exports):
            paths = sorted(folder.glob(export.file)) if not Path(export.file).is_absolute() else []
            if not paths:
                problems.append(Problem(f"records.toml, key '{table}[{number + 1}].file'",
                                        f"no file '{export.file}' in {folder.name}", "name files within the folder"))
            yield from (_source(table, path, path.relative_to(folder).as_posix(), export) for path in paths)


def _source(table: str, path: Path, name: str, export: Export) -> Source:
    return (PlainParquet if path.suffix == ".parquet" else CsvFile)(table, path, name, export)


def convert(folder: str | Path, target: Path) -> int:
    """Write the readings of a folder as Parquet into an empty folder, block by block; return the number of rows.

    The small tables and records.toml are copied. Raises InputProblems with everything that can't be read; nothing
    usable is left in the target then.
    """
    path = Path(folder)
    faults, notes = Faults(), Faults()
    problems: list[Problem] = []
    settings = read_settings(path, problems)
    sources = list(_sources(path, settings, problems))
    columns: dict[str, dict[str, None]] = {}
    for source in sources:
        columns.setdefault(source.table, {}).update(dict.fromkeys(source.columns(faults)))
    if not sources and not problems:
        problems.append(Problem(path.name, "holds no readings", "put noise.csv or vibration.csv there"))
    store = Store(target, {table: tuple(names) for table, names in columns.items()})
    count = 0
    try:
        for source in sources if not faults and not problems else ():
            for rows in source.rows(faults, notes):
                store.add(rows)
                count += len(rows)
    except BaseException:
        store.abandon()
        raise
    problems += faults.problems()
    if problems:
        store.abandon()
        raise InputProblems(problems, f"records {path.name}")
    store.close((source.name, source.digest()) for source in sources)
    for name in (*(f"{table}.csv" for table in SMALL), "records.toml"):
        if (path / name).exists():
            (target / name).write_bytes((path / name).read_bytes())
    return count


__all__ = ["TABLES", "Records", "convert", "read_records"]
