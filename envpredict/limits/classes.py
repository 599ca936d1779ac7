"""From plain words to a set's classes: the table in a set's file, read with facts that may be missing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from pydantic import BeforeValidator, Field, ValidationInfo, field_validator

from envpredict.limits.base import Identifier, Record, Text, known_word, listed, wrong
from envpredict.limits.facts import FACTS, UNANSWERED
from envpredict.limits.outcome import Missing, NotGoverned

NONE = "none"
"""The class of a receptor that the set doesn't govern."""


def _words_listed(value: object) -> object:
    if not isinstance(value, dict):
        return value
    return {fact: listed(words) for fact, words in value.items()}


class ClassRow(Record):
    """One line of the table: where every fact of `when` has one of the listed words, the class is `class`.

    `class` = "none" says that the set doesn't govern such receptors, and `reason` why.
    """

    when: Annotated[dict[str, tuple[str, ...]], BeforeValidator(_words_listed)] = Field(default_factory=dict)
    class_id: Text = Field(alias="class")
    reason: str = Field(default="", validate_default=True)

    @field_validator("when")
    @classmethod
    def _facts(cls, when: dict[str, tuple[str, ...]]) -> dict[str, tuple[str, ...]]:
        for fact, words in when.items():
            known_word(fact, FACTS, "fact")
            for word in words:
                if FACTS[fact].words:
                    known_word(word, FACTS[fact].words, f"word for {fact}")
        return when

    @field_validator("class_id")
    @classmethod
    def _class(cls, name: str, info: ValidationInfo) -> str:
        classes = (info.context or {}).get("classes")
        if classes is not None:
            known_word(name, {*classes, NONE}, "class")
        return name

    @field_validator("reason")
    @classmethod
    def _reasoned(cls, reason: str, info: ValidationInfo) -> str:
        if info.data.get("class_id") == NONE and not reason.strip():
            raise wrong("class 'none' needs a reason", "say why the set doesn't govern such receptors")
        return reason

    def matches(self, facts: Mapping[str, str | None]) -> bool | str:
        """Return True or False, or the name of the first missing fact that would decide."""
        missing = ""
        for fact, words in self.when.items():
            answer = facts.get(fact)
            if answer is None or answer in UNANSWERED:
                missing = missing or fact
            elif answer not in words:
                return False
        return missing or True


class Axis(Record):
    """One way of classing a receptor, with its classes and its table; a product of factors has several."""

    id: Identifier
    title: Text
    classes: Annotated[dict[str, Text], Field(min_length=1)]
    class_map: Annotated[tuple[ClassRow, ...], Field(min_length=1)]


def classify(rows: tuple[ClassRow, ...], facts: Mapping[str, str | None]) -> str | Missing | NotGoverned:
    """Return the class of the first row that matches.

    A missing fact matters only if it could change the answer: rows that might match are compared with the first row
    that surely does, and where they differ the missing fact is named.
    """
    doubtful: list[ClassRow] = []
    missing = ""
    sure: ClassRow | None = None
    for row in rows:
        match = row.matches(facts)
        if match is True:
            sure = row
            break
        if isinstance(match, str):
            doubtful.append(row)
            missing = missing or match
    answers = {row.class_id for row in doubtful} | ({sure.class_id} if sure else {""})
    if doubtful and answers != {doubtful[0].class_id}:
        options = sorted({row.class_id for row in doubtful} | ({sure.class_id} if sure else set()))
        return Missing(missing, f"{FACTS[missing].meaning}: it decides between {', '.join(options)}"
                       if len(options) > 1 else f"{FACTS[missing].meaning}: without it no class can be told")
    row_found = sure or (doubtful[0] if doubtful else None)
    if row_found is None:
        asked = list(dict.fromkeys(fact for row in rows for fact in row.when))
        known = ", ".join(f"{fact} = {facts.get(fact) or 'unknown'}" for fact in asked)
        return Missing(asked[0] if asked else "use", f"the set has no class for {known}")
    if row_found.class_id == NONE:
        return NotGoverned(row_found.reason)
    return row_found.class_id


def asked(rows: tuple[ClassRow, ...]) -> dict[str, tuple[str, ...]]:
    """Return every fact that a table asks for, with the words it knows."""
    found: dict[str, dict[str, None]] = {}
    for row in rows:
        for fact, words in row.when.items():
            found.setdefault(fact, {}).update(dict.fromkeys(words))
    return {fact: tuple(words) for fact, words in found.items()}
