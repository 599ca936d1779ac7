"""Reads a text file in blocks of complete lines, and tells how many values each line holds."""

from __future__ import annotations

import csv
import gzip
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, cast

import numpy as np
from numpy.typing import NDArray

from envpredict.models.noise.compiled import compiled

BLOCK = 1 << 25
"""Bytes that are read at once."""


@dataclass(frozen=True, slots=True)
class Block:
    """Complete lines of a file: `first_line` is the number of the first one, from 1; `end` the byte after the last."""

    data: bytes
    first_line: int
    end: int


def opened(path: Path) -> IO[bytes]:
    """Open a file for reading bytes; .gz is unpacked on the way."""
    return cast("IO[bytes]", gzip.open(path, "rb")) if path.suffix == ".gz" else path.open("rb")


def blocks(file: IO[bytes], start: int, first_line: int, size: int = BLOCK) -> Iterator[Block]:
    """Yield the complete lines from a byte on; a last line without an end is left over (`Block.end` tells where)."""
    file.seek(start)
    rest, line, at = b"", first_line, start
    while True:
        read = file.read(size)
        if not read:
            return
        data = rest + read
        cut = data.rfind(b"\n") + 1
        if cut:
            whole = data[:cut]
            at += cut
            yield Block(whole, line, at)
            line += whole.count(b"\n")
        rest = data[cut:]


@compiled
def _count(data: NDArray[np.uint8], delimiter: int, starts: NDArray[np.int64], lengths: NDArray[np.int64],
           counts: NDArray[np.int32]) -> bool:
    """Fill each line's start, length without its end, and number of delimiters; tell whether any quote was seen."""
    row, begin, found, quoted = 0, 0, 0, False
    for at in range(data.size):
        byte = data[at]
        if byte == delimiter:
            found += 1
        elif byte == 34:
            quoted = True
        elif byte == 10:
            last = at - 1 if at > begin and data[at - 1] == 13 else at
            starts[row], lengths[row], counts[row] = begin, last - begin, found
            row, begin, found = row + 1, at + 1, 0
    return quoted


def values_per_line(data: bytes, delimiter: str) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int32]]:
    """Return start, length and number of values of every line; a blank line has none. Quotes keep delimiters in."""
    view = np.frombuffer(data, dtype=np.uint8)
    rows = data.count(b"\n")
    starts, lengths = np.zeros(rows, dtype=np.int64), np.zeros(rows, dtype=np.int64)
    counts = np.zeros(rows, dtype=np.int32)
    quoted = _count(view, ord(delimiter), starts, lengths, counts)
    counts = np.where(lengths == 0, 0, counts + 1).astype(np.int32)
    if quoted:
        for row in range(rows):
            line = data[starts[row]: starts[row] + lengths[row]]
            if b'"' in line:
                counts[row] = len(next(csv.reader([line.decode("latin-1")], delimiter=delimiter)))
    return starts, lengths, counts


def kept(data: bytes, starts: NDArray[np.int64], lengths: NDArray[np.int64], keep: NDArray[np.bool_]) -> bytes:
    """Return the chosen lines alone."""
    if bool(keep.all()):
        return data
    return b"".join(data[starts[row]: starts[row] + lengths[row]] + b"\n" for row in np.flatnonzero(keep))
