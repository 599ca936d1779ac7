"""The baseline survey of a drafted plan: what the scenario has measured already, or what is still to be measured."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from envpredict.limits.values import BackgroundCategory, CategoryRow, select
from envpredict.monitoring.plan_rows import Baseline, Criterion, Station

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment
    from envpredict.monitoring.draft_defaults import Defaults
    from envpredict.monitoring.draft_limits import Limit


_DAY = re.compile(r"\d{4}-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12]\d|3[01])")


def baseline_rows(assessment: Assessment, stations: Sequence[Station], limits: Sequence[Limit], first: date,
                  defaults: Defaults) -> tuple[Baseline, ...]:
    """Return one row per noise station and period that it judges.

    A level that the scenario states is entered as measured, without the hours, which it doesn't state; else a survey
    before the works is planned.
    """
    by_id = {limit.criterion.id: limit for limit in limits}
    rows = []
    for station in stations:
        if station.kind != "noise":
            continue
        mine: dict[str | None, Limit] = {}
        for limit in (by_id[name] for name in station.criteria):
            # of several limits in one period the one with categories says which category is claimed
            if limit.criterion.period not in mine or _category(limit) is not None:
                mine[limit.criterion.period] = limit
        if not mine:
            rows.append(Baseline(station=station.id, **_planned(first, defaults)))
        for period, limit in mine.items():
            measured = _measured(assessment, str(station.receptor), limit)
            planned = _planned(first, defaults) if measured is None else _stated(measured, limit)
            rows.append(Baseline(station=station.id, period=period, **planned))
    return tuple(rows)


def _planned(first: date, defaults: Defaults) -> dict[str, Any]:
    days = int(defaults.number("baseline_days"))
    last = first - timedelta(days=int(defaults.number("baseline_ends_days_before")))
    return {"first": last - timedelta(days=days - 1), "last": last, "hours": 24.0 * days, "done": False}


def _measured(assessment: Assessment, receptor: str, limit: Limit) -> Mapping[str, Any] | None:
    """Return the scenario's baseline of a receptor in a limit's period, or None."""
    table = assessment.scenario.baseline
    if table is None:
        return None
    ids = [one.id for one in limit.rule.periods if one.label == limit.criterion.period] if limit.rule else []
    names = [str(name).casefold() for name in (limit.criterion.period, *ids)]
    here = table[(table["receptor"].astype(str) == receptor) & table["period"].str.casefold().isin(names)]
    return None if here.empty else dict(here.iloc[0])


def _stated(measured: Mapping[str, Any], limit: Limit) -> dict[str, Any]:
    laeq, la90 = _number(measured["laeq_db"]), _number(measured["la90_db"])
    days = [date.fromisoformat(text) for text in _DAY.findall(str(measured["dates"]))]
    position = str(measured["position"])
    return {"done": True, "laeq_db": laeq, "la90_db": la90, "category": _category(limit),
            "first": min(days, default=None), "last": max(days, default=None),
            "position": position if position in ("facade", "free_field") else None}


def _number(value: Any) -> float | None:
    return None if value is None or math.isnan(float(value)) else float(value)


def _category(limit: Limit) -> str | None:
    """Return the category whose column holds the limit, where the document has categories."""
    criterion: Criterion = limit.criterion
    if limit.rule is None or not isinstance(limit.rule.value, BackgroundCategory) or criterion.value is None:
        return None
    period = next((one.id for one in limit.rule.periods if one.label == criterion.period), None)
    row = select(limit.rule.value.rows, str(criterion.receptor_class), period, None, None)
    if not isinstance(row, CategoryRow):
        return None
    columns = {"A": row.a_db, "B": row.b_db, "C": row.c_db}
    return next((name for name, value in columns.items() if math.isclose(value, criterion.value)), None)
