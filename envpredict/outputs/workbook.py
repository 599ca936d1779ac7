"""workbook.xlsx: the findings and all that stands behind them as sheets; values only, no formula and no link."""

from __future__ import annotations

import io
from datetime import datetime
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any

from envpredict.core.cautions import SCREENING
from envpredict.outputs.findings_file import findings_file
from envpredict.outputs.plain_sheet import PlainSheet
from envpredict.outputs.registry import output
from envpredict.outputs.sheets import MOST_ROWS, Sheet, sheets
from envpredict.outputs.view import view

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment

NAME = "workbook.xlsx"
STAMP = datetime(2000, 1, 1)
"""The one date inside the file; a spreadsheet's dates know no time zone."""
MANY_ROWS = 60_000
"""From this many findings on, sheets are packed from files instead of memory."""


def _left_out(assessment: Assessment) -> list[str]:
    """Return which sheets end before their rows do; those of receptors and methods are the first to grow."""
    findings = assessment.findings
    keys = ["receptor", "method", "effect"]
    rows = {"Findings": len(findings)}
    if len(findings) > MOST_ROWS:    # the others can't hold more rows than findings
        rows |= {"By effect": len(findings[keys].drop_duplicates()),
                 "Governing": len(findings[keys[:2]].drop_duplicates())}
    return [f"The sheet {name} ends after {MOST_ROWS} of {count} rows; {findings_file(assessment)} holds every finding."
            for name, count in rows.items() if count > MOST_ROWS]


@output(NAME, "sheets: governing findings, all findings, receptors, programme, methods, limits, sources, notes",
        left_out=_left_out)
def write(assessment: Assessment, path: Path) -> None:
    """Write the workbook; its dates are fixed, so that equal inputs give equal contents. Raises OSError."""
    import xlsxwriter
    from xlsxwriter.exceptions import XlsxWriterException

    # packed in memory: a zip file that can't be closed, on a full disk, tries again later and tells it as a traceback
    packed = io.BytesIO()
    options = {"in_memory": len(assessment.findings) <= MANY_ROWS, "tmpdir": str(path.parent)}
    try:
        with xlsxwriter.Workbook(packed, options) as book:
            book.set_properties({"title": assessment.scenario.title[:200], "author": "envpredict", "created": STAMP,
                                 "comments": SCREENING})
            head = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bg_color": "#E9ECEE",
                                    "bottom": 1})
            for sheet in sheets(view(assessment)):
                _write_sheet(book, sheet, head, str(path.parent))
    except XlsxWriterException as error:
        raise OSError(str(error)) from error
    path.write_bytes(packed.getbuffer())


def _write_sheet(book: Any, sheet: Sheet, head: Any, folder: str) -> None:
    page = book.add_worksheet(sheet.name, PlainSheet)
    for number, column in enumerate(sheet.columns):
        page.set_column(number, number, column.width)
        page.write_string(0, number, column.head, head)
    rows = sheet.rows
    if sheet.total > MOST_ROWS:
        more = f"{sheet.total - MOST_ROWS} more rows stand in {sheet.rest}"
        rows = chain(rows, [(more, *[None] * (len(sheet.columns) - 1))])
    count = page.write_plain(rows, len(sheet.columns), folder)
    page.freeze_panes(1, sheet.frozen)
    page.autofilter(0, 0, max(min(count, MOST_ROWS), 1), len(sheet.columns) - 1)
    page.set_landscape()
    page.set_paper(9)   # A4
    page.repeat_rows(0)
    page.fit_to_pages(1, 0)
