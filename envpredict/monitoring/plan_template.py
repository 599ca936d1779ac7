"""Writes the spreadsheet that a plan can be filled into: every key with its meaning, allowed words to choose from."""

from __future__ import annotations

import io
from collections.abc import Mapping
from datetime import date, datetime
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

from envpredict.core.cautions import LOCAL_RULES, SCREENING
from envpredict.monitoring.files import write_whole
from envpredict.monitoring.plan_fields import Part
from envpredict.monitoring.plan_schema import HEAD, LISTS, SECTIONS, Plan, meaning, refers_to
from envpredict.monitoring.plan_sheet import GUIDE_SHEET, HEAD_TABLE, PLAN_COLUMNS, PLAN_SHEET, base_type
from envpredict.monitoring.plan_toml import NEVER_ALONE

ROWS_CHECKED = 500
"""Rows of a list below which the choice of allowed words isn't offered any more."""


def write_template(path: str | Path, plan: Plan | None = None, *, replace: bool = False) -> Path:
    """Write the spreadsheet, empty or filled with a plan, and return its path. Raises OutputFailure."""
    return write_whole(Path(path), template_bytes(plan), replace=replace)


def template_bytes(plan: Plan | None = None) -> bytes:
    """Return the spreadsheet, empty or filled with a plan."""
    import xlsxwriter

    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer, {"in_memory": True, "default_date_format": "yyyy-mm-dd"})
    book.set_properties({"created": datetime(2000, 1, 1)})  # a fixed date: the same plan gives the same file
    formats = {"head": book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"}),
               "text": book.add_format({"text_wrap": True, "valign": "top"}),
               "date": book.add_format({"num_format": "yyyy-mm-dd", "valign": "top"})}
    _guide(book.add_worksheet(GUIDE_SHEET), formats)
    _plan_sheet(book.add_worksheet(PLAN_SHEET), formats, plan)
    for name in LISTS:
        _list_sheet(book.add_worksheet(name), formats, name, plan)
    for sheet in book.worksheets():
        sheet.set_landscape()
        sheet.set_paper(9)  # A4
        sheet.fit_to_pages(1, 0)
    book.close()
    return buffer.getvalue()


def words_of(annotation: Any) -> tuple[str, ...]:
    """Return the words that a key allows, empty where any will do."""
    base, _ = base_type(annotation)
    return tuple(map(str, get_args(base))) if get_origin(base) is Literal else ("yes", "no") if base is bool else ()


def _guide(sheet: Any, formats: Mapping[str, Any]) -> None:
    lines = ["Monitoring plan for pile installation: a spreadsheet to fill in", NEVER_ALONE, SCREENING, LOCAL_RULES,
             f"The sheet '{PLAN_SHEET}' holds what stands once, every other sheet one row for each. Keep the names of "
             "sheets and columns. A cell left empty is not stated. Several entries in one cell are parted by ; or line "
             "breaks. Clock times are HH:MM, dates are dates, x and y are metres in the plan's crs."]
    sheet.set_column(0, 1, 20)
    sheet.set_column(2, 2, 90)
    sheet.set_column(3, 3, 45)
    for row, text in enumerate(lines):
        sheet.merge_range(row, 0, row, 3, text, formats["head" if row == 0 else "text"])
        sheet.set_row(row, 18 if row == 0 else 34)
    first = len(lines) + 1
    for column, title in enumerate(("sheet", "column or key", "meaning", "allowed words; rows it names")):
        sheet.write_string(first, column, title, formats["head"])
    tables: list[tuple[str, type[Part], tuple[str, ...]]] = [(PLAN_SHEET, Plan, HEAD)]
    tables += [(f"{PLAN_SHEET}: {name}", part, tuple(part.model_fields)) for name, part in SECTIONS.items()]
    tables += [(name, row, tuple(row.model_fields)) for name, row in LISTS.items()]
    row = first
    for name, part, keys in tables:
        for key in keys:
            row += 1
            target = refers_to(part, key)
            also = [", ".join(words_of(part.model_fields[key].annotation)), f"an entry of {target}" if target else ""]
            needed = " (needed)" if part.model_fields[key].is_required() else ""
            cells = (name, key, f"{part.model_fields[key].description}{needed}", "; ".join(filter(None, also)))
            for column, text in enumerate(cells):
                sheet.write_string(row, column, text, formats["text"])
    sheet.freeze_panes(first + 1, 0)


def _plan_sheet(sheet: Any, formats: Mapping[str, Any], plan: Plan | None) -> None:
    sheet.set_column(0, 1, 22)
    sheet.set_column(2, 2, 50)
    sheet.set_column(3, 3, 90)
    for column, title in enumerate(PLAN_COLUMNS):
        sheet.write_string(0, column, title, formats["head"])
    entries: list[tuple[str, type[Part], Part | None, str]] = [(HEAD_TABLE, Plan, plan, key) for key in HEAD]
    entries += [(name, part, getattr(plan, name) if plan else None, key)
                for name, part in SECTIONS.items() for key in part.model_fields]
    for row, (table, part, holder, key) in enumerate(entries, 1):
        for column, text in ((0, table), (1, key), (3, str(part.model_fields[key].description))):
            sheet.write_string(row, column, text, formats["text"])
        if holder is not None:
            _write(sheet, row, 2, getattr(holder, key), formats)
        _offer(sheet, part, key, row, row, 2)
    sheet.freeze_panes(1, 0)


def _list_sheet(sheet: Any, formats: Mapping[str, Any], name: str, plan: Plan | None) -> None:
    part = LISTS[name]
    for column, (key, field) in enumerate(part.model_fields.items()):
        sheet.write_string(0, column, key, formats["head"])
        sheet.write_comment(0, column, f"{field.description}", {"author": "", "x_scale": 2})
        sheet.set_column(column, column, max(14, len(key) + 2))
        _offer(sheet, part, key, 1, ROWS_CHECKED, column)
        for row, entry in enumerate(getattr(plan, name) if plan else (), 1):
            _write(sheet, row, column, getattr(entry, key), formats)
    sheet.freeze_panes(1, 1)
    sheet.set_header(f"&L{meaning(name)}".replace("&", "&&").replace("&&L", "&L", 1))


def _offer(sheet: Any, part: type[Part], key: str, first: int, last: int, column: int) -> None:
    """Let a cell's word be chosen from those allowed; a cell that takes several isn't restricted."""
    annotation = part.model_fields[key].annotation
    words = words_of(annotation)
    if words and not base_type(annotation)[1]:
        sheet.data_validation(first, column, last, column, {"validate": "list", "source": list(words)})


def _write(sheet: Any, row: int, column: int, value: Any, formats: Mapping[str, Any]) -> None:
    if value is None or value == ():
        return
    if isinstance(value, tuple):
        joined = "\n".join(map(str, value))
        # a line break tells that a ; inside the text parts nothing
        sheet.write_string(row, column, joined + ("\n" if ";" in joined and len(value) == 1 else ""), formats["text"])
    elif isinstance(value, bool):
        sheet.write_string(row, column, "yes" if value else "no", formats["text"])
    elif isinstance(value, int | float):
        sheet.write_number(row, column, value, formats["text"])
    elif isinstance(value, date):
        sheet.write_datetime(row, column, value, formats["date"])
    else:
        sheet.write_string(row, column, str(value), formats["text"])
