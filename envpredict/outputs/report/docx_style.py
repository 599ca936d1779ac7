"""The styles of the Word file."""

from __future__ import annotations

from typing import Any

from docx.enum.style import WD_STYLE_TYPE
from docx.oxml.ns import qn
from docx.shared import Mm, Pt, RGBColor

INK, MUTED, WHITE = RGBColor(0x1B, 0x1F, 0x23), RGBColor(0x5D, 0x66, 0x6E), RGBColor(0xFF, 0xFF, 0xFF)
BAR_COLOURS = {"caution": "1B1F23", "missing": "7C1D54"}
FONT, FIXED = "Arial", "Courier New"
A4_WIDTH, A4_HEIGHT, SIDE = Mm(210), Mm(297), Mm(20)


def _font(style: Any, name: str, size: float, colour: RGBColor = INK, *, bold: bool = False) -> None:
    style.font.name, style.font.size, style.font.bold, style.font.italic = name, Pt(size), bold, False
    style.font.color.rgb = colour
    fonts = style.element.get_or_add_rPr().get_or_add_rFonts()
    for script in ("w:ascii", "w:hAnsi", "w:eastAsia", "w:cs"):
        fonts.set(qn(script), name)
    for theme in ("w:asciiTheme", "w:hAnsiTheme", "w:eastAsiaTheme", "w:cstheme"):
        fonts.attrib.pop(qn(theme), None)


def _space(style: Any, before: float, after: float, line: float = 1.0) -> None:
    form = style.paragraph_format
    form.space_before, form.space_after, form.line_spacing = Pt(before), Pt(after), line


def _style(document: Any, name: str) -> Any:
    if name in document.styles:
        return document.styles[name]
    style = document.styles.add_style(name, WD_STYLE_TYPE.PARAGRAPH)
    style.base_style = document.styles["Normal"]
    return style


def prepare(document: Any) -> None:
    """Set page, fonts and paragraph styles of a new document."""
    section = document.sections[0]
    section.page_width, section.page_height = A4_WIDTH, A4_HEIGHT
    section.left_margin = section.right_margin = SIDE
    section.top_margin, section.bottom_margin = Mm(24), Mm(30)
    section.header_distance, section.footer_distance = Mm(9), Mm(8)
    looks = (("Normal", FONT, 9.5, INK, False, 0, 5, 1.1), ("Title", FONT, 22, INK, True, 18, 6, 1.0),
             ("Subtitle", FONT, 13, MUTED, False, 0, 12, 1.0), ("Heading 1", FONT, 15, INK, True, 20, 6, 1.0),
             ("Heading 2", FONT, 11.5, INK, True, 12, 4, 1.0), ("Caption", FONT, 9, INK, True, 8, 3, 1.0),
             ("List Bullet", FONT, 9.5, INK, False, 0, 3, 1.05), ("Note", FONT, 9, MUTED, False, 0, 5, 1.05),
             ("Small", FONT, 7.5, MUTED, False, 1, 2, 1.0), ("TableText", FONT, 7.5, INK, False, 0.8, 0.8, 1.0),
             ("FactText", FONT, 8.5, INK, False, 1.5, 1.5, 1.0),
             ("Trace", FIXED, 6.8, INK, False, 0, 0, 1.0), ("Banner", FONT, 12, WHITE, True, 2, 4, 1.0),
             ("Contents Heading", FONT, 15, INK, True, 0, 8, 1.0), ("Contents Line", FONT, 9.5, INK, False, 0, 3, 1.0),
             ("Page Head", FONT, 7.5, MUTED, False, 0, 0, 1.0), ("Page Foot", FONT, 6.3, MUTED, False, 0, 1, 1.0))
    for name, font, size, colour, bold, before, after, line in looks:
        style = _style(document, name)
        _font(style, font, size, colour, bold=bold)
        _space(style, before, after, line)
    for name in ("Title", "Heading 1", "Heading 2"):
        _plain(document.styles[name])
    for name in ("Heading 1", "Heading 2", "Contents Heading"):
        document.styles[name].paragraph_format.keep_with_next = True


def _plain(style: Any) -> None:
    """Take the template's line under a title away."""
    properties = style.element.get_or_add_pPr()
    for border in properties.findall(qn("w:pBdr")):
        properties.remove(border)
