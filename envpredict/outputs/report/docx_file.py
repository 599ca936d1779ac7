"""Writes a report as a Word file by python-docx: A4, captions, header rows that repeat, cautions on every page."""

from __future__ import annotations

import io
import zipfile
from datetime import UTC, datetime
from typing import Any

from docx import Document
from docx.enum.section import WD_ORIENT, WD_SECTION
from docx.enum.text import WD_TAB_ALIGNMENT, WD_TAB_LEADER
from docx.shared import Mm

from envpredict.core.cautions import SCREENING
from envpredict.outputs.report import docx_xml as xml
from envpredict.outputs.report.blocks import (
    LANDSCAPE_MM,
    PORTRAIT_MM,
    Block,
    Bullets,
    Chapter,
    Facts,
    Picture,
    Report,
    Subheading,
    Table,
    Text,
)
from envpredict.outputs.report.docx_style import BAR_COLOURS, prepare
from envpredict.outputs.texts import fit

STAMP = datetime(2000, 1, 1, tzinfo=UTC)
"""The one date inside the file; the report's own date stands on its cover."""
ZIP_STAMP = (1980, 1, 1, 0, 0, 0)
TALLEST_MM, TALLEST_LANDSCAPE_MM = 205.0, 130.0
A4_MM = (210.0, 297.0)


def document_bytes(report: Report) -> bytes:
    """Return the report as a Word file; the same report gives the same bytes."""
    document = Document()
    prepare(document)
    writer = _Writer(document)
    writer.cover(report)
    landscape = False
    for number, chapter in enumerate(report.chapters):
        if chapter.landscape != landscape:
            writer.turn(landscape=chapter.landscape)
            landscape = chapter.landscape
        writer.chapter(chapter, number)
    writer.header_and_footer(report)
    _properties(document, report)
    raw = io.BytesIO()
    document.save(raw)
    return _stamped(raw.getvalue())


def _properties(document: Any, report: Report) -> None:
    properties = document.core_properties
    properties.title = report.title
    properties.subject = fit(report.subtitle)
    properties.author = properties.last_modified_by = "envpredict"
    properties.comments = SCREENING
    properties.created = properties.modified = STAMP
    properties.revision = 1


def _stamped(data: bytes) -> bytes:
    """Return a zip file with the same members under one fixed time stamp."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as source, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target:
        for name in source.namelist():
            target.writestr(zipfile.ZipInfo(name, ZIP_STAMP), source.read(name), zipfile.ZIP_DEFLATED)
    return out.getvalue()


class _Writer:
    """Adds blocks to a document, in the width of the section that is open."""

    def __init__(self, document: Any) -> None:
        self.document = document
        self.width_mm, self.tallest_mm = PORTRAIT_MM, TALLEST_MM
        self.style_ids: dict[str, str] = {}

    def cover(self, report: Report) -> None:
        """Add the cover: banners, title, facts, cautions; then the contents."""
        for text in report.banners:
            paragraph = self.document.add_paragraph(text, style="Banner")
            xml.shade(paragraph, "1B1F23")
        self.document.add_paragraph(report.title, style="Title")
        self.document.add_paragraph(report.subtitle, style="Subtitle")
        self._add(xml.facts(Facts(report.facts), self.width_mm))
        self._line("", "Small")
        for text in report.cautions:
            if text not in report.banners:
                self._text(Text(text, "caution"))
        self.document.add_paragraph("Contents", style="Contents Heading").paragraph_format.page_break_before = True
        for number, chapter in enumerate(report.chapters):
            paragraph = self.document.add_paragraph(style="Contents Line")
            paragraph.paragraph_format.tab_stops.add_tab_stop(Mm(PORTRAIT_MM), WD_TAB_ALIGNMENT.RIGHT,
                                                              WD_TAB_LEADER.DOTS)
            xml.link(paragraph, chapter.title, _anchor(number))
            paragraph.add_run("\t")
            for run in xml.field(f"PAGEREF {_anchor(number)} \\h", ""):
                paragraph._p.append(run)

    def chapter(self, chapter: Chapter, number: int) -> None:
        """Add a chapter; the large ones start on a page of their own."""
        heading = self.document.add_paragraph(chapter.title, style="Heading 1")
        if number == 0 or chapter.title.startswith("Appendix"):
            heading.paragraph_format.page_break_before = not chapter.landscape
        xml.bookmark(heading, _anchor(number), number + 1)
        for block in chapter.blocks:
            self.block(block)

    def block(self, block: Block) -> None:
        """Add one block."""
        if isinstance(block, Text):
            self._text(block)
        elif isinstance(block, Bullets):
            for item in block.items:
                self._line(item, "List Bullet", bar=BAR_COLOURS.get(block.kind, ""))
        elif isinstance(block, Subheading):
            self._line(block.text, "Heading 2")
        elif isinstance(block, Table):
            self._table(block)
        elif isinstance(block, Facts):
            self._add(xml.facts(block, self.width_mm))
            self._line("", "Small")
        elif isinstance(block, Picture):
            self._picture(block)
        else:
            self._line(block.text, "Trace")

    def turn(self, *, landscape: bool) -> None:
        """Start a new section that lies across, or upright again."""
        section = self.document.add_section(WD_SECTION.NEW_PAGE)
        section.orientation = WD_ORIENT.LANDSCAPE if landscape else WD_ORIENT.PORTRAIT
        width, height = reversed(A4_MM) if landscape else A4_MM
        section.page_width, section.page_height = Mm(width), Mm(height)
        self.width_mm = LANDSCAPE_MM if landscape else PORTRAIT_MM
        self.tallest_mm = TALLEST_LANDSCAPE_MM if landscape else TALLEST_MM

    def header_and_footer(self, report: Report) -> None:
        """Put the title and banners over, and the cautions and the page's number under every page."""
        for number, section in enumerate(self.document.sections):
            width = LANDSCAPE_MM if section.orientation == WD_ORIENT.LANDSCAPE else PORTRAIT_MM
            if number:
                section.header.is_linked_to_previous = section.footer.is_linked_to_previous = False
            head = section.header.paragraphs[0]
            head.style = self.document.styles["Page Head"]
            head.add_run(fit(report.subtitle))
            for text in report.banners:
                head.add_run(f"\n{text}").bold = True
            foot = section.footer.paragraphs[0]
            foot.style = self.document.styles["Page Foot"]
            foot.add_run(" ".join(report.cautions[len(report.banners):]))
            line = section.footer.add_paragraph(style="Page Foot")
            line.paragraph_format.tab_stops.add_tab_stop(Mm(width), WD_TAB_ALIGNMENT.RIGHT)
            line.add_run("\tPage ")
            for code, between in (("PAGE", " of "), ("NUMPAGES", "")):
                for run in xml.field(code, "1"):
                    line._p.append(run)
                line.add_run(between)

    def _add(self, element: Any) -> None:
        body = self.document.element.body
        body.insert(len(body) - 1, element)   # the last element holds the section's page

    def _line(self, text: str, style: str, *, bar: str = "", keep: bool = False) -> None:
        if style not in self.style_ids:
            self.style_ids[style] = self.document.styles[style].style_id
        self._add(xml.paragraph(text, self.style_ids[style], bar=bar, keep=keep))

    def _text(self, block: Text) -> None:
        self._line(block.text, "Note" if block.kind == "note" else "Normal", bar=BAR_COLOURS.get(block.kind, ""))

    def _table(self, block: Table) -> None:
        self._line(block.caption, "Caption", keep=True)
        if block.rows:
            self._add(xml.table(block, self.width_mm))
        else:
            self._line("None.", "Note")
        for note in block.notes:
            self._line(note, "Small")
        self._line("", "Small")

    def _picture(self, block: Picture) -> None:
        chart = block.chart
        scale = min(1.0, self.width_mm / chart.width_mm, self.tallest_mm / chart.height_mm)
        self._line(chart.title, "Caption", keep=True)
        paragraph = self.document.add_paragraph()
        paragraph.paragraph_format.keep_with_next = True
        picture = paragraph.add_run().add_picture(io.BytesIO(chart.png), width=Mm(chart.width_mm * scale))
        picture._inline.docPr.set("descr", chart.alt)
        picture._inline.docPr.set("title", chart.title)
        self._line(chart.caption, "Small")


def _anchor(number: int) -> str:
    return f"chapter_{number + 1}"
