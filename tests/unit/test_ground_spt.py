"""Results of penetration tests as people write them."""

from __future__ import annotations

import pytest

from envpredict.ground.spt import read_spt


@pytest.mark.parametrize(
    ("text", "n", "penetration_mm", "converted"),
    [
        ("34", 34, 300, 34), (34, 34, 300, 34), (" N = 12 ", 12, 300, 12), ("N12", 12, 300, 12), ("0", 0, 300, 0),
        ("12 blows", 12, 300, 12), ("25/300", 25, 300, 25), ("50/75 mm", 50, 75, 200), ("50/75mm", 50, 75, 200),
        ("50/75", 50, 75, 200), ("50 for 75", 50, 75, 200), ("50 blows for 75 mm", 50, 75, 200),
        ("N=50/75mm", 50, 75, 200), ("50/7.5 cm", 50, 75, 200), ("60/10 cm", 60, 100, 180),
        ("50/0.075 m", 50, 75, 200), ('50/3"', 50, 76.2, 15000 / 76.2), ("50/3 in", 50, 76.2, 15000 / 76.2),
        ("50 over 150 mm", 50, 150, 100),
    ],
)
def test_reading(text: str | float, n: float, penetration_mm: float, converted: float) -> None:
    found = read_spt(text)
    assert (found.n, found.penetration_mm) == (n, pytest.approx(penetration_mm))
    assert found.converted_n == pytest.approx(converted)
    assert found.refused is (penetration_mm < 300)
    assert not found.at_least


@pytest.mark.parametrize("text", [">50", "N>50", "N > 50", "≥50", "N >= 50"])
def test_at_least(text: str) -> None:
    assert read_spt(text).at_least
    assert read_spt(text).converted_n == 50


@pytest.mark.parametrize(("text", "said"), [
    ("refusal", "isn't a test result"), ("", "isn't a test result"), ("-5", "isn't a test result"),
    ("5,7,9", "isn't a test result"), ("50/75 ft", "isn't a test result"), ("50/6", "add the unit"),
    ("50/0 mm", "penetration of 0"), ("50/500 mm", "penetration of 500"), ("nan", "isn't a test result"),
])
def test_what_cant_be_read_says_why(text: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        read_spt(text)
