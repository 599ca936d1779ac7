"""Names: the registry refuses duplicates, and a mistyped word is answered with the nearest known one."""

from __future__ import annotations

import pytest

from envpredict.core.errors import UnknownName
from envpredict.core.registry import Registry
from envpredict.core.words import nearest, suggestion


@pytest.fixture
def colours() -> Registry[int]:
    registry: Registry[int] = Registry("colour")
    registry.add("red", 1)
    registry.add("blue", 2)
    return registry


def test_a_name_declared_twice_is_refused_and_the_first_stays(colours: Registry[int]) -> None:
    with pytest.raises(ValueError, match="colour 'red' is declared twice"):
        colours.add("red", 3)
    assert colours["red"] == 1


def test_names_come_sorted_whatever_the_order_of_declaration(colours: Registry[int]) -> None:
    assert list(colours) == ["blue", "red"]
    assert list(colours.values()) == [2, 1]
    assert len(colours) == 2


def test_an_unknown_name_offers_the_nearest_and_lists_the_known(colours: Registry[int]) -> None:
    with pytest.raises(UnknownName) as caught:
        colours["rad"]
    assert str(caught.value) == "unknown colour 'rad' -> did you mean 'red'? known: blue, red"


def test_a_registry_is_a_mapping_in_its_questions_too(colours: Registry[int]) -> None:
    assert "red" in colours
    assert "green" not in colours
    assert colours.get("green") is None


def test_add_returns_what_was_added(colours: Registry[int]) -> None:
    assert colours.add("green", 7) == 7


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("pres_in", "press_in"),
        ("PRESS_IN", "press_in"),
        ("press-in", "press_in"),
        ("hospitel", "hospital"),
        ("zzz", None),
        ("", None),
    ],
)
def test_the_nearest_word(typed: str, meant: str | None) -> None:
    assert nearest(typed, ["press_in", "impact_diesel", "hospital"]) == meant


def test_no_known_words_at_all() -> None:
    assert nearest("x", []) is None
    assert suggestion("x", []) == "known: none"


def test_a_long_list_is_cut_and_shows_that_it_is() -> None:
    text = suggestion("qqq", [f"word_{n:02d}" for n in range(30)], limit=3)
    assert text == "known: word_00, word_01, word_02, ..."


def test_the_nearest_is_named_though_the_cut_list_leaves_it_out() -> None:
    assert suggestion("word_29", [f"word_{n:02d}" for n in range(30)], limit=1).startswith("did you mean 'word_29'?")
