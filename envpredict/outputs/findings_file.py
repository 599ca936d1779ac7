"""Which file holds every finding: findings.csv, beyond a million of them findings.parquet."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment

CSV, PARQUET = "findings.csv", "findings.parquet"
CSV_UP_TO = 1_000_000
"""The findings that are written as text: a spreadsheet program's sheet holds about as many rows."""


def beyond_csv(assessment: Assessment) -> bool:
    """Return whether a run has more findings than are written as text unasked."""
    return len(assessment.findings) > CSV_UP_TO


def findings_file(assessment: Assessment) -> str:
    """Return the name of the file of a result folder that holds every finding of a run."""
    return PARQUET if beyond_csv(assessment) else CSV
