"""The findings of one rule for works of several parts, from the findings of the parts.

The parts stand on other laws and plant, so their errors count as independent: the chance of at least one exceedance is
one less the product of the parts' chances of none. What two parts share makes that chance smaller, so it's never too
small. Days above and means over the whole works add up over the parts in a way that their chances don't tell: there the
highest chance of a part is a lower bound, and whatever it leaves open can't be judged.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.quantities import QUANTITIES
from envpredict.engine.chances.judge_rule import counts_days
from envpredict.engine.findings import rounded
from envpredict.engine.noise.longterm import LONG_TERM
from envpredict.engine.results import SEVERITY

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.limits.rule import Rule

Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]
NOTHING, OPEN, BREACH = (SEVERITY.index(word) for word in ("not_applicable", "cannot_judge", "breach"))
FARTHEST_DB, HALVINGS = 200.0, 60
ADDS_UP = ("what the parts add up to over the works isn't known from their chances: at least that of the part with the "
           "highest one")


def put_together(tables: Sequence[pd.DataFrame], names: Sequence[str], rule: Rule,
                 design: float) -> tuple[pd.DataFrame, Numbers]:
    """Return the findings of works of several parts (K) at receptors (R), and the number (R) of the governing part.

    tables: the parts' findings of one rule and period, receptor by receptor alike; `names` of the parts. `design`: the
    design exceedance. Levels are those of the governing part; chance, likelihood, margin and days are of all parts.
    Where the parts add up, chance and margin are the governing part's: the least that all have, and the most.
    """
    rank = np.stack([table["likelihood"].map(SEVERITY.index).to_numpy(dtype=np.int64) for table in tables])
    chance, margin, days = (np.stack([table[name].to_numpy(dtype=float) for table in tables])
                            for name in ("p_exceed", "margin_db", "days_above"))
    active = rank > NOTHING
    governing = _governing(rank, chance, margin)
    several = active.sum(axis=0) > 1
    adding = counts_days(rule) or (rule.quantity or "") in LONG_TERM
    live = active & ~((chance == 0.0) & (days == 0.0)) if counts_days(rule) else active
    unsure = several & (live.sum(axis=0) > 1) & adding
    known = active & ~np.isnan(chance)
    none = np.where(known, 1.0 - np.where(known, chance, 0.0), 1.0)
    highest = np.where(known, chance, 0.0).max(axis=0)
    together = np.where(known.any(axis=0), np.where(unsure, highest, 1.0 - none.prod(axis=0)), np.nan)
    together = np.where(several, together, _picked(chance, governing))
    word = np.where(several, _word(rank, together, unsure, design), _picked(rank, governing))
    together = np.where(unsure & (word == OPEN), np.nan, together)
    moved = np.where(several & ~unsure, _margin(tables, chance, margin, together, design),
                     np.where(unsure & (word == OPEN), np.nan, _picked(margin, governing)))
    out = tables[0].copy()
    for name in out.columns:
        out[name] = np.stack([table[name].to_numpy(dtype=object) for table in tables])[governing, np.arange(len(out))]
        out[name] = out[name].astype(tables[0][name].dtype)
    out = out.assign(likelihood=np.array(SEVERITY, dtype=object)[word], p_exceed=rounded(together),
                     margin_db=rounded(moved), predicted_design=_design(out, moved))
    for name in ("days_above", "days_above_low", "days_above_high"):
        each = np.stack([table[name].to_numpy(dtype=float) for table in tables])
        total = np.where(active, np.nan_to_num(each), 0.0).sum(axis=0)
        out[name] = np.where(np.isnan(np.where(active, each, np.nan)).all(axis=0), np.nan, rounded(total))
    return out.assign(reason=_reasons(out["reason"], names, governing, several, unsure)), governing


def _picked(values: NDArray[np.generic], governing: Numbers) -> NDArray[np.generic]:
    found: NDArray[np.generic] = values[governing, np.arange(len(governing))]
    return found


def _governing(rank: Numbers, chance: Floats, margin: Floats) -> Numbers:
    """Return (R) the part that governs: most severe, then the highest chance, then the smallest margin."""
    keys = (np.nan_to_num(margin, nan=np.inf), -np.nan_to_num(chance, nan=-1.0), -rank)
    return np.asarray(np.lexsort(keys, axis=0)[0], dtype=np.int64)


def _word(rank: Numbers, chance: Floats, unsure: NDArray[np.bool_], design: float) -> Numbers:
    """Return (R) the rank of the likelihood of all parts together."""
    likely, possible, unlikely = (SEVERITY.index(word) for word in ("likely", "possible", "unlikely"))
    with np.errstate(invalid="ignore"):
        found = np.select([(rank == BREACH).any(axis=0), chance >= 0.5, chance >= design,
                           unsure | (rank == OPEN).any(axis=0)], [BREACH, likely, possible, OPEN], unlikely)
    return np.asarray(found, dtype=np.int64)


def _margin(tables: Sequence[pd.DataFrame], chance: Floats, margin: Floats, together: Floats, design: float) -> Floats:
    """Return (R) by how many dB all parts may rise together until their chance is the design exceedance.

    Each part's chance is known at its level and, by its margin, where it's the design exceedance; between and beyond it
    follows the normal distribution through both.
    """
    from scipy.special import ndtr, ndtri

    linear = [QUANTITIES[name].scale == "linear" if name else False for name in tables[0]["quantity"]]
    size = np.where(linear, 20.0, 1.0)
    scatter = np.stack([table["scatter"].to_numpy(dtype=float) for table in tables]) * size
    has = np.isfinite(margin) & (scatter > 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        steep = (ndtri(design) - ndtri(chance)) / margin
        fits = np.isfinite(steep) & (steep > 0.0) & (np.abs(margin) > 0.05)
        steep = np.where(has, np.where(fits, steep, 1.0 / scatter), 0.0)
    start = np.where(has, margin, 0.0)

    def chance_at(rise: Floats) -> Floats:
        each = np.where(has, ndtr(ndtri(design) + steep * (rise - start)), 0.0)
        return np.asarray(1.0 - (1.0 - each).prod(axis=0))

    low, high = np.full(len(linear), -FARTHEST_DB), np.full(len(linear), FARTHEST_DB)
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        above = chance_at(middle) > design
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    meets = together <= design
    found = np.where(meets, np.maximum(low, 0.0), np.minimum(low, -1e-12))
    return np.where(has.any(axis=0) & ~np.isnan(together), found, np.nan)


def _design(out: pd.DataFrame, margin: Floats) -> Floats:
    """Return (R) the level that lies the margin below the limit, in the limit's unit."""
    limit = out["limit"].to_numpy(dtype=float)
    linear = np.array([QUANTITIES[name].scale == "linear" if name else False for name in out["quantity"]])
    return rounded(np.where(linear, limit / 10.0 ** (margin / 20.0), limit - margin))


def _reasons(reasons: pd.Series, names: Sequence[str], governing: Numbers, several: NDArray[np.bool_],
             unsure: NDArray[np.bool_]) -> NDArray[np.object_]:
    found = []
    for text, part, more, open_ in zip(reasons, governing, several, unsure, strict=True):
        said = [f"part '{names[part]}' governs", ADDS_UP if open_ else
                "the chance is that of all parts, their errors counted as independent" if more else "", str(text)]
        found.append("; ".join(each for each in said if each))
    return np.array(found, dtype=object)
