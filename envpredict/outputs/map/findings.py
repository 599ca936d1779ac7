"""The findings as columns: what repeats is stored once and pointed to."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from envpredict.core.quantities import QUANTITIES
from envpredict.outputs.map.pack import small_steps, steps, three_digits
from envpredict.outputs.map.style import ORDER

if TYPE_CHECKING:
    from envpredict.outputs.map.pack import Block

KIND_COLUMNS: tuple[str, ...] = ("effect", "period", "quantity", "position", "model", "limit_set", "rule", "clause",
                                 "class", "unit", "median_basis", "basis")
"""What few combinations share among many findings."""
DECIBEL_STEPS = 10
MARGIN_STEPS = 10
CHANCE_STEPS = 1000
DAY_STEPS = 10
SCATTER_STEPS = 100
FINDINGS_IN_FULL = 500_000
"""Beyond this many findings the page leaves out what the `EXTRA` columns hold and the rules that don't apply where
another one does, and says so."""
EXTRA_LEVELS: tuple[str, ...] = ("other_laws_low", "other_laws_high")
EXTRAS: tuple[tuple[str, int], ...] = (("p_one_pile", CHANCE_STEPS), ("days_above_low", DAY_STEPS),
                                       ("days_above_high", DAY_STEPS))


def ordered(findings: pd.DataFrame, receptors: list[str], methods: list[str]) -> pd.DataFrame:
    """Return the findings receptor by receptor and method by method, the one that governs first.

    The most severe likelihood, then the highest chance, then the smallest margin: so the first finding of any choice of
    effect and period is the one that governs it. Raises ValueError for a receptor or method that isn't there.
    """
    frame = findings.assign(
        receptor_row=_place(findings["receptor"], receptors, "receptor"),
        method_row=_place(findings["method"], methods, "method"),
        word=_place(findings["likelihood"], list(ORDER), "likelihood"),
    )
    keys = (frame["margin_db"].fillna(np.inf), -frame["p_exceed"].fillna(-1.0), -frame["word"], frame["method_row"],
            frame["receptor_row"])
    return frame.iloc[np.lexsort([key.to_numpy() for key in keys])].reset_index(drop=True)


def in_brief(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the ordered findings without those that don't apply, but for the first of each effect and period."""
    first = ~frame.duplicated(["receptor_row", "method_row", "effect", "period"])
    return frame[first | frame["likelihood"].ne("not_applicable")].reset_index(drop=True)


def _place(words: pd.Series, known: list[str], what: str) -> NDArray[np.int64]:
    place = pd.Index(known).get_indexer(pd.Index(words.astype(str)))
    if (place < 0).any():
        strange = sorted(set(words[place < 0].astype(str)))
        raise ValueError(f"findings name an unknown {what}: {', '.join(strange[:5])}")
    return np.asarray(place, dtype=np.int64)


def _codes(values: pd.Series, decibel: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Return levels as codes: decibels in tenths above an offset, other levels as three digits; 0 is no number."""
    numbers = values.to_numpy(dtype=float)
    codes = np.zeros(len(numbers), dtype=np.int64)
    codes[~decibel] = three_digits(numbers[~decibel])
    tenths = steps(numbers[decibel], DECIBEL_STEPS).astype(np.int64)
    codes[decibel] = np.where(tenths == -32768, 0, tenths + 32768)
    return codes


def margins(values: pd.Series) -> NDArray[np.int16]:
    """Return margins in tenths of a dB; one that misses is never rounded to zero."""
    numbers = values.to_numpy(dtype=float)
    codes = steps(numbers, MARGIN_STEPS)
    with np.errstate(invalid="ignore"):
        return np.where((numbers < 0) & (codes == 0), np.int16(-1), codes)


def _combinations(frame: pd.DataFrame) -> tuple[NDArray[np.int64], pd.DataFrame]:
    """Return, per row, the number of its combination of values, and the combinations in order of appearance."""
    combined = np.zeros(len(frame), dtype=np.int64)
    for name in frame:
        codes, known = pd.factorize(frame[name].astype(object).where(frame[name].notna(), ""))
        combined, _ = pd.factorize(combined * max(1, len(known)) + codes)
    first = np.sort(np.unique(combined, return_index=True)[1])
    return combined.astype(np.int64), frame.iloc[first]


def write(block: Block, frame: pd.DataFrame, receptors: int, methods: int) -> bool:
    """Write the ordered findings into the page's block; return whether they are there in full."""
    full = len(frame) <= FINDINGS_IN_FULL
    frame = frame if full else in_brief(frame)
    decibel = frame["quantity"].map({name: spec.scale == "decibel" for name, spec in QUANTITIES.items()})
    is_decibel = decibel.fillna(frame["unit"].astype(str).str.startswith("dB")).to_numpy(dtype=bool)
    counts = np.bincount(frame["receptor_row"] * methods + frame["method_row"], minlength=receptors * methods)
    block.add_codes("findings.count", counts)
    block.add("findings.word", frame["word"], "u8")
    block.add("findings.outside", frame["in_range"].astype("boolean").eq(False).fillna(False), "u8")
    for name in ("predicted_median", "predicted_design", "limit", *(EXTRA_LEVELS if full else ())):
        block.add(f"findings.{name}", _codes(frame[name], is_decibel), "u16")
    block.add("findings.margin_db", margins(frame["margin_db"]), "i16")
    for name, per_unit in (("p_exceed", CHANCE_STEPS), ("scatter", SCATTER_STEPS), ("days_above", DAY_STEPS),
                           *(EXTRAS if full else ())):
        block.add(f"findings.{name}", small_steps(frame[name], per_unit), "u16")
    for name in ("governing_pile", "governing_day", "reason"):
        block.add_words(f"findings.{name}", frame[name])
    codes, kinds = _combinations(frame[list(KIND_COLUMNS)].assign(decibel=is_decibel))
    block.add_codes("findings.kind", codes)
    words = kinds[list(KIND_COLUMNS)].astype(object).where(kinds[list(KIND_COLUMNS)].notna(), "").astype(str)
    block.add_json("findings.kinds", words.assign(decibel=kinds["decibel"].astype(bool)).to_dict("records"))
    return full
