"""Checks of the limits: named, complete, counted; and of the hours of work."""

from __future__ import annotations

from collections.abc import Iterator

from envpredict.core.quantities import QUANTITIES
from envpredict.limits.persistence import Counted
from envpredict.limits.values import DayAllowance
from envpredict.monitoring.audit_checks import Evidence, Facts, broken, check, idle, met, missing
from envpredict.monitoring.hours import first_outside, minutes, overlap
from envpredict.monitoring.plan_fields import MOVEMENTS
from envpredict.monitoring.plan_rows import Activity, Criterion


@check("M01")
def limit_sets_named(facts: Facts) -> Iterator[Evidence]:
    """Check that each adopted document has an edition and a date, and is known."""
    if not facts.plan.limit_sets:
        yield missing("limit_sets", "no limit set is named")
    for number, adopted in enumerate(facts.plan.limit_sets):
        where = facts.plan.at("limit_sets", number)
        known = facts.register.get(adopted.id) if adopted.id in facts.register else None
        if known is None and adopted.own_document is None:
            yield broken(where, "isn't a known limit set, and no document of its own is named")
        if adopted.edition is None:
            yield missing(where, "edition: not stated")
        elif known is not None and not _same_edition(adopted.edition, known.edition):
            yield broken(where, f"edition '{adopted.edition}' isn't the known one, {known.edition}")
        if adopted.checked_on is None:
            yield missing(where, "date of the comparison with the document: not stated")
        elif adopted.edition is not None:
            yield met(where, f"edition {adopted.edition}, compared on {adopted.checked_on}")
    for number, criterion in enumerate(facts.plan.criteria):
        if criterion.limit_set is None:
            yield missing(facts.plan.at("criteria", number, "limit_set"), "the document of this limit: not stated")


def _same_edition(mine: str, known: str) -> bool:
    first, second = mine.casefold().replace(" ", ""), known.casefold().replace(" ", "")
    return first in second or second in first


NEEDED = ("quantity", "weighting", "period", "days", "starts", "ends", "position", "value", "unit")
"""What every limit must state."""


def is_averaged(quantity: str) -> bool:
    """Tell whether a quantity needs an averaging time: not so peaks, maxima and movements."""
    return quantity not in MOVEMENTS and QUANTITIES[quantity].combine != "maximum"


@check("M02")
def limits_complete(facts: Facts) -> Iterator[Evidence]:
    """Check that each limit says what is measured, how, when and where."""
    if not facts.plan.criteria:
        yield missing("criteria", "no limit is stated")
    for number, criterion in enumerate(facts.plan.criteria):
        lacking = [key for key in NEEDED if getattr(criterion, key) in (None, ())]
        if criterion.quantity is not None and is_averaged(criterion.quantity) and criterion.averaging_s is None:
            lacking.append("averaging_s")
        where = facts.plan.at("criteria", number)
        if lacking:
            yield missing(where, f"not stated: {', '.join(lacking)}")
            continue
        odd = _odd(criterion)
        yield broken(where, odd) if odd else met(where, "complete")


A_WEIGHTED = ("laeq_db", "lafmax_db", "lasmax_db", "lar_db", "la90_db", "lnight_db", "ldn_db", "lden_db")


def _odd(criterion: Criterion) -> str:
    """Return what contradicts itself in a complete limit."""
    quantity = str(criterion.quantity)
    if not is_averaged(quantity) and criterion.averaging_s is not None:
        return f"{quantity} is a peak or maximum, but an averaging time is stated"
    if quantity in A_WEIGHTED and criterion.weighting != "A":
        return f"{quantity} is A-weighted, but the weighting is stated as {criterion.weighting}"
    return ""


@check("M03")
def averaging_time_formed(facts: Facts) -> Iterator[Evidence]:
    """Check that the averaging time is a whole number of logging intervals."""
    seen = False
    for number, station in enumerate(facts.plan.stations):
        for name in station.criteria:
            criterion = facts.criterion(name)
            if criterion is None or criterion.averaging_s is None:
                continue
            seen = True
            where = facts.plan.at("stations", number, "interval_s")
            if station.interval_s is None:
                yield missing(where, f"logging interval: not stated, {name} averages over {criterion.averaging_s:g} s")
                continue
            count = criterion.averaging_s / station.interval_s
            whole = count >= 1 and abs(count - round(count)) < 1e-9
            text = f"{name} averages over {criterion.averaging_s:g} s, {count:g} intervals of {station.interval_s:g} s"
            yield met(where, text) if whole else broken(where, text)
    averaged = [criterion for criterion in facts.plan.criteria if criterion.averaging_s is not None]
    if not seen and averaged:
        yield missing("stations", "no station says which of the averaged limits it judges")
    elif not seen:
        yield idle("criteria", "no limit is averaged over time")


@check("M38")
def hours_allowed(facts: Facts) -> Iterator[Evidence]:
    """Check that all work lies inside the allowed hours."""
    allowed = facts.plan.permitted_hours
    if not allowed:
        yield missing("permitted_hours", "hours in which the work is allowed: not stated")
    if not facts.plan.activities:
        yield missing("activities", "hours of the work: not stated")
    inside = minutes((), "00:00", "24:00")
    for span in allowed:
        inside = inside | minutes(span.days, span.starts, span.ends)
    for number, activity in enumerate(facts.plan.activities):
        where = facts.plan.at("activities", number)
        if not activity.days or activity.starts is None or activity.ends is None:
            yield missing(where, "days, start or end: not stated")
        elif allowed:
            outside = first_outside(minutes(activity.days, activity.starts, activity.ends, widest=True), inside)
            span_said = f"{', '.join(activity.days)} {activity.starts} to {activity.ends}"
            yield (met(where, f"{span_said}: inside the allowed hours") if outside is None
                   else broken(where, f"{span_said}: not allowed from {outside} on"))


def works_in(facts: Facts, criterion: Criterion) -> bool:
    """Tell whether there's work in a limit's hours; hours that aren't stated count as worked."""
    if not criterion.days or criterion.starts is None or criterion.ends is None or not facts.plan.activities:
        return True
    span = minutes(criterion.days, criterion.starts, criterion.ends)
    return any(_hours_unknown(one) or overlap(span, minutes(one.days, str(one.starts), str(one.ends), widest=True))
               for one in facts.plan.activities)


def _hours_unknown(activity: Activity) -> bool:
    return not activity.days or activity.starts is None or activity.ends is None


def counts_days(facts: Facts, criterion: Criterion) -> bool:
    """Tell whether a limit counts days: the plan says so, or its rule in the register does."""
    if criterion.counts_days is not None:
        return criterion.counts_days
    if criterion.limit_set not in facts.register:
        return False
    rules = [rule for rule in facts.register[str(criterion.limit_set)].rules if rule.id == criterion.rule]
    return any(isinstance(rule.value, DayAllowance) or any(isinstance(one, Counted) for one in rule.persistence)
               for rule in rules)


@check("M42")
def days_counted(facts: Facts) -> Iterator[Evidence]:
    """Check that someone counts the days above a limit where a rule counts them."""
    counting = [criterion for criterion in facts.plan.criteria if counts_days(facts, criterion)]
    if not counting:
        yield idle("criteria", "no adopted limit counts days")
        return
    yield facts.given("day_counting.counted_by", "who counts days above a limit")
    for criterion in counting:
        windows = [(number, window) for number, window in enumerate(facts.plan.count_windows)
                   if window.criterion in (None, criterion.id)]
        if not windows:
            yield broken("count_windows", f"{criterion.id} counts days, but no window is stated for it")
        for number, window in windows:
            where = facts.plan.at("count_windows", number)
            if window.more_than_days is None or window.within is None:
                yield missing(where, "number of days or length of the window: not stated")
            else:
                yield met(where, f"{criterion.id}: more than {window.more_than_days:g} days within {window.within}")
