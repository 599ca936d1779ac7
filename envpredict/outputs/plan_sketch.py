"""Draws where the stations and the receptors of a monitoring plan stand."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from envpredict.outputs.charts.site import Extent, frame, lines, north_arrow, plan_panel, scale_bar
from envpredict.outputs.charts.style import INK, MM, MUTED, PNG_DPI, WIDTH_MM, figure, our_style

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from envpredict.monitoring.plan_schema import Plan

LOOKS: dict[str, tuple[str, str, str]] = {
    "noise": ("o", "#1d4763", "noise"), "vibration": ("^", "#7c1d54", "vibration"),
    "movement": ("s", "#8a6d0b", "movement"),
}
"""Marker, colour and name of each kind of station; told apart by shape in grey print."""
CHARACTER_MM, LINE_MM = 1.3, 3.0
"""Room that a label needs, per character and in height."""


@dataclass(frozen=True, slots=True)
class Drawing:
    """A finished drawing with what it shows in words."""

    svg: str
    png: bytes
    alt: str
    width_mm: float


def station_drawing(plan: Plan) -> Drawing:
    """Return the drawing of a plan's stations, true to scale, north up. Raises ValueError if none has a position."""
    placed = [station for station in plan.stations if station.x is not None and station.y is not None]
    if not placed:
        raise ValueError("no station has a position")
    receptors = [(row.x, row.y, row.id) for row in plan.receptors if row.x is not None and row.y is not None]
    points = [(float(one.x or 0.0), float(one.y or 0.0)) for one in placed] + [(x, y) for x, y, _ in receptors]
    if plan.works.line is not None:
        points += [(float(x), float(y)) for x, y in shapely.get_coordinates(shapely.from_wkt(plan.works.line))]
    extent = _extent(points)
    with our_style():
        drawn = figure(WIDTH_MM * extent.aspect + 12.0)
        axes = plan_panel(drawn, 2.0, 2.0, WIDTH_MM - 4.0, extent)
        if plan.works.line is not None:
            lines(axes, np.array([shapely.from_wkt(plan.works.line)], dtype=object), color=INK, linewidth=2.0,
                  label="line of the works")
        if receptors:
            axes.plot([x for x, _, _ in receptors], [y for _, y, _ in receptors], "+", color=MUTED, markersize=4,
                      label="receptor, its part nearest to the works")
        for kind, (marker, colour, name) in LOOKS.items():
            mine = [station for station in placed if station.kind == kind]
            if mine:
                at = np.array([(one.x, one.y) for one in mine], dtype=float)
                axes.plot(at[:, 0], at[:, 1], marker, color=colour, markersize=5, markerfacecolor="#ffffff",
                          label=f"{name} station ({len(mine)})")
        _labels(axes, plan, extent)
        scale_bar(axes, extent)
        north_arrow(axes, extent)
        frame(axes)
        axes.legend(loc="upper left", bbox_to_anchor=(0.0, -0.01), ncols=4, fontsize=6.5)
        svg, png = io.BytesIO(), io.BytesIO()
        drawn.savefig(svg, format="svg", metadata={"Date": None, "Creator": None})
        drawn.savefig(png, format="png", dpi=PNG_DPI, metadata={"Software": None})
        width = float(drawn.get_size_inches()[0]) / MM
    text = svg.getvalue().decode("utf-8")
    alt = f"Plan of {len(placed)} stations and {len(receptors)} receptors, north up, with a scale bar"
    return Drawing(text[text.index("<svg"):], png.getvalue(), alt, width)


def _extent(points: list[tuple[float, float]]) -> Extent:
    """Return an extent around the points with a margin, not too flat or tall for a page."""
    xs, ys = [x for x, _ in points], [y for _, y in points]
    width, height = max(max(xs) - min(xs), 20.0), max(max(ys) - min(ys), 20.0)
    width, height = max(width, height / 1.2) * 1.15, max(height, width * 0.45) * 1.15
    x, y = (max(xs) + min(xs)) / 2, (max(ys) + min(ys)) / 2
    return Extent(x - width / 2, y - height / 2, x + width / 2, y + height / 2)


def _labels(axes: Axes, plan: Plan, extent: Extent) -> None:
    """Label each place once with the first of the stations there; a label that would cover another is left out."""
    at: dict[tuple[float, float], list[str]] = {}
    for station in plan.stations:
        if station.x is not None and station.y is not None:
            at.setdefault((round(station.x, 1), round(station.y, 1)), []).append(station.id)
    metres_per_mm = (extent.x1 - extent.x0) / WIDTH_MM
    taken: list[tuple[float, float, float, float]] = []
    for (x, y), names in at.items():
        short = names[0] if len(names) == 1 else f"{names[0]} +{len(names) - 1}"
        box = (x, y, x + CHARACTER_MM * (len(short) + 2) * metres_per_mm, y + LINE_MM * metres_per_mm)
        if any(box[0] < b[2] and b[0] < box[2] and box[1] < b[3] and b[1] < box[3] for b in taken):
            continue
        taken.append(box)
        axes.annotate(short, (x, y), xytext=(4, 3), textcoords="offset points", fontsize=6, color=INK)
