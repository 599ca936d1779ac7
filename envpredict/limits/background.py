"""Limits that follow the sound that is there already: pure functions of the baseline."""

from __future__ import annotations

from typing import Literal, cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

Half = Literal["down", "up"]
Floats = NDArray[np.float64]


def rounded_to(level_db: ArrayLike, step_db: float, half: Half) -> Floats:
    """Return levels rounded to the nearest multiple of a step; exact halves go down or up. Any shape, dB."""
    scaled = np.asarray(level_db, dtype=float) / step_db
    return step_db * (np.ceil(scaled - 0.5) if half == "down" else np.floor(scaled + 0.5))


def site_for_rise_db(baseline_db: ArrayLike, rise_db: float) -> Floats:
    """Return the site's level that lifts the total (baseline + site) by a rise: L + 10 lg(10^(rise/10) - 1). dB."""
    return cast("Floats", np.asarray(baseline_db, dtype=float) + 10.0 * np.log10(10.0 ** (rise_db / 10.0) - 1.0))


def category_of(baseline_db: ArrayLike, a_db: float, c_db: float, *, step_db: float = 5.0,
                half: Half = "down") -> NDArray[np.str_]:
    """Return the category of a baseline: A below the A value, B at it, C above it; "over" above the C value.

    The baseline (any shape, dB) is first rounded to the nearest `step_db`. "" for NaN.
    """
    rounded = rounded_to(baseline_db, step_db, half)
    choices = [np.isnan(rounded), rounded < a_db, rounded == a_db, rounded <= c_db]
    return np.asarray(np.select(choices, ["", "A", "B", "C"], default="over"))


def category_limit_db(baseline_db: ArrayLike, a_db: float, b_db: float, c_db: float, *, total_rise_db: float = 3.0,
                      step_db: float = 5.0, half: Half = "down") -> Floats:
    """Return the limit on the site's own level by category; above C the total may rise by `total_rise_db`.

    Any shape, dB; NaN in, NaN out. Categories: see `category_of`.
    """
    category = category_of(baseline_db, a_db, c_db, step_db=step_db, half=half)
    rise = site_for_rise_db(baseline_db, total_rise_db)
    choices = [category == "A", category == "B", category == "C", category == "over"]
    return np.asarray(np.select(choices, [np.full_like(rise, a_db), np.full_like(rise, b_db),
                                          np.full_like(rise, c_db), rise], default=np.nan))


def plus_limit_db(baseline_db: ArrayLike, plus_db: float, floor_db: float | None, *,
                  compare: Literal["site", "total"]) -> Floats:
    """Return the limit on the site's own level: baseline + plus, and not below a floor. Any shape, dB.

    `compare` = "total": it is the sum of baseline and site that must stay below baseline + plus.
    """
    baseline = np.asarray(baseline_db, dtype=float)
    limit = baseline + plus_db if compare == "site" else site_for_rise_db(baseline, plus_db)
    return cast("Floats", limit if floor_db is None else np.maximum(limit, floor_db))
