"""workbook.xlsx: the findings and all that stands behind them as sheets; values only, no formula and no link."""

from __future__ import annotations

import gc
import io
import math
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from envpredict.core.cautions import SCREENING
from envpredict.outputs.registry import output
from envpredict.outputs.sheets import MOST_ROWS, Sheet, sheets
from envpredict.outputs.view import view

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment

NAME = "workbook.xlsx"
STAMP = datetime(2000, 1, 1)
"""The one date inside the file; a spreadsheet's dates know no time zone."""
LONGEST_TEXT = 32_767
"""The characters that a cell can hold."""
MANY_ROWS = 60_000
"""From this many findings on rows go to the disk as they come, which takes little memory and a larger file."""


@output(NAME, "sheets: governing findings, all findings, receptors, programme, methods, limits, sources, notes")
def write(assessment: Assessment, path: Path) -> None:
    """Write the workbook; its dates are fixed, so that equal inputs give equal contents. Raises OSError."""
    import xlsxwriter
    from xlsxwriter.exceptions import XlsxWriterException

    # packed in memory: a zip file that can't be closed, on a full disk, tries again later and tells it as a traceback
    packed = io.BytesIO()
    many = len(assessment.findings) > MANY_ROWS
    options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False,
               "constant_memory": many, "in_memory": not many, "tmpdir": str(path.parent)}
    try:
        with _without_collector(), xlsxwriter.Workbook(packed, options) as book:
            book.set_properties({"title": assessment.scenario.title[:200], "author": "envpredict", "created": STAMP,
                                 "comments": SCREENING})
            head = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bg_color": "#E9ECEE",
                                    "bottom": 1})
            for sheet in sheets(view(assessment)):
                _write_sheet(book, sheet, head)
    except XlsxWriterException as error:
        raise OSError(str(error)) from error
    path.write_bytes(packed.getbuffer())


@contextmanager
def _without_collector() -> Iterator[None]:
    """Keep the garbage collector still: a workbook is a million small objects without a cycle, a quarter faster so."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _write_sheet(book: Any, sheet: Sheet, head: Any) -> None:
    page = book.add_worksheet(sheet.name)
    for number, column in enumerate(sheet.columns):
        page.set_column(number, number, column.width)
        page.write_string(0, number, column.head, head)
    row = 0
    for row, cells in enumerate(sheet.rows, 1):
        for number, value in enumerate(cells):
            _write_cell(page, row, number, value)
    if sheet.total > MOST_ROWS:
        page.write_string(row + 1, 0, f"{sheet.total - row} more rows stand in {sheet.rest}")
    page.freeze_panes(1, sheet.frozen)
    page.autofilter(0, 0, max(row, 1), len(sheet.columns) - 1)
    page.set_landscape()
    page.set_paper(9)   # A4
    page.repeat_rows(0)
    page.fit_to_pages(1, 0)


def _write_cell(page: Any, row: int, number: int, value: Any) -> None:
    """Write a value by its own type: text is never read as a formula, a link or a number."""
    if isinstance(value, str):
        if value:
            page.write_string(row, number, value[:LONGEST_TEXT])
    elif value is None:
        return
    elif isinstance(value, bool):
        page.write_boolean(row, number, value)
    elif isinstance(value, int | float):
        if math.isfinite(value):
            page.write_number(row, number, value)
        elif math.isinf(value):
            page.write_string(row, number, "infinite" if value > 0 else "-infinite")
    else:
        page.write_string(row, number, str(value)[:LONGEST_TEXT])
