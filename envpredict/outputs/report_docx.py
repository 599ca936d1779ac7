"""report.docx: the permit report as a Word file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from envpredict.outputs.registry import output

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment

NAME = "report.docx"


def _left_out(assessment: Assessment) -> list[str]:
    from envpredict.outputs.report.size import left_out

    return left_out(assessment)


@output(NAME, "the permit report as a Word file, with the same content as the page",
        left_out=_left_out)
def write(assessment: Assessment, path: Path) -> None:
    """Write the report; dates inside the file are fixed, so that equal inputs give equal contents."""
    from envpredict.outputs.report import build
    from envpredict.outputs.report.docx_file import document_bytes

    path.write_bytes(document_bytes(build(assessment)))
