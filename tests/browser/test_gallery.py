"""The gallery in maps/ shows what the program says today: its pages are opened, its rows compared; pixels are not."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import kept_findings
import numpy as np
import pytest
from browser import gallery
from browser.conftest import WIDE, Opener
from demo_scenarios import NAMES, assessment
from matplotlib.image import imread

from envpredict.engine.govern import governing
from envpredict.outputs.map import assets, render_map
from envpredict.outputs.map.style import ORDER

MAKE = "run: python tests/rebuild.py"
MOST_BYTES = 4_000_000
DIGIT = 0.006
"""Half a unit of the third digit."""


def head(page: str) -> dict[str, Any]:
    """Return the words of a page, without where its numbers lie in their compressed block."""
    found = re.search(r'<script type="application/json" id="rm-data">(.*?)</script>', page, flags=re.DOTALL)
    assert found
    data: dict[str, Any] = json.loads(found[1])
    del data["columns"]
    return data


def faults(old: Any, new: Any, place: str = "page") -> list[str]:
    """Return where two pieces of data differ; numbers agree to three digits."""
    if isinstance(old, dict) and isinstance(new, dict):
        keys = sorted({*old, *new})
        return [fault for key in keys for fault in faults(old.get(key), new.get(key), f"{place}.{key}")]
    if isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        return [fault for n, pair in enumerate(zip(old, new, strict=True)) for fault in faults(*pair, f"{place}[{n}]")]
    if isinstance(old, float | int) and isinstance(new, float | int):
        return [] if np.isclose(old, new, rtol=DIGIT) else [f"{place} was {old}, is {new}"]
    return [] if old == new else [f"{place} was {str(old)[:80]}, is {str(new)[:80]}"]


def test_every_demo_scenario_has_its_folder() -> None:
    assert NAMES
    assert sorted(path.name for path in gallery.GALLERY.iterdir() if path.is_dir()) == list(NAMES), MAKE
    for name in NAMES:
        assert sorted(path.name for path in (gallery.GALLERY / name).iterdir()) == sorted(gallery.FILES), MAKE


def test_the_gallery_stays_small() -> None:
    assert sum(path.stat().st_size for path in gallery.GALLERY.rglob("*") if path.is_file()) < MOST_BYTES


@pytest.mark.parametrize("name", NAMES)
def test_the_rows_are_current(name: str) -> None:
    now = kept_findings.kept(assessment(name), kept_findings.PER_METHOD)
    moved = kept_findings.differences(now, gallery.GALLERY / name / gallery.FINDINGS, kept_findings.PER_METHOD)
    assert not moved, "\n".join([*moved, MAKE])


@pytest.mark.parametrize("name", NAMES)
def test_the_page_is_that_of_today(name: str) -> None:
    kept, now = (gallery.GALLERY / name / gallery.PAGE).read_text(encoding="utf-8"), render_map(assessment(name))
    moved = faults(head(kept), head(now))
    assert not moved, "\n".join([*moved[:20], MAKE])
    for part in (assets.page_script(), assets.page_style(), assets.leaflet_script()):
        assert part in now
        assert part in kept, MAKE


@pytest.mark.parametrize("name", NAMES)
def test_the_page_opens_and_tells_the_likelihoods_of_today(open_page: Opener, name: str) -> None:
    run = assessment(name)
    opened = open_page(gallery.GALLERY / name / gallery.PAGE)
    best = governing(run.findings, ("receptor", "method")).set_index(["method", "receptor"])["likelihood"]
    for number, method in enumerate(run.methods):
        opened.js("(change) => riskMap.app.set(change)", {"effect": "governing", "method": number})
        words = [ORDER[code] for code in opened.js("() => Array.from(riskMap.app.view.words)")]
        assert words == best[method.id].loc[run.receptors["id"]].tolist(), f"{method.id}; {MAKE}"


@pytest.mark.parametrize("name", NAMES)
def test_the_pictures_show_something(name: str) -> None:
    shown = imread(gallery.GALLERY / name / gallery.PICTURE)
    assert shown.shape[:2] == WIDE[::-1]
    for file in (gallery.PICTURE, gallery.METHODS):
        pixels = imread(gallery.GALLERY / name / file)[..., :3].reshape(-1, 3)
        assert len(np.unique(np.round(pixels, 2), axis=0)) > 50, f"{file} is nearly empty"


@pytest.mark.parametrize(
    ("old", "new", "count"),
    [({"a": [1.0, "x"]}, {"a": [1.001, "x"]}, 0), ({"a": 1.0}, {"a": 1.01}, 1), ({"a": "x"}, {"a": "y"}, 1),
     ({"a": 1}, {"a": 1, "b": 2}, 1), ([1, 2], [1, 2, 3], 1)],
)
def test_the_comparison_sees_what_moved(old: Any, new: Any, count: int) -> None:
    assert len(faults(old, new)) == count


def test_rendering_clears_what_belongs_to_no_page(tmp_path: Path, chromium: Any) -> None:
    (tmp_path / NAMES[0]).mkdir()
    (tmp_path / NAMES[0] / "old.png").write_bytes(b"of an earlier rendering")
    made = gallery.render(NAMES[0], chromium, tmp_path)
    assert sorted(path.name for path in made.iterdir()) == sorted(gallery.FILES)
    assert (made / gallery.PAGE).read_text(encoding="utf-8") == render_map(assessment(NAMES[0]))
