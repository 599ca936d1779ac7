"""A table in a Parquet file of the user's own, with our column names or a column map; checked as a CSV file is."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from envpredict.monitoring.records.faults import Faults
from envpredict.monitoring.records.form import Form, form_of
from envpredict.monitoring.records.parquet import GROUP, arrow
from envpredict.monitoring.records.parse import Notebook, rows_of
from envpredict.monitoring.records.rows import Rows
from envpredict.monitoring.records.settings import Export

if TYPE_CHECKING:
    import pandas as pd


class PlainParquet:
    """A Parquet file of one table; its rows are numbered from 1 where a CSV file has lines."""

    def __init__(self, table: str, path: Path, name: str, export: Export) -> None:
        self.table, self.path, self.name, self.export = table, path, name, export

    def _form(self, file: Any, faults: Faults, notes: Faults) -> Form | None:
        header = self.export.delimiter.join(f'"{name}"' for name in file.schema_arrow.names)
        return form_of(self.table, self.export, header, 0, self.name, faults, notes)

    def columns(self, faults: Faults) -> tuple[str, ...]:
        """Return our names of the numbers that the file holds."""
        pa = arrow()
        with pa.parquet.ParquetFile(self.path) as file:
            form = self._form(file, faults, Faults())
        return () if form is None else form.numbers

    def rows(self, faults: Faults, notes: Faults) -> Iterator[Rows]:
        """Yield every row."""
        pa = arrow()
        try:
            with pa.parquet.ParquetFile(self.path) as file:
                form = self._form(file, faults, notes)
                if form is None:
                    return
                first = 1
                wanted = [form.heading(name) for name in form.names if name is not None]
                for batch in file.iter_batches(batch_size=GROUP, columns=wanted):
                    lines = np.arange(first, first + batch.num_rows, dtype=np.int64)
                    first += batch.num_rows
                    frame = _frame(batch, form, self.name, faults)
                    if frame is not None:
                        yield rows_of(frame, form, lines, Notebook(self.name, faults, notes))
        except (OSError, pa.ArrowException) as error:
            faults.add(self.name, [], f"can't be read: {error}", "give a sound Parquet file")

    def digest(self) -> str:
        """Return the SHA-256 of the file as it stands."""
        with self.path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()


def _frame(batch: Any, form: Form, name: str, faults: Faults) -> pd.DataFrame | None:
    """Return a batch as the frame that a CSV file gives, or None where a column's type is of no use."""
    import pandas as pd

    pa = arrow()
    found: dict[str, Any] = {}
    for column in form.columns("text", "number", "time", "truth"):
        cells = batch.column(form.heading(column.name))
        kind = cells.type
        if column.kind == "number" and (pa.types.is_floating(kind) or pa.types.is_integer(kind)):
            found[column.name] = cells.to_numpy(zero_copy_only=False).astype(np.float64)
        elif column.kind == "time" and pa.types.is_timestamp(kind):
            texts = pd.Series(cells.to_pandas())
            shown = texts.map(lambda moment: "" if pd.isna(moment) else moment.isoformat())
            found[column.name] = shown.to_numpy(dtype=object)
        elif column.kind != "number" and (pa.types.is_string(kind) or pa.types.is_large_string(kind)
                                          or pa.types.is_dictionary(kind) or pa.types.is_boolean(kind)
                                          or pa.types.is_integer(kind)):
            texts = pd.Series(cells.to_pandas()).astype(object)
            plain = texts.where(texts.notna(), "").astype(str)
            found[column.name] = plain.to_numpy(dtype=object) if column.kind == "time" else pd.Categorical(plain)
        else:
            faults.add(name, [], f"column {form.heading(column.name)} has type {kind}",
                       f"store it as {column.kind}: {column.meaning}")
            return None
    return pd.DataFrame(found)
