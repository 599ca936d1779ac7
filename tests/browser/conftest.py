"""A browser with its network cut, and pages that must stay silent: no error, no request, nothing fetched."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from browser.synthetic import HOSTILE, assess
from playwright.sync_api import Browser, ConsoleMessage, Page, sync_playwright

from envpredict.engine.results import Assessment
from envpredict.outputs.map import render_map

QUIET = ("--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
         "--disable-sync", "--no-first-run")
WIDE, PHONE = (1440, 900), (390, 844)
MOST_BYTES = 10_000_000


@dataclass
class Opened:
    """A page with what it said and asked for while it was open."""

    page: Page
    errors: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)

    def js(self, code: str, argument: Any = None) -> Any:
        """Run a function of the page and return its answer."""
        return self.page.evaluate(code, argument)

    def settle(self) -> None:
        """Wait until what was asked for is drawn."""
        self.page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")


@pytest.fixture(scope="session")
def chromium(need: Callable[[str], str]) -> Iterator[Browser]:
    """Return the system's Chromium; never a download."""
    path = need("chromium")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=path, args=list(QUIET))
        yield browser
        browser.close()


Opener = Callable[..., Opened]


@pytest.fixture
def open_page(chromium: Browser) -> Iterator[Opener]:
    """Return a function that opens a page offline; at the end no page may have failed or asked for anything."""
    contexts = []
    pages: list[Opened] = []

    def opened(path: Path, size: tuple[int, int] = WIDE, *, ready: bool = True) -> Opened:
        context = chromium.new_context(offline=True, viewport={"width": size[0], "height": size[1]},
                                       has_touch=size == PHONE, reduced_motion="reduce")
        contexts.append(context)
        page = context.new_page()
        one = Opened(page)
        page.on("pageerror", lambda error: one.errors.append(str(error)))
        page.on("console", lambda said: one.errors.append(said.text) if _matters(said) else None)
        page.on("request", lambda asked: one.requests.append(asked.url))
        page.goto(path.as_uri())
        if ready:
            page.wait_for_function("() => window.riskMap && window.riskMap.app")
            one.settle()
        pages.append(one)
        one.requests.remove(path.as_uri())
        return one

    yield opened
    for context in contexts:
        context.close()
    for one in pages:
        assert one.errors == []
        assert one.requests == []


def _matters(said: ConsoleMessage) -> bool:
    """Return whether a message is an error or a warning; that tests read pixels often isn't the page's doing."""
    return said.type in {"error", "warning"} and "willReadFrequently" not in said.text


@dataclass(frozen=True)
class Made:
    """An assessment and the file of its map."""

    assessment: Assessment
    file: Path


def _made(folder: Path, assessment: Assessment, **options: bool) -> Made:
    file = folder / "risk_map.html"
    file.write_text(render_map(assessment, **options), encoding="utf-8")
    assert file.stat().st_size < MOST_BYTES
    return Made(assessment, file)


@pytest.fixture(scope="session")
def small(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """Return a map of 120 receptors; the first of them have hostile names."""
    return _made(tmp_path_factory.mktemp("small"), assess(120, names=HOSTILE), private_names=False, show_protected=True)


@pytest.fixture(scope="session")
def withheld(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """Return a map of 120 receptors as it's written when nothing else is asked for."""
    return _made(tmp_path_factory.mktemp("withheld"), assess(120))


@pytest.fixture(scope="session")
def large(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """Return a map of 20 000 receptors."""
    return _made(tmp_path_factory.mktemp("large"), assess(20_000))
