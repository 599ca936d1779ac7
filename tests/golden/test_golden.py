"""Did anything move? The governing findings of every demo scenario against the rounded rows that are kept here.

Nothing here says that a number is right, only that it's the one that was looked at when the rows were last written.
"""

from __future__ import annotations

from pathlib import Path

import kept_findings
import numpy as np
import pandas as pd
import pytest
from demo_scenarios import NAMES, assessment

HERE = Path(__file__).resolve().parent
MAKE = "If the change is meant, run `python tests/rebuild.py` and say in the commit why the numbers moved."


def test_every_demo_scenario_is_kept_and_nothing_else() -> None:
    assert NAMES
    assert sorted(path.stem for path in HERE.glob("*.csv")) == list(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_the_findings_are_those_that_were_kept(name: str) -> None:
    moved = kept_findings.differences(kept_findings.kept(assessment(name)), HERE / f"{name}.csv")
    assert not moved, "\n".join([*moved, MAKE])


def rows() -> pd.DataFrame:
    """Return two rows as `kept` gives them."""
    return pd.DataFrame({
        "receptor": ["R1", "R2"], "method": ["a", "a"], "effect": ["noise", "noise"], "use": ["dwelling", "school"],
        "likelihood": ["likely", "unlikely"], "limit_set": ["s", "s"], "rule": ["r", "r"], "period": ["day", None],
        "model": ["m", "m"], "unit": ["dB", "dB"], "in_range": [True, False], "basis": ["read", "memory"],
        "predicted_median": [70.05, np.nan], "predicted_design": [80.0, np.nan], "limit": [65.0, np.nan],
        "p_exceed": [0.123456, np.nan], "days_above": [0.0, np.nan], "margin_db": [-15.0499, np.nan],
    })


@pytest.mark.parametrize(
    ("column", "value", "moved"),
    [
        ("predicted_median", 70.05 * (1 + 1e-9), False),     # the last digit of another machine
        ("predicted_median", 70.8, True),
        ("p_exceed", 0.1235, False),
        ("p_exceed", 0.126, True),
        ("days_above", 1e-9, False),
        ("days_above", 1e-3, True),
        ("margin_db", -15.0501, False),                      # rounds to -15.1, was kept as -15.0
        ("margin_db", -15.2, True),
        ("margin_db", np.nan, True),
        ("likelihood", "possible", True),
        ("receptor", "R9", True),
    ],
)
def test_what_counts_as_moved(tmp_path: Path, column: str, value: object, moved: bool) -> None:
    kept = tmp_path / "kept.csv"
    kept_findings.write(rows(), kept)
    assert kept_findings.differences(rows(), kept) == []
    now = rows()
    now.loc[0, column] = value
    found = kept_findings.differences(now, kept)
    assert bool(found) == moved
    assert all(column in fault or "R9" in fault for fault in found)


def test_a_missing_file_and_changed_columns_are_told(tmp_path: Path) -> None:
    assert kept_findings.differences(rows(), tmp_path / "kept.csv") == ["kept.csv is missing"]
    kept_findings.write(rows().drop(columns="basis"), tmp_path / "kept.csv")
    assert "columns" in kept_findings.differences(rows(), tmp_path / "kept.csv")[0]
