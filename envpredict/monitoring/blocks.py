"""What a readable document is made of, whatever it's printed as."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading; level 1 is a chapter."""

    text: str
    level: int = 1


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Running text."""

    text: str


@dataclass(frozen=True, slots=True)
class Notice:
    """A text that must not be missed."""

    text: str


@dataclass(frozen=True, slots=True)
class Bullets:
    """A list."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table; every row has one text per column."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    title: str = ""

    def __post_init__(self) -> None:
        for row in self.rows:
            if len(row) != len(self.columns):
                raise ValueError(f"a row of '{self.title}' has {len(row)} cells, not {len(self.columns)}")


@dataclass(frozen=True, slots=True)
class SitePlan:
    """The place at which the drawing of the stations stands."""

    title: str


Block = Heading | Paragraph | Notice | Bullets | Table | SitePlan


@dataclass(frozen=True, slots=True)
class Document:
    """A document: title, the line below it, and its blocks."""

    title: str
    subtitle: str
    blocks: tuple[Block, ...] = field(default_factory=tuple)
