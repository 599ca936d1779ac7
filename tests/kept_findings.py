"""Governing findings as the repository keeps them: rounded, and compared so that a last digit never decides.

A kept number has three significant digits, or one decimal in decibels. A new one agrees if it lies within half a unit
of the kept one's last digit and a little more: other versions of numpy or of the compiler move the sixteenth digit, and
a value on the edge of a rounding would otherwise flip.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from envpredict.engine.govern import governing
from envpredict.engine.results import Assessment

WHOLE = ("receptor", "method", "effect")
PER_METHOD = ("receptor", "method")
TEXTS = ("use", "effect", "likelihood", "limit_set", "rule", "period", "model", "unit", "in_range", "basis")
LINEAR = ("predicted_median", "predicted_design", "limit", "p_exceed", "days_above")
DECIBEL = ("margin_db",)
RELATIVE, SMALLEST, STEP_DB = 0.006, 1e-6, 0.06
"""Half a unit of the third digit is at most 0.5 % (of 1.00); of a decimal of decibels it is 0.05."""
SHOWN = 20


def kept(assessment: Assessment, by: tuple[str, ...] = WHOLE) -> pd.DataFrame:
    """Return the finding that governs each group, numbers as they are."""
    rows = governing(assessment.findings, by)
    texts = [name for name in TEXTS if name not in by]
    return rows[[*by, *texts, *LINEAR, *DECIBEL]].reset_index(drop=True)


def write(frame: pd.DataFrame, path: Path) -> None:
    """Write the rows rounded."""
    text = frame.copy()
    for name in LINEAR:
        text[name] = [_three_digits(value) for value in frame[name]]
    for name in DECIBEL:
        text[name] = [_one_decimal(value) for value in frame[name]]
    path.parent.mkdir(parents=True, exist_ok=True)
    text.to_csv(path, index=False, lineterminator="\n")


def _three_digits(value: float) -> str:
    return "" if np.isnan(value) else f"{0.0 if abs(value) < SMALLEST else value:.3g}"


def _one_decimal(value: float) -> str:
    return "" if np.isnan(value) else f"{round(value, 1) + 0.0:.1f}"


def differences(frame: pd.DataFrame, path: Path, by: tuple[str, ...] = WHOLE) -> list[str]:
    """Return what differs between the rows and those that are kept, in words; empty if nothing does."""
    if not path.is_file():
        return [f"{path.name} is missing"]
    old = pd.read_csv(path, dtype=str, keep_default_na=False)
    if list(old.columns) != list(frame.columns):
        return [f"the columns are {', '.join(frame.columns)}; {path.name} has {', '.join(old.columns)}"]
    new_keys, old_keys = _keys(frame, by), _keys(old, by)
    if new_keys != old_keys:
        gone = [key for key in old_keys if key not in set(new_keys)]
        added = [key for key in new_keys if key not in set(old_keys)]
        return [f"rows differ: {len(gone)} gone {gone[:3]}, {len(added)} new {added[:3]}"
                + ("" if gone or added else ", others in order only")]
    found = [fault for name in frame.columns if name not in by
             for fault in _column(name, frame[name], old[name], new_keys)]
    return found[:SHOWN] + ([f"... and {len(found) - SHOWN} more"] if len(found) > SHOWN else [])


def _keys(frame: pd.DataFrame, by: tuple[str, ...]) -> list[str]:
    return [" ".join(map(str, row)) for row in frame[list(by)].itertuples(index=False)]


def _column(name: str, new: pd.Series, old: pd.Series, keys: list[str]) -> list[str]:
    if name in TEXTS:
        shown = new.map(lambda value: "" if pd.isna(value) else str(value))
        same = (shown == old).to_numpy()
    else:
        shown = new
        was, now = pd.to_numeric(old).to_numpy(dtype=float), new.to_numpy(dtype=float)
        near = {"rtol": 0.0, "atol": STEP_DB} if name in DECIBEL else {"rtol": RELATIVE, "atol": SMALLEST}
        same = np.isclose(now, was, equal_nan=True, **near)
    return [f"{keys[row]}: {name} was {old.iloc[row] or 'empty'}, is {shown.iloc[row]}"
            for row in np.flatnonzero(~same)]
