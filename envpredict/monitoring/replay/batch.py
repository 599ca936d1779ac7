"""Replays complete records at once: every station through its triggers, then all events, the oldest first."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from envpredict.monitoring.records.context import Context, context
from envpredict.monitoring.records.rows import Rows
from envpredict.monitoring.replay.diary import WorksDiary, tolerance_ms
from envpredict.monitoring.replay.engine import Engine, Settings, assumptions
from envpredict.monitoring.replay.events import Event, plan_id
from envpredict.monitoring.replay.stops import Stops
from envpredict.monitoring.replay.triggers import untriggered

if TYPE_CHECKING:
    from envpredict.monitoring.plan_rows import Station
    from envpredict.monitoring.plan_schema import Plan
    from envpredict.monitoring.records.read import Records


@dataclass(frozen=True, slots=True)
class Replayed:
    """What a replay found: events, the oldest first; the stops that still hold; notes on what was taken or left."""

    events: tuple[Event, ...]
    held: tuple[str, ...]
    notes: tuple[str, ...]


def replay(plan: Plan, records: Records) -> Replayed:
    """Return what records tell when they're run through a plan's triggers.

    Raises InputProblems where records and plan don't fit together.
    """
    whole = context(plan, records)
    parts = {station.id: records.rows(station.kind, station.id) for station in plan.stations}
    first = min((int(rows.start.min()) for rows in parts.values() if len(rows)), default=0)
    last = max((int(rows.end.max()) for rows in parts.values() if len(rows)), default=0)
    return replayed(whole, [(station, parts[station.id]) for station in plan.stations], first, last)


def replayed(whole: Context, parts: list[tuple[Station, Rows]], first: int, last: int) -> Replayed:
    """Return the events of stations' records, each in the order of arrival, from `first` to `last` of all stations."""
    plan, records = whole.plan, whole.records
    settings = Settings.of(plan, whole.clock)
    diary = WorksDiary(records.works, tolerance_ms(plan))
    restarts = sorted((row for row in records.log.rows if row["kind"] == "restart"), key=lambda row: row["t"])
    stops = Stops(plan_id(plan))
    events: list[Event] = []
    for station, rows in parts:
        engine = Engine(settings, station, diary)
        events += station_events(engine, rows, first, last, [int(row["t"]) for row in restarts])
    events.sort(key=lambda event: event.order)
    notes = [*assumptions(plan), *(said for station in plan.stations for said in untriggered(plan, station))]
    at = 0
    merged: list[Event] = []
    for row in restarts:
        while at < len(events) and events[at].order[0] <= row["t"]:
            merged.append(events[at])
            stops.take([events[at]])
            at += 1
        found, wrong = stops.restart(row, records.log.where(row))
        merged += found
        notes += [wrong] if wrong else []
    merged += events[at:]
    stops.take(events[at:])
    return Replayed(tuple(merged), tuple(stops.held), tuple(dict.fromkeys(notes)))


def station_events(engine: Engine, rows: Rows, first: int, last: int, restarts: list[int]) -> list[Event]:
    """Return the events of one station; after each moment of `restarts` its levels are told anew."""
    engine.silence.begin(first)
    found: list[Event] = []
    ahead = np.maximum.accumulate(rows.end) if len(rows) else rows.end
    cuts = [0, *np.searchsorted(ahead, restarts, side="right").tolist(), len(rows)]
    for begin, end in pairwise(cuts):
        if begin:
            engine.restart()
        if end > begin:
            found += [told.event for told in engine.push(rows.take(np.arange(begin, end)))]
    down = engine.silence.expire(last)
    return found + (engine.down(down) if down is not None else [])
