"""The plan of the site, and one small map per method with the likelihood at every receptor."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray

from envpredict.engine.govern import governing
from envpredict.engine.results import SEVERITY
from envpredict.outputs.charts import site
from envpredict.outputs.charts.sketch import Sketch
from envpredict.outputs.charts.style import (
    FAINT,
    INK,
    MARKERS,
    MUTED,
    WIDTH_MM,
    edge,
    figure,
    fill,
    shortened,
    tint,
    titled,
)
from envpredict.outputs.drafted import drafted, places
from envpredict.outputs.map.style import WORDS
from envpredict.outputs.view import View, counts

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_LABELS = 80
LABEL_ROW_MM = 2.4
STATION_MM = 3.0
PANELS_PER_FIGURE = 6
GAP_MM = 4.0
TITLE_MM = 6.0
LEGEND_MM = 8.0
PLAN_LEGEND_MM = 10.0
MOST_IN_ROW = 6
WATER = "#dfe7ee"
STATION: Any = [(0.0, 0.0), (-0.55, 1.0), (0.55, 1.0), (0.0, 0.0)]
"""An open wedge whose tip stands on the position, as on the risk map."""


class _Site:
    """The shapes that every plan of a run shares."""

    def __init__(self, view: View) -> None:
        scenario = view.assessment.scenario
        receptors = view.assessment.receptors
        shown = ~view.discretion.places
        self.ids = receptors["id"].astype(str).to_numpy()
        self.shown = shown
        self.shapes: NDArray[Any] = np.array(receptors.geometry.values, dtype=object)
        self.shapes[~shown] = None
        self.piles = np.column_stack([scenario.piles.geometry.x, scenario.piles.geometry.y])
        works = shapely.multipoints(self.piles)
        self.anchors = np.full((len(receptors), 2), np.nan)
        self.anchors[shown] = site.anchors(self.shapes[shown], works)
        self.wall = np.asarray(scenario.wall.geometry.values, dtype=object)
        self.boundary = _values(scenario.boundary)
        self.obstacles = _values(scenario.obstacles)
        constraints = scenario.constraints
        self.water = _values(None if constraints is None else constraints[constraints["kind"] == "over_water"])
        self.sections = _texts(scenario.wall, "section")
        self.stations = places(drafted(view.assessment), view.hidden_places())
        self.strata = scenario.strata
        self.crs = scenario.crs.to_string()
        self.extent = site.extent_of([receptors[shown], scenario.piles,
                                      *([] if scenario.boundary is None else [scenario.boundary])])

    def on_paper_mm(self, x: float, y: float) -> tuple[float, float]:
        """Return where a point lies on paper, in mm from the lower left of a plan as wide as the text."""
        width_mm = WIDTH_MM / (self.extent.x1 - self.extent.x0)
        return (x - self.extent.x0) * width_mm, (y - self.extent.y0) * width_mm

    def background(self, axes: Axes) -> None:
        """Draw what lies under the receptors, and the works."""
        site.areas(axes, self.water, facecolor=WATER, edgecolor="none", zorder=0)
        site.outlines(axes, self.boundary, colors=INK, linewidths=0.7, linestyles=(0, (6, 2, 1, 2)), zorder=3)
        site.lines(axes, self.wall, colors=INK, linewidths=2.2, zorder=6)


def _values(layer: Any) -> NDArray[Any]:
    empty: NDArray[Any] = np.zeros(0, dtype=object)
    return empty if layer is None else np.asarray(layer.geometry.values, dtype=object)


def _texts(layer: Any, column: str) -> list[str]:
    return [str(text) for text in layer[column]] if column in layer else [""] * len(layer)


def site_plan(view: View) -> Iterable[Sketch]:
    """Draw the plan to scale: wall sections, piles, boundary, named receptors, obstacles, boreholes, stations."""
    here = _Site(view)
    height = WIDTH_MM * here.extent.aspect
    drawn = figure(height + PLAN_LEGEND_MM)
    axes = site.plan_panel(drawn, 0.3, 0.3, WIDTH_MM - 0.6, here.extent)
    here.background(axes)
    axes.plot(here.piles[:, 0], here.piles[:, 1], "o", color="#ffffff", markeredgecolor=INK, markeredgewidth=0.3,
              markersize=1.5, zorder=7, rasterized=len(here.piles) > site.MANY_SHAPES)
    site.areas(axes, here.shapes, facecolor="#eceef0", edgecolor=MUTED, linewidth=0.5, zorder=2)
    site.lines(axes, here.shapes, colors=MUTED, linewidths=1.2, zorder=2)
    points = here.anchors[here.shown & (shapely.get_dimensions(here.shapes) == 0)]
    axes.plot(points[:, 0], points[:, 1], "s", color="#eceef0", markeredgecolor=MUTED, markersize=3.5, zorder=2)
    site.outlines(axes, here.obstacles, colors=FAINT, linewidths=0.5, zorder=1)
    site.lines(axes, here.obstacles, colors=INK, linewidths=1.4, linestyles=(0, (1, 1)), zorder=4)
    _boreholes(axes, here)
    _sections(axes, here)
    _stations(axes, here, _labels(axes, here, view.receptors))
    site.scale_bar(axes, here.extent)
    site.north_arrow(axes, here.extent)
    site.frame(axes)
    _plan_legend(axes, here)
    told = " Places of protected habitats are left out." if view.discretion.places.any() else ""
    yield Sketch("site_plan", "Plan of the site",
                 f"Coordinates in {here.crs}; the arrow points to grid north. Identifiers of receptors stand where "
                 "there is room, the most affected first; the table of receptors names all. Measuring positions are "
                 f"those of the drafted monitoring plan: N noise, V vibration, M movement.{told}",
                 f"Plan with {len(here.piles)} piles in {len(here.wall)} wall sections, {int(here.shown.sum())} "
                 f"receptors, {len(here.stations)} measuring positions, boundary, obstacles and boreholes.", drawn)


def _boreholes(axes: Axes, here: _Site) -> None:
    if here.strata is None:
        return
    holes = here.strata.drop_duplicates("borehole")
    axes.plot(holes["x"], holes["y"], "o", color="#ffffff", markeredgecolor=INK, markersize=5, zorder=8)
    axes.plot(holes["x"], holes["y"], "+", color=INK, markersize=5, markeredgewidth=0.8, zorder=8)
    for name, x, y in zip(holes["borehole"].astype(str), holes["x"], holes["y"], strict=True):
        axes.annotate(shortened(name, 12), (x, y), xytext=(0, -4.5), textcoords="offset points", ha="center", va="top",
                      fontsize=6, fontweight="bold", zorder=8)


def _sections(axes: Axes, here: _Site) -> None:
    """Write each section's name once, beside the middle of its longest wall, clear of the boreholes' names."""
    longest = {text: shape for shape, text in sorted(zip(here.wall, here.sections, strict=True),
                                                     key=lambda one: float(shapely.length(one[0]))) if text}
    for text, shape in longest.items():
        middle = shapely.line_interpolate_point(shapely.line_merge(shape), 0.5, normalized=True)
        axes.annotate(f"section {shortened(text, 14)}", (middle.x, middle.y), xytext=(0, -14),
                      textcoords="offset points", ha="center", va="top", fontsize=6.5, fontweight="bold", zorder=8,
                      bbox={"facecolor": "#ffffff", "edgecolor": "none", "pad": 0.5})


def _stations(axes: Axes, here: _Site, taken: list[tuple[float, float, float]]) -> None:
    """Draw the measuring positions as open wedges, with the letters of what is measured there where there is room."""
    if not here.stations:
        return
    axes.plot([one.x for one in here.stations], [one.y for one in here.stations], marker=STATION, color="#ffffff",
              markeredgecolor=INK, markeredgewidth=0.6, markersize=5, linestyle="", zorder=8)
    for one in here.stations:
        x, y = here.on_paper_mm(one.x, one.y)
        if _free(taken, x, y + STATION_MM, 0.6 * len(one.letters)):
            axes.annotate(one.letters, (one.x, one.y), xytext=(0, 6.0), textcoords="offset points", ha="center",
                          va="bottom", fontsize=4.5, zorder=8)


def _free(taken: list[tuple[float, float, float]], x: float, y: float, half: float) -> bool:
    """Take a text's room on paper (mm, half its width) unless another text covers it; return whether it was free."""
    if any(abs(x - there) < half + wide and abs(y - up) < LABEL_ROW_MM for there, up, wide in taken):
        return False
    taken.append((x, y, half))
    return True


def _labels(axes: Axes, here: _Site, order: tuple[str, ...]) -> list[tuple[float, float, float]]:
    """Write identifiers, the most affected receptors first, each only where it covers no other; return their rooms."""
    row = {name: number for number, name in enumerate(here.ids)}
    taken: list[tuple[float, float, float]] = []
    for name in order:
        number = row[name]
        if not here.shown[number] or len(taken) >= MOST_LABELS:
            continue
        text = shortened(name, 14)
        at = [float(part) for part in here.anchors[number]]
        if _free(taken, *here.on_paper_mm(*at), 0.65 * len(text) + 0.4):
            axes.text(at[0], at[1], text, ha="center", va="center", fontsize=5.5, zorder=5)
    return taken


def _plan_legend(axes: Axes, here: _Site) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[Any] = [Line2D([], [], color=INK, linewidth=2.2, label="wall"),
                          Line2D([], [], color="#ffffff", marker="o", markeredgecolor=INK, markersize=3, linestyle="",
                                 label="pile"),
                          Patch(facecolor="#eceef0", edgecolor=MUTED, label="receptor")]
    if len(here.boundary):
        handles.append(Line2D([], [], color=INK, linewidth=0.7, linestyle=(0, (6, 2, 1, 2)), label="site boundary"))
    if len(here.obstacles):
        handles += [Line2D([], [], color=FAINT, linewidth=1.0, label="other building"),
                    Line2D([], [], color=INK, linewidth=1.4, linestyle=(0, (1, 1)), label="screen")]
    if here.strata is not None:
        handles.append(Line2D([], [], color="#ffffff", marker="o", markeredgecolor=INK, markersize=5, linestyle="",
                              label="borehole"))
    if here.stations:
        handles.append(Line2D([], [], color="#ffffff", marker=STATION, markeredgecolor=INK, markersize=5, linestyle="",
                              label="measuring position (draft)"))
    if len(here.water):
        handles.append(Patch(facecolor=WATER, edgecolor="none", label="water"))
    axes.legend(handles=handles, loc="upper left", bbox_to_anchor=(0.0, -0.01), ncols=MOST_IN_ROW, columnspacing=1.4,
                handlelength=2.2, borderaxespad=0.0)


def risk_maps(view: View) -> Iterable[Sketch]:
    """Draw one map per method: every receptor with its most severe likelihood over all effects."""
    here = _Site(view)
    pages = [view.methods[start:start + PANELS_PER_FIGURE] for start in range(0, len(view.methods), PANELS_PER_FIGURE)]
    for number, methods in enumerate(pages, 1):
        wide = len(methods) == 1
        columns = 1 if wide else 2
        width = WIDTH_MM - 0.6 if wide else (WIDTH_MM - GAP_MM) / 2.0
        each = width * here.extent.aspect + TITLE_MM + GAP_MM
        drawn = figure(-(-len(methods) // columns) * each + LEGEND_MM)
        for place, method in enumerate(methods):
            axes = site.plan_panel(drawn, 0.3 + (place % columns) * (width + GAP_MM - 0.6),
                                   TITLE_MM + (place // columns) * each, width - 0.3, here.extent)
            _risk_panel(axes, here, view, method, size=5.0 if wide else 3.2)
            titled(axes, shortened(view.title(method), 52), 7.5)
        _risk_legend(drawn)
        more = f" ({number} of {len(pages)})" if len(pages) > 1 else ""
        name = f"risk_maps_{number}" if len(pages) > 1 else "risk_maps"
        yield Sketch(name, f"Likelihood of exceedance by method{more}",
                     "Each receptor under the finding that governs it over all effects: the most severe likelihood. "
                     "Shape, word and tone say the same.", _told(view, methods), drawn)


def _worst(view: View, method: str) -> dict[str, str]:
    rows = governing(view.governing[view.governing["method"] == method], ("receptor",))
    return dict(zip(rows["receptor"].astype(str), rows["likelihood"].astype(str), strict=True))


def _told(view: View, methods: tuple[str, ...]) -> str:
    texts = []
    for method in methods:
        found = counts(governing(view.governing[view.governing["method"] == method], ("receptor",)))
        spoken = ", ".join(f"{number} {WORDS[word]}" for word, number in found.items() if number)
        texts.append(f"{method}: {spoken}")
    return "; ".join(texts)


def _risk_panel(axes: Axes, here: _Site, view: View, method: str, size: float) -> None:
    here.background(axes)
    word_of = _worst(view, method)
    words = np.array([word_of.get(name, "") for name in here.ids])
    site.areas(axes, here.shapes[here.shown & (words == "")], facecolor="#ffffff", edgecolor=FAINT, linewidth=0.3)
    for rank, word in enumerate(SEVERITY):
        chosen = here.shown & (words == word)
        site.areas(axes, here.shapes[chosen], facecolor=tint(word), edgecolor=edge(word), linewidth=0.3, zorder=2)
        site.lines(axes, here.shapes[chosen], colors=edge(word), linewidths=1.2, zorder=2)
        axes.plot(here.anchors[chosen, 0], here.anchors[chosen, 1], MARKERS[word], color=fill(word),
                  markeredgecolor=edge(word), markeredgewidth=0.5, markersize=size, zorder=4 + 0.1 * rank,
                  rasterized=bool(chosen.sum() > site.MANY_SHAPES))
    site.scale_bar(axes, here.extent)
    site.north_arrow(axes, here.extent)
    site.frame(axes)


def _risk_legend(drawn: Any) -> None:
    from matplotlib.lines import Line2D

    handles = [Line2D([], [], linestyle="", marker=MARKERS[word], color=fill(word), markeredgecolor=edge(word),
                      markersize=5, label=WORDS[word]) for word in reversed(SEVERITY)]
    drawn.legend(handles=handles, loc="lower center", ncols=len(handles), columnspacing=1.4, borderaxespad=0.2)
