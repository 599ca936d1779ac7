"""A chart before it is finished."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.figure import Figure


@dataclass(frozen=True, slots=True, eq=False)
class Sketch:
    """A drawn figure with its identifier, title, caption, and what it shows in words."""

    id: str
    title: str
    caption: str
    alt: str
    figure: Figure
