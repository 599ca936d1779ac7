"""Which finding governs a receptor."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from envpredict.engine.results import SEVERITY

if TYPE_CHECKING:
    import pandas as pd


def severity(likelihood: pd.Series) -> pd.Series:
    """Return the rank of each likelihood: the higher, the more severe."""
    return likelihood.map({word: rank for rank, word in enumerate(SEVERITY)})


def governing(findings: pd.DataFrame, by: tuple[str, ...] = ("receptor", "method", "effect")) -> pd.DataFrame:
    """Return the finding that governs each group: most severe, then the highest chance, then the smallest margin.

    Rows keep the order in which their groups first appear, and their index in `findings`.
    """
    if findings.empty:
        return findings
    # only what ranks them is put in order: the rows themselves are wide
    order = findings[list(by)].assign(_severity=severity(findings["likelihood"]),
                                      _chance=findings["p_exceed"].fillna(-1.0).astype(float),
                                      _margin=-findings["margin_db"].fillna(np.inf).astype(float),
                                      _row=np.arange(len(findings)))
    first_seen = order.groupby(list(by), sort=False)["_row"].transform("min")
    order = order.assign(_group=first_seen).sort_values(["_group", "_severity", "_chance", "_margin", "_row"],
                                                        ascending=[True, False, False, False, True], kind="stable")
    chosen = order.drop_duplicates("_group").index
    return findings.loc[chosen]
