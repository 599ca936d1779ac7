"""The parts of a plan drawing: shapes, frame, scale bar, north arrow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray

from envpredict.outputs.charts.style import INK, MUTED, panel

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MANY_SHAPES = 3000
"""From this many shapes on a layer is drawn as pixels inside the SVG, which would grow too large otherwise."""
MARGIN = 0.06
LEAST_ASPECT, MOST_ASPECT = 0.45, 1.25
Shapes = NDArray[np.object_]


@dataclass(frozen=True, slots=True)
class Extent:
    """What a plan shows, in the scenario's metres."""

    x0: float
    y0: float
    x1: float
    y1: float

    @property
    def aspect(self) -> float:
        """Return height over width."""
        return (self.y1 - self.y0) / (self.x1 - self.x0)


def extent_of(layers: Sequence[Any]) -> Extent:
    """Return the extent of layers with a margin, widened where it would be too flat or too tall for a page."""
    bounds = np.array([layer.total_bounds for layer in layers if len(layer)])
    x0, y0 = bounds[:, 0].min(), bounds[:, 1].min()
    x1, y1 = bounds[:, 2].max(), bounds[:, 3].max()
    size = max(x1 - x0, y1 - y0, 1.0) * MARGIN
    x0, y0, x1, y1 = x0 - size, y0 - size, x1 + size, y1 + size
    width, height = x1 - x0, y1 - y0
    lift = max(0.0, LEAST_ASPECT * width - height) / 2.0
    widen = max(0.0, height / MOST_ASPECT - width) / 2.0
    return Extent(x0 - widen, y0 - lift, x1 + widen, y1 + lift)


def plan_panel(drawn: Figure, left_mm: float, top_mm: float, width_mm: float, extent: Extent) -> Axes:
    """Return axes that show an extent at a true scale."""
    axes = panel(drawn, left_mm, top_mm, width_mm, width_mm * extent.aspect)
    axes.set_xlim(extent.x0, extent.x1)
    axes.set_ylim(extent.y0, extent.y1)
    axes.set_xticks([])
    axes.set_yticks([])
    return axes


def areas(axes: Axes, shapes: Shapes, **look: Any) -> None:
    """Draw the polygons among the shapes, holes left open."""
    from matplotlib.collections import PathCollection

    paths = [_path(shape) for shape in shapes if shape is not None and shapely.get_dimensions(shape) == 2]
    if paths:
        axes.add_collection(PathCollection(paths, rasterized=len(paths) > MANY_SHAPES, **look), autolim=False)


def _path(shape: Any) -> Any:
    from matplotlib.path import Path

    pieces = [part for part in shapely.get_parts(shape) if shapely.get_dimensions(part) == 2]
    rings = [shapely.get_coordinates(ring) for part in pieces for ring in (part.exterior, *part.interiors)]
    codes = np.full(sum(map(len, rings)), Path.LINETO, dtype=Path.code_type)
    ends = np.cumsum([len(ring) for ring in rings])
    codes[ends - 1] = Path.CLOSEPOLY
    codes[ends - [len(ring) for ring in rings]] = Path.MOVETO
    return Path(np.concatenate(rings), codes)


def lines(axes: Axes, shapes: Shapes, **look: Any) -> None:
    """Draw the lines among the shapes; of polygons nothing is drawn."""
    from matplotlib.collections import LineCollection

    parts = [part for shape in shapes if shape is not None and shapely.get_dimensions(shape) == 1
             for part in shapely.get_parts(shape)]
    if parts:
        paths = [shapely.get_coordinates(part) for part in parts]
        axes.add_collection(LineCollection(paths, rasterized=len(paths) > MANY_SHAPES, **look), autolim=False)


def outlines(axes: Axes, shapes: Shapes, **look: Any) -> None:
    """Draw the outlines of polygons as lines."""
    lines(axes, shapely.boundary(np.asarray(shapes, dtype=object)), **look)


def anchors(shapes: Shapes, works: Any) -> NDArray[np.float64]:
    """Return (N, 2) where each shape's mark stands: inside an area, else at the point nearest to the works."""
    inside = shapely.get_dimensions(shapes) == 2
    points = np.empty(len(shapes), dtype=object)
    points[inside] = shapely.point_on_surface(shapes[inside])
    points[~inside] = shapely.get_point(shapely.shortest_line(shapes[~inside], works), 0)
    return np.asarray(shapely.get_coordinates(points), dtype=float)


def nice_length(metres: float) -> float:
    """Return the largest of 1, 2, 5, 10, 20, 50 ... that isn't longer than `metres`."""
    power = 10.0 ** np.floor(np.log10(metres))
    return float(max(step * power for step in (1.0, 2.0, 5.0) if step * power <= metres * (1.0 + 1e-9)))


def scale_bar(axes: Axes, extent: Extent) -> None:
    """Draw a bar of a round length at the lower left."""
    width, height = extent.x1 - extent.x0, extent.y1 - extent.y0
    length = nice_length(width * 0.25)
    x, y, thick = extent.x0 + 0.03 * width, extent.y0 + 0.035 * height, 0.012 * height
    from matplotlib.patches import Rectangle

    for part, colour in ((0.0, INK), (0.5, "#ffffff")):
        axes.add_patch(Rectangle((x + part * length, y), length / 2.0, thick, facecolor=colour, edgecolor=INK,
                                 linewidth=0.6, zorder=9))
    for part, text in ((0.0, "0"), (1.0, f"{length:g} m")):
        axes.text(x + part * length, y + 1.6 * thick, text, ha="center", va="bottom", fontsize=6.5, zorder=9,
                  bbox={"facecolor": "#ffffff", "edgecolor": "none", "pad": 0.4})


def north_arrow(axes: Axes, extent: Extent) -> None:
    """Draw an arrow to grid north at the upper right."""
    width, height = extent.x1 - extent.x0, extent.y1 - extent.y0
    x, top, size = extent.x1 - 0.04 * width, extent.y1 - 0.04 * height, 0.06 * width
    axes.fill([x, x - 0.25 * size, x, x + 0.25 * size], [top, top - size, top - 0.75 * size, top - size], facecolor=INK,
              edgecolor=INK, linewidth=0.5, zorder=9)
    axes.text(x, top - 1.08 * size, "N", ha="center", va="top", fontsize=7, fontweight="bold", zorder=9)


def frame(axes: Axes) -> None:
    """Give a plan a thin frame."""
    for spine in axes.spines.values():
        spine.set_color(MUTED)
        spine.set_linewidth(0.6)
