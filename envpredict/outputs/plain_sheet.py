"""A worksheet whose rows are plain values, written straight from tuples: many cells in a fraction of the time.

xlsxwriter keeps and checks every cell as an object of its own, which costs most of a workbook. Here it writes all but
the plain rows: heads, styles, shared texts, filters, the package.
"""

from __future__ import annotations

import math
import shutil
import tempfile
from collections.abc import Callable, Iterable
from typing import Any

from xlsxwriter.utility import xl_col_to_name
from xlsxwriter.worksheet import Worksheet

LONGEST_TEXT = 32_767
"""The characters that a cell can hold."""
MOST_IN_MEMORY = 64_000_000
"""Characters of a sheet's rows beyond which they wait on the disk."""


class PlainSheet(Worksheet):  # type: ignore[misc]
    """A worksheet with formatted cells in its first row and plain values, of any number of rows, below."""

    def write_plain(self, rows: Iterable[tuple[Any, ...]], columns: int, folder: str) -> int:
        """Set the rows below the first one, tuples of text, numbers, truths or None, and return how many there are.

        Many rows wait in a file without a name in `folder`. Raises OSError if that can't be written.
        """
        # the texts are numbered now, since their table is closed before the sheets are written
        self._plain = tempfile.SpooledTemporaryFile(     # noqa: SIM115 - closed when it's copied into the sheet
            MOST_IN_MEMORY, "w+", encoding="utf-8", newline="", dir=folder)
        write, text = self._plain.write, self.str_table._get_shared_string_index
        names = [xl_col_to_name(number) for number in range(columns)]
        number = 1
        for number, cells in enumerate(rows, 2):
            inside = "".join([_cell(f"{name}{number}", value, text) for name, value in zip(names, cells, strict=True)
                              if value is not None and value != ""])
            write(f'<row r="{number}">{inside}</row>')
        if number > 1:
            self._check_dimensions(number - 1, columns - 1)
        return number - 1

    def _write_rows(self) -> None:
        """Write the first row as xlsxwriter does, then the plain ones."""
        sheet: Any = self
        last, sheet.dim_rowmax = sheet.dim_rowmax, sheet.dim_rowmin
        super()._write_rows()
        sheet.dim_rowmax = last
        with self._plain as plain:
            plain.seek(0)
            shutil.copyfileobj(plain, self.fh)


def _cell(place: str, value: Any, text: Callable[[str], int]) -> str:
    """Return a cell by its value's own type: text is never read as a formula, a link or a number."""
    if isinstance(value, float):
        if math.isfinite(value):
            return f'<c r="{place}"><v>{value!r}</v></c>'
        if math.isnan(value):
            return ""
        value = "infinite" if value > 0 else "-infinite"
    elif isinstance(value, bool):
        return f'<c r="{place}" t="b"><v>{int(value)}</v></c>'
    elif isinstance(value, int):
        return f'<c r="{place}"><v>{value}</v></c>'
    return f'<c r="{place}" t="s"><v>{text(str(value)[:LONGEST_TEXT])}</v></c>'
