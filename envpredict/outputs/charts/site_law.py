"""Trial records with the published law, its update and the line through the records alone."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from envpredict.core.cautions import SCREENING
from envpredict.engine.learned.site_law import STRATA, SiteLaw, StratumFit
from envpredict.outputs.charts.press_records import press_row
from envpredict.outputs.charts.sketch import Sketch
from envpredict.outputs.charts.style import INK, MUTED, PNG_DPI, bare, figure, our_style, panel, shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis
    from matplotlib.figure import Figure

    from envpredict.engine.learned.site_law import HarderGround
    from envpredict.monitoring.site_law.press_records import Press
    from envpredict.outputs.view import View

Parts = Sequence[tuple[SiteLaw, StratumFit]]
LOOKS = {"published": (MUTED, "--", "published law"), "updated": ("#1d4763", "-", "updated by these records"),
         "records alone": ("#9a5b00", ":", "line through the records alone")}
MARKS = {"level": ("o", "record"), "below": ("v", "record: stayed below this"),
         "above": ("^", "record: went above this")}
SHORT = {"hard": "piles that entered the hard stratum", "other": "piles that never entered the hard stratum"}
TOP_MM, HEIGHT_MM, EACH_MM, FOOT_MM = 12.0, 74.0, 112.0, 8.0
STEPS = (1.0, 2.0, 5.0)


def drawn(parts: Parts, press: Press | None = None, harder: Sequence[HarderGround] = ()) -> Figure:
    """Return a figure with a panel per stratum, and press records below them; call it within `our_style`."""
    below = EACH_MM * len(parts)
    found = figure(below + (EACH_MM if press is not None else 0.0) + FOOT_MM)
    for number, (law, fit) in enumerate(parts):
        _panel(panel(found, 16.0, TOP_MM + EACH_MM * number, 148.0, HEIGHT_MM), law, fit)
    if press is not None:
        press_row(found, below + TOP_MM + 6.0, HEIGHT_MM, press, harder)
    return found


def draw(laws: Iterable[SiteLaw], kind: str, press: Press | None = None,
         harder: Sequence[HarderGround] = ()) -> bytes:
    """Return the picture as the bytes of a PNG or SVG file; equal laws and press records give equal bytes."""
    with our_style():
        found = drawn([(law, fit) for law in laws for fit in law.strata], press, harder)
        found.text(0.01, 0.008, SCREENING, fontsize=6, color=MUTED)
        target = io.BytesIO()
        found.savefig(target, format=kind, dpi=PNG_DPI,
                      metadata={"Date": None, "Creator": None} if kind == "svg" else {"Software": None})
    return target.getvalue()


def trial_records(seen: View) -> Iterable[Sketch]:
    """Yield a chart of the trial records for every site law that a run uses, each law once."""
    laws = {id(law): law for choice in seen.assessment.methods for law in choice.site.laws}
    if not laws:
        return
    # loaded here, since it loads scipy's distributions: half a second
    from envpredict.monitoring.site_law.curves import status

    for number, law in enumerate(laws.values(), 1):
        words = "; ".join(f"{STRATA[fit.ground]}: {status(fit)}" for fit in law.strata)
        title = f"Trial records of {law.method}, phase {law.phase}"
        yield Sketch(f"trial_records_{number}", title, f"{title}, against {law.model}. {words}.",
                     f"Levels of trial piles over distance, with the published law and its update. {words}.",
                     drawn([(law, fit) for fit in law.strata]))


def _ticks(axis: Axis, low: float, high: float) -> None:
    """Label 1, 2 and 5 of every decade as plain numbers."""
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullFormatter, NullLocator

    decades = range(int(np.floor(np.log10(low))), int(np.ceil(np.log10(high))) + 1)
    places = [step * 10.0**decade for decade in decades for step in STEPS]
    axis.set_major_locator(FixedLocator([place for place in places if low <= place <= high]))
    axis.set_minor_locator(NullLocator())
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axis.set_minor_formatter(NullFormatter())


def _panel(axes: Axes, law: SiteLaw, fit: StratumFit) -> None:
    from envpredict.monitoring.site_law.curves import curves, status

    bare(axes)
    axes.set(xscale="log", yscale="log", ylabel="PPV on the ground (mm/s)",
             xlabel="distance to the toe (m)" if law.distance == "slope" else "distance in plan (m)")
    data, (low, high) = fit.data, fit.reach_m
    at, level = np.asarray(data.distance_m), np.asarray(data.ppv_mm_s)
    low, high = min(low, float(at.min()) / 1.2), max(high, float(at.max()) * 1.2)
    distance = np.geomspace(low, high, 160)
    heights = [level]
    for name, (median, upper) in curves(law, fit, distance).items():
        colour, dashes, words = LOOKS[name]
        axes.plot(distance, 10.0**median, dashes, color=colour, linewidth=1.4, label=f"{words}: median")
        axes.plot(distance, 10.0**upper, dashes, color=colour, linewidth=0.7,
                  label=f"{words}: one pile in 20 exceeds it")
        heights += [10.0**median, 10.0**upper]
    for reads, (marker, words) in MARKS.items():
        mine = np.array([one == reads for one in data.reads])
        if mine.any():
            axes.plot(at[mine], level[mine], marker, color=INK, markersize=4.5, linestyle="none", label=words,
                      markerfacecolor=INK if reads == "level" else "#ffffff")
    for edge in fit.reach_m:
        axes.axvline(edge, color=INK, linewidth=0.8)
    axes.annotate("reach of the records", (fit.reach_m[0], 0.02), xycoords=("data", "axes fraction"), xytext=(3, 0),
                  textcoords="offset points", color=MUTED)
    bottom, top = min(map(np.min, heights)) / 1.3, max(map(np.max, heights)) * 1.3
    axes.set(xlim=(low / 1.1, high * 1.1), ylim=(bottom, top))
    _ticks(axes.xaxis, low / 1.1, high * 1.1)
    _ticks(axes.yaxis, bottom, top)
    axes.set_title(f"{law.method}, phase {law.phase}: {SHORT[fit.ground]}\n{shortened(status(fit), 96)}")
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.13), ncols=2, fontsize=6.5)
