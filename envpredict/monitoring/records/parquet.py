"""Records as Parquet: converted once from any source and read back by station; needs the extra `records` (pyarrow)."""

from __future__ import annotations

import importlib
import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from envpredict.core.errors import EnvpredictError
from envpredict.monitoring.records.rows import Rows

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

MANIFEST = "records.json"
FORMAT = 1
GROUP = 1 << 19
"""Rows of a station that are written together."""


def arrow() -> Any:
    """Return pyarrow with its Parquet part. Raises EnvpredictError where it isn't installed."""
    try:
        importlib.import_module("pyarrow.parquet")
        return importlib.import_module("pyarrow")
    except ImportError:
        raise EnvpredictError("Parquet needs pyarrow", "pip install 'envpredict[records]'") from None


class Store:
    """Writes rows as they come into one file per table and station; `columns` are all that a table's files hold."""

    def __init__(self, folder: Path, columns: Mapping[str, Sequence[str]]) -> None:
        self.folder, self.columns, self.pa = folder, columns, arrow()
        self._waiting: dict[tuple[str, str], list[Rows]] = {}
        self._writers: dict[tuple[str, str], Any] = {}
        self._files: dict[tuple[str, str], str] = {}
        self._rows: dict[tuple[str, str], int] = {}

    def add(self, rows: Rows) -> None:
        """Take rows of one table and any stations."""
        for name in rows.stations:
            mine = rows.of(name)
            if len(mine):
                key = (rows.table, name)
                self._waiting.setdefault(key, []).append(mine)
                if sum(map(len, self._waiting[key])) >= GROUP:
                    self._write(key)

    def _write(self, key: tuple[str, str]) -> None:
        from envpredict.monitoring.records.rows import joined

        table = self._table(joined(self._waiting.pop(key), key[0]))
        if key not in self._writers:
            self._files[key] = f"{key[0]}/{len(self._files) + 1:04d}.parquet"
            path = self.folder / self._files[key]
            path.parent.mkdir(exist_ok=True)
            self._writers[key] = self.pa.parquet.ParquetWriter(path, table.schema, compression="zstd")
        self._writers[key].write_table(table)
        self._rows[key] = self._rows.get(key, 0) + table.num_rows

    def _table(self, rows: Rows) -> Any:
        pa = self.pa
        columns: dict[str, Any] = {
            "start": pa.array(rows.start, pa.int64()), "end": pa.array(rows.end, pa.int64()),
            "flags": pa.array(rows.flags, pa.int32()), "line": pa.array(rows.line, pa.int64()),
            "file": pa.DictionaryArray.from_arrays(rows.file, pa.array(rows.files, pa.string())),
            "triggered": pa.array(rows.triggered)}
        none = np.full(len(rows), np.nan)
        return pa.table(columns | {name: pa.array(rows.values.get(name, none), pa.float64())
                                   for name in self.columns[rows.table]})

    def close(self, sources: Iterable[tuple[str, str]]) -> None:
        """Write what waits, and the manifest: `sources` are the names and digests of the files converted."""
        for key in list(self._waiting):
            self._write(key)
        for writer in self._writers.values():
            writer.close()
        held = [{"table": table, "station": station, "file": self._files[table, station],
                 "rows": self._rows[table, station]} for table, station in sorted(self._files)]
        text = json.dumps({"format": FORMAT, "held": held, "sources": dict(sources)}, indent=1)
        (self.folder / MANIFEST).write_text(text + "\n", encoding="utf-8")

    def abandon(self) -> None:
        """Close every file without a manifest: what was written is no store."""
        for writer in self._writers.values():
            writer.close()


def manifest(folder: Path) -> dict[tuple[str, str], tuple[Path, int]]:
    """Return the files of a converted folder and their rows, by table and station. Raises EnvpredictError."""
    try:
        found = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
        if found["format"] != FORMAT:
            raise EnvpredictError(f"{folder / MANIFEST} has format {found['format']}, not {FORMAT}",
                                  "convert the raw records again")
        return {(str(one["table"]), str(one["station"])): (folder / one["file"], int(one["rows"]))
                for one in found["held"]}
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise EnvpredictError(f"{folder / MANIFEST} can't be read: {error}", "convert the raw records again") from None


def stored(path: Path, table: str, station: str) -> Iterator[Rows]:
    """Yield the rows of one station from its file, in the order in which they arrived."""
    pa = arrow()
    try:
        with pa.parquet.ParquetFile(path) as file:
            for batch in file.iter_batches(batch_size=GROUP):
                yield _rows(batch, table, station)
    except (OSError, pa.ArrowException) as error:
        raise EnvpredictError(f"{path} can't be read: {error}", "convert the raw records again") from None


def extent(path: Path) -> tuple[int, int]:
    """Return when the first reading of a file starts and the last one ends, from what Parquet notes of its columns."""
    pa = arrow()
    with pa.parquet.ParquetFile(path) as file:
        metadata, names = file.metadata, file.schema_arrow.names
        groups = [metadata.row_group(number) for number in range(metadata.num_row_groups)]
    start = min(int(group.column(names.index("start")).statistics.min) for group in groups)
    return start, max(int(group.column(names.index("end")).statistics.max) for group in groups)


def _rows(batch: Any, table: str, station: str) -> Rows:
    own = ("start", "end", "flags", "line", "file", "triggered")
    taken = {name: batch.column(name).to_numpy(zero_copy_only=False) for name in batch.schema.names if name != "file"}
    file = batch.column("file")
    codes = file.indices.to_numpy().astype(np.int32)
    values = {name: column.astype(np.float64, copy=False) for name, column in taken.items() if name not in own}
    return Rows(table, (station,), np.zeros(batch.num_rows, dtype=np.int32), taken["start"], taken["end"], values,
                taken["flags"], taken["line"], tuple(file.dictionary.to_pylist()), codes, taken["triggered"])
