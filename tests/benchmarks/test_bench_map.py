"""Is the risk map small and quick enough? Sizes, time until it can be used, and time of a redraw, in Chromium.

Run by hand: `pytest tests/benchmarks/test_bench_map.py -s`. The network is cut; the machine's own speed matters, so
only the largest page has a limit, and a wide one: the goal is use within 2 s on an idle machine.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from browser.synthetic import assess
from playwright.sync_api import Browser, sync_playwright

from envpredict.outputs.map import render_map

MOST_BYTES = 10_000_000
GOAL_S, SLOWEST_S = 2.0, 10.0
REPEATS = 5
REDRAW = """() => new Promise((done) => {
  const start = performance.now();
  riskMap.app.map.panBy([300, 0], {animate: false});
  requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now() - start)));
})"""
SWITCH = """(method) => new Promise((done) => {
  const start = performance.now();
  riskMap.app.set({method});
  requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now() - start)));
})"""


@pytest.fixture(scope="module")
def chromium(need: Callable[[str], str]) -> Iterator[Browser]:
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=need("chromium"), args=["--no-sandbox", "--disable-gpu"])
        yield browser
        browser.close()


@pytest.mark.parametrize("receptors", [120, 20_000])
def test_the_map_is_small_and_quick(chromium: Browser, tmp_path: Path, receptors: int) -> None:
    start = time.process_time()
    page_text = render_map(assess(receptors))
    made_s = time.process_time() - start
    file = tmp_path / "risk_map.html"
    file.write_text(page_text, encoding="utf-8")
    context = chromium.new_context(offline=True, viewport={"width": 1440, "height": 900})
    loads, pans, switches = [], [], []
    for turn in range(REPEATS):
        page = context.new_page()
        errors: list[str] = []
        page.on("pageerror", lambda error, errors=errors: errors.append(str(error)))
        start = time.perf_counter()
        page.goto(file.as_uri())
        page.wait_for_function("() => window.riskMap && window.riskMap.app")
        page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
        loads.append(time.perf_counter() - start)
        switches.append(page.evaluate(SWITCH, turn % 3))
        pans.append(page.evaluate(REDRAW))
        assert errors == []
        assert page.evaluate("() => riskMap.app.data.receptors") == receptors
        page.close()
    context.close()
    size = file.stat().st_size
    print(f"\n{receptors} receptors: {size / 1e6:.2f} MB, made in {made_s:.1f} s of processor time; usable after "
          f"{min(loads):.2f} to {max(loads):.2f} s (goal {GOAL_S:g} s); another method {min(switches):.0f} ms, pan "
          f"{min(pans):.0f} ms")
    assert size < MOST_BYTES
    assert min(loads) < SLOWEST_S
