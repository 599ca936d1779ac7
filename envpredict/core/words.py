"""Help with words that were mistyped."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word nearest to `word`, or None if none is near."""
    folded = {name.casefold(): name for name in known}
    found = difflib.get_close_matches(str(word).casefold(), folded, n=1, cutoff=0.5)
    return folded[found[0]] if found else None


def suggestion(word: str, known: Iterable[str], limit: int = 12) -> str:
    """Say which word was probably meant and which ones are known."""
    names = sorted(set(known))
    best = nearest(word, names)
    shown = ", ".join(names[:limit]) + (", ..." if len(names) > limit else "")
    return (f"did you mean '{best}'? " if best else "") + f"known: {shown or 'none'}"
