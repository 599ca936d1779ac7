"""The report as its readers open it: turned into pages by a word processor, printed and read by a browser."""

from __future__ import annotations

import csv
import re
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser
from reading_outputs import sheets, word_tables
from scenario_folder import Folder

from envpredict.core.cautions import CAUTIONS, DRAFT, INVENTED
from envpredict.engine.assess import assess
from envpredict.engine.intake import read_scenario
from envpredict.engine.results import Assessment
from envpredict.outputs.registry import load_outputs
from envpredict.outputs.report import build

A4_POINTS = (595, 842)
FORMULA = "=1+1"
EVERY_SHEET = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,false,false,false,false,-1"
"""LibreOffice's filter: commas, quotes, UTF-8, values as they are stored, one file per sheet."""


@pytest.fixture(scope="module")
def assessed(tmp_path_factory: pytest.TempPathFactory) -> Assessment:
    folder = Folder(tmp_path_factory.mktemp("pages") / "scenario")
    folder.features("receptors.geojson", lambda features: features[-1]["properties"].update(id=FORMULA))
    return assess(read_scenario(folder.path))


@pytest.fixture(scope="module")
def folder(assessed: Assessment, tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("written")
    for name in ("report.docx", "report.html", "workbook.xlsx"):
        load_outputs()[name].write(assessed, made / name)
    return made


def converted(program: str, file: Path, to: str, into: Path) -> None:
    """Convert a file with LibreOffice, in a profile of its own so that runs don't meet."""
    subprocess.run([program, f"-env:UserInstallation={(into / 'profile').as_uri()}", "--headless", "--convert-to", to,
                    "--outdir", str(into), str(file)], check=True, capture_output=True, timeout=300)


@pytest.fixture(scope="module")
def pages(folder: Path, need: Callable[[str], str], tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """The text of every page that a word processor makes of the Word file, as it's laid out."""
    into = tmp_path_factory.mktemp("pdf")
    converted(need("soffice"), folder / "report.docx", "pdf", into)
    laid_out = subprocess.run([need("pdftotext"), "-layout", str(into / "report.pdf"), "-"], check=True,
                              capture_output=True, text=True).stdout
    return laid_out.split("\f")[:-1]


def flat(text: str) -> str:
    return " ".join(text.split())


def test_every_page_carries_what_it_must(pages: list[str]) -> None:
    assert 15 <= len(pages) <= 120
    for number, text in enumerate(pages, 1):
        said = flat(text)
        assert DRAFT in said
        assert INVENTED in said
        assert f"Page {number} of {len(pages)}" in said
        for caution in CAUTIONS:
            assert caution in said


def test_contents_lead_to_the_pages(pages: list[str], assessed: Assessment) -> None:
    contents = next(text for text in pages if re.search(r"^\s*Contents\s*$", text, flags=re.MULTILINE))
    for chapter in build(assessed).chapters:
        title = flat(chapter.title)
        found = re.search(re.escape(title) + r"\s*\.+\s*(\d+)", flat(contents))
        assert found is not None, title
        assert title in flat(pages[int(found[1]) - 1])


def test_no_field_broke_and_no_text_was_lost(pages: list[str], assessed: Assessment) -> None:
    whole = flat(" ".join(pages))
    assert "Error!" not in whole
    assert "Reference source not found" not in whole
    for name in assessed.receptors["id"]:
        assert str(name) in whole


def test_every_row_of_every_table_reaches_paper(pages: list[str], folder: Path) -> None:
    """A head left alone at the foot of a page once swallowed its table: every cell's first word is looked for."""
    paper = "".join("".join(pages).split())
    for table in word_tables(folder / "report.docx"):
        for row in table.rows:
            for cell in row:
                assert "".join(cell.split()[:1]) in paper, (table.caption, row)


def test_nothing_is_cut_off_at_the_edge_of_a_page(folder: Path, need: Callable[[str], str], tmp_path: Path) -> None:
    converted(need("soffice"), folder / "report.docx", "pdf", tmp_path)
    subprocess.run([need("pdftoppm"), "-r", "40", "-gray", "-png", str(tmp_path / "report.pdf"), str(tmp_path / "p")],
                   check=True)
    for path in sorted(tmp_path.glob("p-*.png")):
        grey = np.asarray(Image.open(path).convert("L"))
        edge = max(2, round(0.012 * min(grey.shape)))      # 2.5 mm of A4
        assert min(side.min() for side in (grey[:edge], grey[-edge:], grey[:, :edge], grey[:, -edge:])) > 200, path.name
        assert sorted(side / 40 * 72 for side in grey.shape) == pytest.approx(A4_POINTS, abs=2.0)


def test_another_program_reads_the_same_cells(folder: Path, need: Callable[[str], str], tmp_path: Path) -> None:
    """LibreOffice's own reader gives the numbers that were written, and takes no text for a formula."""
    converted(need("soffice"), folder / "workbook.xlsx", EVERY_SHEET, tmp_path)
    ours = sheets(folder / "workbook.xlsx")
    for name in ("By effect", "Receptors", "Limits"):
        with (tmp_path / f"workbook-{name}.csv").open(encoding="utf-8", newline="") as file:
            theirs = list(csv.reader(file))
        assert len(theirs) == len(ours[name])
        for mine, cells in zip(ours[name], theirs, strict=True):
            for value, cell in zip(mine, cells, strict=True):
                if isinstance(value, float):
                    assert float(cell) == pytest.approx(value, rel=1e-9)
                elif isinstance(value, str):
                    assert flat(cell) == flat(value)
    with (tmp_path / "workbook-Receptors.csv").open(encoding="utf-8", newline="") as file:
        assert FORMULA in {row[0] for row in csv.reader(file)}


@pytest.mark.parametrize("size", [(1440, 900), (390, 844)])
def test_the_page_opens_offline_and_fits_its_window(chromium: Browser, folder: Path, size: tuple[int, int]) -> None:
    context = chromium.new_context(offline=True, viewport={"width": size[0], "height": size[1]})
    page = context.new_page()
    errors: list[str] = []
    asked: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.on("console", lambda said: errors.append(said.text) if said.type in ("error", "warning") else None)
    page.on("request", lambda request: asked.append(request.url))
    page.goto((folder / "report.html").as_uri())
    shown = page.evaluate("""() => ({
        wide: document.documentElement.scrollWidth, window: innerWidth,
        pictures: [...document.images].map((one) => one.naturalWidth > 0 && one.alt.length > 20),
        broken: [...document.querySelectorAll('nav a')].filter((one) => !document.querySelector(one.hash)).length,
        scripts: document.scripts.length})""")
    assert shown["wide"] <= shown["window"]
    assert shown["pictures"]
    assert all(shown["pictures"])
    assert shown["broken"] == shown["scripts"] == 0
    assert errors == []
    assert [url for url in asked if not url.startswith("data:")] == [(folder / "report.html").as_uri()]
    context.close()


def test_the_page_prints_on_a4(chromium: Browser, folder: Path, need: Callable[[str], str], tmp_path: Path) -> None:
    page = chromium.new_page()
    page.goto((folder / "report.html").as_uri())
    page.pdf(path=str(tmp_path / "page.pdf"), prefer_css_page_size=True)
    page.close()
    text = subprocess.run([need("pdftotext"), "-layout", str(tmp_path / "page.pdf"), "-"], check=True,
                          capture_output=True, text=True).stdout
    assert DRAFT in flat(text)
    assert 10 <= text.count("\f") <= 150
