"""The measured background of receptors, by period."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from envpredict.limits.periods import Period
    from envpredict.scenario.types import Scenario


@dataclass(frozen=True, slots=True)
class Baseline:
    """The measured background of one receptor and period; `position`: facade or free_field, as it was measured."""

    laeq_db: float | None
    la90_db: float | None
    position: str


NOT_MEASURED = Baseline(None, None, "free_field")


def measured(scenario: Scenario, period: Period) -> dict[str, Baseline]:
    """Return the baseline of a period, as measured, of every receptor that has one.

    Found under the period's id or label, or under that of the period whose background serves for it. The rule converts
    a level to its own place, once.
    """
    table = scenario.baseline
    known: dict[str, Baseline] = {}
    if table is None:
        return known
    words = table["period"].str.casefold()
    for names in ({period.baseline_id.casefold()}, {period.id.casefold(), period.label.casefold()}):
        for row in table[words.isin(names)].itertuples():
            known[str(row.receptor)] = Baseline(_number(row.laeq_db), _number(row.la90_db), str(row.position))
    return known


def _number(value: Any) -> float | None:
    return None if value is None or np.isnan(value) else float(value)
