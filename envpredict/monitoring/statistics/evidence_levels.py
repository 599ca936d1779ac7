"""What records show of levels and of what people did: exceedances, answers, stops, days, agreement."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from envpredict.core.quantities import QUANTITIES
from envpredict.monitoring.audit_checks import Evidence, broken, idle, met, missing
from envpredict.monitoring.replay.events import Event
from envpredict.monitoring.statistics.evidence import (
    DAY_MS,
    HOUR_MS,
    MINUTE_MS,
    Seen,
    shows,
)
from envpredict.monitoring.statistics.tables import exceeded


@shows("M20")
def levels_kept(seen: Seen) -> Iterator[Evidence]:
    """Yield each stop level that was reached and each limit that was exceeded."""
    stops = [event for event in seen.events("stop") if event.quantity is not None]
    for event in stops:
        yield broken(seen.place(event), f"{event.station} at {seen.at(event.t or event.slot[1])}: {event.reason}")
    reached = {(event.station, event.rule.split("/")[0]) for event in stops}
    over = [one for one in seen.found.judged if one.exceeded]
    for one in over:
        measured = one.measured
        if (measured.asked.station.id, measured.asked.criterion.id) not in reached:
            yield broken(measured.rows.where(int(measured.row[one.slot])), f"limit exceeded: {exceeded(one)}")
    counts = Counter(event.event for event in seen.events("alert", "action") if event.quantity is not None)
    if not stops and not over:
        said = ", ".join(f"{counts[tier]} {tier}" for tier in ("alert", "action") if counts[tier])
        yield met("records", f"no stop level reached, no limit exceeded ({said or 'no alert'})")
    for station, criterion, why in seen.found.unanswered:
        yield missing(f"station {station}", f"{criterion} can't be judged: {why}")


@shows("M24")
def answers(seen: Seen) -> Iterator[Evidence]:
    """Yield how soon alarms were seen, and how soon something was done."""
    rows = {row.level: row for row in seen.plan.responses}
    asked = [event for event in seen.events("alert", "action", "stop") if event.event in rows]
    if not asked:
        yield idle("records", "no alarm to answer")
    for kind, key, what in (("acknowledged", "acknowledge_min", "seen"), ("acted", "act_min", "acted on")):
        for event in asked:
            bound = getattr(rows[event.event], key)  # type: ignore[index]
            if bound is not None:
                yield _in_time(seen, event, kind, float(bound) * MINUTE_MS, what)


def _in_time(seen: Seen, event: Event, kind: str, bound_ms: float, what: str) -> Evidence:
    row = seen.answer(event, kind, *(("acted",) if kind == "acknowledged" else ()))
    told = event.t if event.t is not None else event.slot[1]
    unit_ms, unit = (MINUTE_MS, "min") if bound_ms < HOUR_MS * 2 else (HOUR_MS, "h")
    if row is None:
        if seen.found.last < told + bound_ms:
            return idle(seen.place(event), f"{event.event} at {event.station}: the records end before its time is up")
        said = f"{event.event} at {event.station} at {seen.at(told)} wasn't {what}"
        return broken(seen.place(event), f"{said}: the log has no '{kind}' for event {event.id}")
    took = (row["t"] - told) / unit_ms
    said = f"{event.event} at {event.station} {what} after {took:.3g} {unit} by {row['by']}"
    where = seen.found.whole.records.log.where(row)
    if row["t"] - told <= bound_ms:
        return met(where, said)
    return broken(where, f"{said}; {bound_ms / unit_ms:g} {unit} asked")


@shows("M25")
def stops_kept(seen: Seen) -> Iterator[Evidence]:
    """Yield whether work stood still from each stop until a named person let it go on."""
    stops = seen.events("stop")
    if not stops:
        yield idle("records", "no stop")
    restarts = {event.stops: event for event in seen.events("restart")}
    margin = seen.found.whole.plan.responses
    act = next((row.act_min for row in margin if row.level == "stop" and row.act_min is not None), 0.0) * MINUTE_MS
    for event in stops:
        begin = (event.t if event.t is not None else event.slot[1]) + act
        restart = restarts.get(event.id)
        end = restart.t if restart is not None and restart.t is not None else seen.found.last
        worked = [row for row in seen.found.whole.records.works.rows if row["t_start"] < end and row["t_end"] > begin]
        where = seen.place(event)
        if worked:
            first = worked[0]
            name = first["pile_id"] or first["activity"] or "work"
            yield broken(seen.found.whole.records.works.where(first),
                         f"{name} went on from {seen.at(first['t_start'])} to {seen.at(first['t_end'])} though "
                         f"{event.station} had stopped it at {seen.at(int(begin - act))}")
        elif restart is None:
            yield met(where, f"the stop at {event.station} holds to the end of the records")
        else:
            yield met(restart.file or where, f"the stop at {event.station} held until {restart.by} let the work go on "
                                             f"at {seen.at(int(end))}: {restart.reason}")


@shows("M26")
def authority(seen: Seen) -> Iterator[Evidence]:
    """Yield whether the authority was told of each stop level reached, in time."""
    bound = seen.plan.authority.told_within_h or seen.setting("M26", "within_h")
    stops = [event for event in seen.events("stop") if event.quantity is not None]
    if not stops:
        yield idle("records", "no stop level reached")
    for event in stops:
        yield _in_time(seen, event, "told", bound * HOUR_MS, "told to the authority")


@shows("M27")
def investigations(seen: Seen) -> Iterator[Evidence]:
    """Yield whether the investigation of each stop level reached was closed in time."""
    days = seen.plan.investigation.close_within_days
    stops = [event for event in seen.events("stop") if event.quantity is not None]
    if not stops or days is None:
        yield idle("records", "no stop level reached" if not stops else "the plan states no time to close")
        return
    for event in stops:
        yield _in_time(seen, event, "closed", days * DAY_MS, "closed")


@shows("M28")
def prediction(seen: Seen) -> Iterator[Evidence]:
    """Yield how far measurements lie above the prediction, by method."""
    stated = seen.plan.prediction_check
    if not seen.found.agreement:
        yield idle("records", "nothing predicted was measured while the diary names the method")
    for one in seen.found.agreement:
        quantity = next((c.quantity for c in seen.plan.criteria if c.id == one.criterion), None)
        noise = quantity in QUANTITIES and QUANTITIES[str(quantity)].scale == "decibel"
        where = f"station {one.station}, {one.criterion}, {one.method}"
        if noise:
            bound, value, unit = stated.noise_gap_db or seen.setting("M28", "gap_db"), one.mean_db, "dB"
            said = (f"measured less predicted {value:+.1f} dB on average, 95 % point {one.p95_db:+.1f} dB, "
                    f"{one.count} periods")
        else:
            if stated.vibration_ratio is None:
                yield missing(where, "the plan states no ratio of measured to predicted that asks for a review")
                continue
            bound, value, unit = stated.vibration_ratio, one.ratio, "times"
            said = f"measured {value:.2f} times the predicted median on average, {one.count} piles"
        review = f"{said}: more than {bound:g} {unit} asks for a review"
        yield met(where, said) if value <= bound else broken(where, review)


@shows("M42")
def days_counted(seen: Seen) -> Iterator[Evidence]:
    """Yield the days above limits in the windows in which they're counted, and what is left."""
    counted = [(one, count) for one, count in seen.found.windows if count.allowed is not None]
    for one, count in counted:
        measured = one.measured
        where = f"station {measured.asked.station.id}, {measured.asked.criterion.id}, {measured.points[one.point]}"
        said = f"at most {count.most} days above in {count.window}, {count.allowed} allowed, {count.left} left now"
        yield broken(where, f"{said} ({count.first} to {count.last})") if count.broken else met(where, said)
    for one, level, allowed, above in seen.found.steps:
        measured = one.measured
        where = f"station {measured.asked.station.id}, {measured.asked.criterion.id}, {measured.points[one.point]}"
        said = f"{above} days above {level:g} dB, {allowed} allowed"
        yield broken(where, said) if above > allowed else met(where, said)
    if not counted and not seen.found.steps:
        yield idle("records", "no limit counts days")
