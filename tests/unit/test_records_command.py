"""`envpredict records`: what it says, what it writes, and that nothing is written over."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from records_folder import NOISE, RIVER_WALL, write

from envpredict.cli import main

RECORDS, PLAN = RIVER_WALL / "records", RIVER_WALL / "plan"


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


def test_records_alone_are_described() -> None:
    done = run("records", RECORDS)
    assert done.exit_code == 0
    for said in ("39,365 readings", "noise N1: 2,301", "1 gaps", "clock back: vibration.csv, line 6484"):
        assert said in done.output


def test_tables_charts_and_events_are_written_whole(tmp_path: Path) -> None:
    out = tmp_path / "out"
    done = run("records", RECORDS, "--plan", PLAN, "--out", out)
    assert done.exit_code == 0, done.output
    assert "EXCEEDED mill at OM (V2)" in done.output
    names = {path.name for path in out.iterdir()}
    assert {"summary.txt", "events.jsonl", "compliance.csv", "levels.csv", "axes.csv", "capture.csv", "charts"} <= names
    charts = {path.name for path in (out / "charts").iterdir()}
    assert {"levels_1.svg", "peaks_1.png", "capture.svg"} <= charts
    assert "no safety system" in (out / "summary.txt").read_text(encoding="utf-8")
    # the same records give the same bytes
    assert run("records", RECORDS, "--plan", PLAN, "--out", tmp_path / "again").exit_code == 0
    for path in sorted(out.rglob("*.*")):
        assert path.read_bytes() == (tmp_path / "again" / path.relative_to(out)).read_bytes(), path.name
    kept = {path: path.stat().st_mtime_ns for path in out.rglob("*")}
    assert run("records", RECORDS, "--plan", PLAN, "--out", out).exit_code == 2
    assert {path: path.stat().st_mtime_ns for path in out.rglob("*")} == kept


def test_parquet_gives_the_same_audit(tmp_path: Path) -> None:
    pytest.importorskip("pyarrow")
    done = run("records", RECORDS, "--parquet", tmp_path / "store")
    assert done.exit_code == 0, done.output
    assert "39,365 readings" in done.output
    raw = run("audit", PLAN, "--records", RECORDS)
    stored = run("audit", PLAN, "--records", tmp_path / "store")
    assert stored.output == raw.output


def test_faults_leave_nothing_behind(tmp_path: Path) -> None:
    folder = write(tmp_path / "r", noise=[NOISE, "N1,yesterday,300,60"])
    for words in (("records", folder, "--parquet", tmp_path / "store"),
                  ("records", folder, "--plan", PLAN, "--out", tmp_path / "out")):
        done = run(*words)
        assert done.exit_code == 2
        assert "noise.csv, line 2" in done.output
    done = run("records", RECORDS, "--out", tmp_path / "out")
    assert done.exit_code == 2
    assert "add --plan" in done.output
    assert {path.name for path in tmp_path.iterdir()} == {"r"}
