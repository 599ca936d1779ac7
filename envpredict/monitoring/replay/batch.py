"""Replays complete records at once: every station through its triggers, then all events, the oldest first."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

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
    first, last = records.extent()
    runner = Runner(whole, first, last)
    return with_restarts(whole, [event for station in plan.stations
                                 for event in runner.events(station, records.rows(station.kind, station.id))])


class Runner:
    """Runs stations one by one through their triggers, over records that reach from `first` to `last` in all."""

    def __init__(self, whole: Context, first: int, last: int) -> None:
        self.first, self.last = first, last
        self.settings = Settings.of(whole.plan, whole.clock)
        self.diary = WorksDiary(whole.records.works, tolerance_ms(whole.plan))
        self.restarts = [int(row["t"]) for row in _restarts(whole)]

    def events(self, station: Station, rows: Rows) -> list[Event]:
        """Return the events of a station's records, given in the order in which they arrived."""
        engine = Engine(self.settings, station, self.diary)
        return station_events(engine, rows, self.first, self.last, self.restarts)


def _restarts(whole: Context) -> list[Mapping[str, Any]]:
    return sorted((row for row in whole.records.log.rows if row["kind"] == "restart"), key=lambda row: row["t"])


def with_restarts(whole: Context, events: list[Event]) -> Replayed:
    """Return the events of all stations, the oldest first, with the restarts that people recorded."""
    plan, records, restarts = whole.plan, whole.records, _restarts(whole)
    stops = Stops(plan_id(plan))
    events = sorted(events, key=lambda event: event.order)
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
            part = rows if end - begin == len(rows) else rows.take(np.arange(begin, end))
            found += [told.event for told in engine.push(part)]
    down = engine.silence.expire(last)
    return found + (engine.down(down) if down is not None else [])
