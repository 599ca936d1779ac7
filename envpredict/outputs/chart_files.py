"""charts: the pictures of a run as files, each as SVG and as PNG."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from envpredict.outputs.charts import charts
from envpredict.outputs.registry import output

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment

NAME = "charts"


@output(NAME, "a folder of charts, each as SVG and PNG: site plan, maps by method, levels against distance, days")
def write(assessment: Assessment, path: Path) -> None:
    """Write every chart of the run into a new folder."""
    path.mkdir()
    for chart in charts(assessment):
        (path / f"{chart.id}.svg").write_bytes(chart.svg)
        (path / f"{chart.id}.png").write_bytes(chart.png)
