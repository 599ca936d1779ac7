"""The kinds of value that a rule can have: a tagged union on `kind`, each with the rows it is made of."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations, pairwise
from typing import Annotated, Literal, Self, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import AfterValidator, Field, ValidationInfo, field_validator, model_validator

from envpredict.core.citation import Basis
from envpredict.limits.background import Half
from envpredict.limits.base import (
    Days,
    Level,
    Positive,
    Record,
    Selector,
    Source,
    Text,
    known_classes,
    known_word,
    wrong,
)
from envpredict.limits.curve import Above, Below, Between, Curve
from envpredict.limits.outcome import Missing, NotGoverned

R = TypeVar("R", bound=Selector)


class _Row(Selector):
    @field_validator("classes")
    @classmethod
    def _known(cls, words: tuple[str, ...], info: ValidationInfo) -> tuple[str, ...]:
        return known_classes(words, info)

    @field_validator("to_days")
    @classmethod
    def _ordered(cls, to_days: int | None, info: ValidationInfo) -> int | None:
        over = info.data.get("over_days")
        if to_days is not None and over is not None and to_days <= over:
            raise wrong(f"to_days = {to_days} does not lie above over_days = {over}")
        return to_days


def _disjoint(rows: tuple[R, ...]) -> tuple[R, ...]:
    for first, second in combinations(rows, 2):
        if _meet(first, second):
            raise wrong(f"two rows answer for class {_said(first)}", "make classes, periods, vibration or days differ")
    return rows


def _meet(first: Selector, second: Selector) -> bool:
    def common(a: tuple[str, ...], b: tuple[str, ...]) -> bool:
        return not a or not b or "any" in a or "any" in b or bool(set(a) & set(b))

    low = max(first.over_days or 0, second.over_days or 0)
    high = min(first.to_days if first.to_days is not None else np.inf,
               second.to_days if second.to_days is not None else np.inf)
    return (common(first.classes, second.classes) and common(first.period, second.period)
            and common(first.vibration, second.vibration) and low < high)


def _said(row: Selector) -> str:
    parts = [", ".join(row.classes), *(f"period {name}" for name in row.period), *(f"{name}" for name in row.vibration)]
    return "; ".join(parts)


def select(rows: Sequence[R], class_id: str, period_id: str | None, signal: str | None,
           days: float | None) -> R | Missing | NotGoverned:
    """Return the row for a class, period, signal and number of days, or what is missing, or that there is none."""
    for row in rows:
        if row.fits(class_id, period_id, signal, days):
            return row
    anyhow = [row for row in rows if "any" in row.classes or class_id in row.classes]
    if not anyhow:
        return NotGoverned(f"the rule has no value for class '{class_id}'")
    if days is None and any(row.by_days for row in anyhow):
        return Missing("days", "number of days of work: the limit depends on it")
    if period_id is None and any(row.period for row in anyhow):
        return Missing("period", "the limit depends on the time of day")
    if signal is None and any(row.vibration for row in anyhow):
        return Missing("vibration", "the limit depends on the kind of vibration")
    return NotGoverned(f"the rule has no value for class '{class_id}' in this period, for this kind of vibration or "
                       "number of days")


class Shape(Record):
    """How the curves of a rule run between and outside their points; meanings in `curve.Curve`."""

    between: Between
    below: Below = "missing"
    above: Above = "missing"
    displacement_mm: Positive | None = None

    @model_validator(mode="after")
    def _displacement(self) -> Self:
        if (self.below == "displacement") != (self.displacement_mm is not None):
            raise wrong("below = 'displacement' and displacement_mm need each other")
        return self


Point = tuple[Annotated[float, Field(ge=0, allow_inf_nan=False)], Positive]


class FixedRow(_Row):
    """A level, or a curve of (frequency in Hz, value) points; `shape` replaces that of the rule's value."""

    level: Level | None = None
    points: Annotated[tuple[Point, ...], Field(min_length=2)] | None = None
    shape: Shape | None = None

    @field_validator("points")
    @classmethod
    def _increasing(cls, points: tuple[Point, ...] | None) -> tuple[Point, ...] | None:
        for (before, _), (after, _) in zip(points or (), (points or ())[1:], strict=False):
            if after <= before:
                raise wrong(f"the curve's frequencies don't increase: {after:g} Hz follows {before:g} Hz",
                            "list the points from the lowest to the highest frequency, each once")
        return points

    @model_validator(mode="after")
    def _one(self) -> Self:
        if (self.level is None) == (self.points is None):
            raise wrong("a row needs either a level or points", "give one of the two")
        return self


FixedRows = Annotated[tuple[FixedRow, ...], Field(min_length=1), AfterValidator(_disjoint)]


class Fixed(Record):
    """Fixed numbers or curves by class. `factor` scales them all; `days_counted` tells which days choose a row."""

    kind: Literal["fixed"]
    shape: Shape | None = None
    factor: Positive = 1.0
    days_counted: Literal["works", "affected"] = "works"
    rows: FixedRows

    @model_validator(mode="after")
    def _shaped(self) -> Self:
        for row in self.rows:
            if row.points is not None:
                _check_shape(row.points, row.shape or self.shape)
        return self

    def curve(self, row: FixedRow) -> Curve | None:
        """Return the curve of a row, scaled; None for a plain level."""
        shape = row.shape or self.shape
        if row.points is None or shape is None:
            return None
        points = tuple((f, v * self.factor) for f, v in row.points)
        displacement = shape.displacement_mm
        return Curve(points, shape.between, shape.below, shape.above,
                     displacement * self.factor if displacement is not None else None)


def _check_shape(points: tuple[Point, ...], shape: Shape | None) -> None:
    if shape is None:
        raise wrong("rows with points need a shape", "say in `shape` how the curve runs: between, below, above")
    first, last = points[0], points[-1]
    if shape.between == "loglog" and first[0] <= 0:
        raise wrong("a curve on logarithmic axes can't start at 0 Hz", "start it at the lowest frequency printed")
    if shape.between == "stepped" and shape.above == "missing" and last[1] != points[-2][1]:
        raise wrong(f"the last step, {last[1]:g} from {last[0]:g} Hz, has no end",
                    "repeat the last value at the frequency where the curve ends, or set above = 'hold'")


class Factor(Record):
    """One factor of a product: a value per class of one axis of the set."""

    symbol: Text
    axis: Text
    values: Annotated[dict[str, Positive], Field(min_length=1)]
    source: Source | None = None
    basis: Basis | None = None

    @field_validator("axis")
    @classmethod
    def _axis(cls, axis: str, info: ValidationInfo) -> str:
        axes = (info.context or {}).get("axes")
        if axes is not None:
            known_word(axis, axes, "axis")
        return axis

    @field_validator("values")
    @classmethod
    def _classes(cls, values: dict[str, float], info: ValidationInfo) -> dict[str, float]:
        classes = (info.context or {}).get("axes", {}).get(info.data.get("axis"))
        if classes is not None:
            for word in values:
                known_word(word, classes, "class")
            for word in classes:
                if word not in values:
                    raise wrong(f"no value for class '{word}'", "give a value for every class of the axis")
        return values


class Product(Record):
    """A product of factors, each chosen by one axis of the set."""

    kind: Literal["product"]
    factors: Annotated[tuple[Factor, ...], Field(min_length=2)]


class CategoryRow(_Row):
    """The three columns of a category table."""

    a_db: Level
    b_db: Level
    c_db: Level

    @model_validator(mode="after")
    def _rising(self) -> Self:
        if not self.a_db < self.b_db < self.c_db:
            raise wrong("the columns must rise from A to C")
        return self


class BackgroundCategory(Record):
    """A column chosen by the baseline, rounded; above the last column the total may rise by so much."""

    kind: Literal["background_category"]
    round_to_db: Positive = 5.0
    half: Half = "down"
    total_rise_db: Positive = 3.0
    rows: Annotated[tuple[CategoryRow, ...], Field(min_length=1), AfterValidator(_disjoint)]


class PlusRow(_Row):
    """What is added to the baseline, and the value below which the limit never falls."""

    plus_db: Level
    floor_db: Level | None = None


class BackgroundPlus(Record):
    """Baseline plus a number; `measure` is the baseline's, `compare` tells whether site or total is judged."""

    kind: Literal["background_plus"]
    measure: Literal["laeq", "la90"]
    compare: Literal["site", "total"] = "site"
    rows: Annotated[tuple[PlusRow, ...], Field(min_length=1), AfterValidator(_disjoint)]


class DayAllowance(Record):
    """At most so many days above each level; nested: a day above a higher step counts for the lower ones too."""

    kind: Literal["day_allowance"]
    steps: Annotated[tuple[tuple[Level, Days], ...], Field(min_length=1)]
    nested: bool = True

    @field_validator("steps")
    @classmethod
    def _rising(cls, steps: tuple[tuple[float, int], ...]) -> tuple[tuple[float, int], ...]:
        for (low, many), (high, few) in pairwise(steps):
            if high <= low or few > many:
                raise wrong(f"step {high:g} dB / {few} days doesn't follow {low:g} dB / {many} days",
                            "levels must rise and days must not")
        return steps


class NetRow(_Row):
    """The level over which the margin is taken."""

    level: Level


class HoursByMargin(Record):
    """Hours of work per day by how far the predicted level lies above a base level.

    `steps` (margin in dB, hours): the first step whose margin isn't exceeded; beyond the last one `beyond_hours`.
    """

    kind: Literal["hours_by_margin"]
    rows: Annotated[tuple[NetRow, ...], Field(min_length=1), AfterValidator(_disjoint)]
    steps: Annotated[tuple[tuple[Level, Positive], ...], Field(min_length=1)]
    beyond_hours: Annotated[float, Field(ge=0)]

    def hours(self, level_db: ArrayLike, base_db: ArrayLike) -> NDArray[np.float64]:
        """Return the hours allowed per day; level and base level broadcast, dB. NaN in, NaN out."""
        margin = np.asarray(level_db, dtype=float) - np.asarray(base_db, dtype=float)
        allowed = np.array([*(step[1] for step in self.steps), self.beyond_hours])
        hours = allowed[np.searchsorted([step[0] for step in self.steps], margin, side="left")]
        return np.asarray(np.where(np.isnan(margin), np.nan, hours))


class HoursOnly(Record):
    """Hours in which work is allowed, or forbidden: the rule's periods; with caps on hours a day and days in a row."""

    kind: Literal["hours_only"]
    work: Literal["allowed", "forbidden"]
    max_hours_per_day: Positive | None = None
    max_consecutive_days: Annotated[int, Field(gt=0)] | None = None


Value = Annotated[
    Fixed | Product | BackgroundCategory | BackgroundPlus | DayAllowance | HoursByMargin | HoursOnly,
    Field(discriminator="kind"),
]
