"""Level against distance for one rule, with its limit and the stand-offs."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from envpredict.core.cautions import SCREENING
from envpredict.engine.vibration.standoff import level_log10
from envpredict.engine.vibration.standoffs import phase_of
from envpredict.outputs.charts.style import INK, MUTED, PNG_DPI, bare, figure, our_style, panel

if TYPE_CHECKING:
    from envpredict.engine.vibration.standoffs import Answer, Question

NEAR_M, FAR_M = 1.0, 200.0
DASHES = ("-", "--", "-.", ":")


def _met(answer: Answer) -> str:
    """Return where the limit is met, in words."""
    if answer.distance_m == 0.0:
        return "met everywhere"
    return f"met from {answer.distance_m:.1f} m" if np.isfinite(answer.distance_m) else "met nowhere"


def draw(asked: Question, found: Sequence[Answer], kind: str) -> bytes:
    """Return the picture as the bytes of a PNG or SVG file: the same question gives the same bytes."""
    from matplotlib.ticker import FuncFormatter

    from envpredict.engine.catalogue import load_catalogue

    models = load_catalogue().models
    first = next((answer for answer in found if answer.law is not None), None)
    shown = [answer for answer in found if first is not None and answer.rule == first.rule and answer.law is not None]
    distance = np.geomspace(NEAR_M, FAR_M, 200)
    with our_style():
        legend_mm = 4.6 * 2 * min(len(shown), len(DASHES)) + 6.0
        drawn = figure(96.0 + legend_mm)
        axes = panel(drawn, 16.0, 13.0, 148.0, 62.0)
        bare(axes)
        axes.set(xscale="log", yscale="log", xlabel="plan distance (m)", ylabel="PPV where the limit is judged (mm/s)")
        for answer, dashes in zip(shown, DASHES, strict=False):
            spec, inputs = models[answer.model], answer.inputs or {}
            for chance, colour, width in ((0.5, MUTED, 0.8), (asked.exceedance, INK, 1.4)):
                level = level_log10(spec, distance, np.asarray(chance), answer.gain_log10, answer.extra_scatter, inputs,
                                    asked.depth_m)
                words = "median" if chance == 0.5 else f"exceeded with a chance of {chance:g}, {_met(answer)}"
                name = f"{answer.model} ({phase_of(answer)})".replace(" (all)", "")
                axes.plot(distance, 10.0**level, dashes, color=colour, linewidth=width, label=f"{name}: {words}")
            if np.isfinite(answer.distance_m) and NEAR_M <= answer.distance_m <= FAR_M:
                axes.plot([answer.distance_m], [answer.limit_mm_s], "o", color=INK, markersize=4)
        if first is not None and first.unit == "mm/s":
            axes.axhline(first.limit, color=INK, linewidth=0.8)
            axes.annotate(f"limit {first.limit:g} mm/s", (NEAR_M, first.limit), xytext=(3, 3),
                          textcoords="offset points")
            ground = asked.ground_class.replace("_", " ")
            axes.set_title(f"{asked.choice.title} in {ground}\n{asked.limit_set.document}: {first.title}")
        for axis in (axes.xaxis, axes.yaxis):
            axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        # below the axes, where it hides no curve
        axes.legend(loc="upper left", bbox_to_anchor=(0.0, -0.2), borderaxespad=0.0)
        drawn.text(0.01, 0.02, SCREENING, fontsize=6, color=MUTED)
        target = io.BytesIO()
        drawn.savefig(target, format=kind, dpi=PNG_DPI, metadata={"Date": None} if kind == "svg" else None)
    return target.getvalue()
