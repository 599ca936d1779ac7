"""Checks of who is told, what follows, and when work stops."""

from __future__ import annotations

from collections.abc import Iterator

from envpredict.monitoring.audit_checks import Evidence, Facts, broken, check, met, missing
from envpredict.monitoring.hours import minutes, overlap
from envpredict.monitoring.plan_fields import DAY_WORDS

NIGHT = ("22:00", "06:00")
"""Hours at which nobody sits at a desk; an estimate, used only to ask who can be reached."""


@check("M23")
def people_told(facts: Facts) -> Iterator[Evidence]:
    """Check that enough people are told, one of whom may stop the work."""
    told = [person for person in facts.plan.people if person.told_at]
    least = facts.number("roles")
    if not facts.plan.people:
        yield missing("people", "who is told: not stated")
        return
    text = f"told: {', '.join(person.role for person in told) or 'nobody'}"
    yield met("people", text) if len(told) >= least else broken("people", f"{text}; at least {least:g} roles are asked")
    stoppers = [person.role for person in told if person.may_stop_work]
    if stoppers:
        yield met("people", f"may stop the work: {', '.join(stoppers)}")
    elif any(person.may_stop_work is None for person in told):
        yield missing("people", "who of those told may stop the work: not stated")
    else:
        yield broken("people", "nobody who is told may stop the work")
    if _works_at_night(facts):
        reachable = [person.role for person in told if person.reachable_24h]
        yield (met("people", f"reachable at night: {', '.join(reachable)}") if reachable
               else broken("people", "there's work at night, but nobody who is told can be reached round the clock"))


def _works_at_night(facts: Facts) -> bool:
    night = minutes(DAY_WORDS, *NIGHT, widest=True)
    return any(overlap(minutes(one.days, one.starts, one.ends), night) for one in facts.plan.activities
               if one.days and one.starts is not None and one.ends is not None)


@check("M24")
def response_times(facts: Facts) -> Iterator[Evidence]:
    """Check that action and stop levels have response times."""
    rows = {row.level: number for number, row in enumerate(facts.plan.responses)}
    for tier in ("action", "stop"):
        if tier not in rows:
            yield missing("responses", f"what follows at the {tier} level: not stated")
            continue
        row, where = facts.plan.responses[rows[tier]], facts.plan.at("responses", rows[tier])
        if row.acknowledge_min is None or row.act_min is None:
            yield missing(where, "minutes to acknowledge or to act: not stated")
        elif row.act_min < row.acknowledge_min:
            yield broken(where, f"acts after {row.act_min:g} min, before the alarm is acknowledged, "
                                f"{row.acknowledge_min:g} min")
        else:
            yield met(where, f"acknowledged within {row.acknowledge_min:g} min, acted on within {row.act_min:g} min")


@check("M25")
def stop_work(facts: Facts) -> Iterator[Evidence]:
    """Check that the plan says who stops which work, who lets it go on, and on what evidence."""
    yield facts.given("stop_work.works", "which work stops")
    yield facts.given("stop_work.ordered_by", "who orders the stop")
    yield facts.given("stop_work.restarted_by", "who lets the work go on")
    yield facts.given("stop_work.restart_evidence", "what must be shown before the work goes on")
    ordered = facts.plan.stop_work.ordered_by
    person = next((one for one in facts.plan.people if one.role == ordered), None)
    if person is not None and not person.may_stop_work:
        where = facts.plan.place("stop_work.ordered_by")
        yield (missing(where, f"whether {ordered} may stop the work: not stated") if person.may_stop_work is None
               else broken(where, f"{ordered} orders the stop, but may not stop the work"))


@check("M26")
def authority_told(facts: Facts) -> Iterator[Evidence]:
    """Check that someone outside the site is told in time."""
    yield facts.given("authority.name", "who outside the site is told")
    yield facts.at_most("authority.told_within_h", facts.number("within_h"), "told within", "h")


@check("M27")
def investigation(facts: Facts) -> Iterator[Evidence]:
    """Check what the form for an exceedance asks for."""
    yield facts.listed("investigation.fields", facts.words("fields"), "the form")
