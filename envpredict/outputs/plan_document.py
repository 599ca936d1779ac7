"""A monitoring plan and its audit as readable documents (docx and html), and the folders that hold them."""

from __future__ import annotations

import html
import io
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from envpredict.monitoring.blocks import Block, Bullets, Document, Heading, Notice, Paragraph, SitePlan, Table
from envpredict.monitoring.plan_file import plan_files
from envpredict.monitoring.plan_text import audit_document, plan_document
from envpredict.outputs.plan_sketch import Drawing, station_drawing
from envpredict.outputs.write import write_folder

if TYPE_CHECKING:
    from envpredict.monitoring.audit import AuditReport
    from envpredict.monitoring.plan_schema import Plan

STYLE = """
body { font: 15px/1.5 "DejaVu Sans", "Liberation Sans", sans-serif; color: #1b1f23; max-width: 76rem; margin: 2rem auto;
  padding: 0 1.2rem; }
h1 { font-size: 1.6rem; margin-bottom: .2rem; } h2 { font-size: 1.25rem; margin-top: 2.2rem; }
h3 { font-size: 1.05rem; }
.under { color: #5d666e; margin-top: 0; }
.notice { border-left: .4rem solid #7c1d54; background: #f6eef2; padding: .7rem 1rem; font-weight: 600; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; margin: .6rem 0 1.2rem; font-size: .87rem; }
caption { text-align: left; font-weight: 600; padding: .3rem 0; }
th, td { border: 1px solid #c9cdd1; padding: .3rem .5rem; text-align: left; vertical-align: top; }
th { background: #eef0f1; font-weight: 600; }
td { overflow-wrap: break-word; min-width: 3.2rem; }
svg { max-width: 100%; height: auto; }
@media print { body { max-width: none; margin: 0; font-size: 11px; } .notice { border: 1px solid #7c1d54; } }
"""


PAGE_MM = 297.0 - 2 * 18.0
"""Width of the text on an A4 page laid across."""


def write_plan(plan: Plan, folder: str | Path) -> Path:
    """Write a plan into a new folder, all or nothing: plan.toml, the stations layer, plan.docx and plan.html.

    A plan is edited by hand, so a folder that exists is never written over: InputProblems. OutputFailure if it can't be
    written.
    """
    drawing = station_drawing(plan) if any(station.x is not None for station in plan.stations) else None
    document = plan_document(plan)

    def fill(temporary: Path) -> None:
        for name, text in plan_files(plan).items():
            (temporary / name).write_text(text, encoding="utf-8")
        (temporary / "plan.html").write_text(to_html(document, drawing), encoding="utf-8")
        (temporary / "plan.docx").write_bytes(to_docx(document, drawing))

    return write_folder(Path(folder), fill)


def write_audit(report: AuditReport, folder: str | Path) -> Path:
    """Write an audit into a new folder, all or nothing: audit.csv, audit.docx and audit.html."""
    document = audit_document(report)

    def fill(temporary: Path) -> None:
        (temporary / "audit.csv").write_text(report.csv(), encoding="utf-8")
        (temporary / "audit.html").write_text(to_html(document), encoding="utf-8")
        (temporary / "audit.docx").write_bytes(to_docx(document))

    return write_folder(Path(folder), fill)


def to_html(document: Document, drawing: Drawing | None = None) -> str:
    """Return a document as one self-contained page."""
    title = html.escape(document.title)
    body = [f"<h1>{title}</h1>", f'<p class="under">{html.escape(document.subtitle)}</p>' if document.subtitle else ""]
    body += [_HTML[type(block)](block, drawing) for block in document.blocks]
    return (f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
            f'<meta name="viewport" content="width=device-width, initial-scale=1">\n<title>{title}</title>\n'
            f"<style>{STYLE}</style>\n</head>\n<body>\n<main>\n" + "\n".join(filter(None, body))
            + "\n</main>\n</body>\n</html>\n")


def _html_table(block: Table) -> str:
    caption = f"<caption>{html.escape(block.title)}</caption>" if block.title else ""
    head = "".join(f'<th scope="col">{html.escape(name)}</th>' for name in block.columns)
    rows = "\n".join("<tr>" + "".join(f"<td>{_broken(cell)}</td>" for cell in row) + "</tr>" for row in block.rows)
    return (f'<div class="wide" tabindex="0"><table>{caption}<thead><tr>{head}</tr></thead>\n<tbody>\n{rows}\n</tbody>'
            "</table></div>")


def _broken(text: str) -> str:
    """Return a cell's text that may be broken after the underscores of a long identifier."""
    return html.escape(text).replace("_", "_<wbr>")


def _html_drawing(block: SitePlan, drawing: Drawing | None) -> str:
    if drawing is None:
        return ""
    return (f'<figure role="img" aria-label="{html.escape(drawing.alt)}">{drawing.svg}'
            f"<figcaption>{html.escape(block.title)}</figcaption></figure>")


_HTML: dict[type, Callable[[Any, Drawing | None], str]] = {
    Heading: lambda block, _: f"<h{block.level + 1}>{html.escape(block.text)}</h{block.level + 1}>",
    Paragraph: lambda block, _: f"<p>{html.escape(block.text)}</p>",
    Notice: lambda block, _: f'<p class="notice">{html.escape(block.text)}</p>',
    Bullets: lambda block, _: "<ul>" + "".join(f"<li>{html.escape(item)}</li>" for item in block.items) + "</ul>",
    Table: lambda block, _: _html_table(block),
    SitePlan: _html_drawing,
}


def to_docx(document: Document, drawing: Drawing | None = None) -> bytes:
    """Return a document as a Word file; equal documents have equal contents."""
    import docx
    from docx.enum.section import WD_ORIENT
    from docx.shared import Mm, Pt

    paper = docx.Document()
    section = paper.sections[0]
    section.orientation = WD_ORIENT.LANDSCAPE
    section.page_width, section.page_height = Mm(297), Mm(210)
    section.left_margin = section.right_margin = Mm(18)
    section.top_margin = section.bottom_margin = Mm(16)
    paper.styles["Normal"].font.name = "Liberation Sans"
    paper.styles["Normal"].font.size = Pt(9.5)
    paper.core_properties.title, paper.core_properties.author = document.title, ""
    paper.add_heading(document.title, 0)
    if document.subtitle:
        paper.add_paragraph(document.subtitle)
    for block in document.blocks:
        _DOCX[type(block)](paper, block, drawing)
    buffer = io.BytesIO()
    paper.save(buffer)
    return buffer.getvalue()


def _docx_notice(paper: Any, block: Notice, _: Drawing | None) -> None:
    paper.add_paragraph().add_run(block.text).bold = True


def _docx_bullets(paper: Any, block: Bullets, _: Drawing | None) -> None:
    for item in block.items:
        paper.add_paragraph(item, style="List Bullet")


def column_widths_mm(block: Table) -> list[float]:
    """Return widths that fill the page: a column has room for its longest word, and more the more text it holds."""
    texts = [[name, *(row[number] for row in block.rows)] for number, name in enumerate(block.columns)]
    words = [max(len(word) for text in column for word in (*text.replace("_", "_ ").split(), "")) for column in texts]
    whole = [sum(map(len, column)) / len(column) for column in texts]
    needs = [2.0 + max(word, min(length, 60.0)) for word, length in zip(words, whole, strict=True)]
    return [PAGE_MM * need / sum(needs) for need in needs]


def _docx_table(paper: Any, block: Table, _: Drawing | None) -> None:
    from docx.oxml import OxmlElement
    from docx.shared import Mm, Pt

    if block.title:
        title = paper.add_paragraph()
        title.add_run(block.title).bold = True
        title.paragraph_format.keep_with_next = True
    table = paper.add_table(rows=1 + len(block.rows), cols=len(block.columns), style="Table Grid")
    # rows and cells are taken once: python-docx walks the whole table for every single cell that is asked for
    widths = [Mm(width) for width in column_widths_mm(block)]
    for column, width in zip(table.columns, widths, strict=True):
        column.width = width
    for number, (row, texts) in enumerate(zip(table.rows, (block.columns, *block.rows), strict=True)):
        for cell, text, width in zip(row.cells, texts, widths, strict=True):
            cell.width = width
            run = cell.paragraphs[0].add_run(text)
            run.font.size = Pt(7.5)
            run.bold = number == 0
        if number == 0:
            row._tr.get_or_add_trPr().append(OxmlElement("w:tblHeader"))  # the head is repeated on every page
    paper.add_paragraph()


def _docx_drawing(paper: Any, block: SitePlan, drawing: Drawing | None) -> None:
    from docx.shared import Mm

    if drawing is not None:
        paper.add_picture(io.BytesIO(drawing.png), width=Mm(drawing.width_mm))
        paper.inline_shapes[-1]._inline.docPr.set("descr", drawing.alt)
        paper.add_paragraph(block.title)


_DOCX: dict[type, Callable[[Any, Any, Drawing | None], None]] = {
    Heading: lambda paper, block, _: paper.add_heading(block.text, block.level),
    Paragraph: lambda paper, block, _: paper.add_paragraph(block.text),
    Notice: _docx_notice,
    Bullets: _docx_bullets,
    Table: _docx_table,
    SitePlan: _docx_drawing,
}

__all__ = ["Block", "to_docx", "to_html", "write_audit", "write_plan"]
