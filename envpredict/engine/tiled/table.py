"""Columns of findings in little room: numbers as they are, words as numbers of a list of the words that occur."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, eq=False)
class Words:
    """A column of text: `codes` (N) into `words`."""

    codes: NDArray[np.int32]
    words: tuple[str, ...]

    def text(self) -> NDArray[np.object_]:
        """Return the text (N)."""
        return np.array(self.words, dtype=object)[self.codes] if self.words else np.zeros(0, dtype=object)


Column = Words | NDArray[Any]
Columns = Mapping[str, Column]


def packed(values: Any, count: int) -> Column:
    """Return a column, or one word that all of `count` rows share, in little room."""
    import pandas as pd

    if isinstance(values, str):
        return Words(np.zeros(count, dtype=np.int32), (values,))
    array = np.asarray(values)
    if array.dtype.kind in "OU":
        codes, words = pd.factorize(array.astype(object))
        return Words(codes.astype(np.int32), tuple(map(str, words)))
    return array


def joined(parts: Sequence[Column]) -> Column:
    """Return columns of one kind one after the other."""
    if not all(isinstance(part, Words) for part in parts):
        return np.concatenate([part for part in parts if not isinstance(part, Words)])
    number: dict[str, int] = {}
    codes = []
    for part in parts:
        assert isinstance(part, Words)
        place = np.array([number.setdefault(word, len(number)) for word in part.words], dtype=np.int32)
        codes.append(place[part.codes] if len(place) else part.codes)
    return Words(np.concatenate(codes), tuple(number))


def frame(columns: Columns) -> pd.DataFrame:
    """Return columns as a frame."""
    import pandas as pd

    return pd.DataFrame({name: column.text() if isinstance(column, Words) else column
                         for name, column in columns.items()})
