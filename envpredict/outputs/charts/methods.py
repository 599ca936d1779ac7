"""Methods side by side: how many receptors have which likelihood."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from envpredict.engine.results import EFFECTS, SEVERITY
from envpredict.outputs.charts.sketch import Sketch
from envpredict.outputs.charts.style import HATCHES, INK, WIDTH_MM, edge, figure, fill, panel, shortened, titled
from envpredict.outputs.map.style import WORDS
from envpredict.outputs.view import View, counts

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LABEL_MM = 52.0
BAR_MM = 5.2
TITLE_MM = 7.0
LEGEND_MM = 9.0
NARROWEST_SHARE = 0.045
"""A part of a bar narrower than this share isn't numbered."""


def compared(view: View) -> Iterable[Sketch]:
    """Draw, per effect, one bar per method: the receptors by the likelihood that governs them."""
    if not view.effects:
        return
    from matplotlib.patches import Patch

    each = TITLE_MM + BAR_MM * len(view.methods) + 2.0
    drawn = figure(each * len(view.effects) + LEGEND_MM)
    told = []
    for number, effect in enumerate(view.effects):
        axes = panel(drawn, LABEL_MM, number * each + TITLE_MM, WIDTH_MM - LABEL_MM - 3.0, BAR_MM * len(view.methods))
        found = {method: counts(view.of(effect, method)) for method in view.methods}
        _bars(axes, view, found)
        titled(axes, EFFECTS[effect].capitalize())
        told += [f"{effect}, {method}: {_spoken(by_word)}" for method, by_word in found.items()]
    handles = [Patch(facecolor=fill(word), edgecolor=edge(word), linewidth=0.5, hatch=HATCHES[word] or None,
                     label=WORDS[word]) for word in reversed(SEVERITY)]
    drawn.legend(handles=handles, loc="lower center", ncols=len(handles), columnspacing=1.4, borderaxespad=0.2)
    yield Sketch("methods_compared", "Methods compared",
                 "Number of receptors by the likelihood of the finding that governs each. The picture ranks no method: "
                 "a receptor that can't be judged isn't known to be safe.", "; ".join(told), drawn)


def _spoken(by_word: dict[str, int]) -> str:
    return ", ".join(f"{count} {WORDS[word]}" for word, count in by_word.items() if count)


def _bars(axes: Axes, view: View, found: dict[str, dict[str, int]]) -> None:
    total = max((sum(by_word.values()) for by_word in found.values()), default=0) or 1
    for row, method in enumerate(view.methods):
        left = 0
        for word in reversed(SEVERITY):
            count = found[method][word]
            if not count:
                continue
            axes.barh(row, count, left=left, height=0.78, facecolor=fill(word), edgecolor=edge(word), linewidth=0.5,
                      hatch=HATCHES[word] or None)
            if count / total >= NARROWEST_SHARE:
                axes.text(left + count / 2.0, row, str(count), ha="center", va="center", fontsize=6.5, color=INK,
                          bbox={"boxstyle": "round,pad=0.15", "facecolor": "#ffffff", "edgecolor": "none"})
            left += count
    axes.set_yticks(np.arange(len(view.methods)), [shortened(view.title(name), 35) for name in view.methods])
    axes.set_ylim(len(view.methods) - 0.5, -0.5)
    axes.set_xlim(0, total)
    axes.tick_params(axis="y", length=0)
    axes.set_xticks([])
    for spine in axes.spines.values():
        spine.set_visible(False)

