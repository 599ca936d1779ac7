"""The risk map in people's hands: by keyboard, on a phone, on paper, by ear, in a notebook, with a ruler."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path
from typing import Any

import folium
import pytest
from axe_playwright_python.sync_playwright import Axe
from browser.conftest import PHONE, Made, Opened, Opener
from browser.synthetic import assess
from pyproj import Geod

from envpredict.core.cautions import CAUTIONS
from envpredict.outputs.map import explore, render_map, thin

FOCUS = "() => { const e = document.activeElement; return e.id || e.textContent || e.className; }"
POINTS_PER_MM = 72 / 25.4


def in_view(opened: Opened, selector: str) -> bool:
    """Return whether the element is on the screen, whole, and nothing lies over its middle."""
    return bool(opened.js("""(selector) => {
      const element = document.querySelector(selector);
      const box = element.getBoundingClientRect();
      const over = document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2);
      return box.top >= -0.5 && box.left >= -0.5 && box.bottom <= innerHeight + 0.5 && box.right <= innerWidth + 0.5
        && box.height > 0 && element.contains(over);
    }""", selector))


def test_the_keyboard_path(open_page: Opener, small: Made) -> None:
    opened = open_page(small.file)
    keys = opened.page.keyboard
    keys.press("Tab")
    assert opened.js(FOCUS) == "To the list of receptors"
    keys.press("Enter")
    assert opened.js(FOCUS) == "rm-list"
    for expected in ("rm-search", "rm-filter"):
        keys.press("Tab")
        assert opened.js(FOCUS) == expected
    for _ in range(4):    # the table's region and its three headings
        keys.press("Tab")
    keys.press("Tab")
    rows = opened.page.locator(".rm-list tbody button").all_inner_texts()
    assert opened.js(FOCUS) == rows[0]
    keys.press("ArrowDown")
    keys.press("ArrowDown")
    assert opened.js(FOCUS) == rows[2]
    keys.press("End")
    assert opened.js(FOCUS) == rows[-1]
    keys.press("Home")
    keys.press("ArrowDown")
    keys.press("Enter")
    assert opened.js(FOCUS) == "rm-details-title"
    assert rows[1] in opened.page.get_by_role("dialog").inner_text()
    # the receptor that the row leads to stands in the middle of the map
    away = opened.js("""() => {
      const { map, data, state } = riskMap.app;
      const { x, y } = data.anchors();
      return map.distance(map.getCenter(), riskMap.latLng(data, x[state.selected], y[state.selected]));
    }""")
    assert away < 1.0
    keys.press("Escape")
    assert opened.page.get_by_role("dialog").is_hidden()
    assert opened.js(FOCUS) == rows[1]


def test_choices_by_keyboard(open_page: Opener, small: Made) -> None:
    opened = open_page(small.file)
    opened.page.get_by_role("radio", name="Hydraulic impact hammer").focus()
    opened.page.keyboard.press("ArrowDown")
    assert "Vibratory hammer" in opened.page.locator("#rm-summary").inner_text()
    opened.page.get_by_role("radio", name="One day").focus()
    opened.page.keyboard.press("Space")
    opened.page.get_by_label("Day of the programme").focus()
    opened.page.keyboard.press("ArrowRight")
    assert "Day 2 of 12" in opened.page.locator("output[for=rm-day]").inner_text()


STATES: dict[str, str] = {
    "list": "() => {}",
    "findings": "() => riskMap.app.select(riskMap.app.order[0], {from: 'list'})",
    "day": "() => riskMap.app.set({effect: 'noise', day: 3})",
    "measuring": "() => riskMap.app.measure.turn(true)",
    "sheet": "() => riskMap.app.sheet.turn('a4')",
}


@pytest.mark.parametrize("size", [(1440, 900), (1000, 760), PHONE], ids=["wide", "narrow", "phone"])
@pytest.mark.parametrize("state", STATES)
def test_axe_finds_no_serious_fault(open_page: Opener, small: Made, state: str, size: tuple[int, int]) -> None:
    opened = open_page(small.file, size)
    opened.js(STATES[state])
    opened.settle()
    # frames are switched off: there are none, and asking for them would count as a request
    found = Axe().run(opened.page, options={"iframes": False}).response
    serious = [fault for fault in found["violations"] if fault["impact"] in {"serious", "critical"}]
    assert [(fault["id"], [node["target"] for node in fault["nodes"]]) for fault in serious] == []
    assert len(found["passes"]) > 15


@pytest.mark.parametrize("size", [(1440, 900), (1000, 760), PHONE], ids=["wide", "narrow", "phone"])
@pytest.mark.parametrize("state", [name for name in STATES if name != "sheet"])
def test_cautions_are_always_in_view(open_page: Opener, small: Made, state: str, size: tuple[int, int]) -> None:
    opened = open_page(small.file, size)
    opened.js(STATES[state])
    opened.settle()
    for place in ("0", "document.documentElement.scrollHeight"):
        opened.js(f"() => window.scrollTo(0, {place})")
        opened.settle()
        assert in_view(opened, ".rm-cautions")
    text = opened.page.locator(".rm-cautions").inner_text()
    assert all(caution in text for caution in CAUTIONS)
    # the smallest type that's still read, in CSS pixels
    assert opened.js("() => parseFloat(getComputedStyle(document.querySelector('.rm-cautions')).fontSize)") >= 10


def test_a_phone_shows_all_of_it(open_page: Opener, small: Made) -> None:
    opened = open_page(small.file, PHONE)
    assert opened.js("() => document.documentElement.scrollWidth") <= PHONE[0]
    order = opened.js("""() => [".rm-draft", ".rm-invented", ".folium-map", ".rm-choices", ".rm-list"]
      .map((one) => document.querySelector(one).getBoundingClientRect().top)""")
    assert order == sorted(order)
    opened.page.locator(".rm-list tbody button").nth(3).tap()
    opened.settle()
    dialog = opened.page.get_by_role("dialog")
    assert dialog.is_visible()
    last = dialog.locator(".rm-others")
    last.scroll_into_view_if_needed()
    bottom = last.bounding_box()
    cautions = opened.page.locator(".rm-cautions").bounding_box()
    assert bottom is not None
    assert cautions is not None
    assert bottom["y"] + bottom["height"] <= cautions["y"] + 1
    opened.page.get_by_role("button", name="Back to the list").tap()
    assert dialog.is_hidden()


# --- paper

def sheets(pdf: bytes) -> list[tuple[float, float]]:
    """Return width and height in mm of every page of a PDF that Chromium wrote."""
    boxes = re.findall(rb"/MediaBox\s*\[\s*0\s+0\s+([\d.]+)\s+([\d.]+)\s*\]", pdf)
    return [(float(w) / POINTS_PER_MM, float(h) / POINTS_PER_MM) for w, h in boxes]


@pytest.mark.parametrize(("paper", "width", "height"), [("a4", 297, 210), ("a3", 420, 297)])    # ISO 216
def test_the_sheet_fills_one_page(open_page: Opener, small: Made, paper: str, width: float, height: float) -> None:
    opened = open_page(small.file)
    opened.page.get_by_role("button", name=f"Sheet {paper.upper()}").click()
    opened.settle()
    (size,) = sheets(opened.page.pdf(prefer_css_page_size=True, print_background=True))
    assert size == pytest.approx((width, height), abs=0.5)
    boxes: dict[str, Any] = opened.js("""() => Object.fromEntries(
      [".rm-page", ".folium-map", ".rm-cautions", ".rm-legend", ".rm-sheet-list", ".rm-draft", ".leaflet-control-scale",
       ".rm-north"]
      .map((one) => [one, document.querySelector(one).getBoundingClientRect().toJSON()]))""")
    page, cautions = boxes[".rm-page"], boxes[".rm-cautions"]
    for name, box in boxes.items():
        assert box["height"] > 0, name
        assert box["left"] >= page["left"] - 1, name
        assert box["right"] <= page["right"] + 1, name
        assert name in {".rm-page", ".rm-cautions"} or box["bottom"] <= cautions["top"] + 1, name
    assert cautions["bottom"] <= page["bottom"] + 1
    hidden = opened.js("""() => ["rm-choices", "rm-receptors"].map((one) => document.getElementById(one))
      .map((column) => column.scrollHeight - column.clientHeight)""")
    assert hidden == [0, 0]
    assert "worst of 120 receptors" in opened.page.locator(".rm-sheet-list").inner_text()
    opened.page.get_by_role("button", name=f"Sheet {paper.upper()}").click()
    assert opened.page.locator(".rm-list").is_visible()


def test_printing_without_asking_for_a_sheet_gives_one(open_page: Opener, small: Made) -> None:
    opened = open_page(small.file)
    (size,) = sheets(opened.page.pdf(prefer_css_page_size=True))
    assert size == pytest.approx((297, 210), abs=0.5)
    opened.settle()
    assert opened.page.locator(".rm-list").is_visible()


# --- the ruler

def test_distances_are_those_of_the_ellipsoid(open_page: Opener, small: Made) -> None:
    """Against pyproj's geodesics on WGS 84, from the tropics to the far north."""
    opened = open_page(small.file)
    geod = Geod(ellps="WGS84")
    for latitude in (0.0, 35.0, -51.5, 68.0):
        for azimuth in (0.0, 33.0, 90.0, 217.0):
            for length in (5.0, 120.0, 1000.0, 5000.0):
                lng, lat, _ = geod.fwd(10.0, latitude, azimuth, length)
                found = opened.js("([a, b, c, d]) => riskMap.metres({lat: a, lng: b}, {lat: c, lng: d})",
                                  [latitude, 10.0, lat, lng])
                assert found == pytest.approx(length, abs=0.001, rel=2e-6)


def test_measuring_by_mouse(open_page: Opener, small: Made) -> None:
    opened = open_page(small.file)
    page = opened.page
    page.get_by_role("button", name="Measure").click()
    box = page.locator(".folium-map").bounding_box()
    assert box is not None
    for x, y in ((200, 250), (420, 250), (420, 400)):
        page.mouse.click(box["x"] + x, box["y"] + y)
    text = page.locator(".rm-measured-text").inner_text()
    legs = opened.js("""() => [[200, 250], [420, 250], [420, 400]].map((point) =>
      riskMap.app.map.containerPointToLatLng(point)).map((one) => [one.lat, one.lng])""")
    geod = Geod(ellps="WGS84")
    lengths = [geod.inv(a[1], a[0], b[1], b[0])[2] for a, b in pairwise(legs)]
    said = re.fullmatch(r"([\d.]+) m in 2 legs, the last ([\d.]+) m", text)
    assert said is not None
    # a click falls on a whole pixel, 0.6 m here
    assert [float(part) for part in said.groups()] == pytest.approx([sum(lengths), lengths[1]], abs=0.6)
    assert page.get_by_role("dialog").is_hidden()
    page.get_by_role("button", name="Undo").click()
    assert float(page.locator(".rm-measured-text").inner_text().split()[0]) == pytest.approx(lengths[0], abs=0.6)
    page.get_by_role("button", name="Close").click()
    assert page.locator("#rm-measured").is_hidden()


def test_measuring_by_keyboard(open_page: Opener, small: Made) -> None:
    opened = open_page(small.file)
    page = opened.page
    page.get_by_role("button", name="Measure").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    before = opened.js("() => riskMap.app.map.getCenter()")
    page.keyboard.press("ArrowRight")
    page.wait_for_function("(lng) => riskMap.app.map.getCenter().lng > lng", arg=before["lng"])
    page.wait_for_timeout(400)
    page.keyboard.press("Enter")
    assert re.fullmatch(r"\d+\.\d m", page.locator(".rm-measured-text").inner_text())
    page.keyboard.press("Escape")
    assert page.locator("#rm-measured").is_hidden()


# --- the network

def test_the_background_is_asked_for_only_when_it_is_wanted(open_page: Opener, small: Made) -> None:
    opened = open_page(small.file)
    assert opened.requests == []
    opened.page.get_by_role("checkbox", name="Background map").check()
    opened.page.wait_for_function(
        "() => document.querySelector('.rm-choices').textContent.includes('no tile came')")
    assert opened.requests
    assert all(url.startswith("https://tile.openstreetmap.org/") for url in opened.requests)
    assert "OpenStreetMap contributors" in opened.page.locator(".leaflet-control-attribution").inner_text()
    opened.page.get_by_role("checkbox", name="Background map").uncheck()
    assert opened.page.locator(".leaflet-control-attribution").count() == 0
    # what was asked for here was wanted
    opened.requests.clear()
    opened.errors.clear()


def test_a_browser_that_cannot_unpack_says_so(open_page: Opener, small: Made, tmp_path: Path) -> None:
    old = tmp_path / "old.html"
    text = small.file.read_text(encoding="utf-8")
    crippled = text.replace("<title>", "<script>delete window.DecompressionStream</script><title>")
    old.write_text(crippled, encoding="utf-8")
    opened = open_page(old, ready=False)
    opened.page.wait_for_function("() => document.querySelector('#rm-summary').textContent.includes('browser')")
    assert "findings.csv" in opened.page.locator("#rm-summary").inner_text()
    assert any("DecompressionStream" in error for error in opened.errors)
    assert opened.page.locator(".rm-cautions").is_visible()
    opened.errors.clear()


# --- the notebook

def test_a_notebook_shows_the_map_and_takes_further_layers(open_page: Opener, tmp_path: Path) -> None:
    shown = explore(assess(30))
    assert isinstance(shown, folium.Map)
    folium.Marker(shown.location, popup="A popup of folium's own").add_to(shown)
    cell = tmp_path / "cell.html"
    cell.write_text(f"<!DOCTYPE html><html><body>{shown._repr_html_()}</body></html>", encoding="utf-8")
    opened = open_page(cell, ready=False)
    frame = opened.page.frame_locator("iframe")
    frame.locator(".rm-list tbody button").first.wait_for()
    assert "of 30" in frame.locator(".rm-told").inner_text()
    marker = frame.locator("img.leaflet-marker-icon")
    assert marker.evaluate("(image) => image.naturalWidth") == 25
    marker.click(force=True)
    assert frame.locator(".leaflet-popup-content").inner_text() == "A popup of folium's own"
    # pictures and the frame's own document lie inside the file
    opened.requests[:] = [url for url in opened.requests if not url.startswith(("data:", "about:"))]


def test_receptors_that_are_not_drawn_are_counted_in_cells(open_page: Opener, tmp_path: Path,
                                                           monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(thin, "MOST_DRAWN", 150)
    file = tmp_path / "thinned.html"
    file.write_text(render_map(assess(900)), encoding="utf-8")
    opened = open_page(file)
    counted = opened.page.evaluate("() => riskMap.restCounts(riskMap.app.data, riskMap.app.state)")
    assert sum(counted) == 900 - opened.page.evaluate("() => riskMap.app.data.receptors") > 0
    assert "Of 900 receptors" in opened.page.locator(".rm-notes").inner_text()
    legend = opened.page.locator(".rm-lines").first.inner_text()
    assert "Cells of 100 m" in legend
    assert "counted in cells" in opened.page.locator("#rm-summary").inner_text()
    place = opened.page.evaluate("""() => {
      const {map, data, layer} = riskMap.app;
      const {box, count} = data.shapes("rest");
      for (let i = 0; i < count; i += 1) {
        const where = riskMap.latLng(data, (box[4 * i] + box[4 * i + 2]) / 2, (box[4 * i + 1] + box[4 * i + 3]) / 2);
        const at = map.latLngToContainerPoint(where);
        if (map.getBounds().contains(where) && layer.receptorAt(map.latLngToLayerPoint(where)) < 0) return at;
      }
      return null;
    }""")
    frame = opened.page.locator(".folium-map").bounding_box()
    assert frame is not None
    opened.page.mouse.move(frame["x"] + place["x"], frame["y"] + place["y"])
    assert "not drawn one by one" in opened.page.locator("#rm-hover").inner_text()
