"""The picture of methods side by side: how far each lies from its limits, with its scatter, and how long it takes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from envpredict.engine.results import EFFECTS
from envpredict.outputs.charts.draw import Chart, finished
from envpredict.outputs.charts.sketch import Sketch
from envpredict.outputs.charts.style import (
    INK,
    MUTED,
    WIDTH_MM,
    bare,
    figure,
    our_style,
    panel,
    shortened,
)

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from envpredict.engine.compared.compare import Comparison
    from envpredict.outputs.view import View

LABEL_MM, ROW_MM, TITLE_MM, BELOW_MM, GAP_MM, LEGEND_MM = 50.0, 7.0, 9.0, 10.0, 5.0, 7.0
PANELS = 4
SHORT = {"damage": "Damage", "people": "People", "noise": "Noise", "equipment": "Equipment", "assets": "Assets",
         "wildlife": "Wildlife", "settlement": "Settlement"}
Z_80 = 1.2816
"""From the median to the ends of the range that holds 80 %."""


def _tuples(table: pd.DataFrame) -> list[Any]:
    """Return the rows of a table, each with its cells as attributes."""
    return list(table.itertuples())


def tradeoffs(view: View) -> Iterator[Sketch]:
    """Draw the candidates of a run side by side."""
    from envpredict.outputs.comparison import comparison

    yield sketch(comparison(view.assessment))


def drawn(found: Comparison) -> Chart:
    """Return the picture of a comparison as SVG and PNG."""
    with our_style():
        return finished(sketch(found))


def sketch(found: Comparison) -> Sketch:
    """Draw a panel per effect with each method's worst receptor against its limit, and one with the days of work."""
    effects = [effect for effect in EFFECTS if effect in set(found.whole["effect"])]
    across = min(len(effects) + 1, PANELS)
    width = (WIDTH_MM - LABEL_MM - 3.0 - GAP_MM * (across - 1)) / across
    height = ROW_MM * len(found.methods)
    each = TITLE_MM + height + BELOW_MM
    art = figure(each * -(-(len(effects) + 1) // across) + LEGEND_MM)
    for number, effect in enumerate((*effects, "")):
        column, row = number % across, number // across
        axes = panel(art, LABEL_MM + column * (width + GAP_MM), row * each + TITLE_MM, width, height)
        if effect:
            _levels(axes, found, effect)
        else:
            _days(axes, found)
        _rows(axes, found, labelled=column == 0)
        axes.set_title(SHORT.get(effect, "Days of work"), pad=4)
    _legend(art)
    told = [f"{row.method}: {row.feasible.replace('_', ' ')}, {row.days} days, "
            f"{'in the set' if row.in_set else 'not in the set'}" for row in _tuples(found.methods)]
    return Sketch("methods_tradeoffs", "Methods side by side",
                  "Median at the worst receptor over its limit, in dB, with the range that holds 80 %; days at the "
                  "likely rates, with the range from fast to slow. A star marks a method that no other one beats. "
                  "Where ranges overlap widely, methods tie. Nothing is weighed and nothing is recommended.",
                  "; ".join(told), art)


def _rows(axes: Axes, found: Comparison, *, labelled: bool) -> None:
    """Label the rows and strike out methods that aren't feasible alone."""
    count = len(found.methods)
    axes.set_ylim(count - 0.5, -0.5)
    labels = [f"{shortened(row.title, 34)}{' ★' if row.in_set else ''}" for row in _tuples(found.methods)]
    axes.set_yticks(np.arange(count), labels if labelled else [""] * count)
    axes.tick_params(axis="y", length=0)
    bare(axes)
    axes.grid(False, axis="y")
    for number, row in enumerate(_tuples(found.methods)):
        if row.feasible == "not_feasible":
            axes.axhspan(number - 0.5, number + 0.5, facecolor="#eef0f1", edgecolor="#c3c8cc", hatch="////",
                         linewidth=0.0, zorder=0)
    for edge in range(1, count):
        axes.axhline(edge - 0.5, color="#e4e6e8", linewidth=0.4, zorder=1)


def _look(shaky: str) -> dict[str, Any]:
    return {"marker": "o" if shaky else "D", "markerfacecolor": "#ffffff" if shaky else INK, "markeredgecolor": INK,
            "markeredgewidth": 0.9, "markersize": 4.2, "linestyle": "", "zorder": 4}


def _levels(axes: Axes, found: Comparison, effect: str) -> None:
    rows = found.whole[found.whole["effect"] == effect].set_index("method")
    axes.axvline(0.0, color=INK, linewidth=0.9, zorder=2)
    for number, name in enumerate(found.methods["method"]):
        row = rows.loc[name] if name in rows.index else None
        if row is None or row["over_limit_db"] != row["over_limit_db"]:
            axes.text(0.5, number, "not judged", ha="center", va="center", fontsize=6.5, color=MUTED,
                      transform=axes.get_yaxis_transform())
            continue
        reach = Z_80 * row["scatter_db"]
        axes.hlines(number, row["over_limit_db"] - reach, row["over_limit_db"] + reach, colors=MUTED, linewidths=1.4,
                    linestyles="dotted" if row["shaky"] else "solid", zorder=3)
        axes.plot(row["over_limit_db"], number, **_look(row["shaky"]))
    known = rows["over_limit_db"].dropna()
    if len(known):
        reach = Z_80 * rows["scatter_db"].max() + 3.0
        axes.set_xlim(min(known.min() - reach, -5.0), max(known.max() + reach, 5.0))
    axes.set_xlabel("dB over the limit")


def _days(axes: Axes, found: Comparison) -> None:
    for number, row in enumerate(_tuples(found.methods)):
        axes.hlines(number, row.days_fast, row.days_slow, colors=MUTED, linewidths=1.4, zorder=3)
        axes.plot(row.days, number, **_look(""))
    axes.set_xlim(0.0, float(found.methods["days_slow"].max()) * 1.06)
    axes.set_xlabel("days")


def _legend(art: Any) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles = [
        Line2D([], [], color=MUTED, linewidth=1.4, label="published or recalled law, 80 % range", **_look("")),
        Line2D([], [], color=MUTED, linewidth=1.4, label="estimate, proxy or out of range", **_look("estimate")),
        Patch(facecolor="#eef0f1", edgecolor="#c3c8cc", hatch="////", linewidth=0.0, label="not feasible alone"),
        Line2D([], [], color=INK, linewidth=0.9, label="the limit")]
    art.legend(handles=handles, loc="lower center", ncols=4, borderaxespad=0.3, columnspacing=1.4)
