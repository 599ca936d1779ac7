"""The spreadsheet: the template holds every key, a filled one reads back, and faults are named by their cell."""

from __future__ import annotations

import importlib
import io
import sys
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import openpyxl
import pytest
from audit_plans import sound

from envpredict.core.errors import EnvpredictError, InputProblems, OutputFailure, Problem
from envpredict.monitoring.audit import audit
from envpredict.monitoring.plan_file import read_plan
from envpredict.monitoring.plan_schema import HEAD, LISTS, SECTIONS
from envpredict.monitoring.plan_template import template_bytes, write_template
from envpredict.monitoring.plan_toml import NEVER_ALONE

Book = Any


@pytest.fixture
def filled(tmp_path: Path) -> Path:
    return write_template(tmp_path / "plan.xlsx", sound())


def changed(file: Path, change: Callable[[Book], None]) -> Path:
    book = openpyxl.load_workbook(file)
    change(book)
    book.save(file)
    return file


def problems_of(file: Path) -> tuple[Problem, ...]:
    with pytest.raises(InputProblems) as caught:
        read_plan(file)
    return caught.value.problems


def cell_of(book: Book, sheet: str, column: str, row: int) -> Any:
    names = [cell.value for cell in book[sheet][1]]
    return book[sheet].cell(row=row, column=names.index(column) + 1)


def row_of(book: Book, table: str, key: str) -> int:
    return next(row[0].row for row in book["plan"].iter_rows(min_row=2) if (row[0].value, row[1].value) == (table, key))


def test_template_holds_every_key_with_its_meaning() -> None:
    book = openpyxl.load_workbook(io.BytesIO(template_bytes()))
    assert book.sheetnames == ["guide", "plan", *LISTS]
    for name, part in LISTS.items():
        assert [cell.value for cell in book[name][1]] == list(part.model_fields)
        assert all(cell.comment is not None for cell in book[name][1])
    listed = {(row[0].value, row[1].value) for row in book["plan"].iter_rows(min_row=2)}
    assert listed == {*(("(head)", key) for key in HEAD),
                      *((name, key) for name, part in SECTIONS.items() for key in part.model_fields)}
    guide = [cell.value for row in book["guide"].iter_rows() for cell in row if cell.value]
    assert NEVER_ALONE in guide


def test_allowed_words_can_be_chosen() -> None:
    book = openpyxl.load_workbook(io.BytesIO(template_bytes()))
    offered = {str(rule.sqref): rule.formula1 for rule in book["stations"].data_validations.dataValidation}
    column = next(cell.column_letter for cell in book["stations"][1] if cell.value == "kind")
    assert offered[f"{column}2:{column}501"] == '"noise,vibration,movement"'


def test_filled_template_reads_back(filled: Path) -> None:
    assert read_plan(filled).model_dump() == sound().model_dump()


def test_same_plan_gives_the_same_file() -> None:
    written = template_bytes(sound())
    assert written == template_bytes(sound())
    with ZipFile(BytesIO(written)) as parts:  # two runs within a second would agree on the clock's stamp as well
        assert b"2000-01-01T00:00:00Z" in parts.read("docProps/core.xml")


def test_template_is_not_written_over(filled: Path) -> None:
    before = filled.read_bytes()
    with pytest.raises(OutputFailure, match="exists"):
        write_template(filled)
    assert filled.read_bytes() == before
    write_template(filled, replace=True)
    assert filled.read_bytes() == template_bytes()
    assert [path.name for path in filled.parent.iterdir()] == ["plan.xlsx"]


def test_template_into_a_missing_folder_is_told(tmp_path: Path) -> None:
    with pytest.raises(OutputFailure, match="could not be written"):
        write_template(tmp_path / "missing" / "plan.xlsx")


def test_empty_template_asks_for_its_title_by_cell(tmp_path: Path) -> None:
    found = problems_of(write_template(tmp_path / "plan.xlsx"))
    assert [problem.where for problem in found] == ["plan.xlsx, cell plan!C2, key 'title'"]


def test_renamed_column_is_named_and_read_as_what_it_was_meant_for(filled: Path) -> None:
    def rename(book: Book) -> None:
        cell_of(book, "stations", "receptor", 1).value = "Receptors"
        cell_of(book, "levels", "criterion", 1).value = "criterium"

    found = problems_of(changed(filled, rename))
    assert [(problem.where, problem.what) for problem in found] == [
        ("plan.xlsx, cell stations!C1", "unknown column 'Receptors'"),
        ("plan.xlsx, cell levels!A1", "unknown column 'criterium'")]
    assert "did you mean 'receptor'?" in found[0].hint


def test_column_that_nothing_resembles_leaves_no_false_trail(filled: Path) -> None:
    def rename(book: Book) -> None:
        cell_of(book, "stations", "id", 1).value = "####"

    found = problems_of(changed(filled, rename))
    # one fault for the unknown column and one for the missing one; what names stations can't be checked and isn't told
    assert [problem.where for problem in found] == ["plan.xlsx, cell stations!A1", "plan.xlsx, sheet 'stations'"]


def test_renamed_sheet_is_named(filled: Path) -> None:
    def rename(book: Book) -> None:
        book["surveys"].title = "survey"

    found = problems_of(changed(filled, rename))
    assert found[0].where == "plan.xlsx, sheet 'survey'"
    assert "did you mean 'surveys'?" in found[0].hint


def test_sheet_of_what_stands_once_is_needed(filled: Path) -> None:
    def remove(book: Book) -> None:
        del book["plan"]

    assert any("sheet 'plan'" in problem.where and problem.what == "is missing"
               for problem in problems_of(changed(filled, remove)))


BAD_CELLS: dict[str, tuple[str, str, Any, str]] = {
    "class": ("instruments", "accuracy_class", 3, "must be at most 2"),
    "kind": ("stations", "kind", "sound", "unknown word"),
    "number": ("stations", "interval_s", "five minutes", "must be a number"),
    "date": ("surveys", "before", "soon", "must be a date"),
    "truth": ("stations", "per_axis", "perhaps", "must be true or false"),
    "clock": ("activities", "starts", "eight", "no clock time"),
    "reference": ("levels", "criterion", "nois", "isn't among the criteria"),
    "error": ("stations", "interval_s", "#DIV/0!", "holds the error"),
    "list of numbers": ("levels", "alarm_windows_s", "900; often", "must be a number"),
}


@pytest.mark.parametrize("fault", BAD_CELLS)
def test_fault_is_named_by_its_cell(fault: str, filled: Path) -> None:
    sheet, column, value, what = BAD_CELLS[fault]
    place = ""

    def spoil(book: Book) -> None:
        nonlocal place
        cell = cell_of(book, sheet, column, 2)
        cell.value = value
        place = f"cell {sheet}!{cell.coordinate}"

    found = [problem for problem in problems_of(changed(filled, spoil)) if place in problem.where]
    assert found, "no problem names the cell"
    assert what in found[0].what


def test_key_that_stands_twice_or_is_unknown_is_named_by_its_cell(filled: Path) -> None:
    def spoil(book: Book) -> None:
        row = row_of(book, "weather", "rain")
        book["plan"].cell(row=row, column=2).value = "max_wind_m_s"
        book["plan"].cell(row=row_of(book, "clock", "stamps"), column=2).value = "stamp_kind"
        book["plan"].cell(row=row_of(book, "data", "when_down"), column=1).value = "dta"

    found = {problem.what: problem.where for problem in problems_of(changed(filled, spoil))}
    assert any(what == "'weather.max_wind_m_s' stands twice" and "plan!B" in where for what, where in found.items())
    assert any(what.startswith("unknown key 'stamp_kind'") and "plan!B" in where for what, where in found.items())
    assert any(what == "unknown table 'dta'" and "plan!A" in where for what, where in found.items())


def test_formula_without_a_saved_value_is_not_taken_for_an_empty_cell(filled: Path) -> None:
    def spoil(book: Book) -> None:
        cell_of(book, "levels", "alert", 2).value = "=0.5*10"

    found = problems_of(changed(filled, spoil))
    assert [(problem.where, problem.what) for problem in found] == [
        ("plan.xlsx, cell levels!C2", "holds a formula without a saved value")]


def test_cells_say_the_same_in_the_forms_that_spreadsheets_use(filled: Path) -> None:
    from datetime import datetime, time

    def retype(book: Book) -> None:
        cell_of(book, "activities", "starts", 2).value = time(8, 0)
        cell_of(book, "surveys", "before", 2).value = datetime(2027, 2, 1)
        cell_of(book, "surveys", "before", 3).value = "2027-02-02"
        cell_of(book, "instruments", "accuracy_class", 2).value = 1.0
        cell_of(book, "stations", "axes", 3).value = "x;y ; z"
        cell_of(book, "stations", "per_axis", 3).value = True
        book["plan"].cell(row=row_of(book, "complaints", "hotline"), column=3).value = 441234567

    plan = read_plan(changed(filled, retype))
    assert plan.activities[0].starts == "08:00"
    assert plan.surveys == sound().surveys
    assert plan.instruments[0].accuracy_class == 1
    assert plan.stations[1].axes == ("x", "y", "z")
    assert plan.complaints.hotline == "441234567"


def test_cell_with_blanks_alone_is_empty(filled: Path) -> None:
    def blank(book: Book) -> None:
        cell_of(book, "stations", "photo", 2).value = "   "
        cell_of(book, "stations", "receptor", 2).value = " H1 "

    plan = read_plan(changed(filled, blank))
    assert plan.stations[0].photo is None
    assert plan.stations[0].receptor == "H1"


def test_text_with_a_separator_survives(tmp_path: Path) -> None:
    plan = sound(lambda data: data["stop_work"].update(works=["piles; all of them"], restart_evidence=["a; b", "c"]))
    assert read_plan(write_template(tmp_path / "plan.xlsx", plan)).stop_work == plan.stop_work


def test_audit_of_a_spreadsheet_names_cells(filled: Path) -> None:
    def spoil(book: Book) -> None:
        cell_of(book, "levels", "alert", 2).value = 64.0
        cell_of(book, "stations", "x", 2).value = 524900.0
        book["plan"].cell(row=row_of(book, "stop_work", "ordered_by"), column=3).value = None

    report = audit(read_plan(changed(filled, spoil)))
    assert report["M20"].evidence[0].where == "plan.xlsx, cell levels!C2, levels[1].alert (noise)"
    assert report["M07"].evidence[0].where.startswith("plan.xlsx, cell stations!D2, stations[1].x")
    assert report["M25"].outcome == "not_stated"
    assert "plan.xlsx, cell plan!C" in report["M25"].evidence[0].where


def test_file_that_is_no_spreadsheet_is_told(tmp_path: Path) -> None:
    (tmp_path / "plan.xlsx").write_bytes(b"not a workbook")
    assert "can't be opened as a spreadsheet" in problems_of(tmp_path / "plan.xlsx")[0].what


def test_missing_reader_is_told_with_its_remedy(filled: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "openpyxl", None)
    with pytest.raises(ModuleNotFoundError):
        importlib.import_module("openpyxl")
    with pytest.raises(EnvpredictError, match="pip install openpyxl"):
        read_plan(filled)
