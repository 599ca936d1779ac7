"""One hash of all that a run's numbers hang on: the scenario as it is in memory, the files that it names, versions."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Set
from dataclasses import fields, is_dataclass
from functools import lru_cache
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from envpredict.engine.provenance import PACKAGES

if TYPE_CHECKING:
    from envpredict.scenario.types import Scenario

UNUSED = frozenset({"folder", "title", "submission", "inputs", "notes", "wall"})
"""Fields of a scenario that no finding hangs on."""


def fingerprint(scenario: Scenario) -> str:
    """Return the hash of a scenario and of everything else that its findings hang on, the program itself included."""
    digest = hashlib.sha256()
    for name in sorted({one.name for one in fields(scenario)} - UNUSED):
        digest.update(f"\n{name}=".encode())
        _feed(digest, getattr(scenario, name))
    for name in ("envpredict", *PACKAGES):
        digest.update(f"\n{name} {version(name)}".encode())
    digest.update(program().encode())
    return digest.hexdigest()


@lru_cache(maxsize=1)
def program() -> str:
    """Return the hash of the program's own files: a changed equation finds no tile of an earlier one."""
    root = Path(__file__).resolve().parents[2]
    digest = hashlib.sha256()
    for path in sorted(one for one in root.rglob("*") if one.suffix in (".py", ".toml", ".csv")):
        digest.update(f"{path.relative_to(root).as_posix()}\n".encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _feed(digest: Any, value: Any) -> None:
    """Add a value to a hash, in an order that doesn't change from process to process."""
    import pandas as pd

    if isinstance(value, pd.DataFrame):
        _feed_frame(digest, value)
    elif isinstance(value, Path):
        digest.update(hashlib.sha256(value.read_bytes()).digest() if value.is_file() else b"no file")
    elif is_dataclass(value) and not isinstance(value, type):
        for one in fields(value):
            digest.update(f"{one.name}:".encode())
            _feed(digest, getattr(value, one.name))
    elif isinstance(value, Mapping):
        for key in sorted(value, key=str):
            digest.update(f"{key}=".encode())
            _feed(digest, value[key])
    elif isinstance(value, Set):
        digest.update(repr(sorted(map(str, value))).encode())
    elif isinstance(value, tuple | list):
        digest.update(f"[{len(value)}".encode())
        for one in value:
            _feed(digest, one)
    else:
        digest.update(f"{type(value).__name__} {value!s};".encode())


def _feed_frame(digest: Any, frame: Any) -> None:
    import pandas as pd
    import shapely

    for name in frame.columns:
        column = frame[name]
        digest.update(f"\n{name}:{len(column)}:".encode())
        if column.dtype == "geometry":
            for shape in shapely.to_wkb(column.to_numpy()):
                digest.update(shape or b"none")
        elif column.dtype.kind in "fiub":
            digest.update(np.ascontiguousarray(column.to_numpy()).tobytes())
        else:
            digest.update(pd.util.hash_pandas_object(column.astype(str), index=False).to_numpy().tobytes())
