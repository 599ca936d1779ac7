"""Reasons in words for many rows at once: parts have few wordings, so only their combinations are spelled out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray


@dataclass(slots=True, eq=False)
class Phrases:
    """Parts of a sentence for `rows` rows; a row's reason is its non-empty parts joined by semicolons."""

    rows: int
    parts: list[tuple[NDArray[np.int64], tuple[str, ...]]] = field(default_factory=list)

    def add(self, codes: NDArray[np.int64], wordings: Sequence[str]) -> None:
        """Add a part: row `i` says `wordings[codes[i]]`."""
        self.parts.append((np.asarray(codes, dtype=np.int64), tuple(wordings)))

    def add_where(self, where: NDArray[np.bool_] | bool, wording: str) -> None:
        """Add a part that says one thing where it holds."""
        if wording:
            self.add(np.broadcast_to(np.asarray(where, dtype=np.int64), (self.rows,)), ("", wording))

    def texts(self) -> NDArray[np.object_]:
        """Return the reasons (rows,)."""
        if not self.parts:
            return np.full(self.rows, "", dtype=object)
        table = np.stack([codes for codes, _ in self.parts])
        combinations, inverse = np.unique(table, axis=1, return_inverse=True)
        spelled = []
        for column in combinations.T:
            said = [wordings[code] for code, (_, wordings) in zip(column, self.parts, strict=True)]
            spelled.append("; ".join(dict.fromkeys(text for text in said if text)))
        return np.array(spelled, dtype=object)[np.ravel(inverse)]


def coded(texts: Sequence[str] | NDArray[np.object_]) -> tuple[NDArray[np.int64], tuple[str, ...]]:
    """Return texts of rows as codes and wordings."""
    wordings, codes = np.unique(np.asarray(texts, dtype=object).astype(str), return_inverse=True)
    return np.ravel(codes).astype(np.int64), tuple(str(text) for text in wordings)
