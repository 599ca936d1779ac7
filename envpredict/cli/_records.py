"""What `envpredict records` does and says."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from envpredict.cli._target import new_folder
from envpredict.core.errors import InputProblems, Problem

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment


def asked(plan: Path | None, scenario: Path | None, folder: Path | None, parquet: Path | None) -> Assessment | None:
    """Check that the question makes sense and that nothing would be written over; return the prediction to compare."""
    from envpredict.engine.assess import assess
    from envpredict.engine.intake import read_scenario

    lacking = [Problem(option, "needs the plan that the records belong to", "add --plan")
               for option, value in (("--scenario", scenario), ("--out", folder)) if value is not None and plan is None]
    if lacking:
        raise InputProblems(lacking, "the question")
    for target in (folder, parquet):
        if target is not None:
            new_folder(target, "statistics and copies of records are never written over")
    return None if scenario is None else assess(read_scenario(scenario))


def stored(records: Path, target: Path) -> str:
    """Convert records to Parquet and return what to say."""
    from envpredict.outputs.records_folder import write_parquet

    folder, rows = write_parquet(records, target)
    return f"Wrote {folder}: {rows:,} readings. Use it wherever a folder of records is asked for."


def statistics(records: Path, plan: Path, assessment: Assessment | None, folder: Path | None) -> str:
    """Work out the statistics of records and return what to say."""
    from envpredict.monitoring.plan_file import read_plan
    from envpredict.monitoring.statistics.shown import statistics_of
    from envpredict.monitoring.statistics.tables import text
    from envpredict.outputs.records_folder import write_records

    found = statistics_of(read_plan(plan), records, assessment)
    said = text(found)
    return said + (f"Wrote {write_records(found, folder)}." if folder is not None else "")


def described(records: Path) -> str:
    """Read records without a plan and return what they hold."""
    from envpredict.monitoring.records.columns import STREAMED
    from envpredict.monitoring.records.order import in_order
    from envpredict.monitoring.records.read import read_records
    from envpredict.monitoring.records.stamps import iso

    found = read_records(records)
    lines = [f"{records}: {found.count():,} readings"]
    for table in STREAMED:
        for station in found.station_ids(table):
            ordered = in_order(found.rows(table, station))
            if len(ordered.rows):
                lines.append(f"  {table} {station}: {len(ordered.rows):,} from {iso(ordered.rows.start[0])} to "
                             f"{iso(ordered.rows.end.max())}, {len(ordered.gap_start)} gaps")
                lines += [f"    {one.what.replace('_', ' ')}: {one.where}" for one in ordered.disorder]
    small = [table for table in (found.works, found.log, found.stations) if len(table)]
    lines += [f"  {len(table)} rows in {table.file}" for table in small]
    return "\n".join([*lines, *(f"  note: {note}" for note in found.notes), "No problem found."])
