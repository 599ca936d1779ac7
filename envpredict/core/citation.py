"""Where a number comes from, and how well that is known."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, get_args

Basis = Literal["read", "memory", "practice", "estimate"]
"""How a constant is known, from the strongest to the weakest.

read: seen in a document; memory: recalled from a document that wasn't seen; practice: held in the trade, without a
source; estimate: our own judgement.
"""
BASES: tuple[Basis, ...] = get_args(Basis)

BASIS_MEANING: dict[Basis, str] = {
    "read": "seen in a document",
    "memory": "recalled, not seen: verify against the document",
    "practice": "common practice, no published source: verify",
    "estimate": "our estimate, no published source: verify by trial",
}
VERIFY_MARK: dict[Basis, str] = {
    "read": "",
    "memory": "verify against the document",
    "practice": "verify: practice without a source",
    "estimate": "verify by trial: estimate",
}


def weakest(bases: Iterable[Basis]) -> Basis:
    """Return the weakest of several bases: a finding is only as good as its weakest input."""
    ranks = [BASES.index(basis) for basis in bases]
    return BASES[max(ranks)] if ranks else "read"


@dataclass(frozen=True, slots=True)
class Citation:
    """A published place: document, year, place in it, how it's known.

    `via` names the document in which a second-hand value was seen; `basis` is `read` only where somebody saw it.
    """

    document: str
    year: int | None
    place: str
    basis: Basis
    via: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        if self.basis not in BASES:
            raise ValueError(f"basis must be one of {', '.join(BASES)}, not {self.basis!r}")
        if not self.document.strip() or not self.place.strip():
            raise ValueError("a citation names a document and a place in it")

    def __str__(self) -> str:
        """Return the citation as one line, with its verify mark where it isn't read."""
        year = f" ({self.year})" if self.year else ""
        via = f", quoted in {self.via}" if self.via else ""
        mark = f" [{VERIFY_MARK[self.basis]}]" if VERIFY_MARK[self.basis] else ""
        return f"{self.document}{year}, {self.place}{via}{mark}"
