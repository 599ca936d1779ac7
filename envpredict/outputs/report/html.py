"""Writes a report as one self-contained page: no script, nothing fetched, every text escaped."""

from __future__ import annotations

import base64
import html
from collections.abc import Callable
from functools import singledispatch
from importlib.resources import files

from envpredict.outputs.map.style import COLOURS
from envpredict.outputs.report.blocks import (
    Block,
    Bullets,
    Cell,
    Chapter,
    Facts,
    Picture,
    Report,
    Subheading,
    Table,
    Text,
    Trace,
)
from envpredict.outputs.texts import fit

POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
"""What the page may load: its own style and its own pictures, and no script at all."""


def escaped(text: str) -> str:
    """Return a text as it stands in a page: markup characters inert, line ends kept."""
    return html.escape(fit(text), quote=True).replace("\n", "<br>")


def page(report: Report) -> str:
    """Return the report as an HTML document; the same report gives the same text."""
    style = files("envpredict.outputs.report").joinpath("style.css").read_text(encoding="utf-8")
    chapters = "\n".join(_chapter(chapter) for chapter in report.chapters)
    return (f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
            f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">\n'
            f'<meta name="viewport" content="width=device-width, initial-scale=1">\n'
            f"<title>{escaped(report.subtitle)}: "
            f"report</title>\n<style>\n{style}\n{_tones()}</style>\n</head>\n<body>\n"
            f"<main>\n{_cover(report)}\n{chapters}\n{_footer(report)}\n</main>\n</body>\n</html>\n")


def _tones() -> str:
    """Return the rules that lay a likelihood's colour behind a cell; the ink is what reads best on it."""
    return "".join(f".tone-{word} "
                   f"{{ background: {fill}26; border-left: 3px solid {fill if fill != '#ffffff' else ink}; "
                   "}\n" for word, (fill, ink) in COLOURS.items())


def _cover(report: Report) -> str:
    banners = "".join(f'<p class="banner">{escaped(text)}</p>\n' for text in report.banners)
    cautions = "".join(f'<p class="caution">{escaped(text)}</p>\n' for text in report.cautions
                       if text not in report.banners)
    links = "".join(f'<li><a href="#{chapter.id}">{escaped(chapter.title)}</a></li>\n' for chapter in report.chapters)
    return (f"<header>\n{banners}<h1>{escaped(report.title)}</h1>\n"
            f'<p class="subtitle">{escaped(report.subtitle)}</p>\n{_facts(Facts(report.facts))}\n{cautions}'
            f'<nav aria-label="Contents">\n<h3>Contents</h3>\n<ol>\n{links}</ol>\n</nav>\n</header>')


def _footer(report: Report) -> str:
    return "<footer>\n" + "".join(f"<p>{escaped(text)}</p>\n" for text in report.cautions) + "</footer>"


def _chapter(chapter: Chapter) -> str:
    across = ' class="across"' if chapter.landscape else ""
    blocks = "\n".join(_block(block) for block in chapter.blocks)
    return f'<section id="{chapter.id}"{across}>\n<h2>{escaped(chapter.title)}</h2>\n{blocks}\n</section>'


@singledispatch
def _block(block: Block) -> str:
    raise TypeError(f"no way to write a {type(block).__name__}")


def _writes(kind: type) -> Callable[[Callable[..., str]], Callable[..., str]]:
    """Register a writer for one kind of block."""
    return _block.register(kind)


@_writes(Text)
def _text(block: Text) -> str:
    look = f' class="{block.kind}"' if block.kind != "plain" else ""
    return f"<p{look}>{escaped(block.text)}</p>"


@_writes(Bullets)
def _bullets(block: Bullets) -> str:
    look = f' class="{block.kind}"' if block.kind != "plain" else ""
    return f"<ul{look}>\n" + "".join(f"<li>{escaped(item)}</li>\n" for item in block.items) + "</ul>"


@_writes(Subheading)
def _subheading(block: Subheading) -> str:
    return f"<h3>{escaped(block.text)}</h3>"


@_writes(Facts)
def _facts(block: Facts) -> str:
    rows = "".join(f'<tr><th scope="row">{escaped(name)}</th><td>{escaped(value)}</td></tr>\n'
                   for name, value in block.rows)
    return f'<div class="wide"><table class="facts">\n{rows}</table></div>'


@_writes(Table)
def _table(block: Table) -> str:
    heads = "".join(f'<th scope="col" class="{column.align}">{escaped(column.head)}</th>' for column in block.columns)
    total = sum(column.width_mm for column in block.columns)
    widths = "".join(f'<col style="width:{100.0 * column.width_mm / total:.1f}%">' for column in block.columns)
    rows = []
    for row in block.rows:
        cells = []
        for column, cell in zip(block.columns, row, strict=True):
            whole = cell if isinstance(cell, Cell) else Cell(cell)
            looks: list[str] = [column.align] if column.align != "left" else []
            looks += [f"tone-{whole.tone}"] if whole.tone else []
            look = f' class="{" ".join(looks)}"' if looks else ""
            text = escaped(whole.text)
            cells.append(f"<td{look}>{f'<b>{text}</b>' if whole.bold else text}</td>")
        rows.append(f"<tr>{''.join(cells)}</tr>")
    notes = "".join(f'<p class="under">{escaped(note)}</p>\n' for note in block.notes)
    body = "\n".join(rows)
    return (f'<div class="wide"><table>\n<caption>{escaped(block.caption)}</caption>\n<colgroup>{widths}</colgroup>\n'
            f"<thead><tr>{heads}</tr></thead>\n<tbody>\n{body}\n</tbody></table></div>\n{notes}")


@_writes(Picture)
def _picture(block: Picture) -> str:
    chart = block.chart
    data = base64.b64encode(chart.svg).decode("ascii")
    return (f'<figure><img src="data:image/svg+xml;base64,{data}" alt="{escaped(chart.alt)}" '
            f'width="{chart.width_mm / 25.4 * 144:.0f}"><figcaption><b>{escaped(chart.title)}.</b> '
            f"{escaped(chart.caption)}</figcaption></figure>")


@_writes(Trace)
def _trace(block: Trace) -> str:
    return f"<pre>{html.escape(fit(block.text))}</pre>"
