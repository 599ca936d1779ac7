"""Draws every chart of a run once, as SVG and PNG."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from envpredict.outputs.charts import days, levels, maps, methods, site_law, unknowns
from envpredict.outputs.charts.sketch import Sketch
from envpredict.outputs.charts.style import MM, PNG_DPI, our_style
from envpredict.outputs.once import once
from envpredict.outputs.texts import clean
from envpredict.outputs.view import View, comparable, view

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment


def _tradeoffs(view: View) -> Iterable[Sketch]:
    """Draw the candidates side by side, where the run kept what that needs."""
    # it draws with what this module finishes, so it's looked up when it's asked for
    from envpredict.outputs.comparison_chart import tradeoffs

    return tradeoffs(view) if comparable(view.assessment) and view.effects else ()


DRAWERS: tuple[Callable[[View], Iterable[Sketch]], ...] = (maps.site_plan, methods.compared, _tradeoffs, maps.risk_maps,
                                                           levels.against_distance, site_law.trial_records,
                                                           days.days_above, days.by_day, unknowns.unknowns)
"""What is drawn, in the order of the report."""


@dataclass(frozen=True, slots=True)
class Chart:
    """A finished picture: `id` is its file's stem, `alt` says in words what it shows."""

    id: str
    title: str
    caption: str
    alt: str
    svg: bytes
    png: bytes
    width_mm: float
    height_mm: float


def finished(sketch: Sketch) -> Chart:
    """Return a sketch as SVG and PNG; neither holds a date or a program's name, so equal inputs give equal bytes."""
    svg, png = io.BytesIO(), io.BytesIO()
    sketch.figure.savefig(svg, format="svg", metadata={"Date": None, "Creator": None})
    sketch.figure.savefig(png, format="png", dpi=PNG_DPI, metadata={"Software": None},
                          pil_kwargs={"compress_level": 3})
    width, height = sketch.figure.get_size_inches() / MM
    return Chart(sketch.id, sketch.title, sketch.caption, clean(sketch.alt, None), svg.getvalue(), png.getvalue(),
                 float(width), float(height))


def charts(assessment: Assessment) -> tuple[Chart, ...]:
    """Return the charts of a run, drawn at the first call."""
    return once(assessment, _drawn)


def _drawn(assessment: Assessment) -> tuple[Chart, ...]:
    seen = view(assessment)
    with our_style():
        return tuple(finished(sketch) for drawer in DRAWERS for sketch in drawer(seen))
