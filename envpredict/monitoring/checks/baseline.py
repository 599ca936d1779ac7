"""Checks of the survey before the works."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

from envpredict.limits.base import Record
from envpredict.limits.outcome import LimitValue
from envpredict.limits.rule import Rule
from envpredict.limits.values import BackgroundCategory, CategoryRow, select
from envpredict.monitoring.audit_checks import Evidence, Facts, broken, check, idle, met, missing
from envpredict.monitoring.checks.limits import works_in
from envpredict.monitoring.plan_fit import kind_of
from envpredict.monitoring.plan_rows import Baseline, Criterion, Station

SAME_DB = 0.05
"""Levels nearer than this are the same."""


def _judging(facts: Facts) -> list[Station]:
    """Return the noise stations that judge limits."""
    return [station for _, station in facts.stations("noise") if not station.indicative]


def _noise_limits(facts: Facts, station: Station) -> list[Criterion]:
    found = [facts.criterion(name) for name in station.criteria]
    return [one for one in found if one is not None and works_in(facts, one)]


@check("M13")
def survey_long_enough(facts: Facts) -> Iterator[Evidence]:
    """Check that each position has a survey of each period worked, long enough and before the works."""
    limited = any(one.quantity is not None and kind_of(one.quantity) == "noise" for one in facts.plan.criteria)
    if not limited:
        yield idle("criteria", "no limit on noise")
    elif not _judging(facts):
        yield missing("stations", "no noise station judges a limit, so no position of a baseline is stated")
    for station in _judging(facts):
        rows = [(number, row) for number, row in enumerate(facts.plan.baseline) if row.station == station.id]
        if not rows:
            yield missing("baseline", f"survey at {station.id}: not stated")
            continue
        wanted = {one.period for one in _noise_limits(facts, station) if one.period is not None}
        for period in sorted(wanted - {row.period for _, row in rows}):
            yield missing("baseline", f"survey at {station.id} for the period '{period}': not stated")
        for number, row in rows:
            yield from _long_enough(facts, number, row)


def _long_enough(facts: Facts, number: int, row: Baseline) -> Iterator[Evidence]:
    where = facts.plan.at("baseline", number)
    start, least = facts.plan.works.first_piling, facts.number("hours")
    if row.first is None or row.last is None or row.hours is None:
        yield missing(where, "first day, last day or hours: not stated")
        return
    days = {(row.first + timedelta(days=n)).weekday() for n in range(min((row.last - row.first).days + 1, 7))}
    if not (days & {5, 6} and days - {5, 6}):
        yield broken(where, f"{row.first} to {row.last} doesn't take in both weekday and weekend")
    if start is None:
        yield missing("works.first_piling", "first day of piling: not stated")
    elif row.last >= start:
        yield broken(where, f"ends on {row.last}, not before the first day of piling, {start}")
    text = f"{row.hours:g} h, at least {least:g} h asked" + ("" if row.done else " (planned)")
    yield met(where, text) if row.hours >= least else broken(where, text)


@check("M14")
def category_claimed(facts: Facts) -> Iterator[Evidence]:
    """Check that the survey's results are stated, and that the category claimed follows from them."""
    if not facts.plan.baseline:
        limited = any(one.quantity is not None and kind_of(one.quantity) == "noise" for one in facts.plan.criteria)
        yield missing("baseline", "results: not stated") if limited else idle("criteria", "no limit on noise")
    for number, row in enumerate(facts.plan.baseline):
        where = facts.plan.at("baseline", number)
        lacking = [key for key in ("laeq_db", "la90_db", "exclusions") if getattr(row, key) is None]
        if lacking:
            yield missing(where, f"not stated: {', '.join(lacking)}" + ("" if row.done else " (not measured yet)"))
        else:
            yield met(where, f"LAeq {row.laeq_db:g} dB, LA90 {row.la90_db:g} dB")
        if row.laeq_db is not None:
            yield from _derived(facts, number, row)


def _derived(facts: Facts, number: int, row: Baseline) -> Iterator[Evidence]:
    """Yield whether limits that follow from the background are the ones that this survey gives."""
    station = next(one for one in facts.plan.stations if one.id == row.station)
    for criterion in _noise_limits(facts, station):
        rule = _rule(facts, criterion)
        if rule is None or row.period not in (None, criterion.period):
            continue
        where = facts.plan.at("baseline", number, "category")
        period = next((one.id for one in rule.periods if criterion.period in (one.id, one.label)), None)
        found = rule.limit_from_background(str(criterion.receptor_class), period, row.laeq_db, row.la90_db,
                                           str(row.position or station.position))
        if not isinstance(found, LimitValue):
            yield missing(where, f"{criterion.id} follows from the background: {found}")
            continue
        text = f"{criterion.id}: a background of {row.laeq_db:g} dB gives {found.value:.1f} dB"
        if criterion.value is not None and abs(criterion.value - found.value) > SAME_DB:
            yield broken(where, f"{text}, but {criterion.value:g} dB is adopted ({found.note})")
        yield from _category(where, row, rule, criterion, found.value, period)


def _category(where: str, row: Baseline, rule: Rule, criterion: Criterion, limit: float,
              period: str | None) -> Iterator[Evidence]:
    if not isinstance(rule.value, BackgroundCategory):
        return
    columns = select(rule.value.rows, str(criterion.receptor_class), period, None, None)
    if row.category is None:
        yield missing(where, "category claimed: not stated")
    elif isinstance(columns, CategoryRow):
        claimed = _column(columns, row.category)
        if claimed is None or abs(claimed - limit) > SAME_DB:
            yield broken(where, f"category {row.category} is claimed, but the background gives {limit:.1f} dB")
        else:
            yield met(where, f"category {row.category}, {limit:.1f} dB, as the document derives it")


def _column(columns: Record, category: str) -> float | None:
    value = getattr(columns, f"{category.strip().casefold()}_db", None)
    return float(value) if isinstance(value, float | int) else None


def _rule(facts: Facts, criterion: Criterion) -> Rule | None:
    """Return the register's rule of a limit where it follows from the background."""
    if criterion.limit_set not in facts.register or criterion.receptor_class is None:
        return None
    rules = facts.register[str(criterion.limit_set)].rules
    rule = next((one for one in rules if one.id == criterion.rule), None)
    return rule if rule is not None and rule.value.kind.startswith("background") else None
