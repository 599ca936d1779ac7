"""What a replay tells: events with ids that depend on plan, station, rule and slot alone, one JSON line each."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal

from envpredict.monitoring.plan_toml import to_toml
from envpredict.monitoring.records.stamps import iso

if TYPE_CHECKING:
    from envpredict.monitoring.plan_schema import Plan

Kind = Literal["alert", "action", "stop", "restart", "monitor_down", "late"]
KINDS: tuple[Kind, ...] = ("monitor_down", "late", "alert", "action", "stop", "restart")
"""The events, in the order in which those of one moment are told."""
KIND_MEANING: dict[Kind, str] = {
    "monitor_down": "a logger is silent, clipped, below its range, unreadable, or its clock stepped back",
    "late": "a record came later than the plan allows: nothing told before is changed by it",
    "alert": "the alert level is reached", "action": "the action level is reached",
    "stop": "work stops: the stop level is reached, or a monitor is down and the plan says that this stops work",
    "restart": "a named person let the work go on",
}
EVENT_KEYS: dict[str, str] = {
    "id": "hash of plan, station, rule and slot", "event": "kind of event", "t": "when it was known, local time",
    "station": "id of the station", "receptor": "receptor at which it stands", "rule": "criterion and level",
    "slot": "start and end of what was judged, UTC", "quantity": "quantity", "level": "level reached",
    "threshold": "level of the plan", "unit": "unit of both", "reason": "why, in words",
    "works": "piles or activities in the diary at that time; empty: nothing explains it; null: no diary",
    "tell": "roles that the plan tells", "by": "who recorded a restart", "stops": "id of the stop that it answers",
    "file": "file and line of the record",
}
ID_CHARS = 20


@dataclass(frozen=True, slots=True)
class Event:
    """One event; moments are milliseconds since 1970 UTC, `t` None where a row without a time made it."""

    id: str
    event: Kind
    t: int | None
    station: str
    rule: str
    slot: tuple[int, int]
    reason: str
    receptor: str | None = None
    quantity: str | None = None
    level: float | None = None
    threshold: float | None = None
    unit: str | None = None
    works: tuple[str, ...] | None = None
    tell: tuple[str, ...] = ()
    by: str | None = None
    stops: str | None = None
    file: str | None = None

    def line(self, time_zone: str) -> str:
        """Return the event as one line of JSON, keys as in `EVENT_KEYS`; what doesn't apply is left out."""
        values: dict[str, Any] = {name: getattr(self, name) for name in EVENT_KEYS}
        values["t"] = None if self.t is None else iso(self.t, time_zone)
        values["slot"] = [iso(self.slot[0]), iso(self.slot[1])]
        values["level"] = None if self.level is None else round(self.level, 4)
        always: tuple[str, ...] = ("id", "event", "t", "station", "rule", "slot", "reason")
        if self.event in ("alert", "action", "stop") and self.quantity is not None:
            always += ("works",)
        kept = {name: value for name, value in values.items() if name in always or value not in (None, ())}
        return json.dumps(kept, ensure_ascii=False)

    @property
    def order(self) -> tuple[int, int, str, str]:
        """Return what events of a whole run are sorted by: the oldest first."""
        return (self.t if self.t is not None else self.slot[0], KINDS.index(self.event), self.station, self.rule)


@lru_cache(maxsize=4)
def plan_id(plan: Plan) -> str:
    """Return what tells one plan from another: a hash of all that it states."""
    return hashlib.sha256(to_toml(plan).encode("utf-8")).hexdigest()[:ID_CHARS]


def event_id(plan: str, station: str, rule: str, slot: tuple[int, int]) -> str:
    """Return an event's id: the same wherever and whenever it's computed."""
    text = "\n".join((plan, station, rule, str(slot[0]), str(slot[1])))
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:ID_CHARS]


def read_line(line: str) -> Mapping[str, Any]:
    """Return an event's line as a mapping. Raises ValueError."""
    found = json.loads(line)
    if not isinstance(found, dict) or "id" not in found:
        raise ValueError("no event")
    return found
