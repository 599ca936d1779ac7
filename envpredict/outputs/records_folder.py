"""Writes what records show: tables as CSV, charts as SVG and PNG, events as JSON lines, a summary as text."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from envpredict.monitoring.statistics.tables import csv_files, text
from envpredict.outputs.write import write_folder

if TYPE_CHECKING:
    from envpredict.monitoring.statistics.collect import Statistics


def write_records(found: Statistics, folder: str | Path) -> Path:
    """Write the statistics of a plan's records into a new folder, all or nothing, and return it.

    Raises InputProblems if the folder exists, OutputFailure if it can't be written.
    """
    from envpredict.outputs.charts.records import record_charts

    def fill(temporary: Path) -> None:
        (temporary / "summary.txt").write_text(text(found), encoding="utf-8")
        lines = (f"{event.line(found.whole.clock.time_zone)}\n" for event in found.replayed.events)
        (temporary / "events.jsonl").write_text("".join(lines), encoding="utf-8")
        for name, table in csv_files(found).items():
            (temporary / name).write_text(table, encoding="utf-8")
        (temporary / "charts").mkdir()
        for chart in record_charts(found):
            (temporary / "charts" / f"{chart.id}.svg").write_bytes(chart.svg)
            (temporary / "charts" / f"{chart.id}.png").write_bytes(chart.png)

    return write_folder(Path(folder), fill)


def write_parquet(records: str | Path, folder: str | Path) -> tuple[Path, int]:
    """Convert a folder of records into a new folder of Parquet files, all or nothing; return it and its rows.

    Raises InputProblems with everything that can't be read, or if the folder exists.
    """
    from envpredict.monitoring.records.read import convert

    rows = 0

    def fill(temporary: Path) -> None:
        nonlocal rows
        rows = convert(records, temporary)

    return write_folder(Path(folder), fill), rows
