"""Renders the gallery: for every demo scenario its map as `predict` writes it, two pictures, its governing findings."""

from __future__ import annotations

from pathlib import Path

import kept_findings
from browser.conftest import WIDE
from demo_scenarios import ROOT, assessment
from playwright.sync_api import Browser

from envpredict.outputs.charts import charts
from envpredict.outputs.map import render_map

GALLERY = ROOT / "maps"
PAGE, PICTURE, METHODS, FINDINGS = "risk_map.html", "map.png", "methods.png", "governing.csv"
FILES = (FINDINGS, PICTURE, METHODS, PAGE)
COMPARED = "methods_compared"
"""The chart that is shown beside the map."""


def render(name: str, browser: Browser, folder: Path = GALLERY) -> Path:
    """Write the folder of a scenario anew and return it; pictures of the page are taken with the network cut."""
    run = assessment(name)
    target = folder / name
    target.mkdir(parents=True, exist_ok=True)
    (target / PAGE).write_text(render_map(run), encoding="utf-8")
    (target / METHODS).write_bytes(next(chart.png for chart in charts(run) if chart.id == COMPARED))
    kept_findings.write(kept_findings.kept(run, kept_findings.PER_METHOD), target / FINDINGS)
    photograph(browser, target / PAGE, target / PICTURE)
    for other in target.iterdir():
        if other.name not in FILES:
            other.unlink()
    return target


def photograph(browser: Browser, page_file: Path, picture: Path) -> None:
    """Take a picture of a map's page as it opens."""
    context = browser.new_context(offline=True, viewport={"width": WIDE[0], "height": WIDE[1]}, reduced_motion="reduce")
    page = context.new_page()
    page.goto(page_file.as_uri())
    page.wait_for_function("() => window.riskMap && window.riskMap.app")
    page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
    page.screenshot(path=picture)
    context.close()
