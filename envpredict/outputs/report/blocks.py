"""What a report is made of: chapters of blocks, without any look; writers turn them into a file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from envpredict.outputs.charts import Chart

Kind = Literal["plain", "note", "caution", "missing"]
Align = Literal["left", "right", "center"]
PORTRAIT_MM, LANDSCAPE_MM = 170.0, 257.0
"""The width of the text on an A4 page, upright and across."""


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph; `missing` marks what the scenario lacks."""

    text: str
    kind: Kind = "plain"


@dataclass(frozen=True, slots=True)
class Bullets:
    """A list of short texts."""

    items: tuple[str, ...]
    kind: Kind = "plain"


@dataclass(frozen=True, slots=True)
class Subheading:
    """A heading inside a chapter."""

    text: str


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell of a table; `tone` is a likelihood's word, whose colour lies behind the text."""

    text: str
    tone: str = ""
    bold: bool = False


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table: its heading with the unit, its share of the width in mm, and how it's set."""

    head: str
    width_mm: float
    align: Align = "left"


@dataclass(frozen=True, slots=True)
class Table:
    """A table with a caption; `notes` stand under it, the meaning of its marks among them."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell | str, ...], ...]
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        wrong = [row for row in self.rows if len(row) != len(self.columns)]
        if wrong:
            raise ValueError(f"table '{self.caption}': a row has {len(wrong[0])} cells, not {len(self.columns)}")


@dataclass(frozen=True, slots=True)
class Facts:
    """Names and values, one pair per line."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Picture:
    """A chart with its caption."""

    chart: Chart


@dataclass(frozen=True, slots=True)
class Trace:
    """Text whose lines and blanks stay as they are."""

    text: str


Block = Text | Bullets | Subheading | Table | Facts | Picture | Trace


@dataclass(frozen=True, slots=True)
class Chapter:
    """A chapter; `id` is its anchor, `landscape` lays its pages across."""

    id: str
    title: str
    blocks: tuple[Block, ...]
    landscape: bool = False


@dataclass(frozen=True, slots=True)
class Report:
    """A report: what stands on its cover, in its footer, and its chapters, already numbered."""

    title: str
    subtitle: str
    banners: tuple[str, ...]
    facts: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]
    chapters: tuple[Chapter, ...]
