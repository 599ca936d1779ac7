"""How the report words numbers, chances, marks and likelihoods; one place, so that a table and its test agree."""

from __future__ import annotations

import math
from collections.abc import Iterable

from envpredict.core.citation import BASIS_MEANING, Basis
from envpredict.outputs.map.style import WORDS
from envpredict.outputs.report.blocks import Cell

NOTHING = "–"
HELD = "\u00a0"
"""A blank at which no line breaks."""
LETTER: dict[str, str] = {"memory": "m", "practice": "p", "estimate": "e"}
"""The letter of each basis that has to be verified."""
SYMBOLS: dict[str, str] = {"breach": "■", "likely": "▲", "possible": "◆", "cannot_judge": "?", "unlikely": "●",
                           "not_applicable": "–"}


def given(value: float | None) -> bool:
    """Return whether a number is there: not None, NaN or infinite."""
    return value is not None and math.isfinite(value)


def number(value: float, digits: int = 3) -> str:
    """Return a number with so many significant digits, never in powers of ten for what a person can read."""
    if not given(value):
        return NOTHING
    if value == 0:
        return "0"
    rounded = float(f"{value:.{digits}g}")
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(rounded))))
    return f"{rounded:.{decimals}f}" if abs(rounded) >= 1e-4 else f"{rounded:.{digits - 1}e}"


def is_decibel(unit: str) -> bool:
    """Return whether levels in this unit are decibels."""
    return unit.startswith("dB")


def level(value: float, unit: str) -> str:
    """Return a level: whole decibels, else three significant digits."""
    if not given(value):
        return NOTHING
    return f"{value:.0f}" if is_decibel(unit) else number(value)


def margin(value: float, unit: str) -> str:
    """Return a margin in dB: whole for decibels and cut towards the worse, so that none is overstated."""
    if not given(value):
        return NOTHING
    return f"{math.floor(value):+d}" if is_decibel(unit) else f"{math.floor(value * 10.0) / 10.0:+.1f}"


def unit_words(unit: str) -> str:
    """Return a unit as print shows it; the pure number has none."""
    return "" if unit == "1" else unit


def chance(value: float) -> str:
    """Return a chance in whole percent, with its ends kept apart from 0 and 100 %."""
    if not given(value):
        return NOTHING
    whole = f"{100.0 * value:.0f}"
    shown = {"0": "<1", "100": ">99"}.get(whole, whole)
    return f"{shown}{HELD}%"


def day_count(value: float) -> str:
    """Return a number of days: one decimal below ten."""
    if not given(value):
        return NOTHING
    return f"{value:.1f}" if value < 9.95 else f"{value:.0f}"


def days(expected: float, low: float, high: float) -> str:
    """Return an expected number of days with its 5 % to 95 % range."""
    if not given(expected):
        return NOTHING
    return f"{day_count(expected)} ({low:.0f}–{high:.0f})" if given(low) and given(high) else day_count(expected)


def mark(basis: str) -> str:
    """Return the mark of a basis that has to be verified, held to what stands before it; empty for what was read."""
    return f"{HELD}[{LETTER[basis]}]" if basis in LETTER else ""


def marked(text: str, basis: str) -> str:
    """Return a text with the mark of its basis."""
    return text if text == NOTHING else text + mark(basis)


def mark_notes(bases: Iterable[str]) -> tuple[str, ...]:
    """Return what the marks used in a table mean, as one line, or nothing where no mark is used."""
    used = set(bases)
    told = [f"[{letter}] {BASIS_MEANING[_basis(basis)]}" for basis, letter in LETTER.items() if basis in used]
    return ("Marks, by the weakest input of a number: " + "; ".join(told) + ".",) if told else ()


def _basis(word: str) -> Basis:
    for basis in BASIS_MEANING:
        if basis == word:
            return basis
    raise ValueError(f"'{word}' is no basis")


def verdict(likelihood: str, p_exceed: float, basis: str, *, short: bool = False) -> Cell:
    """Return the cell that tells a likelihood in symbol, word (unless `short`) and number, with its mark."""
    word = SYMBOLS[likelihood] if short else f"{SYMBOLS[likelihood]} {WORDS[likelihood]}"
    if not given(p_exceed) or likelihood == "not_applicable":
        return Cell(word, likelihood)
    return Cell(f"{word} {marked(chance(p_exceed), basis)}", likelihood)


def count_words(found: dict[str, int]) -> str:
    """Return counts by likelihood in symbols, from the most severe; those that don't occur are left out."""
    return "  ".join(f"{SYMBOLS[word]}{HELD}{count}" for word, count in found.items() if count) or NOTHING


SYMBOL_NOTE = "; ".join(f"{symbol} {WORDS[word]}" for word, symbol in SYMBOLS.items())
