"""Texts that a user brings stay texts, in every output: no markup, no formula, no link, no field, no picture's code."""

from __future__ import annotations

import csv
import re
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pyogrio
import pytest
from reading_outputs import PageReader, sheets, word_text, xml_parts
from scenario_folder import Folder

from envpredict.engine.assess import assess
from envpredict.engine.intake import read_scenario
from envpredict.engine.results import Assessment
from envpredict.outputs.charts import charts
from envpredict.outputs.registry import load_outputs

FORMULA = '=HYPERLINK("http://127.0.0.1/x","open")'
SCRIPT = '</td><script>window.hurt=1</script><img src=x onerror="window.hurt=1">'
MATHS = r"$\frac{1}{0}$ \undefined $x"
LINK = "https://127.0.0.1/steal?a=1&b=2"
TURNED = "left\u202eright\u202c"
CONTROL = "bell\u0007 tab\u000b end"
PLUS, MINUS, AT = "+1+1", "-2+3", "@SUM(1)"
HOSTILE = (FORMULA, SCRIPT, MATHS, LINK, TURNED, CONTROL, PLUS, MINUS, AT)
ALLOWED_TAGS = {"html", "head", "meta", "title", "style", "body", "main", "header", "nav", "ol", "ul", "li", "a",
                "section", "h1", "h2", "h3", "p", "table", "caption", "colgroup", "col", "thead", "tbody", "tr", "th",
                "td", "b", "br", "div", "figure", "img", "figcaption", "pre", "footer"}


def poison(folder: Path) -> Folder:
    """Return a scenario whose every free text is hostile."""
    made = Folder(folder)
    ids: dict[str, str] = {}

    def rename(features: list[dict[str, Any]]) -> None:
        for number, feature in enumerate(features):
            feature["properties"]["name"] = HOSTILE[number % len(HOSTILE)]
            if number < len(HOSTILE):
                ids[feature["properties"]["id"]] = HOSTILE[number]
                feature["properties"]["id"] = HOSTILE[number]

    made.features("receptors.geojson", rename)
    made.toml('title = "Starter scenario"', "title = '''" + SCRIPT + " " + MATHS + "'''")
    made.toml('id = "vibratory_variable_moment"',
              f"id = '''{FORMULA}'''\nmethod = \"vibratory_variable_moment\"\ntitle = '''{SCRIPT}'''")
    stated = {"applicant": FORMULA, "site_manager": SCRIPT, "need": MATHS, "community": LINK}
    lines = [f"{key} = '''{text}'''" for key, text in stated.items()]
    made.add("\n".join(["[submission]", *lines, r'authority = "bell\u0007end"', "[[submission.options_rejected]]",
                        f"method = '''{SCRIPT}'''", f"why = '''{FORMULA}'''"]))
    with (made / "baseline.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    with (made / "baseline.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([[ids.get(cell, cell) for cell in row] for row in rows])
    return made


@pytest.fixture(scope="module")
def assessed(tmp_path_factory: pytest.TempPathFactory) -> Assessment:
    return assess(read_scenario(poison(tmp_path_factory.mktemp("hostile") / "scenario").path))


@pytest.fixture(scope="module")
def folder(assessed: Assessment, tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("out")
    for name, output in load_outputs().items():
        output.write(assessed, made / name)
    return made


def test_texts_arrived(assessed: Assessment) -> None:
    assert FORMULA in assessed.receptors["id"].tolist()
    assert SCRIPT in assessed.receptors["id"].tolist()
    assert FORMULA in [choice.id for choice in assessed.methods]


def test_page_holds_only_our_tags_and_no_script(folder: Path) -> None:
    text = (folder / "report.html").read_text(encoding="utf-8")
    page = PageReader(text)
    assert page.tags <= ALLOWED_TAGS
    assert not [name for _, name in page.attributes if name.startswith("on")]
    assert {name for tag, name in page.attributes if tag == "a"} == {"href"}
    assert all(target.startswith("#") for target in re.findall(r'<a href="([^"]*)"', text))
    assert all(source.startswith("data:image/svg+xml;base64,") for source in re.findall(r'<img src="([^"]*)"', text))
    assert "default-src 'none'" in text
    assert "window.hurt" in "".join(page.words)          # shown as text
    assert "\u202e" not in text
    assert "\u0007" not in text


def test_word_file_is_sound_and_holds_no_foreign_field(folder: Path) -> None:
    parts = xml_parts(folder / "report.docx")
    for name, data in parts.items():
        if name.endswith((".xml", ".rels")):
            ElementTree.fromstring(data)                 # raises where a text broke the markup
    body = parts["word/document.xml"].decode("utf-8")
    codes = {code.split()[0] for code in re.findall(r"<w:instrText[^>]*>([^<]*)<", body)}
    assert codes == {"PAGEREF"}
    links = parts["word/_rels/document.xml.rels"].decode("utf-8")
    assert "127.0.0.1" not in links
    assert 'TargetMode="External"' not in links
    assert "window.hurt" in word_text(folder / "report.docx")


def test_workbook_holds_no_formula_and_no_link(folder: Path, assessed: Assessment) -> None:
    parts = xml_parts(folder / "workbook.xlsx")
    for name, data in parts.items():
        root = ElementTree.fromstring(data)
        local = {element.tag.rpartition("}")[2] for element in root.iter()}
        if name.startswith("xl/worksheets/"):
            assert not local & {"f", "hyperlink", "hyperlinks"}
        assert not local & {"externalReference", "ddeLink", "oleLink"}
    assert not [name for name in parts if "externalLink" in name]
    cells = {cell for rows in sheets(folder / "workbook.xlsx").values() for row in rows for cell in row}
    brought = set(assessed.receptors["id"]) | set(assessed.receptors["name"])
    assert {FORMULA, SCRIPT, LINK, PLUS} <= brought
    assert brought - {CONTROL} <= cells                  # kept as they were, as texts


def test_csv_cells_are_no_formulas(folder: Path) -> None:
    with (folder / "findings.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(line for line in file if not line.startswith("# ")))
    starts = {cell[:1] for row in rows for cell in row if not _is_number(cell)}
    assert not starts & {"=", "+", "@", "\t", "\r", "-"}
    assert f"'{FORMULA}" in {row[0] for row in rows}


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def test_layers_keep_texts_as_they_were(folder: Path, assessed: Assessment) -> None:
    names = [name for name, _ in pyogrio.list_layers(folder / "layers.gpkg")]
    assert f"receptors_{FORMULA}" in names
    layer = pyogrio.read_dataframe(folder / "layers.gpkg", layer="receptors")
    assert layer["id"].tolist() == assessed.receptors["id"].tolist()
    piles = pyogrio.read_dataframe(folder / "layers.gpkg", layer="piles")
    assert f"day_{FORMULA}" in piles.columns


def test_charts_draw_texts_as_they_are(assessed: Assessment) -> None:
    for chart in charts(assessed):
        root = ElementTree.fromstring(chart.svg)
        local = {element.tag.rpartition("}")[2] for element in root.iter()}
        assert not local & {"script", "foreignObject", "a"}
        for image in root.iter("{http://www.w3.org/2000/svg}image"):
            assert image.get("{http://www.w3.org/1999/xlink}href", "").startswith("data:image/png;base64,")
        assert chart.png.startswith(b"\x89PNG")
    titles = " ".join("".join(ElementTree.fromstring(chart.svg).itertext()) for chart in charts(assessed))
    assert "script" in titles                            # the method's title, as letters
