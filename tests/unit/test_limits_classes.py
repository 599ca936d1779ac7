"""Class maps: three-valued reading of the table, a missing fact named only where it matters."""

from __future__ import annotations

import itertools
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from envpredict.limits.classes import ClassRow, asked, classify
from envpredict.limits.facts import FACTS, UNANSWERED
from envpredict.limits.outcome import Missing, NotGoverned

WORDS = {"use": ("dwelling", "office", "railway"), "structure": ("concrete", "masonry"),
         "condition": ("sound", "cracked")}


def rows(*lines: dict[str, Any]) -> tuple[ClassRow, ...]:
    return tuple(ClassRow.model_validate(line) for line in lines)


TABLE = rows(
    {"when": {"use": "railway"}, "class": "none", "reason": "no building"},
    {"when": {"use": "dwelling", "condition": "cracked"}, "class": "weak"},
    {"when": {"use": "dwelling"}, "class": "home"},
    {"when": {"use": "office", "structure": ["concrete", "steel"]}, "class": "frame"},
)


def test_the_first_row_that_fits_counts() -> None:
    assert classify(TABLE, {"use": "dwelling", "condition": "cracked"}) == "weak"
    assert classify(TABLE, {"use": "dwelling", "condition": "sound"}) == "home"
    assert classify(TABLE, {"use": "office", "structure": "concrete"}) == "frame"


def test_a_missing_fact_is_named_with_what_it_decides() -> None:
    found = classify(TABLE, {"use": "dwelling"})
    assert isinstance(found, Missing)
    assert found.fact == "condition"
    assert "home, weak" in found.why
    alone = classify(TABLE, {"use": "office"})
    assert isinstance(alone, Missing)
    assert alone.fact == "structure"
    assert not found, "no answer is false, so that it can't pass for one"


@pytest.mark.parametrize("answer", [None, *UNANSWERED])
def test_unknown_counts_as_missing(answer: str | None) -> None:
    assert classify(TABLE, {"use": "dwelling", "condition": answer}) == classify(TABLE, {"use": "dwelling"})


def test_a_missing_fact_that_changes_nothing_is_not_asked_for() -> None:
    table = rows({"when": {"condition": "cracked"}, "class": "home"}, {"when": {"use": "dwelling"}, "class": "home"})
    assert classify(table, {"use": "dwelling"}) == "home"


def test_what_the_set_does_not_govern() -> None:
    found = classify(TABLE, {"use": "railway"})
    assert isinstance(found, NotGoverned)
    assert found.reason == "no building"
    assert not found


def test_a_receptor_without_a_row_can_not_be_judged() -> None:
    found = classify(TABLE, {"use": "office", "structure": "timber"})
    assert isinstance(found, Missing)
    assert "no class for use = office" in found.why


def test_a_set_tells_what_it_asks_for() -> None:
    assert asked(TABLE) == {"use": ("railway", "dwelling", "office"), "condition": ("cracked",),
                            "structure": ("concrete", "steel")}


@st.composite
def tables(draw: st.DrawFn) -> tuple[ClassRow, ...]:
    lines = []
    for _ in range(draw(st.integers(1, 5))):
        facts = draw(st.lists(st.sampled_from(sorted(WORDS)), unique=True, max_size=3))
        when = {fact: draw(st.lists(st.sampled_from(WORDS[fact]), min_size=1, unique=True)) for fact in facts}
        lines.append({"when": when, "class": draw(st.sampled_from(["a", "b", "none"])), "reason": "said"})
    return rows(*lines)


@given(tables(), st.fixed_dictionaries({fact: st.sampled_from([None, *words]) for fact, words in WORDS.items()}))
def test_a_class_is_told_only_where_every_completion_agrees(table: tuple[ClassRow, ...],
                                                              facts: dict[str, str | None]) -> None:
    def plain(known: dict[str, str]) -> str:
        return next((row.class_id for row in table if all(known[f] in words for f, words in row.when.items())), "")

    # the words outside the table stand for any other answer, so a missing fact can also fit no row
    options = [[facts[fact]] if facts[fact] else [*WORDS[fact], "other"] for fact in WORDS]
    answers = {plain(dict(zip(WORDS, combination, strict=True))) for combination in itertools.product(*options)}
    found = classify(table, facts)
    told = "none" if isinstance(found, NotGoverned) else "" if isinstance(found, Missing) else found
    if told:
        assert answers == {told}, "a class was told although a missing fact could change it"
    if len(answers) > 1:
        assert isinstance(found, Missing)
        assert facts[found.fact] is None, "the fact that is named is one that is missing"


def test_facts_have_meanings_and_words() -> None:
    for name, fact in FACTS.items():
        assert fact.name == name
        assert fact.meaning
        assert fact.asked_of in ("receptor", "site", "engine")
        assert not set(fact.words) & set(UNANSWERED)
        assert all(fact.words.values())
