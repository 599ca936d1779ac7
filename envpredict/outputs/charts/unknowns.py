"""What the verdicts hang on: the share of the doubt that each unknown makes, and the Sobol' indices behind it."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from envpredict.outputs.charts.sketch import Sketch
from envpredict.outputs.charts.style import FAINT, INK, MUTED, WIDTH_MM, bare, figure, panel, shortened, titled
from envpredict.outputs.view import View

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from envpredict.engine.sensitivity.tables import Study

SHOWN = 14
LINE = 38
LABEL_MM, GAP_MM, RIGHT_MM, INDEX_MM = 53.0, 7.0, 35.0, 30.0
TITLE_MM, ROW_MM, BELOW_MM, LEGEND_MM = 8.0, 7.2, 9.0, 8.0
BAR = "#3b6ea5"


def unknowns(view: View) -> Iterable[Sketch]:
    """Draw the weightiest unknowns of a run; nothing where they weren't studied or no verdict is in doubt."""
    study: Study | None = view.assessment.detail.get("unknowns")
    if study is not None and bool((study.unknowns["share"] > 0.0).any()):
        yield sketch(study)


def sketch(study: Study) -> Sketch:
    """Draw a bar for each of the weightiest unknowns, and the level's indices at the verdict that each moves most."""
    rows = study.unknowns[study.unknowns["share"] > 0.0].head(SHOWN).reset_index(drop=True)
    height = ROW_MM * len(rows)
    drawn = figure(TITLE_MM + height + BELOW_MM + LEGEND_MM)
    width = WIDTH_MM - LABEL_MM - GAP_MM - INDEX_MM - RIGHT_MM
    left = panel(drawn, LABEL_MM, TITLE_MM, width, height)
    right = panel(drawn, LABEL_MM + width + GAP_MM, TITLE_MM, INDEX_MM, height)
    _bars(left, rows)
    _indices(right, rows, study.shares)
    for axes in (left, right):
        axes.set_ylim(len(rows) - 0.5, -0.5)
        axes.tick_params(axis="y", length=0)
    left.set_yticks(np.arange(len(rows)), [_in_two(str(title)) for title in rows["title"]])
    right.yaxis.tick_right()
    right.set_yticks(np.arange(len(rows)), [f"{row['effect']} at {shortened(str(row['receptor']), 14)}\n"
                                            f"{shortened(str(row['method']), 27)}" for row in rows.to_dict("records")])
    right.tick_params(axis="y", labelsize=6.0)
    _legend(drawn)
    told = "; ".join(f"{row['title']}: {100 * row['share']:.1f} %" for row in rows.to_dict("records"))
    return Sketch("unknowns", "What the verdicts hang on",
                  "Left: the share of the doubt in all studied verdicts that would go on average if one thing were "
                  "known, with twice its standard error by the sampling. Right: Sobol' indices of the level over the "
                  "limit at the verdict that it moves most; the total index counts what it does together with others. "
                  "What is hatched the findings hold at its likely value.", told, drawn)


def _in_two(title: str) -> str:
    """Return a title in at most two lines."""
    lines = textwrap.wrap(title, LINE, break_long_words=True)
    return "\n".join(lines if len(lines) <= 2 else [lines[0], shortened(" ".join(lines[1:]), LINE)])


def _bars(axes: Axes, rows: pd.DataFrame) -> None:
    bare(axes)
    axes.grid(False, axis="y")
    for place, row in enumerate(rows.to_dict("records")):
        share, error = 100.0 * row["share"], 200.0 * row["share_se"]
        plain = bool(row["in_findings"])
        axes.barh(place, share, height=0.68, facecolor=BAR if plain else "#ffffff", edgecolor=BAR, linewidth=0.8,
                  hatch=None if plain else "////", zorder=2)
        axes.hlines(place, max(share - error, 0.0), share + error, colors=INK, linewidths=0.9, zorder=3)
        axes.annotate(f"{share:.0f} %" if share >= 0.95 else f"{share:.1f} %", (share + error, place), xytext=(3, 0),
                      textcoords="offset points", va="center", fontsize=6.5)
    axes.set_xlim(0.0, 100.0 * float((rows["share"] + 2.0 * rows["share_se"]).max()) * 1.18)
    axes.set_xlabel("% of all doubt that would go")
    titled(axes, "If it were known", 7.5)


def _indices(axes: Axes, rows: pd.DataFrame, shares: pd.DataFrame) -> None:
    bare(axes)
    axes.grid(False, axis="y")
    keys = ["unknown", "method", "effect", "receptor"]
    found = rows[keys].merge(shares, on=keys, how="left")
    for place, row in enumerate(found.to_dict("records")):
        first, total = max(row["level_first"], 0.0), max(row["level_total"], 0.0)
        if np.isnan(total):
            axes.text(0.02, place, "decides whether\nthe rule holds", fontsize=5.5, va="center", color=MUTED)
            continue
        axes.hlines(place, first, total, colors=FAINT, linewidths=1.4, zorder=2)
        axes.plot(total, place, "o", markerfacecolor="#ffffff", markeredgecolor=INK, markersize=5.2,
                  markeredgewidth=0.9, zorder=3)
        axes.plot(first, place, "o", color=INK, markersize=2.6, zorder=4)
    axes.set_xlim(-0.03, 1.05)
    axes.set_xlabel("Sobol' index of level")
    titled(axes, "What it moves most", 7.5)


def _legend(drawn: Figure) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles = [Patch(facecolor=BAR, edgecolor=BAR, label="in the findings' chances"),
               Patch(facecolor="#ffffff", edgecolor=BAR, hatch="////", label="held at its likely value there"),
               Line2D([], [], linestyle="", marker="o", color=INK, markersize=2.6, label="first order"),
               Line2D([], [], linestyle="", marker="o", markerfacecolor="#ffffff", markeredgecolor=INK, markersize=5.2,
                      label="total")]
    drawn.legend(handles=handles, loc="lower center", ncols=4, borderaxespad=0.3,
                 columnspacing=1.6)
