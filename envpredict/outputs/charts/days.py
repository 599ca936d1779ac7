"""Days: how many lie above the limit at the most affected receptors, and how the chance runs through the programme."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.results import EFFECTS
from envpredict.outputs.charts.sketch import Sketch
from envpredict.outputs.charts.style import INK, METHOD_MARKERS, MUTED, WIDTH_MM, bare, figure, panel, shortened, titled
from envpredict.outputs.view import View

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

RECEPTORS_SHOWN = 15
ROW_MM, TITLE_MM, LABEL_MM, BELOW_MM, LEGEND_ROW_MM = 4.6, 7.0, 20.0, 9.0, 4.5
DATES_MM = 20.0
STRIP_MM = 5.0
METHOD_LABEL_MM = 52.0
MOST_MARKS = 20
"""The dates written under the strips, at most."""


def days_above(view: View) -> Iterable[Sketch]:
    """Draw, per effect, the expected number of days above the governing limit at the most affected receptors."""
    parts = {effect: _most_days(view.of(effect)) for effect in view.effects}
    parts = {effect: rows for effect, rows in parts.items() if len(rows)}
    if not parts:
        return
    heights = [TITLE_MM + ROW_MM * rows["receptor"].nunique() + BELOW_MM for rows in parts.values()]
    legend_mm = LEGEND_ROW_MM * -(-len(view.methods) // 2) + 2.0
    drawn = figure(sum(heights) + legend_mm)
    top = 0.0
    told = []
    for (effect, rows), height in zip(parts.items(), heights, strict=True):
        axes = panel(drawn, LABEL_MM, top + TITLE_MM, WIDTH_MM - LABEL_MM - 3.0, height - TITLE_MM - BELOW_MM)
        _dots(axes, view, rows)
        titled(axes, EFFECTS[effect].capitalize())
        first = rows.sort_values("days_above", ascending=False, kind="stable").iloc[0]
        told.append(f"{effect}: most at {first['receptor']} under {first['method']}, {first['days_above']:.1f} days")
        top += height
    _method_legend(drawn, view)
    yield Sketch("days_above", "Days above the limit by receptor",
                 f"Expected number of days above the limit that governs each receptor, with its 5 % to 95 % range; the "
                 f"{RECEPTORS_SHOWN} receptors with the most days per effect. The workbook holds all.",
                 "; ".join(told), drawn)


def _most_days(rows: pd.DataFrame) -> pd.DataFrame:
    rows = rows[rows["days_above"].fillna(0.0) > 0.0]
    most = rows.groupby("receptor", sort=False)["days_above"].max().sort_values(ascending=False, kind="stable")
    return rows[rows["receptor"].isin(most.index[:RECEPTORS_SHOWN])]


def _dots(axes: Axes, view: View, rows: pd.DataFrame) -> None:
    order = rows.groupby("receptor", sort=False)["days_above"].max().sort_values(ascending=False, kind="stable").index
    at = {name: number for number, name in enumerate(order)}
    step = 0.7 / max(len(view.methods), 2)
    for number, method in enumerate(view.methods):
        mine = rows[rows["method"] == method]
        y = mine["receptor"].map(at).to_numpy(dtype=float) + (number - (len(view.methods) - 1) / 2.0) * step
        axes.hlines(y, mine["days_above_low"], mine["days_above_high"], colors=MUTED, linewidths=0.7, zorder=2)
        axes.plot(mine["days_above"], y, METHOD_MARKERS[number % len(METHOD_MARKERS)], zorder=3, **_method_look(number))
    axes.set_yticks(np.arange(len(order)), [shortened(str(name), 14) for name in order])
    axes.set_ylim(len(order) - 0.4, -0.6)
    axes.set_xlim(left=0.0)
    axes.set_xlabel("days above the limit")
    axes.xaxis.set_label_coords(0.5, -6.0 / (ROW_MM * len(order)))
    bare(axes)
    axes.tick_params(axis="y", length=0)
    axes.grid(False, axis="y")
    axes.hlines(np.arange(1, len(order)) - 0.5, 0.0, axes.get_xlim()[1], colors="#e4e6e8", linewidths=0.4, zorder=1)


def _method_look(number: int) -> dict[str, Any]:
    grey = ("#1b1f23", "#ffffff", "#8b939b")[number % 3]
    return {"color": grey, "markeredgecolor": INK, "markeredgewidth": 0.6, "markersize": 3.4}


def _method_legend(drawn: Any, view: View) -> None:
    from matplotlib.lines import Line2D

    handles = [Line2D([], [], linestyle="", marker=METHOD_MARKERS[number % len(METHOD_MARKERS)],
                      label=shortened(view.title(method), 60), **_method_look(number))
               for number, method in enumerate(view.methods)]
    drawn.legend(handles=handles, loc="lower center", ncols=2, borderaxespad=0.2)


def by_day(view: View) -> Iterable[Sketch]:
    """Draw, per effect and method, the highest chance of exceedance at any receptor on each day of the programme."""
    daily: Mapping[tuple[str, str], NDArray[Any]] = view.assessment.detail.get("daily") or {}
    days = np.array([str(day)[:10] for day in view.assessment.detail.get("days", ())], dtype="datetime64[D]")
    effects = [effect for effect in view.effects if any(name == effect for _, name in daily)]
    if not effects or not len(days):
        return
    calendar = np.arange(days[0], days[-1] + 1)
    each = TITLE_MM + STRIP_MM * len(view.methods)
    drawn = figure(each * len(effects) + DATES_MM + 10.0)
    image: Any = None
    last = len(effects) - 1
    told = []
    for number, effect in enumerate(effects):
        strips = np.full((len(view.methods), len(calendar)), np.nan)
        for row, method in enumerate(view.methods):
            chances = daily.get((method, effect))
            if chances is not None:
                strips[row, (days - calendar[0]).astype(int)] = _highest(np.asarray(chances, dtype=float))
        axes = panel(drawn, METHOD_LABEL_MM, number * each + TITLE_MM, WIDTH_MM - METHOD_LABEL_MM - 4.0,
                     STRIP_MM * len(view.methods))
        image = _strips(axes, view, calendar, strips)
        titled(axes, EFFECTS[effect].capitalize())
        _dates(axes, calendar, labelled=number == last)
        told.append(f"{effect}: " + ", ".join(f"{method} at most {np.nanmax(strip):.0%}" for method, strip in
                                              zip(view.methods, strips, strict=True) if np.isfinite(strip).any()))
    bar = panel(drawn, METHOD_LABEL_MM, each * len(effects) + DATES_MM, 60.0, 3.0)
    drawn.colorbar(image, cax=bar, orientation="horizontal", ticks=[0.0, 0.25, 0.5, 0.75, 1.0],
                   format=lambda value, _: f"{100 * value:.0f} %")
    bar.set_title("highest chance at any receptor on that day", fontsize=6.5, fontweight="normal", y=1.0, pad=2)
    yield Sketch("chance_by_day", "Likelihood by day",
                 "The highest chance, over all receptors, that an adopted limit is exceeded on that day: the darker, "
                 "the higher. Blank: no work, or nothing to judge.", "; ".join(told), drawn)


def _dates(axes: Axes, calendar: NDArray[np.datetime64], *, labelled: bool) -> None:
    """Mark the Mondays, or the first days of the months where the programme is long; all strips share them."""
    days = calendar.astype("datetime64[D]")
    first = days == days.astype("datetime64[M]")
    monday = (days.astype(int) + 3) % 7 == 0
    marks = days[monday] if monday.sum() <= MOST_MARKS else days[first]
    marks = marks[:: max(1, -(-len(marks) // MOST_MARKS))]
    axes.set_xticks(marks.astype(float), [str(day) for day in marks], rotation=0 if len(marks) <= 8 else 45,
                    ha="center" if len(marks) <= 8 else "right")
    axes.tick_params(labelbottom=labelled)


def _highest(chances: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the highest chance of each day over the receptors (R, D); NaN where there is none."""
    known = np.isfinite(chances).any(axis=0)
    highest = np.where(np.isfinite(chances), chances, -np.inf).max(axis=0, initial=-np.inf)
    return np.where(known, highest, np.nan)


def _strips(axes: Axes, view: View, calendar: NDArray[np.datetime64], strips: NDArray[np.float64]) -> Any:
    left, right = calendar[0].astype("datetime64[D]").astype(float), calendar[-1].astype(float) + 1.0
    image = axes.imshow(strips, cmap="Greys", vmin=0.0, vmax=1.0, aspect="auto", interpolation="nearest",
                        extent=(left, right, len(view.methods) - 0.5, -0.5))
    axes.set_yticks(np.arange(len(view.methods)), [shortened(view.title(name), 35) for name in view.methods])
    axes.tick_params(axis="y", length=0)
    axes.hlines(np.arange(1, len(view.methods)) - 0.5, left, right, colors="#ffffff", linewidths=1.2)
    return image

