"""What would comply: by how much the works must become quieter for every receptor, and which plant matters most."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, cast

import numpy as np
from numpy.typing import NDArray

from envpredict.core.quantities import QUANTITIES
from envpredict.engine.noise.blows import blows_heard
from envpredict.engine.noise.levels import levels_of
from envpredict.engine.works.worst_programme import of_finding
from envpredict.limits.outcome import Missing

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.run import MethodRun, Run
    from envpredict.engine.works.programme import Speed

Floats = NDArray[np.float64]
NEED_COLUMNS: dict[str, str] = {
    "receptor": "identifier of the receptor",
    "method": "identifier of the candidate method",
    "limit_set": "identifier of the limit set of the limit that is hardest to meet",
    "rule": "identifier of its rule",
    "period": "period of that rule",
    "margin_db": "margin of that limit in dB; negative where it isn't met",
    "need_db": "insertion loss on all plant of the works that would meet it, in dB; 0 where it's met already, missing "
               "where other sources alone exceed it",
    "loudest_plant": "item of plant that gives most of the sound at the governing moment",
    "loudest_share": "its share of the works' sound energy there, 0 to 1",
    "blow_sel_db": "sound exposure level (SEL) of the loudest single blow at the receptor, incident, in dB; missing "
                   "without blows",
    "blow_lafmax_db": "LAFmax of that blow, incident, in dB",
    "pile_blows": "blows of the pile whose blows together are the loudest there",
    "pile_sel_db": "sound exposure level (SEL) of all blows of that pile, incident, in dB",
}


def _hardest(findings: pd.DataFrame) -> pd.DataFrame:
    """Return, per receptor and method, the finding on noise with the smallest margin."""
    noise = findings["quantity"].map({name: one.effect == "noise" for name, one in QUANTITIES.items()}).fillna(False)
    rows = findings[noise.astype(bool) & findings["margin_db"].notna()]
    return rows.loc[rows.groupby(["receptor", "method"], sort=False)["margin_db"].idxmin()]


def noise_needs(run: Run, methods: Sequence[MethodRun], findings: pd.DataFrame) -> pd.DataFrame:
    """Return what each receptor needs from each candidate, columns `NEED_COLUMNS`; rows as they first come.

    The loss is meant on all plant alike, beyond what is predicted with. The scenario's other sources aren't the works'
    to lower: they count as they are.
    """
    import pandas as pd

    hardest = _hardest(findings)
    known = {method.choice.id: method for method in methods}
    number = {name: row for row, name in enumerate(run.scenario.receptors["id"])}
    rows: list[tuple[Any, ...]] = []
    speed = [of_finding(known[one["method"]], one).passes.speed for _, one in hardest.iterrows()]
    keys = ["method", "limit_set", "rule", "period", "_speed"]
    for (name, set_id, rule_id, period, pace), group in hardest.assign(_speed=speed).groupby(keys, sort=False):
        receptors = np.array([number[one] for one in group["receptor"]], dtype=np.int64)
        margin = group["margin_db"].to_numpy(dtype=float)
        method = replace(known[str(name)], passes=known[str(name)].programmes[cast("Speed", pace)])
        found = _needs(run, method, (str(set_id), str(rule_id), str(period)), receptors, margin,
                       group["governing_day"].to_numpy(dtype=str))
        if found is None:
            continue
        need, plant, share = found
        blows = blows_heard(run, method)
        single = np.full((len(receptors), 4), np.nan) if blows is None else np.column_stack(
            [blows.sel_db, blows.lafmax_db, blows.most, blows.drive_sel_db])[receptors]
        rows += [(receptor, name, set_id, rule_id, period, round(float(m), 3), round(float(n), 3), str(p),
                  round(float(s), 3), *np.round(one, 3).tolist())
                 for receptor, m, n, p, s, one in zip(group["receptor"], margin, need, plant, share, single,
                                                      strict=True)]
    return in_order(pd.DataFrame(rows, columns=list(NEED_COLUMNS)), findings)


def in_order(needs: pd.DataFrame, findings: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of needs in the order in which findings on noise first come with their receptor and method."""
    import pandas as pd

    order = pd.MultiIndex.from_frame(_hardest(findings)[["receptor", "method"]])
    known = pd.MultiIndex.from_frame(needs[["receptor", "method"]])
    found = needs.set_index(["receptor", "method"]).reindex(order.intersection(known, sort=False))
    return found.reset_index()[list(NEED_COLUMNS)]


def _needs(run: Run, method: MethodRun, where: tuple[str, str, str], receptors: NDArray[np.int64], margin: Floats,
           days: NDArray[np.str_]) -> tuple[Floats, NDArray[np.object_], Floats] | None:
    """Return needed loss, loudest plant and its share (n) at some receptors under one rule and period."""
    rule = run.catalogue.limit_sets[where[0]].rule(where[1])
    period = next((one for one in rule.periods if one.label == where[2]), None)
    levels = levels_of(run, method, rule, period)
    if isinstance(levels, Missing) or not len(levels.at.series.slots):
        return None
    series = levels.at.series
    today = series.slots.day.astype(str)[None, :] == days[:, None]
    slot = np.where(today, series.median[receptors], -np.inf).argmax(axis=1)
    point = levels.at.point[receptors, slot]
    energy = levels.heard.energy[:, point, slot]
    count = len(levels.sound.items)
    works, others = energy[:count].sum(axis=0), energy[count:].sum(axis=0)
    # the design level comes down with the median: works and others together must fall by what the margin lacks
    left = (works + others) * 10.0 ** (np.minimum(margin, 0.0) / 10.0) - others
    with np.errstate(divide="ignore", invalid="ignore"):
        need = np.where(margin >= 0.0, 0.0, np.where(left > 0.0, 10.0 * np.log10(works / left), np.nan))
    loudest = energy[:count].argmax(axis=0)
    names = np.array([item.plant.id for item in levels.sound.items], dtype=object)
    share = energy[:count].max(axis=0) / np.where(works > 0.0, works, 1.0)
    return np.asarray(need), names[loudest], np.asarray(share)
