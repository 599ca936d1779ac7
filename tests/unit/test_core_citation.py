"""Nothing that wasn't read is shown without a verify mark, and the weakest input decides."""

from __future__ import annotations

import itertools

import pytest

from envpredict.core.citation import BASES, BASIS_MEANING, VERIFY_MARK, Basis, Citation, weakest


def test_a_read_citation_carries_no_mark() -> None:
    assert str(Citation("Handbook of piles", 2001, "Table 3", "read")) == "Handbook of piles (2001), Table 3"


def test_a_second_hand_citation_names_where_it_was_seen() -> None:
    text = str(Citation("Original paper", 1992, "Eq. 4", "read", via="Later report, p. 7"))
    assert text == "Original paper (1992), Eq. 4, quoted in Later report, p. 7"


def test_a_citation_without_a_year() -> None:
    assert str(Citation("Trade practice", None, "rule of thumb", "practice")) == (
        "Trade practice, rule of thumb [verify: practice without a source]"
    )


@pytest.mark.parametrize("basis", [basis for basis in BASES if basis != "read"])
def test_whatever_was_not_read_says_verify(basis: Basis) -> None:
    assert "verify" in str(Citation("Standard", 1999, "5.1", basis))
    assert VERIFY_MARK[basis].startswith("verify")
    assert "verify" in BASIS_MEANING[basis]


def test_every_basis_has_a_meaning_and_a_mark() -> None:
    assert set(BASES) == set(BASIS_MEANING) == set(VERIFY_MARK) == {"read", "memory", "practice", "estimate"}


def test_an_unknown_basis_is_refused() -> None:
    with pytest.raises(ValueError, match="basis must be one of read, memory, practice, estimate, not 'heard'"):
        Citation("Standard", 1999, "5.1", "heard")  # type: ignore[arg-type]


@pytest.mark.parametrize(("document", "place"), [("", "5.1"), ("Standard", " ")])
def test_a_citation_names_document_and_place(document: str, place: str) -> None:
    with pytest.raises(ValueError, match="a citation names a document and a place in it"):
        Citation(document, 1999, place, "read")


def test_the_weakest_of_two_is_the_later_in_the_order_and_order_does_not_matter() -> None:
    for (rank_a, a), (rank_b, b) in itertools.product(enumerate(BASES), repeat=2):
        assert weakest([a, b]) == weakest([b, a]) == BASES[max(rank_a, rank_b)]


def test_one_estimate_among_many_reads_makes_an_estimate() -> None:
    assert weakest(iter(["read", "read", "memory", "estimate", "practice"])) == "estimate"
