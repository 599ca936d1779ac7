"""One limit rule: what is limited, where, when, for which methods, at what value, and how well every part is known."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, ValidationInfo, field_validator

from envpredict.core.citation import Basis, Citation, weakest
from envpredict.core.quantities import POSITIONS, QUANTITIES
from envpredict.limits.adjust import Adjustment, DailyHours, Impulse
from envpredict.limits.base import (
    Effect,
    Identifier,
    Record,
    Signal,
    Source,
    Status,
    Text,
    Words,
    known_classes,
    known_word,
    listed,
    wrong,
)
from envpredict.limits.limit_of import Case, background_value, plain_value
from envpredict.limits.outcome import LimitValue, Missing, NotGoverned
from envpredict.limits.periods import Period, Season, clashes, gaps
from envpredict.limits.persistence import Persistence
from envpredict.limits.values import HoursOnly, Value

BasisField = Literal["value", "quantity", "place", "interpolation", "edition", "classes", "vibration", "periods",
                     "averaging", "comparison", "persistence", "adjustments", "rounding", "outside", "methods"]
Gate = Literal["met_below", "broken_above", "decides_between"]
GATE_MEANING: dict[Gate, str] = {
    "met_below": "lower bound of a pair: at or below it the requirement is met, above it the other rules decide",
    "broken_above": "upper bound of a pair: above it the requirement is broken",
    "decides_between": "decides where the level lies between the lower and the upper bound",
}


class Rule(Record):
    """A limit rule; keys as in a set's file.

    `quantity`, `unit` and `place` are words of the core; `vibration` and `families` tell which signals and method
    families the rule speaks of (empty: any); `classes` restricts it where its value has no rows; `exceeds` tells
    whether reaching the value already counts; `basis` (attribute `basis_of`) marks how single parts are known
    where they differ from the source. Empty `periods`: at all times.
    """

    id: Identifier
    title: Text
    clause: Text
    effect: Effect
    quantity: str | None = None
    unit: str = Field(default="", validate_default=True)
    place: str
    vibration: tuple[Signal, ...] = ()
    families: tuple[Literal["impact", "vibratory", "press", "drill"], ...] = ()
    classes: Words = ()
    gaps_stated: bool = False
    periods: tuple[Period, ...] = ()
    exceeds: Literal["above", "at_or_above"] = "above"
    value: Value
    persistence: tuple[Persistence, ...] = ()
    season: Season | None = None
    adjustments: tuple[Adjustment, ...] = ()
    rounding: Literal["none", "whole_half_up"] = "none"
    status: Status | None = None
    gate: Gate | None = None
    group: str = ""
    consequence: str = ""
    sources: Annotated[tuple[Source, ...], BeforeValidator(listed), Field(min_length=1)] = Field(alias="source")
    basis_of: dict[BasisField, Basis] = Field(default_factory=dict, alias="basis")
    note: str = ""

    @field_validator("quantity")
    @classmethod
    def _quantity(cls, name: str | None) -> str | None:
        if name is not None:
            known_word(name, QUANTITIES, "quantity")
        return name

    @field_validator("unit")
    @classmethod
    def _unit(cls, unit: str, info: ValidationInfo) -> str:
        name = info.data.get("quantity")
        if name is not None and unit != QUANTITIES[name].unit:
            raise wrong(f"unit '{unit}' doesn't belong to {name}", f"write '{QUANTITIES[name].unit}'")
        return unit

    @field_validator("place")
    @classmethod
    def _place(cls, place: str) -> str:
        known_word(place, POSITIONS, "place")
        return place

    @field_validator("classes")
    @classmethod
    def _classes(cls, words: tuple[str, ...], info: ValidationInfo) -> tuple[str, ...]:
        return known_classes(words, info)

    @field_validator("periods")
    @classmethod
    def _clock(cls, periods: tuple[Period, ...], info: ValidationInfo) -> tuple[Period, ...]:
        ids = [period.id for period in periods]
        faults = [f"period id '{name}' is given twice" for name in dict.fromkeys(ids) if ids.count(name) > 1]
        faults += clashes(periods)
        if not info.data.get("gaps_stated", False):
            faults += gaps(periods)
        if faults:
            raise wrong("; ".join(faults), "mend the clock times; a gap that is meant needs gaps_stated = true")
        return periods

    @field_validator("value")
    @classmethod
    def _value(cls, value: Value, info: ValidationInfo) -> Value:
        if not isinstance(value, HoursOnly) and info.data.get("quantity", "") is None:
            raise wrong(f"a value of kind {value.kind} needs a quantity", "only hours_only goes without")
        known = [period.id for period in info.data.get("periods", ())]
        for row in getattr(value, "rows", ()):
            for word in row.period:
                if "periods" in info.data:
                    known_word(word, known, "period")
        return value

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Return the sources as citations, the rule's own first, then those of single rows."""
        rows = [row.source for row in (*getattr(self.value, "rows", ()), *getattr(self.value, "factors", ()),
                                       *self.adjustments) if row.source is not None]
        return tuple(dict.fromkeys(source.citation for source in (*self.sources, *rows)))

    @property
    def citation(self) -> Citation:
        """Return the main source."""
        return self.sources[0].citation

    @property
    def basis(self) -> Basis:
        """Return the weakest basis of all parts of the rule."""
        parts = [part.basis or (part.source.basis if part.source else None)
                 for part in (*getattr(self.value, "rows", ()), *getattr(self.value, "factors", ()), *self.adjustments)]
        days = [day_rule.basis for day_rule in self.persistence]
        return weakest([self.sources[0].basis, *self.basis_of.values(), *(b for b in (*parts, *days) if b is not None)])

    @property
    def covered(self) -> tuple[str, ...]:
        """Return the classes for which the rule has a value; ("any",) where it doesn't depend on the class."""
        if self.classes:
            return self.classes
        rows = getattr(self.value, "rows", ())
        return tuple(dict.fromkeys(name for row in rows for name in row.classes)) or ("any",)

    def governs(self, signal: str | None = None, *, class_id: str | None = None,
                family: str | None = None) -> Literal[True] | NotGoverned:
        """Tell whether the rule speaks of a method's signal and family, and of a class; else why not (falsy).

        A quasi-static method is judged by the rules for continuous vibration: nothing milder is published for it.
        """
        if class_id is not None and "any" not in self.covered and class_id not in self.covered:
            return NotGoverned(f"the rule has no value for class '{class_id}'")
        if family is not None and self.families and family not in self.families:
            return NotGoverned(f"the rule speaks of {' and '.join(self.families)} methods, this one is {family}")
        alike = {signal, "continuous"} if signal == "quasi_static" else {signal}
        if signal is not None and self.vibration and not alike & set(self.vibration):
            return NotGoverned(f"the rule is for {' and '.join(self.vibration)} vibration, this method's is {signal}")
        return True

    def period(self, period_id: str) -> Period:
        """Return a period by its id. Raises KeyError."""
        return next(period for period in self.periods if period.id == period_id)

    def limit(
        self,
        class_id: str,
        low_hz: float | None = None,
        high_hz: float | None = None,
        likely_hz: float | None = None,
        *,
        period_id: str | None = None,
        signal: str | None = None,
        days: float | None = None,
    ) -> LimitValue | Missing | NotGoverned:
        """Return the limit for a class: the least favourable value in a band of frequencies.

        `low_hz`, `high_hz`, `likely_hz`: the band (Hz > 0) and its likely middle, for limits that depend on frequency.
        `period_id`, `signal`, `days` (calendar days of the whole works, or days with notable vibration where the value
        says `days_counted` = "affected") choose the row where rows differ by them. Outside a curve the limit is Missing
        unless the document says otherwise; a class without a value is NotGoverned. Rules that follow the background are
        Missing here: `limit_from_background`.
        """
        return plain_value(self, class_id, (low_hz, high_hz, likely_hz), Case(period_id, signal, days))

    def limit_from_background(
        self,
        class_id: str,
        period_id: str | None,
        laeq_db: float | None,
        la90_db: float | None,
        baseline_position: str,
        *,
        signal: str | None = None,
        days: float | None = None,
    ) -> LimitValue | Missing | NotGoverned:
        """Return the limit on the site's own level at the rule's place, from a baseline (dB) of the same period.

        `baseline_position` ("facade" or "free_field") tells where the baseline was measured; 3 dB are added or taken
        off where the rule is judged at the other. Missing names the measure that is lacking.
        """
        case = Case(period_id, signal, days)
        return background_value(self, class_id, (laeq_db, la90_db), baseline_position, case)

    def level_shift_db(self, signal: str | None, period_id: str | None, hours: float | None) -> float:
        """Return what the rule adds to a level before it is compared, in dB: impulse and daily working time.

        `hours`: mean daily time of work within the period; None makes no deduction.
        """
        total = 0.0
        for adjustment in self.adjustments:
            if not adjustment.holds_in(period_id):
                continue
            if isinstance(adjustment, Impulse) and signal in adjustment.vibration:
                total += adjustment.add_db
            if isinstance(adjustment, DailyHours) and hours is not None:
                total += float(adjustment.shift_db(hours))
        return total
