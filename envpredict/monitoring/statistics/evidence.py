"""What records show of the audit's rules, as evidence by rule: one small function each."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from envpredict.limits.persistence import after_months
from envpredict.monitoring.audit_checks import Evidence
from envpredict.monitoring.audit_rules import Rule
from envpredict.monitoring.records.stamps import DAY_MS, iso
from envpredict.monitoring.replay.events import Event
from envpredict.monitoring.statistics.collect import Statistics

if TYPE_CHECKING:
    from envpredict.monitoring.plan_schema import Plan

HOUR_MS, MINUTE_MS = 3_600_000, 60_000


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """The statistics of a plan's records with the audit's rules."""

    found: Statistics
    rules: Mapping[str, Rule]

    @property
    def plan(self) -> Plan:
        """Return the plan."""
        return self.found.whole.plan

    def at(self, moment: int) -> str:
        """Return a moment in the plan's time zone."""
        return iso(moment, self.found.whole.clock.time_zone)

    def setting(self, rule: str, name: str) -> float:
        """Return a setting of a rule that is a number."""
        value = self.rules[rule].settings[name].value
        return float(value) if not isinstance(value, tuple) else float("nan")

    def log(self, *kinds: str) -> list[Mapping[str, Any]]:
        """Return the log's entries of some kinds, the oldest first."""
        rows = (row for row in self.found.whole.records.log.rows if row["kind"] in kinds)
        return sorted(rows, key=lambda row: row["t"])

    def answer(self, event: Event, *kinds: str) -> Mapping[str, Any] | None:
        """Return the first entry of some kinds that answers an event."""
        return next((row for row in self.log(*kinds) if row["event_id"] == event.id), None)

    def events(self, *kinds: str) -> list[Event]:
        """Return the events of some kinds."""
        return [event for event in self.found.replayed.events if event.event in kinds]

    def place(self, event: Event) -> str:
        """Return where an event's record stands, or its station."""
        return event.file or f"station {event.station}"


Check = Callable[[Seen], Iterator[Evidence]]
CHECKS: dict[str, Check] = {}


def shows(rule: str) -> Callable[[Check], Check]:
    """Register the decorated function as what records show of a rule."""

    def register(function: Check) -> Check:
        if rule in CHECKS:
            raise ValueError(f"records already show {rule}")
        CHECKS[rule] = function
        return function

    return register


def evidence(found: Statistics, rules: Mapping[str, Rule]) -> dict[str, Sequence[Evidence]]:
    """Return what records show of each rule that they can show anything of, for `audit.audit`."""
    # importing them registers what they show
    from envpredict.monitoring.statistics import evidence_levels, evidence_readings  # noqa: F401

    seen = Seen(found, rules)
    return {rule: tuple(CHECKS[rule](seen)) for rule in sorted(CHECKS) if rule in rules}


def months_after(day: Any, months: float) -> Any:
    """Return the date so many months after a date."""
    return after_months(np.array([np.datetime64(day, "D")]), int(months))[0].astype(object)


__all__ = ["CHECKS", "DAY_MS", "HOUR_MS", "MINUTE_MS", "Check", "Seen", "evidence", "months_after", "shows"]
