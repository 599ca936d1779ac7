"""Numbers packed small: typed columns in one compressed block, and JSON that can't end the script it stands in."""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Iterable
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

MISSING_U16 = 65535
ESCAPES = {"<": "\\u003c", ">": "\\u003e", "&": "\\u0026", "\u2028": "\\u2028", "\u2029": "\\u2029"}
TYPES: dict[str, Any] = {"u8": np.uint8, "u16": np.uint16, "u32": np.uint32, "i16": np.int16, "i32": np.int32}
UNIT_BLOCK = 1000
"""Codes per power of ten in `three_digits`."""
LOWEST_POWER = -9
MISSING, ZERO = 0, 1
"""The codes of `three_digits` for no number and for 0."""


def script_json(value: Any) -> str:
    """Return JSON text that is safe inside a `<script>` element, whatever the words in it are."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for plain, escaped in ESCAPES.items():
        text = text.replace(plain, escaped)
    return text


def three_digits(values: ArrayLike) -> NDArray[np.uint16]:
    """Return codes that hold each non-negative number rounded to three significant digits, exactly.

    code = (power + 9) * 1000 + the three digits (100 to 999); 0 means no number, 1 means zero. Valid from 1e-9 to 1e56,
    smaller numbers become zero; NaN becomes 0. Raises ValueError for a negative or infinite number.
    """
    numbers = np.asarray(values, dtype=float)
    codes = np.zeros(numbers.shape, dtype=np.int64)
    known = ~np.isnan(numbers)
    if np.any(numbers[known] < 0) or np.any(np.isinf(numbers[known])):
        raise ValueError("a level on a linear scale must be finite and not negative")
    codes[known] = ZERO
    seen = known & (numbers >= 10.0**LOWEST_POWER)
    chosen = numbers[seen]
    power = np.floor(np.log10(chosen)).astype(np.int64)
    digits = np.rint(chosen / 10.0 ** (power - 2)).astype(np.int64)
    power, digits = np.where(digits >= 1000, power + 1, power), np.where(digits >= 1000, 100, digits)
    codes[seen] = (power - LOWEST_POWER) * UNIT_BLOCK + digits
    return codes.astype(np.uint16)


def steps(values: ArrayLike, per_unit: int) -> NDArray[np.int16]:
    """Return numbers as whole steps of 1/`per_unit`; NaN becomes the lowest code, numbers beyond the codes the last."""
    numbers = np.asarray(values, dtype=float)
    codes = np.full(numbers.shape, -32768, dtype=np.int16)
    known = ~np.isnan(numbers)
    codes[known] = np.clip(np.rint(numbers[known] * per_unit), -32767, 32767).astype(np.int16)
    return codes


def small_steps(values: ArrayLike, per_unit: int) -> NDArray[np.uint16]:
    """Return non-negative numbers as whole steps of 1/`per_unit`; NaN becomes the last code."""
    numbers = np.asarray(values, dtype=float)
    codes = np.full(numbers.shape, MISSING_U16, dtype=np.uint16)
    known = ~np.isnan(numbers)
    codes[known] = np.clip(np.rint(numbers[known] * per_unit), 0, MISSING_U16 - 1).astype(np.uint16)
    return codes


def varints(values: Iterable[int] | NDArray[np.int64]) -> bytes:
    """Return whole numbers, negative ones too, in as few bytes as each needs (zigzag, seven bits a byte)."""
    numbers = np.asarray(values, dtype=np.int64).ravel()
    folded = ((numbers << 1) ^ (numbers >> 63)).astype(np.uint64)
    groups = np.ones(folded.shape, dtype=np.int64)
    for bits in range(7, 64, 7):
        groups += (folded >> np.uint64(bits)) > 0
    ends = np.cumsum(groups)
    out = np.zeros(int(ends[-1]) if len(ends) else 0, dtype=np.uint8)
    starts = ends - groups
    for place in range(int(groups.max()) if len(groups) else 0):
        here = groups > place
        part = ((folded[here] >> np.uint64(7 * place)) & np.uint64(0x7F)).astype(np.uint8)
        more = (groups[here] > place + 1).astype(np.uint8) << np.uint8(7)
        out[starts[here] + place] = part | more
    return out.tobytes()


class Block:
    """Typed columns, one after the other in one run of bytes; `index` tells the page where each lies."""

    def __init__(self) -> None:
        self.index: dict[str, list[Any]] = {}
        self._parts: list[bytes] = []
        self._size = 0

    def add(self, name: str, values: ArrayLike, kind: str) -> None:
        """Add a column; `kind` is u8, u16, u32, i16, i32 or varint. Raises ValueError if a value doesn't fit."""
        numbers = np.asarray(values)
        if kind == "varint":
            raw = varints(numbers)
        else:
            limits = np.iinfo(TYPES[kind])
            if numbers.size and (numbers.min() < limits.min or numbers.max() > limits.max):
                raise ValueError(f"a value of '{name}' doesn't fit {kind}")
            raw = numbers.astype(np.dtype(TYPES[kind]).newbyteorder("<")).tobytes()
        self._append(name, kind, raw, int(numbers.size))

    def add_json(self, name: str, value: Any) -> None:
        """Add a value that the page reads as JSON."""
        raw = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()
        self._append(name, "json", raw, len(raw))

    def _append(self, name: str, kind: str, raw: bytes, count: int) -> None:
        if name in self.index:
            raise ValueError(f"the column '{name}' is there already")
        pad = -self._size % 4    # a typed array of the page starts at a multiple of its element's size
        self._parts.append(b"\0" * pad + raw)
        self.index[name] = [kind, self._size + pad, count]
        self._size += pad + len(raw)

    def add_codes(self, name: str, values: ArrayLike) -> None:
        """Add non-negative whole numbers in the smallest kind that holds them."""
        numbers = np.asarray(values)
        top = int(numbers.max()) if numbers.size else 0
        self.add(name, numbers, "u8" if top < 256 else "u16" if top < 65536 else "u32")

    def add_words(self, name: str, words: pd.Series) -> None:
        """Add a column of words as indices, and `<name>.words`: the words, each once, in order of appearance.

        A missing word is the empty one.
        """
        codes, known = pd.factorize(words.astype(object).where(words.notna(), ""))
        self.add_codes(name, codes)
        self.add_json(f"{name}.words", [str(word) for word in known])

    def text(self) -> str:
        """Return all columns, compressed (zlib) and in base64."""
        return base64.b64encode(zlib.compress(b"".join(self._parts), 9)).decode("ascii")
