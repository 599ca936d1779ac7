"""Charts of measured records: levels over time, peaks over frequency, completeness by station."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envpredict.core.quantities import QUANTITIES
from envpredict.outputs.charts.draw import Chart, finished
from envpredict.outputs.charts.sketch import Sketch
from envpredict.outputs.charts.style import FAINT, INK, MUTED, WIDTH_MM, bare, figure, our_style, panel, shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from envpredict.monitoring.statistics.axes import AxisPeak
    from envpredict.monitoring.statistics.collect import Statistics
    from envpredict.monitoring.statistics.judged import Judged

LEFT_MM, TOP_MM, PANEL_MM, BELOW_MM = 16.0, 7.0, 34.0, 11.0
PANELS = 6
ABOVE = "#7c1d54"
"""Colour of what lies above its limit; its mark is a triangle too, for grey print."""
LINES: tuple[tuple[str, Any, str], ...] = (("alert", (0, (1, 2)), "top"), ("action", (0, (4, 2)), "center"),
                                           ("stop", "solid", "bottom"))
"""The plan's levels: line, and on which side of it its name stands."""
AXIS_MARKS: dict[str, str] = {"x": "o", "y": "s", "z": "^"}


def record_charts(found: Statistics) -> tuple[Chart, ...]:
    """Return the charts of a plan's records, as SVG and PNG."""
    with our_style():
        return tuple(finished(sketch) for drawer in (_levels, _peaks, _capture) for sketch in drawer(found))


def _levels(found: Statistics) -> Iterator[Sketch]:
    """Draw each criterion's levels at each station over time, with the plan's levels."""
    shown = [one for one in found.judged if one.point == 0]
    for page in range(0, len(shown), PANELS):
        part = shown[page: page + PANELS]
        each = TOP_MM + PANEL_MM + BELOW_MM
        drawn = figure(each * len(part) + 3.0)
        for number, one in enumerate(part):
            axes = panel(drawn, LEFT_MM, number * each + TOP_MM, WIDTH_MM - LEFT_MM - 24.0, PANEL_MM)
            _level_panel(axes, found, one)
        number = page // PANELS + 1
        above = [one for one in part if one.above.any()]
        told = "; ".join(f"{one.measured.asked.criterion.id} at {one.measured.asked.station.id} above its limit on "
                         f"{int(one.above.sum())} days" for one in above) or "no level lies above its limit"
        yield Sketch(f"levels_{number}", f"Measured levels ({number})" if len(shown) > PANELS else "Measured levels",
                     "Level of each averaging time, or the day's highest reading where the limit is for maxima. Open "
                     "circles: too little valid time, so that only the certain part is shown. Triangles: above the "
                     "limit. Lines: the plan's alert, action and stop levels.", told, drawn)


def _level_panel(axes: Axes, found: Statistics, one: Judged) -> None:
    from matplotlib import dates

    from envpredict.monitoring.replay.triggers import levels_at

    measured, criterion = one.measured, one.measured.asked.criterion
    at = _clock(found, measured.start)
    level = measured.series.median[0]
    seen = np.isfinite(level)
    high, short = seen & (level > one.limit), seen & measured.short
    plain = seen & ~high & ~short
    for mask, look in ((plain, {"marker": "o", "color": INK, "markersize": 1.8}),
                       (short & ~high, {"marker": "o", "color": MUTED, "markerfacecolor": "none", "markersize": 2.4}),
                       (high, {"marker": "^", "color": ABOVE, "markersize": 4.5})):
        look_: dict[str, Any] = look
        axes.plot(at[mask], level[mask], linestyle="", **look_)
    levels = levels_at(found.whole.plan, criterion.id, measured.asked.station.id)
    for tier, style, side in LINES:
        value = getattr(levels, tier, None) if levels is not None else None
        if value is not None:
            axes.axhline(value, color=INK, linewidth=0.7, linestyle=style)
            axes.annotate(f"{tier} {value:g}", (1.0, value), (3, 0), xycoords=("axes fraction", "data"),
                          textcoords="offset points", va=side, fontsize=6.5)
    clock: Any = dates
    locator = clock.AutoDateLocator(minticks=3, maxticks=9)
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(clock.ConciseDateFormatter(locator))
    axes.set_ylabel(f"{shortened(_symbol(str(criterion.quantity)), 18)}, {criterion.unit}")
    axes.set_title(f"{measured.asked.station.id} at {measured.points[0]}: {shortened(criterion.id, 50)}", pad=3)
    if criterion.unit != "dB":
        axes.set_ylim(bottom=0.0)
    bare(axes)


def _symbol(quantity: str) -> str:
    """Return what an axis calls a quantity; movements by their own words."""
    if quantity in QUANTITIES:
        return QUANTITIES[quantity].symbol
    return quantity.removesuffix("_per_m").removesuffix("_mm").replace("_", " ")


def _clock(found: Statistics, moments: NDArray[np.int64]) -> NDArray[np.datetime64]:
    """Return moments as clock times of the plan's zone."""
    return found.whole.clock.local_ms(moments).astype("datetime64[ms]")


def _peaks(found: Statistics) -> Iterator[Sketch]:
    """Draw the strongest peaks of each axis over their frequency, with the limit's curve."""
    groups: dict[tuple[str, str], list[AxisPeak]] = {}
    for one in found.axes:
        if one.cloud_hz.size:
            groups.setdefault((one.station, one.criterion), []).append(one)
    keys = list(groups)
    for page in range(0, len(keys), 4):
        part = keys[page: page + 4]
        width, height = (WIDTH_MM - LEFT_MM - 22.0) / 2.0, 58.0
        drawn = figure((TOP_MM + height + BELOW_MM) * -(-len(part) // 2) + 3.0)
        for number, key in enumerate(part):
            axes = panel(drawn, LEFT_MM + (number % 2) * (width + 18.0),
                         (number // 2) * (TOP_MM + height + BELOW_MM) + TOP_MM, width, height)
            _cloud_panel(axes, key, groups[key])
        worst = max((one for key in part for one in groups[key]), key=lambda one: one.used)
        yield Sketch(f"peaks_{page // 4 + 1}", "Peak velocity over frequency",
                     "The strongest peaks of each axis at their own dominant frequency, against the limit at that "
                     "frequency. Where the document has no curve for the case, the plan's value is drawn.",
                     f"the peak that uses its limit up most: {worst.worst_mm_s:.3g} mm/s at {worst.worst_hz:.3g} Hz on "
                     f"axis {worst.axis} of {worst.station}, {worst.used:.0%} of its limit", drawn)


def _cloud_panel(axes: Axes, key: tuple[str, str], group: list[AxisPeak]) -> None:
    grey = {"x": "#1b1f23", "y": "#5d666e", "z": "#8b939b"}
    for one in group:
        axes.plot(one.cloud_hz, one.cloud_mm_s, AXIS_MARKS[one.axis], color=grey[one.axis], markersize=2.4,
                  markerfacecolor="none", markeredgewidth=0.6, label=f"axis {one.axis}")
    first = group[0]
    low, high = 1.0, max(100.0, float(max(one.cloud_hz.max() for one in group)))
    hertz = np.geomspace(low, high, 200)
    limit = np.full(200, first.plan_value) if first.curve is None else first.curve.at(hertz)
    axes.plot(hertz, limit, color=ABOVE, linewidth=1.2, label="limit")
    axes.set_xscale("log")
    axes.set_yscale("log")
    lowest = min(float(min(one.cloud_mm_s.min() for one in group)), float(np.nanmin(limit)))
    highest = max(float(max(one.cloud_mm_s.max() for one in group)), float(np.nanmax(limit)))
    for axis, (low_, high_) in ((axes.xaxis, (low, high)), (axes.yaxis, (lowest / 1.2, highest * 1.2))):
        _plain_decades(axis, low_, high_)
    axes.set_ylim(lowest / 1.2, highest * 1.2)
    axes.set_xlabel("dominant frequency, Hz")
    axes.set_ylabel("PPV, mm/s")
    axes.set_title(f"{key[0]}: {shortened(key[1], 34)}", pad=3)
    axes.legend(loc="lower right", fontsize=6.5)
    bare(axes)


def _plain_decades(axis: Any, low: float, high: float) -> None:
    """Label a logarithmic axis with plain numbers: 1, 2 and 5 of each decade."""
    from matplotlib.ticker import NullFormatter

    ticks = [base * 10.0**power for power in range(-3, 4) for base in (1, 2, 5) if low <= base * 10.0**power <= high]
    axis.set_ticks(ticks, labels=[f"{tick:g}" for tick in ticks])
    axis.set_minor_formatter(NullFormatter())


def _capture(found: Statistics) -> Iterable[Sketch]:
    """Draw the share of working time with valid data by station, and what was lost to what."""
    rows = [one for one in found.capture if not one.month and one.working_h > 0]
    if not rows:
        return
    drawn = figure(TOP_MM + 6.0 * len(rows) + 12.0)
    axes = panel(drawn, 24.0, TOP_MM, WIDTH_MM - 34.0, 6.0 * len(rows))
    place = np.arange(len(rows))
    axes.barh(place, [one.percent for one in rows], height=0.62, color="#d9dcdf", edgecolor=INK, linewidth=0.5)
    for at, one in zip(place, rows, strict=True):
        lost = ", ".join(f"{word} {hours:.1f} h" for word, hours in one.lost_h.items())
        axes.annotate(f"{one.percent:.1f} % of {one.working_h:.0f} h" + (f"; lost: {lost}" if lost else ""),
                      (1.0, at), (4, 0), textcoords="offset points", va="center", fontsize=6.5)
    target = found.whole.plan.data.capture_target_percent
    if target is not None:
        axes.axvline(target, color=INK, linewidth=0.9, linestyle=(0, (4, 2)))
        axes.annotate(f"target {target:g} %", (target, 1.0), (0, 3), xycoords=("data", "axes fraction"),
                      textcoords="offset points", ha="center", fontsize=6.5)
    axes.set_yticks(place, [one.station for one in rows])
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.set_xlim(0.0, 100.0)
    axes.set_xlabel("working time with valid data, %")
    bare(axes)
    axes.grid(True, color=FAINT, linewidth=0.4, axis="x")
    told = "; ".join(f"{one.station} {one.percent:.0f} %" for one in rows)
    yield Sketch("capture", "Completeness", "Share of the planned working time for which each station has valid data, "
                 "within the span of the records.", told, drawn)
