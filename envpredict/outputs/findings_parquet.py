"""findings.parquet: every finding of a large run, typed and packed; needs the extra `records` (pyarrow)."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from envpredict.core.errors import EnvpredictError, OutputFailure
from envpredict.engine.results import FINDING_COLUMNS
from envpredict.monitoring.records.parquet import arrow
from envpredict.outputs.findings_file import CSV_UP_TO, PARQUET, beyond_csv
from envpredict.outputs.registry import output

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment

ROWS_AT_ONCE = 100_000
"""The rows of a group: a reader may take one group after another, and as many are held twice while writing."""


@output(PARQUET, f"in place of `findings.csv` beyond {CSV_UP_TO} findings: the same rows and columns, typed",
        due=beyond_csv)
def write(assessment: Assessment, path: Path) -> None:
    """Write the findings; the cautions and the columns' meanings stand in the schema's metadata.

    Raises OutputFailure where pyarrow isn't installed.
    """
    try:
        pa = arrow()
    except EnvpredictError as error:
        raise OutputFailure(f"{len(assessment.findings)} findings are kept as {PARQUET}, which needs pyarrow: it isn't "
                            "installed", f"{error.hint}; then run again, with --resume where tiles were kept") from None
    frame = assessment.findings[list(FINDING_COLUMNS)]
    schema = _schema(pa, list(assessment.cautions))
    with pa.parquet.ParquetWriter(path, schema, compression="zstd") as file:
        for start in range(0, max(len(frame), 1), ROWS_AT_ONCE):
            part = frame.iloc[start:start + ROWS_AT_ONCE]
            file.write_table(pa.Table.from_pandas(part, schema=schema, preserve_index=False))


def _schema(pa: Any, cautions: list[str]) -> Any:
    kinds = {"text": pa.string(), "number": pa.float64(), "truth": pa.bool_()}
    fields = [pa.field(name, kinds[kind], metadata={"meaning": meaning})
              for name, (kind, meaning) in FINDING_COLUMNS.items()]
    return pa.schema(fields, metadata={"cautions": json.dumps(cautions, ensure_ascii=False)})
