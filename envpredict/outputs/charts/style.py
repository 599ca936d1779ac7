"""How charts look: one font, the map's colours with shapes and hatches, so that grey print can be read too."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from envpredict.outputs.map.style import COLOURS
from envpredict.outputs.texts import clean

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MM = 1.0 / 25.4
WIDTH_MM = 170.0
"""The width of a chart: that of the text on an A4 page."""
PNG_DPI = 160
INK, MUTED, FAINT = "#1b1f23", "#5d666e", "#c9cdd1"
RC: dict[str, Any] = {
    "font.family": "sans-serif", "font.sans-serif": ["DejaVu Sans"], "font.size": 7.5, "axes.titlesize": 8.5,
    "axes.labelsize": 7.5, "xtick.labelsize": 7, "ytick.labelsize": 7, "legend.fontsize": 7, "axes.linewidth": 0.6,
    "axes.edgecolor": MUTED, "axes.labelcolor": INK, "text.color": INK, "xtick.color": MUTED, "ytick.color": MUTED,
    "axes.titlelocation": "left", "axes.titleweight": "bold", "lines.linewidth": 1.0, "hatch.linewidth": 0.5,
    "legend.frameon": False, "svg.fonttype": "none", "svg.hashsalt": "envpredict", "text.parse_math": False,
    "axes.unicode_minus": False, "xtick.major.width": 0.6, "ytick.major.width": 0.6, "xtick.minor.width": 0.4,
    "ytick.minor.width": 0.4,
}
MARKERS: dict[str, str] = {"breach": "X", "likely": "^", "possible": "D", "cannot_judge": "o", "unlikely": "o",
                           "not_applicable": "_"}
"""The likelihoods' shapes, as on the risk map: `cannot_judge` is an open circle, `unlikely` a filled one."""
HATCHES: dict[str, str] = {"breach": "xxxx", "likely": "", "possible": "////", "cannot_judge": "....", "unlikely": "",
                           "not_applicable": "--"}
TINT = 0.35
METHOD_MARKERS = ("o", "s", "^", "D", "v", "P", "X", "*", "<", ">", "p", "h", "d", "8")


def fill(likelihood: str) -> str:
    """Return the colour of a likelihood's area."""
    return COLOURS[likelihood][0]


def tint(likelihood: str) -> str:
    """Return a light tone of a likelihood's colour, on which its mark can be seen."""
    red, green, blue = (int(fill(likelihood)[at:at + 2], 16) for at in (1, 3, 5))
    return "#" + "".join(f"{round(255 - TINT * (255 - part)):02x}" for part in (red, green, blue))


def edge(likelihood: str) -> str:
    """Return the colour of a likelihood's outline; dark, also where the map draws a light one into the shape."""
    ink = COLOURS[likelihood][1]
    return INK if ink == "#ffffff" else ink


@contextmanager
def our_style() -> Iterator[None]:
    """Draw with our own settings, whatever the user's are."""
    import matplotlib

    with matplotlib.rc_context(), warnings.catch_warnings():
        # a letter that the font lacks is drawn as a box; the SVG holds it as text
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        matplotlib.rcdefaults()
        settings: Any = matplotlib.rcParams
        settings.update(RC)
        yield


def figure(height_mm: float, width_mm: float = WIDTH_MM) -> Figure:
    """Return an empty figure of a size in mm; it belongs to no window."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width_mm * MM, height_mm * MM))


def panel(drawn: Figure, left_mm: float, top_mm: float, width_mm: float, height_mm: float, **more: Any) -> Axes:
    """Return axes at a place of the figure, measured in mm from its left and upper edge to the drawn area."""
    width, height = drawn.get_size_inches() / MM
    return drawn.add_axes((left_mm / width, 1.0 - (top_mm + height_mm) / height, width_mm / width, height_mm / height),
                          **more)


def titled(axes: Axes, text: str, size: float = 8.5) -> None:
    """Write a panel's title at a fixed place: finding a free one costs a third of the drawing."""
    axes.set_title(text, fontsize=size, y=1.0, pad=3.0)


def bare(axes: Axes) -> None:
    """Take away what carries no information."""
    axes.spines["top"].set_visible(False)
    axes.spines["right"].set_visible(False)
    axes.grid(True, color=FAINT, linewidth=0.4)
    axes.set_axisbelow(True)


def shortened(text: str, length: int) -> str:
    """Return a user's text as a chart shows it: at most so many characters, cut with an ellipsis."""
    return clean(text, length)
