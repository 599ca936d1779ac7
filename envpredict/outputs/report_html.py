"""report.html: the permit report as one page that needs no network."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from envpredict.outputs.registry import output

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment

NAME = "report.html"


def _left_out(assessment: Assessment) -> list[str]:
    from envpredict.outputs.report.size import left_out

    return left_out(assessment)


@output(NAME, "the permit report as one page", left_out=_left_out)
def write(assessment: Assessment, path: Path) -> None:
    """Write the report as a self-contained page."""
    from envpredict.outputs.report import build
    from envpredict.outputs.report.html import page

    path.write_text(page(build(assessment)), encoding="utf-8")
