"""Collects what is wrong with records: alike faults of a file together, with their lines, nothing hidden."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from envpredict.core.errors import Problem

SHOWN = 5
"""Lines that a problem names one by one; their number is always told."""


class Faults:
    """Faults by file and kind. Alike ones are one problem that names the first lines and how many there are.

    `lines`: every line with a fault, as it was noted.
    """

    def __init__(self) -> None:
        self.lines: list[NDArray[np.int64]] = []
        self._found: dict[tuple[str, str, str], list[int]] = {}
        self._counts: dict[tuple[str, str, str], int] = {}

    def add(self, file: str, lines: ArrayLike, what: str, hint: str = "") -> None:
        """Note a fault at some lines of a file; none: of the file as a whole."""
        numbers = np.asarray(lines, dtype=np.int64).ravel()
        self.lines.append(numbers)
        key = (file, what, hint)
        kept = self._found.setdefault(key, [])
        kept += [int(line) for line in numbers[: SHOWN - len(kept)]] if len(kept) < SHOWN else []
        self._counts[key] = self._counts.get(key, 0) + numbers.size

    def problems(self) -> list[Problem]:
        """Return every fault as a problem, in the order of discovery."""
        return [Problem(f"{file}{self._said(key)}", key[1], key[2]) for key in self._found for file in (key[0],)]

    def _said(self, key: tuple[str, str, str]) -> str:
        lines, count = self._found[key], self._counts[key]
        if not lines:
            return ""
        said = ", ".join(map(str, lines))
        more = f" and {count - len(lines)} more" if count > len(lines) else ""
        return f", line{'s' if count > 1 else ''} {said}{more}"

    def __bool__(self) -> bool:
        return bool(self._found)

    def __len__(self) -> int:
        return len(self._found)


def merged(parts: Iterable[Faults]) -> list[Problem]:
    """Return the problems of several collections, each once."""
    return list(dict.fromkeys(problem for part in parts for problem in part.problems()))
