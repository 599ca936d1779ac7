"""The workbook: frozen heads, filters, units, numbers as numbers, a bounded number of rows that says what is left."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from reading_outputs import SHEET, sheets, xml_parts
from scenario_folder import Folder

from envpredict.core.citation import VERIFY_MARK
from envpredict.engine.assess import assess
from envpredict.engine.intake import read_scenario
from envpredict.engine.results import FINDING_COLUMNS, Assessment
from envpredict.outputs import sheets as sheet_module
from envpredict.outputs import workbook

NAMES = ["Notes", "Governing", "By effect", "Findings", "Receptors", "Programme", "Methods", "Compared",
         "Compared by effect", "Compared by pair", "Feasibility", "Movement", "Noise needs", "Laws", "Plant",
         "Reductions", "Limits", "Sources"]


@pytest.fixture(scope="module")
def assessed(tmp_path_factory: pytest.TempPathFactory) -> Assessment:
    return assess(read_scenario(Folder(tmp_path_factory.mktemp("book") / "scenario").path))


@pytest.fixture(scope="module")
def path(assessed: Assessment, tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("out") / "workbook.xlsx"
    workbook.write(assessed, made)
    return made


def test_sheets_stand_in_order_and_notes_hold_every_caution(path: Path, assessed: Assessment) -> None:
    book = sheets(path)
    assert list(book) == NAMES
    texts = [row[2] for row in book["Notes"]]
    assert set(assessed.cautions) <= set(texts)
    assert set(assessed.drafts) <= set(texts)
    told = {row[1] for row in book["Notes"] if row[0] == "sheet"}
    assert told == set(NAMES[1:])


def test_heads_are_frozen_filtered_and_name_units(path: Path) -> None:
    parts = xml_parts(path)
    for number, name in enumerate(NAMES, 1):
        root = ElementTree.fromstring(parts[f"xl/worksheets/sheet{number}.xml"])
        pane = next(root.iter(f"{SHEET}pane"))
        assert pane.get("state") == "frozen", name
        assert pane.get("ySplit") == "1"
        assert next(root.iter(f"{SHEET}autoFilter")).get("ref", "").startswith("A1:")
    book = sheets(path)
    for name in ("Governing", "By effect", "Findings"):
        heads = [str(head) for head in book[name][0]]
        for column, (kind, _) in FINDING_COLUMNS.items():
            assert [head for head in heads if head.partition(" [")[0] == column]
            head = next(head for head in heads if head.partition(" [")[0] == column)
            assert ("[" in head) == (kind == "number")
    assert "margin_db [dB]" in book["Findings"][0]
    assert "energy [kJ]" in book["Methods"][0]


def test_numbers_are_numbers_and_truths_truths(path: Path) -> None:
    head, *rows = sheets(path)["Findings"]
    for number, name in enumerate(head):
        kinds = {type(row[number]) for row in rows} - {type(None)}
        if "[" in str(name):      # a number that a spreadsheet can't hold is told in a word
            told = {row[number] for row in rows if isinstance(row[number], str)}
            assert told <= {"infinite", "-infinite"}
            assert kinds - {str} <= {float}
        elif name == "in_range":
            assert kinds == {bool}
        else:
            assert kinds <= {str}


def test_what_must_be_verified_is_marked(path: Path) -> None:
    marks = {basis: mark or None for basis, mark in VERIFY_MARK.items()}
    book = sheets(path)
    seen = 0
    for name in ("Findings", "By effect", "Laws", "Plant", "Limits"):
        head, *rows = book[name]
        basis, verify = head.index("basis"), head.index("verify")
        for row in rows:
            if row[basis] is not None:
                assert row[verify] == marks[row[basis]]
                seen += row[verify] is not None
    assert seen > 50


def test_more_rows_than_a_sheet_holds_are_told(assessed: Assessment, tmp_path: Path,
                                               monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sheet_module, "MOST_ROWS", 10)
    monkeypatch.setattr(workbook, "MOST_ROWS", 10)
    workbook.write(assessed, tmp_path / "cut.xlsx")
    book = sheets(tmp_path / "cut.xlsx")
    rows = book["Findings"]
    left = len(assessed.findings) - 10
    assert len(rows) == 12
    assert rows[-1][0] == f"{left} more rows stand in findings.csv"
    note = next(row[2] for row in book["Notes"] if row[:2] == ["sheet", "Findings"])
    assert f"{left} more rows stand in findings.csv" in note


def test_large_books_are_written_row_by_row_with_the_same_cells(assessed: Assessment, path: Path, tmp_path: Path,
                                                                monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workbook, "MANY_ROWS", 1)
    workbook.write(assessed, tmp_path / "many.xlsx")
    assert sheets(tmp_path / "many.xlsx") == sheets(path)
    assert list(tmp_path.iterdir()) == [tmp_path / "many.xlsx"]     # no scratch file is left


def test_same_run_same_bytes(assessed: Assessment, path: Path, tmp_path: Path) -> None:
    workbook.write(replace(assessed, findings=assessed.findings.copy()), tmp_path / "again.xlsx")
    assert (tmp_path / "again.xlsx").read_bytes() == path.read_bytes()
