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
)
from envpredict.outputs.map.style import WORDS
from envpredict.outputs.view import View

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

Z_90 = 1.6449
"""Standard deviations on either side of the median that hold 90 % of a normal distribution."""
PANELS_PER_FIGURE = 6
LEFT_MM, GAP_MM, TOP_MM, PANEL_MM, BELOW_MM, LEGEND_MM = 13.0, 14.0, 6.5, 48.0, 6.5, 12.0
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
    width = (WIDTH_MM - LEFT_MM - 3.0 - (columns - 1) * GAP_MM) / columns
    each = TOP_MM + PANEL_MM + BELOW_MM
    drawn = figure(each * -(-len(methods) // columns) + LEGEND_MM)
    for place, method in enumerate(methods):
        axes = panel(drawn, LEFT_MM + (place % columns) * (width + GAP_MM), TOP_MM + (place // columns) * each, width,
                     PANEL_MM)
        _panel(axes, rows, method, decibel=decibel)
        axes.set_title(shortened(view.title(method), 50), fontsize=7, pad=3)
        if place % columns == 0:
            axes.set_ylabel(f"{symbol}, {rows['unit'].iloc[0]}")
        if place + columns >= len(methods):
            axes.set_xlabel("plan distance to the governing pile, m")
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
    distance = np.maximum(mine["distance_m"].to_numpy(dtype=float), LEAST_DISTANCE_M)
    median = mine["predicted_median"].to_numpy(dtype=float)
    spread = Z_90 * mine["scatter"].fillna(0.0).to_numpy(dtype=float)
    low, high = (median - spread, median + spread) if decibel else (median * 10.0**-spread, median * 10.0**spread)
    many = len(mine) > 3000
    axes.vlines(distance, low, high, colors=FAINT, linewidths=0.8, zorder=2, rasterized=many)
    for word in SEVERITY:
        here = (mine["likelihood"] == word).to_numpy()
        axes.plot(distance[here], median[here], MARKERS[word], color=fill(word), markeredgecolor=edge(word),
                  markeredgewidth=0.5, markersize=3.4, zorder=4, rasterized=many)
    _scales(axes, rows, decibel)
    _limits(axes, mine, decibel=decibel)


def _scales(axes: Axes, rows: pd.DataFrame, decibel: bool) -> None:
    """Give all panels of an effect the same axes, so that they can be compared."""
    from matplotlib.ticker import FuncFormatter, LogLocator, NullLocator

    plain = FuncFormatter(lambda value, _: f"{value:g}")
    distance = np.maximum(rows["distance_m"].to_numpy(dtype=float), LEAST_DISTANCE_M)
    axes.set_xscale("log")
    axes.set_xlim(distance.min() / 1.3, distance.max() * 1.3)
    axes.xaxis.set_major_locator(LogLocator(base=10, subs=(1.0, 2.0, 5.0)))
    axes.xaxis.set_major_formatter(plain)
    axes.xaxis.set_minor_locator(NullLocator())
    median, spread = rows["predicted_median"].to_numpy(dtype=float), Z_90 * rows["scatter"].fillna(0.0).to_numpy()
    limits = rows["limit"].dropna().to_numpy(dtype=float)
    if decibel:
        low, high = (median - spread).min(), (median + spread).max()
        axes.set_ylim(5.0 * np.floor(min(low, limits.min(initial=low)) / 5.0),
                      5.0 * np.ceil(max(high, limits.max(initial=high)) / 5.0 + 0.2))
    else:
        low, high = (median * 10.0**-spread).min(), (median * 10.0**spread).max()
        axes.set_yscale("log")
        axes.set_ylim(min(low, limits.min(initial=low)) / 1.4, max(high, limits.max(initial=high)) * 1.4)
        axes.yaxis.set_major_formatter(plain)
        axes.yaxis.set_minor_locator(NullLocator())
    bare(axes)


def _limits(axes: Axes, mine: pd.DataFrame, *, decibel: bool) -> None:
    """Draw the limits that govern most receptors; of two that lie close together only the first is numbered."""
    found = mine.dropna(subset=["limit"]).groupby("limit").size().sort_values(ascending=False, kind="stable")
    low, high = axes.get_ylim()
    span = high - low if decibel else np.log10(high / low)
    numbered: list[float] = []
    for value in found.index[:LIMITS_SHOWN]:
        axes.axhline(value, color=INK, linewidth=0.9, linestyle=(0, (4, 2)), zorder=3)
        place = float(value if decibel else np.log10(value))
        if all(abs(place - other) > 0.05 * span for other in numbered):
            numbered.append(place)
            text = f"{value:.0f}" if decibel else f"{value:g}"
            axes.annotate(text, (1.0, value), xycoords=("axes fraction", "data"), xytext=(1.5, 0), ha="left",
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
