"""Press force, torque and rate of penetration by depth, each pile beside the strata of its nearest borehole."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from envpredict.monitoring.site_law.press_records import MEASURES, Press
from envpredict.outputs.charts.style import FAINT, INK, MUTED, bare, panel, shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from envpredict.engine.learned.site_law import HarderGround

MOST = 5
LOOKS = {"press_force_kn": ("#1d4763", "-"), "torque_kn_m": ("#9a5b00", "--"), "penetration_m_min": ("#5d666e", ":")}
LEFT_MM, GAP_MM, WIDE_MM = 16.0, 4.0, 148.0


def press_row(figure: Figure, top_mm: float, height_mm: float, press: Press, harder: Sequence[HarderGround]) -> None:
    """Draw a row of piles into a figure: those that proved harder first, then in the order of the records."""
    proved = {name: one for one in harder for name in press.piles if one.why.startswith(f"pile {name}:")}
    shown = sorted(press.piles, key=lambda name: name not in proved)[:MOST]
    width = (WIDE_MM - GAP_MM * (len(shown) - 1)) / len(shown)
    deepest = float(press.to_m.max())
    for number, name in enumerate(shown):
        axes = panel(figure, LEFT_MM + number * (width + GAP_MM), top_mm, width, height_mm)
        _pile(axes, press, name, proved.get(name), deepest)
        axes.set_title(name)
        if number:
            axes.set_yticklabels([])
        else:
            axes.set_ylabel("depth of the toe (m)")
            axes.legend(loc="upper left", bbox_to_anchor=(0.0, -0.1), ncols=3, fontsize=6.5,
                        title="each over its median of all steps; hatched: the hard stratum", title_fontsize=6.5,
                        alignment="left")
    left = len(press.piles) - len(shown)
    more = f"; pressed piles not drawn: {left}" if left else ""
    figure.text(LEFT_MM / 170.0, 1.0 - (top_mm - 8.0) / (figure.get_figheight() * 25.4),
                f"Press records beside the strata{more}", fontsize=8.5, fontweight="bold", color=INK)


def _pile(axes: Axes, press: Press, name: str, harder: HarderGround | None, deepest: float) -> None:
    bare(axes)
    mine = np.flatnonzero(press.pile == name)
    depth = np.column_stack([press.from_m[mine], press.to_m[mine]]).ravel()
    for measure in press.measured:
        title, _, _ = MEASURES[measure]
        middle = float(np.nanmedian(press.values[measure]))
        colour, dashes = LOOKS[measure]
        ratio = np.repeat(press.values[measure][mine] / middle, 2) if middle > 0 else np.full(len(depth), np.nan)
        axes.plot(ratio, depth, dashes, color=colour, linewidth=1.2, label=title)
    high = axes.get_xlim()[1]
    for stratum in dict.fromkeys(press.stratum[mine].tolist()):
        here = mine[press.stratum[mine] == stratum]
        top, base = float(press.from_m[here].min()), float(press.to_m[here].max())
        hard = press.word[here[0]] == "hard"
        axes.axhspan(top, base, facecolor="#ffffff", edgecolor=FAINT, hatch="////" if hard else "", linewidth=0.4,
                     zorder=0)
        axes.annotate(shortened(stratum or "below the borehole", 24), (0.03 * high, top), xytext=(0, -2),
                      textcoords="offset points", va="top", fontsize=5.5, color=MUTED)
    if harder is not None:
        axes.axhspan(harder.from_m, harder.to_m, facecolor="none", edgecolor=INK, linewidth=1.4)
        axes.annotate("harder than the borehole", (high, harder.from_m), xytext=(-2, 2), textcoords="offset points",
                      ha="right", va="bottom", fontsize=6, color=INK)
    axes.set(xlim=(0.0, high), ylim=(deepest, 0.0))
