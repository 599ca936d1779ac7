"""What a large run writes: findings typed and packed, and nothing left out of a file without saying so.

The sizes from which files change are lowered, so that the demo is large.
"""

from __future__ import annotations

import csv
import json
import sys
from pathlib import Path

import pandas as pd
import pytest
from demo_assessment import assessment

from envpredict.core.errors import OutputFailure
from envpredict.engine.results import FINDING_COLUMNS
from envpredict.outputs import findings_csv, findings_file, findings_parquet, run_record, workbook, write
from envpredict.outputs.map import thin
from envpredict.outputs.registry import OUTPUTS, load_outputs
from envpredict.outputs.report import size


@pytest.fixture
def large(monkeypatch: pytest.MonkeyPatch) -> None:
    """Make the demo's findings more than are written as text."""
    monkeypatch.setattr(findings_file, "CSV_UP_TO", 100)
    monkeypatch.setattr(findings_parquet, "ROWS_AT_ONCE", 3000)


def test_parquet_reads_back_equal(large: None, tmp_path: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet")
    findings = assessment().findings
    findings_parquet.write(assessment(), tmp_path / "findings.parquet")
    pd.testing.assert_frame_equal(pd.read_parquet(tmp_path / "findings.parquet"), findings)
    with parquet.ParquetFile(tmp_path / "findings.parquet") as file:
        assert file.num_row_groups == -(-len(findings) // 3000)
        schema = file.schema_arrow
    assert json.loads(schema.metadata[b"cautions"]) == list(assessment().cautions)
    assert {name: schema.field(name).metadata[b"meaning"].decode() for name in schema.names} == {
        name: meaning for name, (_, meaning) in FINDING_COLUMNS.items()}


def test_parquet_and_text_tell_the_same(large: None, tmp_path: Path) -> None:
    pytest.importorskip("pyarrow")
    findings_parquet.write(assessment(), tmp_path / "findings.parquet")
    findings_csv.write(assessment(), tmp_path / "findings.csv")
    packed = pd.read_parquet(tmp_path / "findings.parquet")
    with (tmp_path / "findings.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    assert [row["rule"] for row in rows] == packed["rule"].tolist()
    assert [row["p_exceed"] for row in rows] == ["" if pd.isna(p) else f"{p:.6g}" for p in packed["p_exceed"]]


@pytest.mark.parametrize(("also", "text"), [((), False), (("findings.csv",), True)], ids=["unasked", "asked"])
def test_text_of_a_large_run_is_written_on_request(large: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                                   also: tuple[str, ...], text: bool) -> None:
    pytest.importorskip("pyarrow")
    load_outputs()
    monkeypatch.setattr(OUTPUTS, "_things", {name: OUTPUTS[name] for name in ("findings.csv", "findings.parquet")})
    folder = write.write_assessment(assessment(), tmp_path / "out", also=also)
    assert (folder / "findings.parquet").is_file()
    assert (folder / "findings.csv").is_file() is text


def test_a_usual_run_has_its_findings_as_text() -> None:
    due = {name for name, one in load_outputs().items() if one.due(assessment())}
    assert set(load_outputs()) - due == {"findings.parquet"}


def test_without_pyarrow_it_says_what_to_install(large: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow.parquet", None)
    with pytest.raises(OutputFailure, match="needs pyarrow") as caught:
        write.write_assessment(assessment(), tmp_path / "out")
    assert "pip install 'envpredict[records]'" in caught.value.hint
    assert not list(tmp_path.iterdir())


def test_the_record_tells_what_no_file_holds(large: None, monkeypatch: pytest.MonkeyPatch) -> None:
    count, receptors = len(assessment().findings), len(assessment().receptors)
    monkeypatch.setattr(workbook, "MOST_ROWS", 1000)
    monkeypatch.setattr(thin, "MOST_DRAWN", 50)
    monkeypatch.setattr(size, "MOST_RECEPTORS", 60)
    told = run_record.record(assessment())["left_out"]
    assert set(told) == {"workbook.xlsx", "risk_map.html", "report.html", "report.docx"}
    assert told["workbook.xlsx"][0] == (f"The sheet Findings ends after 1000 of {count} rows; findings.parquet holds "
                                        "every finding.")
    assert told["risk_map.html"][0].startswith(f"Of {receptors} receptors 50 are drawn")
    assert told["report.html"][0].startswith(f"Of {receptors} receptors the tables hold the 60 most affected")
