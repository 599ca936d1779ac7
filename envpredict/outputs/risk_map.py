"""risk_map.html: the self-contained page."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from envpredict.outputs.registry import output

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment

NAME = "risk_map.html"


def _left_out(assessment: Assessment) -> list[str]:
    from envpredict.outputs.map.thin import left_out

    return left_out(assessment)


@output(NAME, "the risk map: one page that needs no network", left_out=_left_out)
def write(assessment: Assessment, path: Path) -> None:
    """Write the page; occupants' names and the places of protected species stay out."""
    from envpredict.outputs.map import render_map

    path.write_text(render_map(assessment), encoding="utf-8")
