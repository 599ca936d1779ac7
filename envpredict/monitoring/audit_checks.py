"""What a check of the audit is: a small function that yields evidence for one rule."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from envpredict.core.registry import Registry
from envpredict.monitoring.plan_fit import kind_of

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from envpredict.limits.schema import LimitSet
    from envpredict.monitoring.audit_rules import Rule
    from envpredict.monitoring.plan_rows import Criterion, Station
    from envpredict.monitoring.plan_schema import Plan
    from envpredict.monitoring.predicted import Predicted

Verdict = Literal["met", "broken", "missing", "idle"]
VERDICTS: tuple[Verdict, ...] = ("met", "broken", "missing", "idle")
"""What evidence says: the rule is met here, broken here, not stated here, or has nothing to check here."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """One thing that was seen: where, what, and what it says of the rule."""

    verdict: Verdict
    where: str
    said: str

    def __str__(self) -> str:
        """Return place and finding in one line."""
        return f"{self.where}: {self.said}"


def met(where: str, said: str) -> Evidence:
    """Return evidence that the rule is met."""
    return Evidence("met", where, said)


def broken(where: str, said: str) -> Evidence:
    """Return evidence that the rule is broken."""
    return Evidence("broken", where, said)


def missing(where: str, said: str) -> Evidence:
    """Return evidence that the plan doesn't state what the rule asks for."""
    return Evidence("missing", where, said)


def idle(where: str, said: str) -> Evidence:
    """Return evidence that there is nothing to check."""
    return Evidence("idle", where, said)


@dataclass(frozen=True, slots=True, eq=False)
class Facts:
    """What a check may look at.

    `predicted`: what the assessment says or, without one, the plan itself; None where neither says anything.
    `register`: the known limit sets; `shapes`: the receptors' geometry in the plan's coordinate reference system.
    """

    plan: Plan
    rule: Rule
    register: Mapping[str, LimitSet]
    predicted: tuple[Predicted, ...] | None = None
    shapes: Mapping[str, BaseGeometry] = field(default_factory=dict)

    def number(self, setting: str) -> float:
        """Return a setting that is a number."""
        value = self.rule.settings[setting].value
        if isinstance(value, tuple):
            raise TypeError(f"setting '{setting}' is a list of words")
        return value

    def words(self, setting: str) -> tuple[str, ...]:
        """Return a setting that is a list of words."""
        value = self.rule.settings[setting].value
        if not isinstance(value, tuple):
            raise TypeError(f"setting '{setting}' is a number")
        return value

    def value(self, key: str) -> object:
        """Return what the plan states under a key such as `weather.max_wind_m_s`; None where it's not stated."""
        held: object = self.plan
        for name in key.split("."):
            held = getattr(held, name)
        return held if held != () else None

    def given(self, key: str, what: str) -> Evidence:
        """Return whether a key is stated."""
        value = self.value(key)
        if value is None or value is False:
            return missing(self.plan.place(key), f"{what}: not stated")
        return met(self.plan.place(key), f"{what}: {said(value)}")

    def at_most(self, key: str, bound: float, what: str, unit: str) -> Evidence:
        """Return whether a number is stated and not above a bound."""
        return self._bounded(key, bound, what, unit, highest=True)

    def at_least(self, key: str, bound: float, what: str, unit: str) -> Evidence:
        """Return whether a number is stated and not below a bound."""
        return self._bounded(key, bound, what, unit, highest=False)

    def _bounded(self, key: str, bound: float, what: str, unit: str, *, highest: bool) -> Evidence:
        value = self.value(key)
        where = self.plan.place(key)
        if not isinstance(value, int | float):
            return missing(where, f"{what}: not stated")
        word = "at most" if highest else "at least"
        holds = value <= bound if highest else value >= bound
        text = f"{what}: {value:g} {unit}, {word} {bound:g} {unit} asked"
        return met(where, text) if holds else broken(where, text)

    def listed(self, key: str, wanted: tuple[str, ...], what: str) -> Evidence:
        """Return whether a list holds every wanted word, each inside some entry; case doesn't matter."""
        entries = self.value(key)
        where = self.plan.place(key)
        if not isinstance(entries, tuple):
            return missing(where, f"{what}: not stated")
        text = "; ".join(map(str, entries)).casefold()
        lacking = [words for words in wanted if not any(word in text for word in words.casefold().split("|"))]
        if lacking:
            return broken(where, f"{what} lacks {', '.join(words.split('|')[0] for words in lacking)}")
        return met(where, f"{what}: {', '.join(map(str, entries))}")

    def stations(self, *kinds: str) -> Iterator[tuple[int, Station]]:
        """Yield the stations of some kinds with their numbers from 0."""
        for number, station in enumerate(self.plan.stations):
            if station.kind in kinds:
                yield number, station

    def criterion(self, name: str) -> Criterion | None:
        """Return a criterion by its id."""
        return next((one for one in self.plan.criteria if one.id == name), None)


def expected(facts: Facts, kind: str) -> Evidence | None:
    """Return why there's no station of a kind to look at, or None where there is one."""
    if any(station.kind == kind for station in facts.plan.stations):
        return None
    limits = [criterion.id for criterion in facts.plan.criteria
              if criterion.quantity is not None and kind_of(criterion.quantity) == kind]
    if limits:
        return missing("stations", f"no {kind} station is stated, though {', '.join(limits)} limits {kind}")
    return idle("stations", f"no {kind} station and no limit on {kind}")


def said(value: object) -> str:
    """Return a value as a reader expects it."""
    if isinstance(value, tuple):
        return ", ".join(map(said, value))
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.12g}" if isinstance(value, float) else str(value)


Check = Callable[[Facts], Iterator[Evidence]]
CHECKS: Registry[Check] = Registry("audit check")


def check(rule: str) -> Callable[[Check], Check]:
    """Register the decorated function as the check of a rule."""

    def register(function: Check) -> Check:
        return CHECKS.add(rule, function)

    return register


def load_checks() -> Registry[Check]:
    """Import every module under `monitoring.checks` and return the filled registry."""
    package = importlib.import_module("envpredict.monitoring.checks")
    for module in pkgutil.iter_modules(package.__path__, prefix="envpredict.monitoring.checks."):
        importlib.import_module(module.name)
    return CHECKS
