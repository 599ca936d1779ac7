"""The strict base of every limit record, and the fields that several records share."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo
from pydantic_core import PydanticCustomError

from envpredict.core.citation import Basis, Citation
from envpredict.core.words import suggestion

Effect = Literal["damage", "people", "noise", "equipment", "assets", "wildlife", "settlement"]
Status = Literal["guidance", "statutory", "consent", "trigger", "health"]
Signal = Literal["single", "transient", "intermittent", "continuous", "quasi_static", "permanent"]

STATUS_MEANING: dict[Status, str] = {
    "guidance": "guidance: not binding unless a consent or contract adopts it",
    "statutory": "statutory: law or regulation",
    "consent": "condition of a consent",
    "trigger": "trigger: reaching it starts an action",
    "health": "health-based value, for context",
}
SIGNAL_MEANING: dict[Signal, str] = {
    "single": "an isolated event, such as a blast or one dropped weight; no piling method gives one",
    "transient": "pulses that die out before the next, such as impact driving",
    "intermittent": "a row of pulses or bursts with pauses",
    "continuous": "lasting vibration that can set up resonance, such as vibratory driving",
    "quasi_static": "slow force without a driving frequency, such as pressing; judged as continuous",
    "permanent": "more than about 100 000 load changes, such as traffic",
}
IDENTIFIER = r"^[a-z][a-z0-9_]*$"


class Record(BaseModel):
    """A frozen record: strict types, no unknown keys."""

    model_config = ConfigDict(strict=True, frozen=True, extra="forbid", validate_by_name=True, validate_by_alias=True,
                              serialize_by_alias=True)


def listed(value: Any) -> Any:
    """Return one word or table as a tuple of one, a list as a tuple: files may give either."""
    if isinstance(value, str | dict):
        return (value,)
    return tuple(value) if isinstance(value, list) else value


Words = Annotated[tuple[str, ...], BeforeValidator(listed)]
Identifier = Annotated[str, Field(pattern=IDENTIFIER)]
Text = Annotated[str, Field(min_length=1)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Level = Annotated[float, Field(allow_inf_nan=False)]
Days = Annotated[int, Field(ge=0)]


class Source(Record):
    """Where a value stands: document, place in it, how it's known, and in what other document it was seen quoted."""

    document: Text
    place: Text
    basis: Basis
    year: int | None = None
    via: str = ""
    note: str = ""

    @property
    def citation(self) -> Citation:
        """Return the source as a citation."""
        return Citation(self.document, self.year, self.place, self.basis, self.via, self.note)


class Selector(Record):
    """What a row of values is for; an empty field means any.

    `over_days` and `to_days` choose by the number of days of work: over_days < days <= to_days.
    """

    classes: Words = Field(default=("any",), alias="class")
    period: Words = ()
    vibration: tuple[Signal, ...] = ()
    over_days: Days | None = None
    to_days: Days | None = None
    source: Source | None = None
    basis: Basis | None = None
    note: str = ""

    def fits(self, class_id: str, period_id: str | None, signal: str | None, days: float | None) -> bool:
        """Tell whether the row holds for a class, period, signal and number of days."""
        return (
            ("any" in self.classes or class_id in self.classes)
            and (not self.period or period_id in self.period)
            and (not self.vibration or signal in self.vibration)
            and (self.over_days is None or (days is not None and days > self.over_days))
            and (self.to_days is None or (days is not None and days <= self.to_days))
        )

    @property
    def by_days(self) -> bool:
        """Tell whether the row is chosen by a number of days."""
        return self.over_days is not None or self.to_days is not None


def wrong(what: str, hint: str = "") -> PydanticCustomError:
    """Return a validation error with a remedy, for the loader to name its key."""
    return PydanticCustomError("limit", "{what}", {"what": what, "hint": hint})


def known_word(word: str, known: Any, kind: str) -> None:
    """Raise a validation error, with the nearest known word, if a word isn't known."""
    if word not in known:
        raise wrong(f"unknown {kind} '{word}'", suggestion(word, known))


def known_classes(words: tuple[str, ...], info: ValidationInfo) -> tuple[str, ...]:
    """Check class names against the classes of the set that is being read."""
    classes = (info.context or {}).get("classes")
    if classes is not None:
        for word in words:
            known_word(word, {*classes, "any"}, "class")
    return words
