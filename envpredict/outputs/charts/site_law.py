"""Trial records with the published law, its update and the line through the records alone."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from envpredict.core.cautions import SCREENING
from envpredict.engine.site_law import FARTHEST, NEAREST, STRATA
from envpredict.monitoring.site_law.describe import curves, status
from envpredict.outputs.charts.style import INK, MUTED, PNG_DPI, bare, figure, our_style, panel, shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from envpredict.monitoring.site_law.fit import Fitted, Stratum

LOOKS = {"published": (MUTED, "--", "the published law"), "updated": ("#1d4763", "-", "updated by these records"),
         "records alone": ("#9a5b00", ":", "line through the records alone")}
MARKS = {"level": ("o", "record"), "below": ("v", "stayed below this"), "above": ("^", "went above this")}
HEIGHT_MM, TOP_MM, EACH_MM = 76.0, 14.0, 106.0


def draw(found: Sequence[Fitted], kind: str) -> bytes:
    """Return the picture as the bytes of a PNG or SVG file, a panel per fit; equal records give equal bytes."""
    parts = [(one, stratum) for one in found for stratum in one.strata if len(stratum.published.distance_m)]
    with our_style():
        drawn = figure(TOP_MM + EACH_MM * len(parts) - 6.0)
        for number, (one, stratum) in enumerate(parts):
            axes = panel(drawn, 16.0, TOP_MM + EACH_MM * number, 148.0, HEIGHT_MM)
            _panel(axes, one, stratum)
        drawn.text(0.01, 0.01, SCREENING, fontsize=6, color=MUTED)
        target = io.BytesIO()
        drawn.savefig(target, format=kind, dpi=PNG_DPI,
                      metadata={"Date": None} if kind == "svg" else {"Software": None})
    return target.getvalue()


def _panel(axes: Axes, one: Fitted, stratum: Stratum) -> None:
    from matplotlib.ticker import FuncFormatter

    bare(axes)
    slope = one.spec.distance == "slope"
    axes.set(xscale="log", yscale="log", ylabel="PPV on the ground (mm/s)",
             xlabel="distance to the toe (m)" if slope else "distance in plan (m)")
    levels = np.sort(stratum.published.distance_m[stratum.records.exact])
    every = stratum.published.distance_m
    low, high = NEAREST * min(levels.min(initial=every.min()), every.min()), FARTHEST * every.max()
    distance = np.geomspace(low, high, 160)
    for name, (median, upper) in curves(stratum, distance).items():
        colour, dashes, words = LOOKS[name]
        axes.plot(distance, 10.0**median, dashes, color=colour, linewidth=1.3, label=f"{words}: median")
        axes.plot(distance, 10.0**upper, dashes, color=colour, linewidth=0.7,
                  label=f"{words}: one pile in 20 exceeds it")
    for reads, (marker, words) in MARKS.items():
        mine = [n for n, row in enumerate(stratum.rows) if row.reads == reads]
        if mine:
            axes.plot(every[mine], [stratum.rows[n].ppv_mm_s for n in mine], marker, color=INK, markersize=4.5,
                      markerfacecolor=INK if reads == "level" else "#ffffff", linestyle="none", label=words)
    if len(levels):
        for edge in (NEAREST * levels[0], FARTHEST * levels[-1]):
            axes.axvline(edge, color=MUTED, linewidth=0.6)
        axes.annotate("reach of the records", (NEAREST * levels[0], 0.02), xycoords=("data", "axes fraction"),
                      xytext=(3, 0), textcoords="offset points", color=MUTED)
    axes.set_title(f"{one.method}, phase {one.phase}: {STRATA[stratum.ground]}\n{shortened(status(stratum), 110)}")
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.16), ncols=3, fontsize=6)
