"""Checks of what is kept and reported."""

from __future__ import annotations

from collections.abc import Iterator

from envpredict.monitoring.audit_checks import Evidence, Facts, broken, check, met, missing


@check("M29")
def reports(facts: Facts) -> Iterator[Evidence]:
    """Check that regular reports say how often, what, to whom and by when."""
    if not facts.plan.reports:
        yield missing("reports", "regular reports: not stated")
    for number, report in enumerate(facts.plan.reports):
        where = facts.plan.at("reports", number)
        lacking = [key for key in ("every", "content", "sent_to", "within_days") if getattr(report, key) in (None, ())]
        if lacking:
            yield missing(where, f"not stated: {', '.join(lacking)}")
        else:
            yield met(where, f"every {report.every}, to {', '.join(report.sent_to)} within {report.within_days:g} days")
    stated = [report.every for report in facts.plan.reports if report.every is not None]
    often = facts.words("often")
    if stated and not any(word in every.casefold() for every in stated for word in often):
        yield broken("reports", f"reported every {', '.join(stated)}; every {' or '.join(often)} is asked")


@check("M30")
def completeness(facts: Facts) -> Iterator[Evidence]:
    """Check that completeness has a target."""
    yield facts.at_least("data.capture_target_percent", facts.number("capture_percent"), "valid data", "%")


@check("M31")
def monitor_down(facts: Facts) -> Iterator[Evidence]:
    """Check that a monitor that is down has consequences."""
    yield facts.at_most("data.max_gap_min", facts.number("gap_min"), "longest gap that is tolerated", "min")
    yield facts.given("data.when_down", "what happens to the works")
    stops, where = facts.plan.data.down_stops_work, facts.plan.place("data.down_stops_work")
    if stops is None:
        yield missing(where, "whether a monitor that is down stops the work near it: not stated")
    else:
        yield met(where, "stops the work near it" if stops else "doesn't stop the work; see data.when_down")


@check("M32")
def clocks(facts: Facts) -> Iterator[Evidence]:
    """Check that all clocks agree."""
    yield facts.given("clock.time_zone", "time zone")
    yield facts.given("clock.daylight_saving", "change of clocks")
    yield facts.given("clock.synchronised_by", "how clocks are set")
    yield facts.at_most("clock.tolerance_s", facts.number("tolerance_s"), "error of a clock", "s")


@check("M33")
def works_log(facts: Facts) -> Iterator[Evidence]:
    """Check that the diary is good enough to attribute readings."""
    yield facts.listed("works_log.fields", facts.words("fields"), "the diary")
    yield facts.at_most("works_log.resolution_min", facts.number("resolution_min"), "time step", "min")


@check("M40")
def independence(facts: Facts) -> Iterator[Evidence]:
    """Check that nobody audits their own measurements."""
    measured, audited = facts.plan.independence.measured_by, facts.plan.independence.audited_by
    where = facts.plan.place("independence.audited_by")
    if measured is None or audited is None:
        yield missing(where, "who measures or who audits: not stated")
    elif measured.strip().casefold() == audited.strip().casefold():
        yield broken(where, f"{measured} measures and audits")
    else:
        yield met(where, f"measured by {measured}, audited by {audited}")


@check("M41")
def review_and_end(facts: Facts) -> Iterator[Evidence]:
    """Check that the plan says how monitoring changes and ends."""
    yield facts.given("review.relax_when", "when less is measured")
    yield facts.given("review.extend_when", "when more is measured")
    yield facts.given("review.end_when", "when it ends")
    yield facts.at_least("data.archive_years", facts.number("archive_years"), "raw data kept for", "years")
