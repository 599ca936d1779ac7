"""Finished tiles in a folder, so that a run that was broken off goes on where it stood.

A folder holds one folder per run, named by its fingerprint; a tile is one file, written beside its place and renamed
into it, with a checksum in front. What is damaged, or of another run or version, is never read: it's computed again.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import shutil
import tempfile
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from envpredict.core.errors import InputProblems, OutputFailure, Problem
from envpredict.engine.tiled.fingerprint import fingerprint
from envpredict.engine.tiled.table import Column, Words
from envpredict.engine.tiled.tile import TileResult

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from envpredict.engine.tiled.means import Means
    from envpredict.scenario.types import Scenario

    Arrays = dict[str, NDArray[Any]]

FORM = b"envpredict tile 1\n"
LENGTH = 32
ROOM = "check that the disk has room and the folder can be written; tiles that are finished stay and are used again"


def _put(arrays: Arrays, name: str, column: Column) -> None:
    if isinstance(column, Words):
        text = json.dumps(column.words).encode()
        arrays[f"{name}|codes"], arrays[f"{name}|words"] = column.codes, np.frombuffer(text, dtype=np.uint8)
    else:
        arrays[name] = column


def _columns(arrays: Arrays, start: str) -> dict[str, Column]:
    """Return the columns whose names begin with `start`, in the order in which they were put in."""
    found: dict[str, Column] = {}
    for name, values in arrays.items():
        if not name.startswith(start):
            continue
        plain, _, kind = name.removeprefix(start).partition("|")
        if not kind:
            found[plain] = values
        elif kind == "codes":
            found[plain] = Words(values, tuple(json.loads(arrays[f"{start}{plain}|words"].tobytes())))
    return found


def to_bytes(tile: TileResult) -> bytes:
    """Return a tile as bytes: no pickle, so that reading one runs no code."""
    arrays: Arrays = {"days": tile.days, "count": np.array(len(tile.blocks))}
    for number, block in enumerate(tile.blocks):
        for name, column in block.items():
            _put(arrays, f"block/{number}/{name}", column)
    for (method, effect), chances in tile.daily.items():
        arrays[f"daily/{method}/{effect}"] = chances
    for name, column in tile.needs.items():
        _put(arrays, f"needs/{name}", column)
    for method, numbers in tile.governs.items():
        arrays[f"governs/{method}"] = np.array(numbers, dtype=np.int64)
    file = io.BytesIO()
    np.savez(file, allow_pickle=False, **arrays)
    body = file.getvalue()
    return FORM + hashlib.sha256(body).digest() + body


def from_bytes(data: bytes) -> TileResult | None:
    """Return the tile that bytes hold; None where they're damaged, cut short, or of another form."""
    start = len(FORM) + hashlib.sha256().digest_size
    body = data[start:]
    if not data.startswith(FORM) or hashlib.sha256(body).digest() != data[len(FORM) : start]:
        return None
    try:
        with np.load(io.BytesIO(body), allow_pickle=False) as file:
            arrays: Arrays = {name: file[name] for name in file.files}
    except (ValueError, OSError, zipfile.BadZipFile):
        return None
    blocks = tuple(_columns(arrays, f"block/{number}/") for number in range(int(arrays["count"])))
    daily = {}
    for name in arrays:
        if name.startswith("daily/"):
            _, method, effect = name.split("/")
            daily[method, effect] = arrays[name]
    governs = {name.removeprefix("governs/"): tuple(arrays[name].tolist()) for name in arrays
               if name.startswith("governs/")}
    return TileResult(blocks, arrays["days"], daily, _columns(arrays, "needs/"), governs)


@dataclass(frozen=True, slots=True)
class Kept:
    """The tiles of one run that are kept in a folder; without a folder nothing is."""

    folder: Path | None

    @classmethod
    def of(cls, folder: Path | None, mark: str) -> Kept:
        """Return the tiles of the run with this fingerprint. Raises InputProblems for a folder that can't be used."""
        if folder is None:
            return cls(None)
        mine = folder / mark[:LENGTH]
        try:
            mine.mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryFile(dir=mine):
                pass
        except OSError as error:
            raise InputProblems([Problem(str(folder), f"can't be used to keep tiles: {error.strerror or error}",
                                         "name a folder that can be written")], "the folder of tiles") from None
        return cls(mine)

    def _place(self, first: int, last: int) -> Path | None:
        return None if self.folder is None else self.folder / f"tile_{first}_{last}"

    def get(self, first: int, last: int) -> TileResult | None:
        """Return the tile of these receptors, None where there's none that is sound."""
        place = self._place(first, last)
        if place is None:
            return None
        try:
            return from_bytes(place.read_bytes())
        except OSError:
            return None

    def put(self, first: int, last: int, tile: TileResult) -> None:
        """Keep a tile: complete or not at all, whoever else writes the same. Raises OutputFailure."""
        place = self._place(first, last)
        if place is None or self.folder is None:
            return
        beside = ""
        try:
            # another run of the same scenario that is done takes the folder away
            self.folder.mkdir(parents=True, exist_ok=True)
            handle, beside = tempfile.mkstemp(prefix=".tile_", dir=self.folder)
            with os.fdopen(handle, "wb") as file:
                file.write(to_bytes(tile))
                file.flush()
                os.fsync(file.fileno())
            Path(beside).replace(place)
        except OSError as error:
            if beside:
                Path(beside).unlink(missing_ok=True)
            raise OutputFailure(f"{place}: can't be written: {error.strerror or error}", ROOM) from None


def forget(scenario: Scenario, means: Means) -> None:
    """Take away the tiles of a scenario whose results are written."""
    if means.cache is None or not means.cache.is_dir():
        return
    shutil.rmtree(means.cache / fingerprint(scenario)[:LENGTH], ignore_errors=True)
    if not any(means.cache.iterdir()):
        means.cache.rmdir()
