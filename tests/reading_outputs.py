"""Reads what the outputs wrote, without the code that wrote it: pages, Word files, workbooks, risk maps."""

from __future__ import annotations

import base64
import json
import math
import re
import zipfile
import zlib
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np

SHEET = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"


@dataclass
class ReadTable:
    """A table as a reader sees it: the chapter that it stands in, its caption, its heads and rows as text."""

    chapter: str
    caption: str
    head: list[str] = field(default_factory=list)
    rows: list[list[str]] = field(default_factory=list)


class PageReader(HTMLParser):
    """Collects the tables of a page, every tag and attribute that it uses, and its text."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tables: list[ReadTable] = []
        self.tags: set[str] = set()
        self.attributes: set[tuple[str, str]] = set()
        self.words: list[str] = []
        self.chapter = ""
        self._cell: list[str] | None = None
        self._caption = False
        self._facts = False
        self._silent = False
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        self.tags.add(tag)
        self.attributes |= {(tag, name) for name in given}
        if tag == "section":
            self.chapter = given["id"]
        elif tag == "table":
            self._facts = given.get("class") == "facts"
            self.tables.append(ReadTable(self.chapter, ""))
        elif tag == "tr" and not self._facts:
            self.tables[-1].rows.append([])
        elif tag in ("td", "th"):
            self._cell = []
        elif tag == "caption":
            self._caption = True
        elif tag == "br" and self._cell is not None:
            self._cell.append("\n")
        self._silent = tag == "style" or (self._silent and tag != "body")

    def handle_endtag(self, tag: str) -> None:
        if tag in ("td", "th") and self._cell is not None:
            text = "".join(self._cell)
            if not self._facts:
                self.tables[-1].rows[-1].append(text)
            self._cell = None
        elif tag == "caption":
            self._caption = False
        elif tag == "style":
            self._silent = False
        elif tag == "table":
            if self._facts:
                self.tables.pop()
            else:
                self.tables[-1].head = self.tables[-1].rows.pop(0)

    def handle_data(self, data: str) -> None:
        if self._silent:
            return
        self.words.append(data)
        if self._cell is not None:
            self._cell.append(data)
        elif self._caption:
            self.tables[-1].caption += data


def word_tables(path: Path) -> list[ReadTable]:
    """Return the captioned tables of a Word file, in order."""
    from docx import Document

    document = Document(str(path))
    found: list[ReadTable] = []
    chapter = caption = ""
    for block in document.iter_inner_content():
        if hasattr(block, "rows"):
            rows = [[cell.text for cell in row.cells] for row in block.rows]
            if caption:
                found.append(ReadTable(chapter, caption, rows[0], rows[1:]))
            caption = ""
        elif block.style.name == "Heading 1":
            chapter = block.text
        elif block.style.name == "Caption":
            caption = block.text
        elif block.text:
            caption = ""
    return found


def word_text(path: Path) -> str:
    """Return all text of a Word file: body, tables, headers and footers."""
    texts = []
    with zipfile.ZipFile(path) as archive:
        for name in archive.namelist():
            if re.fullmatch(r"word/(document|header\d*|footer\d*)\.xml", name):
                texts += list(ElementTree.fromstring(archive.read(name)).itertext())
    return " ".join(texts)


def sheets(path: Path) -> dict[str, list[list[Any]]]:
    """Return the sheets of a workbook: rows of text, numbers and truths, None where a cell is empty."""
    with zipfile.ZipFile(path) as archive:
        names = archive.namelist()
        shared: list[str] = []
        if "xl/sharedStrings.xml" in names:
            for item in ElementTree.fromstring(archive.read("xl/sharedStrings.xml")):
                shared.append("".join(item.itertext()))
        links = {link.get("Id"): link.get("Target") for link in
                 ElementTree.fromstring(archive.read("xl/_rels/workbook.xml.rels"))}
        book = ElementTree.fromstring(archive.read("xl/workbook.xml"))
        return {str(sheet.get("name")): _rows(ElementTree.fromstring(archive.read(f"xl/{links[sheet.get(RELATION)]}")),
                                              shared) for sheet in book.iter(f"{SHEET}sheet")}


def _rows(root: ElementTree.Element, shared: list[str]) -> list[list[Any]]:
    rows: list[list[Any]] = []
    for row in root.iter(f"{SHEET}row"):
        cells: list[Any] = []
        for cell in row:
            column = _column(str(cell.get("r")))
            cells += [None] * (column - len(cells))
            cells.append(_value(cell, shared))
        rows.append(cells)
    width = max((len(row) for row in rows), default=0)
    return [row + [None] * (width - len(row)) for row in rows]


def _column(reference: str) -> int:
    number = 0
    for letter in re.sub(r"\d", "", reference):
        number = 26 * number + ord(letter) - 64
    return number - 1


def _value(cell: ElementTree.Element, shared: list[str]) -> Any:
    kind = cell.get("t", "n")
    if kind == "inlineStr":
        return "".join(cell.itertext())
    value = cell.find(f"{SHEET}v")
    if value is None or value.text is None:
        return None
    if kind == "s":
        return shared[int(value.text)]
    return bool(int(value.text)) if kind == "b" else float(value.text)


def xml_parts(path: Path) -> dict[str, bytes]:
    """Return the members of a zip file by name."""
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def map_findings(path: Path, methods: list[str]) -> list[dict[str, Any]]:
    """Return every finding that a risk map holds, as its reader is shown it: numbers, words, None where there is none.

    Levels in decibels to a tenth, others to three digits; margins and days to a tenth, chances to a thousandth.
    """
    page = path.read_text(encoding="utf-8")
    head = json.loads(re.search(r'id="rm-data">(.*?)</script>', page, re.S)[1])     # type: ignore[index]
    raw = zlib.decompress(base64.b64decode(re.search(r'id="rm-block">(.*?)</script>', page, re.S)[1]))  # type: ignore[index]
    kinds = {"u8": "<u1", "u16": "<u2", "u32": "<u4", "i16": "<i2"}

    def column(name: str) -> Any:
        kind, offset, count = head["columns"][name]
        return (json.loads(raw[offset:offset + count]) if kind == "json"
                else np.frombuffer(raw, kinds[kind], count, offset).astype(np.int64))

    def words(name: str) -> list[str]:
        known = column(f"{name}.words")
        return [known[code] for code in column(name)]

    def steps(name: str, per_unit: int, missing: int) -> list[float | None]:
        return [None if code == missing else code / per_unit for code in column(f"findings.{name}").tolist()]

    def level(code: int, decibel: bool) -> float | None:
        if code == 0:
            return None
        if decibel:
            return -math.inf if code == 1 else (code - 32768) / 10
        return 0.0 if code == 1 else (code % 1000) * 10.0 ** (code // 1000 - 9 - 2)

    told = column("findings.kinds")
    kind = [told[code] for code in column("findings.kind")]
    counts = column("findings.count").reshape(len(column("receptors.ids")), len(methods))
    whose = [{"receptor": name, "method": method} for name, row in zip(column("receptors.ids"), counts, strict=True)
             for method, count in zip(methods, row, strict=True) for _ in range(count)]
    levels = {name: [level(code, one["decibel"]) for code, one in zip(column(f"findings.{name}").tolist(), kind,
                                                                      strict=True)]
              for name in ("predicted_median", "predicted_design", "limit", "other_laws_low", "other_laws_high")}
    numbers = {"margin_db": steps("margin_db", 10, -32768), "scatter": steps("scatter", 100, 65535)}
    numbers |= {name: steps(name, 1000, 65535) for name in ("p_exceed", "p_one_pile")}
    numbers |= {name: steps(name, 10, 65535) for name in ("days_above", "days_above_low", "days_above_high")}
    texts = {name: words(f"findings.{name}") for name in ("governing_pile", "governing_day", "reason")}
    outside = column("findings.outside")
    texts["likelihood"] = [head["words"][code]["id"] for code in column("findings.word")]
    return [{**one, **told, **{name: values[row] for name, values in (*levels.items(), *numbers.items(),
                                                                      *texts.items())},
             "in_range": not outside[row]} for row, (one, told) in enumerate(zip(whose, kind,
                                                                                                    strict=True))]
