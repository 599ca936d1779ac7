"""Levels against distance: every receptor's governing prediction with its scatter, and the limits."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envpredict.core.quantities import QUANTITIES
from envpredict.engine.results import EFFECTS, SEVERITY
from envpredict.outputs.charts.sketch import Sketch
from envpredict.outputs.charts.style import (
    FAINT,
    INK,
    MARKERS,
    MUTED,
    WIDTH_MM,
    bare,
    edge,
    figure,
    fill,
    panel,
    shortened,
    titled,
)
from envpredict.outputs.map.style import WORDS
from envpredict.outputs.view import View

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

Z_90 = 1.6449
"""Standard deviations on either side of the median that hold 90 % of a normal distribution."""
PANELS_PER_FIGURE = 6
LEFT_MM, GAP_MM, TOP_MM, PANEL_MM, BELOW_MM, LEGEND_MM = 13.0, 8.0, 6.5, 48.0, 4.0, 15.0
LEAST_DISTANCE_M = 0.5
LIMITS_SHOWN = 4
Floats = NDArray[np.float64]


def against_distance(view: View) -> Iterable[Sketch]:
    """Draw, per effect, one panel per method: level over plan distance, 5 to 95 % range, limits."""
    for effect in view.effects:
        rows = view.of(effect)
        rows = rows[rows["predicted_median"].notna() & rows["distance_m"].notna()]
        if rows.empty:
            continue
        rows = rows[rows["unit"] == rows["unit"].mode().iloc[0]]
        methods = [name for name in view.methods if (rows["method"] == name).any()]
        pages = [methods[start:start + PANELS_PER_FIGURE] for start in range(0, len(methods), PANELS_PER_FIGURE)]
        for number, names in enumerate(pages, 1):
            yield _page(view, effect, rows, names, (number, len(pages)))


def _said(rows: pd.DataFrame) -> tuple[str, str, bool]:
    """Return what the axis and the caption call the level, and whether it's in decibels."""
    quantities = [QUANTITIES[name] for name in sorted(rows["quantity"].unique())]
    symbol = quantities[0].symbol if len(quantities) == 1 else quantities[0].symbol.split(" (")[0]
    meaning = "; ".join(f"{one.symbol}: {one.meaning}" for one in quantities)
    return symbol, meaning, quantities[0].scale == "decibel"


def _page(view: View, effect: str, rows: pd.DataFrame, methods: list[str], page: tuple[int, int]) -> Sketch:
    symbol, meaning, decibel = _said(rows)
    columns = min(2, len(methods))
    width = (WIDTH_MM - LEFT_MM - 7.0 - (columns - 1) * GAP_MM) / columns
    each = TOP_MM + PANEL_MM + BELOW_MM
    drawn = figure(each * -(-len(methods) // columns) + LEGEND_MM)
    for place, method in enumerate(methods):
        axes = panel(drawn, LEFT_MM + (place % columns) * (width + GAP_MM), TOP_MM + (place // columns) * each, width,
                     PANEL_MM)
        _panel(axes, rows, method, decibel=decibel)
        titled(axes, shortened(view.title(method), 50), 7.0)
        axes.tick_params(labelleft=place % columns == 0, labelbottom=place + columns >= len(methods))
        if place % columns == 0:
            axes.set_ylabel(f"{symbol}, {rows['unit'].iloc[0]}")
            axes.yaxis.set_label_coords(-(LEFT_MM - 4.0) / width, 0.5)
        if place + columns >= len(methods):
            axes.set_xlabel("plan distance to the governing pile, m")
            axes.xaxis.set_label_coords(0.5, -5.5 / PANEL_MM)
    _legend(drawn, sorted(set(rows["likelihood"]), key=SEVERITY.index, reverse=True))
    many = page[1] > 1
    return Sketch(
        f"levels_{effect}" + (f"_{page[0]}" if many else ""),
        f"Level against distance: {EFFECTS[effect]}" + (f" ({page[0]} of {page[1]})" if many else ""),
        "The level where the limit that governs a receptor is judged. Mark: median of the governing pile or slot; bar: "
        f"5 % to 95 % of its scatter; dashed: limits with their values, the {LIMITS_SHOWN} that govern most receptors. "
        f"{meaning}.", _told(rows, methods), drawn)


def _panel(axes: Axes, rows: pd.DataFrame, method: str, *, decibel: bool) -> None:
    mine = rows[rows["method"] == method].sort_values("distance_m", kind="stable")
    distance = _reach(mine)
    low, median, high = _span(mine, decibel)
    many = len(mine) > 3000
    axes.vlines(distance, low, high, colors=FAINT, linewidths=0.8, zorder=2, rasterized=many)
    for word in SEVERITY:
        here = (mine["likelihood"] == word).to_numpy()
        if here.any():
            axes.plot(distance[here], median[here], MARKERS[word], color=fill(word), markeredgecolor=edge(word),
                      markeredgewidth=0.5, markersize=3.4, zorder=4, rasterized=many)
    bare(axes)
    _scales(axes, rows, decibel)
    _limits(axes, mine, decibel=decibel)


def _reach(rows: pd.DataFrame) -> Floats:
    """Return log10 of the distances: logarithms are drawn on plain axes, whose ticks we set, which is much faster."""
    return np.asarray(np.log10(np.maximum(rows["distance_m"].to_numpy(dtype=float), LEAST_DISTANCE_M)))


def _span(rows: pd.DataFrame, decibel: bool) -> tuple[Floats, Floats, Floats]:
    """Return the 5 % points, medians and 95 % points, in dB or log10 units."""
    level = rows["predicted_median"].to_numpy(dtype=float)
    median = level if decibel else np.log10(level)
    spread = Z_90 * rows["scatter"].fillna(0.0).to_numpy(dtype=float)
    return median - spread, median, median + spread


def series(low: float, high: float, steps: tuple[float, ...]) -> list[float]:
    """Return the round numbers (steps times powers of ten) between two powers of ten."""
    powers = range(int(np.floor(low)), int(np.ceil(high)) + 1)
    found = [step * 10.0**power for power in powers for step in steps]
    return [value for value in found if low <= np.log10(value) <= high]


def _scales(axes: Axes, rows: pd.DataFrame, decibel: bool) -> None:
    """Give all panels of an effect the same axes, so that they can be compared."""
    reach = _reach(rows)
    left, right = float(reach.min()) - 0.1, float(reach.max()) + 0.1
    metres = series(left, right, (1.0, 2.0, 5.0))
    axes.set_xlim(left, right)
    axes.set_xticks([float(np.log10(value)) for value in metres], [f"{value:g}" for value in metres])
    low, _, high = _span(rows, decibel)
    limits = rows["limit"].dropna().to_numpy(dtype=float)
    shown = limits if decibel else np.log10(limits)
    bottom, top = float(min([low.min(), *shown])), float(max([high.max(), *shown]))
    if decibel:
        bottom, top = 5.0 * np.floor(bottom / 5.0), 5.0 * np.ceil(top / 5.0) + 1.0
        ticks = np.arange(10.0 * np.ceil(bottom / 10.0), top, 10.0)
        axes.set_yticks(ticks, [f"{value:.0f}" for value in ticks])
    else:
        bottom, top = bottom - 0.15, top + 0.15
        values = series(bottom, top, (1.0,))
        axes.set_yticks([float(np.log10(value)) for value in values], [f"{value:g}" for value in values])
    axes.set_ylim(bottom, top)


def _limits(axes: Axes, mine: pd.DataFrame, *, decibel: bool) -> None:
    """Draw the limits that govern most receptors; of two that lie close together only the first is numbered."""
    found = mine.dropna(subset=["limit"]).groupby("limit").size().sort_values(ascending=False, kind="stable")
    low, high = axes.get_ylim()
    numbered: list[float] = []
    for value in found.index[:LIMITS_SHOWN]:
        place = float(value if decibel else np.log10(value))
        axes.axhline(place, color=INK, linewidth=0.9, linestyle=(0, (4, 2)), zorder=3)
        if all(abs(place - other) > 0.05 * (high - low) for other in numbered):
            numbered.append(place)
            text = f"{value:.0f}" if decibel else f"{value:g}"
            axes.annotate(text, (1.0, place), xycoords=("axes fraction", "data"), xytext=(1.5, 0), ha="left",
                          textcoords="offset points", va="center", fontsize=6, annotation_clip=False)


def _legend(drawn: Any, words: list[str]) -> None:
    from matplotlib.lines import Line2D

    handles = [Line2D([], [], linestyle="", marker=MARKERS[word], color=fill(word), markeredgecolor=edge(word),
                      markersize=4.5, label=WORDS[word]) for word in words]
    handles += [Line2D([], [], color=MUTED, linewidth=0.8, label="5 to 95 % of the scatter"),
                Line2D([], [], color=INK, linewidth=0.9, linestyle=(0, (4, 2)), label="limit")]
    drawn.legend(handles=handles, loc="lower center", ncols=len(handles), columnspacing=1.4, borderaxespad=0.2)


def _told(rows: pd.DataFrame, methods: list[str]) -> str:
    parts = []
    for method in methods:
        mine = rows[rows["method"] == method]
        parts.append(f"{method}: {len(mine)} receptors at {mine['distance_m'].min():.0f} to "
                     f"{mine['distance_m'].max():.0f} m, medians {mine['predicted_median'].min():.3g} to "
                     f"{mine['predicted_median'].max():.3g} {mine['unit'].iloc[0]}")
    return "; ".join(parts)
