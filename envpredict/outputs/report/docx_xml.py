"""The parts of a Word file that python-docx has no call for, as XML: tables by rows, fields, links, shading."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any
from xml.sax.saxutils import escape, quoteattr

from docx.oxml import parse_xml
from docx.oxml.ns import nsdecls

from envpredict.outputs.map.style import COLOURS
from envpredict.outputs.report.blocks import Cell, Column, Facts, Table
from envpredict.outputs.texts import fit

TWIPS_PER_MM = 1440.0 / 25.4
HEAD_SHADE = "E9ECEE"
RULE = "9AA3AB"
TINT = 0.18


def tone_shade(word: str) -> str:
    """Return the light tone of a likelihood's colour behind a cell, as RRGGBB."""
    fill = COLOURS[word][0]
    return "".join(f"{round(255 - TINT * (255 - int(fill[at:at + 2], 16))):02X}" for at in (1, 3, 5))


def runs(text: str, *, bold: bool = False) -> str:
    """Return the runs of a text; its line ends become line breaks."""
    look = "<w:rPr><w:b/></w:rPr>" if bold else ""
    lines = [f'<w:t xml:space="preserve">{escape(line)}</w:t>' for line in fit(text).split("\n")]
    return f"<w:r>{look}{'<w:br/>'.join(lines)}</w:r>"


def paragraph(text: str, style_id: str, *, bar: str = "", keep: bool = False) -> Any:
    """Return a paragraph in a style; `bar` draws a line of this colour at its left, `keep` holds it to the next."""
    held = "<w:keepNext/>" if keep else ""
    left = (f'<w:pBdr><w:left w:val="single" w:sz="24" w:space="6" w:color="{bar}"/></w:pBdr>' if bar else "")
    indent = '<w:ind w:left="170"/>' if bar and style_id != "ListBullet" else ""
    return parse_xml(f'<w:p {nsdecls("w")}><w:pPr><w:pStyle w:val="{style_id}"/>{held}{left}{indent}</w:pPr>'
                     f"{runs(text) if text else ''}</w:p>")


def _cell(text: str, width: int, *, align: str = "left", bold: bool = False, shade: str = "",
          style_id: str = "TableText", keep: bool = False) -> str:
    fill = f'<w:shd w:val="clear" w:color="auto" w:fill="{shade}"/>' if shade else ""
    side = f'<w:jc w:val="{align}"/>' if align != "left" else ""
    held = "<w:keepNext/>" if keep else ""
    return (f'<w:tc><w:tcPr><w:tcW w:w="{width}" w:type="dxa"/>{fill}</w:tcPr><w:p><w:pPr><w:pStyle '
            f'w:val="{style_id}"/>'
            f"{held}{side}</w:pPr>{runs(text, bold=bold) if text else ''}</w:p></w:tc>")


def _row(cells: Iterable[str], *, head: bool = False) -> str:
    repeat = "<w:tblHeader/>" if head else ""
    return f"<w:tr><w:trPr><w:cantSplit/>{repeat}</w:trPr>{''.join(cells)}</w:tr>"


def _start(widths: Sequence[int]) -> str:
    borders = "".join(f'<w:{side} w:val="single" w:sz="4" w:space="0" w:color="{RULE}"/>'
                      for side in ("top", "bottom", "insideH"))
    grid = "".join(f'<w:gridCol w:w="{width}"/>' for width in widths)
    return (f'<w:tbl {nsdecls("w")}><w:tblPr><w:tblW w:w="{sum(widths)}" w:type="dxa"/><w:tblBorders>{borders}'
            '</w:tblBorders><w:tblLayout w:type="fixed"/><w:tblCellMar><w:left w:w="60" w:type="dxa"/><w:right '
            'w:w="60" '
            f'w:type="dxa"/></w:tblCellMar></w:tblPr><w:tblGrid>{grid}</w:tblGrid>')


def _widths(columns: Sequence[Column], width_mm: float) -> list[int]:
    """Return the columns' widths in twentieths of a point, scaled so that the table fills the text's width."""
    scale = width_mm * TWIPS_PER_MM / sum(column.width_mm for column in columns)
    return [round(column.width_mm * scale) for column in columns]


def table(block: Table, width_mm: float) -> Any:
    """Return a table as an element: its header row repeats on every page, no row is split.

    The header row is held to the first row: left alone at the foot of a page, some programs lose what follows it.
    """
    widths = _widths(block.columns, width_mm)
    parts = [_start(widths),
             _row((_cell(column.head, width, align=column.align, bold=True, shade=HEAD_SHADE, keep=True)
                   for column, width in zip(block.columns, widths, strict=True)), head=True)]
    for row in block.rows:
        cells = []
        for column, width, cell in zip(block.columns, widths, row, strict=True):
            whole = cell if isinstance(cell, Cell) else Cell(cell)
            cells.append(_cell(whole.text, width, align=column.align, bold=whole.bold,
                               shade=tone_shade(whole.tone) if whole.tone else ""))
        parts.append(_row(cells))
    return parse_xml("".join([*parts, "</w:tbl>"]))


def facts(block: Facts, width_mm: float) -> Any:
    """Return names and values as a table of two columns."""
    widths = _widths((Column("", 48.0), Column("", 122.0)), width_mm)
    rows = (_row((_cell(name, widths[0], shade=HEAD_SHADE, style_id="FactText"),
                  _cell(value, widths[1], style_id="FactText"))) for name, value in block.rows)
    return parse_xml("".join([_start(widths), *rows, "</w:tbl>"]))


def field(code: str, shown: str) -> list[Any]:
    """Return the runs of a field that the reader's program fills in; `shown` stands there until it does."""
    parts = ('<w:fldChar w:fldCharType="begin" w:dirty="true"/>', f"<w:instrText xml:space=\"preserve\"> {code} "
                                                                  "</w:instrText>",
             '<w:fldChar w:fldCharType="separate"/>', f"<w:t>{escape(shown)}</w:t>", '<w:fldChar w:fldCharType="end"/>')
    return [parse_xml(f"<w:r {nsdecls('w')}>{part}</w:r>") for part in parts]


def bookmark(paragraph: Any, name: str, number: int) -> None:
    """Put a bookmark round what stands in a paragraph."""
    start = parse_xml(f'<w:bookmarkStart {nsdecls("w")} w:id="{number}" w:name={quoteattr(name)}/>')
    paragraph._p.insert(1 if paragraph._p.pPr is not None else 0, start)
    paragraph._p.append(parse_xml(f'<w:bookmarkEnd {nsdecls("w")} w:id="{number}"/>'))


def link(paragraph: Any, text: str, anchor: str) -> None:
    """Add a link to a bookmark of the same file."""
    paragraph._p.append(parse_xml(f"<w:hyperlink {nsdecls('w')} w:anchor={quoteattr(anchor)} w:history=\"1\">"
                                  f"{runs(text)}</w:hyperlink>"))


def shade(paragraph: Any, colour: str) -> None:
    """Lay a colour behind a paragraph."""
    properties = paragraph._p.get_or_add_pPr()
    properties.append(parse_xml(f'<w:shd {nsdecls("w")} w:val="clear" w:color="auto" w:fill="{colour}"/>'))
