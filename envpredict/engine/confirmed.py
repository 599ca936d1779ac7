"""Limits recalled from memory that somebody has compared with their document: who, when, which edition, what was read.

A value is named by words that single it out among those of its set: the rule's id, and where that isn't enough the
class, the period, the kind of vibration, the column (a, b, c, plus, floor) or the frequency ("25hz").

A rule counts as confirmed only once every recalled value that is in use was entered: those of the rows for classes that
occur among the receptors. A name and a date alone confirm nothing but the rest of a rule whose values were seen.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from envpredict.core.errors import Problem
from envpredict.core.words import suggestion
from envpredict.limits.values import (
    BackgroundCategory,
    BackgroundPlus,
    CategoryRow,
    DayAllowance,
    Factor,
    Fixed,
    HoursByMargin,
    HoursOnly,
    Product,
)

if TYPE_CHECKING:
    from envpredict.core.citation import Basis
    from envpredict.engine.catalogue import Catalogue
    from envpredict.engine.run import Run
    from envpredict.limits.base import Selector
    from envpredict.limits.rule import Rule
    from envpredict.limits.schema import LimitSet
    from envpredict.scenario.types import Scenario

DECIBEL_TOLERANCE, RELATIVE_TOLERANCE = 0.05, 0.005
"""Values that differ by less are the same: one of them was rounded."""
_SHOWN = 12
_LISTED = 3
Numbered = tuple[tuple[str, ...], tuple[float, ...], str, "Selector | Factor | None"]


@dataclass(frozen=True, slots=True)
class Stated:
    """A value as shipped: words that name it, and the numbers that it may be read as (before and after a factor).

    `basis`: how the number itself is known; `classes`: the classes that it is for, empty for any.
    """

    words: tuple[str, ...]
    values: tuple[float, ...]
    unit: str
    basis: Basis
    classes: tuple[str, ...] = ()

    def __str__(self) -> str:
        return " ".join(self.words)


def stated_values(limit_set: LimitSet) -> list[Stated]:
    """Return every number of a set that a document prints, with the words that name it."""
    return [one for rule in limit_set.rules for one in _stated(rule)]


def _stated(rule: Rule) -> list[Stated]:
    """Return every number of a rule."""
    found = []
    for words, values, unit, row in _of_rule(rule):
        own = None if row is None else row.basis or (row.source.basis if row.source else None)
        classes = (words[-1],) if isinstance(row, Factor) else () if row is None else row.classes
        found.append(Stated((rule.id, *words), values, unit, own or rule.basis_of.get("value") or rule.sources[0].basis,
                            () if "any" in classes else classes))
    return found


def _of_rule(rule: Rule) -> Iterator[Numbered]:
    """Yield every number of a rule, with the words that name it beside the rule's id, and its unit."""
    value, unit = rule.value, rule.unit
    if isinstance(value, Fixed):
        yield from _fixed(value, unit)
    elif isinstance(value, Product):
        for factor in value.factors:
            yield from (((factor.symbol.casefold(), name), (number,), "1", factor)
                        for name, number in factor.values.items())
    elif isinstance(value, BackgroundCategory | BackgroundPlus):
        yield from _by_background(value)
    else:
        yield from _by_steps(value, unit)


def _fixed(value: Fixed, unit: str) -> Iterator[Numbered]:
    for row in value.rows:
        for frequency, level in row.points or ():
            yield (*_tags(row), f"{frequency:g}hz"), _either(level, value.factor), unit, row
        if row.level is not None:
            yield _tags(row), _either(row.level, value.factor), unit, row


def _by_background(value: BackgroundCategory | BackgroundPlus) -> Iterator[Numbered]:
    for row in value.rows:
        columns = (("a", row.a_db), ("b", row.b_db), ("c", row.c_db)) if isinstance(row, CategoryRow) else (
            ("plus", row.plus_db), ("floor", row.floor_db))
        yield from (((*_tags(row), name), (number,), "dB", row) for name, number in columns if number is not None)


def _by_steps(value: DayAllowance | HoursByMargin | HoursOnly, unit: str) -> Iterator[Numbered]:
    if isinstance(value, DayAllowance):
        for level, days in value.steps:
            yield (f"{level:g}", "days"), (float(days),), "days", None
    elif isinstance(value, HoursByMargin):
        for row in value.rows:
            yield (*_tags(row), "level"), (row.level,), unit, row
        for margin, hours in value.steps:
            yield (f"{margin:g}", "hours"), (hours,), "h", None
        yield ("beyond", "hours"), (value.beyond_hours,), "h", None
    else:
        for name, number in (("hours", value.max_hours_per_day), ("days", value.max_consecutive_days)):
            if number is not None:
                yield (name,), (float(number),), name, None


def _either(level: float, factor: float) -> tuple[float, ...]:
    return (level,) if factor == 1.0 else (level, level * factor)


def _tags(row: Selector) -> tuple[str, ...]:
    days = [f"over_{row.over_days}"] if row.over_days is not None else []
    days += [f"to_{row.to_days}"] if row.to_days is not None else []
    return (*(name for name in row.classes if name != "any"), *row.period, *row.vibration, *days)


def _alike(entered: float, shipped: Stated) -> bool:
    tolerance = DECIBEL_TOLERANCE if shipped.unit.startswith("dB") else RELATIVE_TOLERANCE * abs(shipped.values[0])
    return any(abs(entered - value) <= tolerance + 1e-12 for value in shipped.values)


def _named(name: str, stated: Sequence[Stated]) -> list[Stated]:
    """Return the values that hold every word of a name."""
    wanted = set(re.split(r"[\s.,/]+", name.strip().casefold()))
    return [one for one in stated if wanted <= set(one.words)]


def _check(name: str, entered: float, stated: Sequence[Stated], where: str) -> Problem | None:
    """Return what is wrong with one value that somebody read in the document, or None."""
    named = _named(name, stated)
    if not named:
        listed = ", ".join(f"'{one}'" for one in stated[:_SHOWN]) + (", ..." if len(stated) > _SHOWN else "")
        nearest = suggestion(name, [str(one) for one in stated]).partition("?")[0]
        meant = f"{nearest}? " if nearest.startswith("did") else ""
        return Problem(where, f"'{name}' names no value of the set", f"{meant}its values are {listed}")
    if any(one.values != named[0].values for one in named):
        listed = ", ".join(f"'{one}'" for one in named[:_SHOWN])
        return Problem(where, f"'{name}' names {len(named)} different values", f"say which: {listed}")
    if _alike(entered, named[0]):
        return None
    unit = f" {named[0].unit}" if named[0].unit != "1" else ""
    shipped = " or ".join(f"{value:g}{unit}" for value in named[0].values)
    return Problem(where, f"you read {entered:g}{unit} in the document, the shipped set holds {shipped} ('{named[0]}')",
                   "one of them is wrong: read again, and correct the entry, or bring the set as [limits] own")


def check_confirmations(scenario: Scenario, catalogue: Catalogue) -> list[Problem]:
    """Return every entered value that names nothing in its set, or differs from what is shipped; both are named."""
    found = []
    for set_id, confirmation in scenario.limits.confirmed.items():
        stated = stated_values(catalogue.limit_sets[set_id])
        for name, entered in confirmation.values.items():
            where = f"scenario.toml, key 'limits.confirmed.{set_id}.values.{name}'"
            found.append(_check(name, entered, stated, where))
    return [problem for problem in found if problem is not None]


def not_entered(limit_set: LimitSet, rule: Rule, classes: Collection[str],
                values: Mapping[str, float]) -> tuple[str, ...]:
    """Return the recalled values of a rule that are in use, by the classes that occur, and that nobody entered."""
    every = stated_values(limit_set)
    seen = {id(one) for name in values for one in _named(name, every)}
    used = {part for name in classes for part in (name, *name.split("+"))}
    return tuple(str(one) for one in every if one.words[0] == rule.id and one.basis != "read" and id(one) not in seen
                 and (not one.classes or used & set(one.classes)))


@dataclass(frozen=True, slots=True)
class Confirmed:
    """Who compared a rule with its document, in words; `whole` only if every recalled value in use was entered."""

    text: str = ""
    whole: bool = False

    @property
    def said(self) -> str:
        """Return who confirmed the rule; empty where nobody did in full."""
        return self.text if self.whole else ""

    @property
    def partly(self) -> str:
        """Return who compared a part of it; empty where nobody did, or where all of it was."""
        return "" if self.whole else self.text


def confirmed(run: Run, limit_set: LimitSet, rule: Rule) -> Confirmed:
    """Return who compared a rule of a set with its document, when, from which edition, and whether in full."""
    entry = run.scenario.limits.confirmed.get(limit_set.id)
    if entry is None:
        return Confirmed()
    other = "" if entry.edition.strip() == limit_set.edition.strip() else f" (the set is of {limit_set.edition})"
    who = f"{entry.by}, {entry.date.isoformat()}, edition {entry.edition}{other}"
    # of all receptors, also where a part of them is judged: a rule is confirmed for a site or it isn't
    classes = {str(name) for name in (run.whole or run).classed(limit_set.id).class_id if name}
    missing = not_entered(limit_set, rule, classes, entry.values)
    if not missing:
        return Confirmed(f"confirmed by {who}", whole=True)
    listed = ", ".join(f"'{name}'" for name in missing[:_LISTED]) + (", ..." if len(missing) > _LISTED else "")
    return Confirmed(f"compared in part by {who}: values in use that weren't entered: {listed}")
