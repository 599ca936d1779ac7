"""A limit set: the rules of one document with its classes and the table that leads from plain words to them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Self

from pydantic import Field, field_validator, model_validator

from envpredict.core.citation import Basis, weakest
from envpredict.limits.base import Effect, Identifier, Record, Status, Text, wrong
from envpredict.limits.classes import Axis, ClassRow, asked, classify
from envpredict.limits.outcome import LimitValue, Missing, NotGoverned
from envpredict.limits.rule import Rule

__all__ = ["LimitSet", "Rule"]


class LimitSet(Record):
    """A document's rules. Either `classes` with `class_map`, or several `axes` for a product of factors.

    `country` is an ISO 3166 code of two letters, or INT; `edition` and `dated` are printed with every statutory limit.
    """

    id: Identifier
    title: Text
    document: Text
    body: Text
    edition: Text
    country: Annotated[str, Field(pattern=r"^([A-Z]{2}|INT)$")]
    status: Status
    dated: str = ""
    superseded_by: str = ""
    note: str = ""
    classes: dict[str, Text] = Field(default_factory=dict)
    class_map: tuple[ClassRow, ...] = ()
    axes: tuple[Axis, ...] = ()
    rules: Annotated[tuple[Rule, ...], Field(min_length=1)]

    @field_validator("rules")
    @classmethod
    def _ids(cls, rules: tuple[Rule, ...]) -> tuple[Rule, ...]:
        ids = [rule.id for rule in rules]
        for name in dict.fromkeys(ids):
            if ids.count(name) > 1:
                raise wrong(f"two rules are called '{name}'", "give each rule an id of its own")
        return rules

    @model_validator(mode="after")
    def _classed(self) -> Self:
        plain = bool(self.classes) and bool(self.class_map)
        if plain == bool(self.axes):
            raise wrong("a set needs classes and a class_map, or axes", "give one of the two")
        return self

    @property
    def all_axes(self) -> tuple[Axis, ...]:
        """Return the set's axes; a set with plain classes has one, named `class`."""
        if self.axes:
            return self.axes
        return (Axis(id="class", title="class", classes=self.classes, class_map=self.class_map),)

    @property
    def effects(self) -> tuple[Effect, ...]:
        """Return the effects that the set's rules speak of, in the order of the file."""
        return tuple(dict.fromkeys(rule.effect for rule in self.rules))

    @property
    def effect(self) -> Effect:
        """Return the main effect: that of the first rule."""
        return self.rules[0].effect

    @property
    def basis(self) -> Basis:
        """Return the weakest basis of all rules."""
        return weakest(rule.basis for rule in self.rules)

    @property
    def facts(self) -> dict[str, tuple[str, ...]]:
        """Return every fact that the set asks for, with the words that it knows."""
        found: dict[str, tuple[str, ...]] = {}
        for axis in self.all_axes:
            for fact, words in asked(axis.class_map).items():
                found[fact] = tuple(dict.fromkeys((*found.get(fact, ()), *words)))
        return found

    def classify(self, facts: Mapping[str, str | None]) -> str | Missing | NotGoverned:
        """Return the class of a receptor, the fact that is missing to tell it, or that the set doesn't govern it.

        `facts`: fact names of `limits.facts` to words; None, "" and "unknown" count as missing. The class of a set with
        several axes is the classes of its axes, joined by "+".
        """
        answers = [classify(axis.class_map, facts) for axis in self.all_axes]
        for kind in (NotGoverned, Missing):
            for answer in answers:
                if isinstance(answer, kind):
                    return answer
        return "+".join(str(answer) for answer in answers)

    def values(
        self,
        facts: Mapping[str, str | None],
        band_hz: tuple[float, float, float] | None = None,
        *,
        signal: str | None = None,
        family: str | None = None,
        period_id: str | None = None,
        days: float | None = None,
    ) -> dict[str, LimitValue | Missing | NotGoverned]:
        """Return the limit of every rule for a receptor's facts, by the rule's id.

        `band_hz`: lowest, highest and likely frequency of the method; the others as in `Rule.limit`. Rules that don't
        speak of the signal, the family or the class are NotGoverned.
        """
        class_id = self.classify(facts)
        if not isinstance(class_id, str):
            return {rule.id: class_id for rule in self.rules}
        low, high, likely = band_hz or (None, None, None)
        found: dict[str, LimitValue | Missing | NotGoverned] = {}
        for rule in self.rules:
            governed = rule.governs(signal, class_id=class_id, family=family)
            found[rule.id] = (rule.limit(class_id, low, high, likely, period_id=period_id, signal=signal, days=days)
                              if governed is True else governed)
        return found

    def meaning(self, class_id: str) -> str:
        """Return a class in the document's words, paraphrased."""
        known = {name: text for axis in self.all_axes for name, text in axis.classes.items()}
        return ", ".join(known.get(name, name) for name in class_id.split("+"))

    def rule(self, rule_id: str) -> Rule:
        """Return a rule by its id. Raises KeyError."""
        for rule in self.rules:
            if rule.id == rule_id:
                return rule
        raise KeyError(rule_id)

    def rules_for(self, effect: str) -> tuple[Rule, ...]:
        """Return the rules of one effect, in the order of the file."""
        return tuple(rule for rule in self.rules if rule.effect == effect)

    def dump(self) -> dict[str, Any]:
        """Return the set as plain data that reads back as the same set; sources stand in full at every value."""
        data: dict[str, Any] = self.model_dump(mode="json", exclude_defaults=True)
        return data
