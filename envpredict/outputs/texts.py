"""Texts that users bring, made fit for print and for markup."""

from __future__ import annotations

import re

LONGEST = 160
# characters that XML forbids, and those that turn the direction of the text around them
_UNFIT = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff\u202a-\u202e\u2066-\u2069\u200e\u200f]")


def fit(text: str) -> str:
    """Return a text with blanks in place of what markup can't hold; its lines stay."""
    return _UNFIT.sub(" ", text)


def clean(text: object, longest: int | None = LONGEST) -> str:
    """Return a user's text fit for print: one line, no control characters, not longer than `longest` (None: any)."""
    line = " ".join(fit(str(text)).split())
    return line if longest is None or len(line) <= longest else line[: longest - 1].rstrip() + "…"
