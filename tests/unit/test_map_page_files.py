"""The page's own scripts, styles and colours: linted, told apart without colour vision, nothing from elsewhere."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Callable
from importlib.resources import files
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from envpredict.core.errors import OutputFailure
from envpredict.outputs.map import assets
from envpredict.outputs.map.style import COLOURS, CONTOUR_COLOUR, MEANING, ORDER, SHAPES, WORDS

PAGE = Path(str(files("envpredict.outputs.map") / "page"))
LINT = ("-D", "correctness", "-D", "suspicious", "--deny-warnings",
        # Leaflet's way of naming the methods that a layer overrides; sorts here are of fresh arrays only
        "-A", "no-underscore-dangle", "-A", "no-array-sort", "-A", "no-array-reverse")

# How colours look to people who lack one kind of cone, in linear RGB: Viénot, Brettel and Mollon (1999) for red and
# green, as reprinted in many places; from memory: verify against the paper.
BLINDNESS = {
    "none": np.eye(3),
    "no red cones": np.array([[0.11238, 0.88762, 0.0], [0.11238, 0.88762, 0.0], [0.00401, -0.00401, 1.0]]),
    "no green cones": np.array([[0.29275, 0.70725, 0.0], [0.29275, 0.70725, 0.0], [-0.02234, 0.02234, 1.0]]),
}
# CIE 1976 colour difference: from about 2 a difference is seen side by side; 20 is plain at a glance (practice).
PLAIN = 20.0


def linear(colour: str) -> np.ndarray:
    """Return linear RGB of a colour (IEC 61966-2-1)."""
    values = np.array([int(colour[n:n + 2], 16) for n in (1, 3, 5)]) / 255
    return np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4)


def lab(rgb: np.ndarray) -> np.ndarray:
    """Return CIE L*a*b* of linear sRGB under D65."""
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    xyz = to_xyz @ np.clip(rgb, 0, 1) / np.array([0.95047, 1.0, 1.08883])
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(a: str, b: str) -> float:
    """Return the contrast ratio of two colours (WCAG 2)."""
    light = sorted(float(np.array([0.2126, 0.7152, 0.0722]) @ linear(colour)) for colour in (a, b))
    return (light[1] + 0.05) / (light[0] + 0.05)


@pytest.mark.parametrize("eye", BLINDNESS)
def test_likelihoods_are_told_apart_by_every_eye(eye: str) -> None:
    words = ("unlikely", "possible", "likely", "breach", "cannot_judge")
    seen = {word: lab(BLINDNESS[eye] @ linear(COLOURS[word][0])) for word in words}
    for one, other in combinations(words, 2):
        assert np.linalg.norm(seen[one] - seen[other]) > PLAIN, f"{one} and {other} look alike with {eye}"


def test_likelihoods_are_told_apart_without_any_colour() -> None:
    judged = ("unlikely", "possible", "likely", "breach", "cannot_judge", "not_applicable")
    assert len({SHAPES[word] for word in judged}) == len(judged)
    assert len({WORDS[word] for word in ORDER}) == len(ORDER)
    assert set(ORDER) == set(WORDS) == set(COLOURS) == set(SHAPES) == set(MEANING)


def test_no_traffic_light() -> None:
    """No colour of a likelihood is a plain green or a plain red."""
    for fill, _ in COLOURS.values():
        _, a, b = lab(linear(fill))
        assert not (a < -25 and b > 0), f"{fill} is green"
        assert not (a > 45 and b > 20), f"{fill} is red"


def test_marks_and_lines_stand_out_from_the_paper() -> None:
    """WCAG 2, success criterion 1.4.11: 3 to 1 for what carries meaning, here of a mark's outline or its fill."""
    for word in ("unlikely", "possible", "likely", "breach", "cannot_judge"):
        fill, ink = COLOURS[word]
        assert max(contrast(fill, "#faf9f6"), contrast(ink, "#faf9f6")) > 3
    assert contrast(CONTOUR_COLOUR, "#faf9f6") > 4.5


def test_scripts_pass_the_linter(need: Callable[[str], str]) -> None:
    run = subprocess.run([need("oxlint"), *LINT, str(PAGE)], capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stdout + run.stderr


def test_every_file_of_the_page_is_used_and_small() -> None:
    named = {*assets.SCRIPTS, *assets.STYLES, "document.html", "map.html"}
    assert {path.name for path in PAGE.iterdir()} == named
    for path in PAGE.iterdir():
        lines = path.read_text(encoding="utf-8").splitlines()
        assert len(lines) <= 400
        assert max(map(len, lines)) <= 120, path.name


def test_scripts_never_write_markup() -> None:
    markup = re.compile(r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\b|new Function")
    for name in assets.SCRIPTS:
        assert not markup.search(assets.page_file(name)), name


def test_the_only_address_is_the_background_that_a_reader_asks_for() -> None:
    own = "\n".join(assets.page_file(name) for name in (*assets.SCRIPTS, *assets.STYLES, "map.html", "document.html"))
    assert re.findall(r"https?://[^\s\"'`]+", own) == ["https://tile.openstreetmap.org/{z}/{x}/{y}.png"]


def test_carried_scripts_keep_their_licence_and_name_no_other_file() -> None:
    assert "Leaflet 1.9" in assets.leaflet_script()[:300]
    assert "jQuery" in assets.jquery_script()[:300]
    for text in (assets.leaflet_script(), assets.jquery_script(), assets.page_script()):
        assert "</script" not in text.lower()
        assert "sourceMappingURL" not in text
    assert not re.search(r"url\((?!data:|#default)", assets.leaflet_style())


def test_a_missing_carrier_is_said_plainly(monkeypatch: pytest.MonkeyPatch) -> None:
    import sys

    monkeypatch.setitem(sys.modules, "xstatic.pkg", None)
    with pytest.raises(OutputFailure, match="carries leaflet for the map isn't installed"):
        assets._base("leaflet")
