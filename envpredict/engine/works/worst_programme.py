"""Rules that the length of the works decides are judged for the slow, likely and fast programmes; the worst holds.

How fast a rig works is known within a factor of about two, so days counted on one rate would be counted too surely.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.chances.judge_rule import counts_days
from envpredict.engine.findings import Block
from envpredict.engine.results import SEVERITY
from envpredict.engine.works.programme import SPEEDS, Speed
from envpredict.limits.adjust import WorksDays
from envpredict.limits.values import HoursOnly

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.run import MethodRun
    from envpredict.limits.schema import Rule


SAID: dict[Speed, str] = {speed: f"the worst of the slow, likely and fast programmes is the {speed} one"
                          for speed in SPEEDS}


def depends_on_length(rule: Rule) -> bool:
    """Tell whether a rule's limit or verdict depends on how many days, or on which days, the works take."""
    value = rule.value
    return (counts_days(rule) or bool(rule.persistence) or rule.season is not None
            or any(row.by_days for row in getattr(value, "rows", ()))
            or any(isinstance(one, WorksDays) for one in rule.adjustments)
            or (isinstance(value, HoursOnly) and value.max_consecutive_days is not None))


def judged(method: MethodRun, rule: Rule, judge: Callable[[MethodRun], list[Block]]) -> list[Block]:
    """Return a method's findings under a rule: of the likely programme, or the worst of three where length decides."""
    if not depends_on_length(rule):
        return judge(method)
    rounds = {speed: judge(replace(method, passes=method.programmes[speed])) for speed in SPEEDS}
    return [_worst({speed: blocks[number] for speed, blocks in rounds.items()})
            for number in range(len(rounds["likely"]))]


def of_finding(method: MethodRun, finding: pd.Series) -> MethodRun:
    """Return the method with the programme that a finding was judged on: the likely one, unless it says otherwise."""
    said: list[Speed] = [speed for speed in SPEEDS if SAID[speed] in str(finding["reason"])]
    speed = said[0] if said else "likely"
    return replace(method, passes=method.programmes[speed])


def _keys(block: Block) -> NDArray[np.float64]:
    """Return (3, R) how bad each row is: severity, chance, margin turned round; the likely programme wins ties."""
    severity = np.array([SEVERITY.index(word) for word in block.columns["likelihood"]], dtype=float)
    chance = np.nan_to_num(np.asarray(block.columns["p_exceed"], dtype=float), nan=-1.0)
    margin = np.nan_to_num(np.asarray(block.columns["margin_db"], dtype=float), nan=np.inf)
    return np.stack([severity, chance, -margin])


def _worst(blocks: Mapping[Speed, Block]) -> Block:
    """Return the block whose rows are the worst of several programmes, each saying which one it is."""
    order: Sequence[Speed] = ("likely", *(speed for speed in SPEEDS if speed != "likely"))
    keys = [_keys(blocks[speed]) for speed in order]
    chosen = np.zeros(keys[0].shape[1], dtype=np.int64)
    best = keys[0]
    for number, key in enumerate(keys[1:], 1):
        worse = _worse(key, best)
        chosen = np.where(worse, number, chosen)
        best = np.where(worse, key, best)
    # the chances of single days stay those of the likely programme, which the table and the map show
    likely = blocks["likely"]
    rows = np.arange(len(chosen))
    columns: dict[str, Any] = {}
    for name, values in likely.columns.items():
        columns[name] = values if isinstance(values, str) else np.stack(
            [np.broadcast_to(blocks[speed].columns[name], chosen.shape) for speed in order])[chosen, rows]
    active = np.isin(columns["likelihood"], ("not_applicable", "cannot_judge"), invert=True)
    said = np.where(active, np.array([SAID[speed] for speed in order], dtype=object)[chosen], "")
    columns["reason"] = np.array(["; ".join(text for text in texts if text) for texts in
                                  zip(columns["reason"], said, strict=True)], dtype=object)
    return replace(likely, columns=columns)


def _worse(key: NDArray[np.float64], best: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return (R,) where one row of keys is worse than another: the first key that differs decides."""
    worse = np.zeros(key.shape[1], dtype=bool)
    equal = np.ones(key.shape[1], dtype=bool)
    for mine, other in zip(key, best, strict=True):
        worse |= equal & (mine > other)
        equal &= mine == other
    return worse

