"""Adjustments that a rule makes to the level or to the limit before the two are compared."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import Field, field_validator

from envpredict.core.citation import Basis
from envpredict.limits.base import Days, Level, Positive, Record, Signal, Source, Words, wrong
from envpredict.limits.periods import Period


class _Adjustment(Record):
    period: Words = ()
    source: Source | None = None
    basis: Basis | None = None
    note: str = ""

    def holds_in(self, period_id: str | None) -> bool:
        """Tell whether the adjustment is made in a period."""
        return not self.period or period_id in self.period

    def used_in(self, period_id: str | None, signal: str | None) -> bool:
        """Tell whether the adjustment can move the level or the limit of a method with a signal in a period."""
        return self.holds_in(period_id) and (signal is None or not self.for_signals or signal in self.for_signals)

    @property
    def for_signals(self) -> tuple[Signal, ...]:
        """Return the signals that the adjustment is made for; empty means all."""
        return ()

    @property
    def known(self) -> Basis | None:
        """Return how the adjustment is known where that differs from its rule."""
        return self.basis or (self.source.basis if self.source else None)


class Impulse(_Adjustment):
    """Added to the level of impulsive sound."""

    kind: Literal["impulse"]
    add_db: Level
    vibration: tuple[Signal, ...] = ("transient",)

    @property
    def for_signals(self) -> tuple[Signal, ...]:
        """Return the signals whose sound counts as impulsive."""
        return self.vibration

    def __str__(self) -> str:
        return f"{self.add_db:+g} dB on the level of impulsive sound"


class Tone(_Adjustment):
    """Added to the level where tones stand out; how much is for the assessor to say, up to a maximum."""

    kind: Literal["tone"]
    up_to_db: Level

    def used_in(self, period_id: str | None, signal: str | None) -> bool:
        """Return False: it's for the assessor to add."""
        return False

    def __str__(self) -> str:
        return f"up to {self.up_to_db:+g} dB on the level where tones stand out (never added by itself)"


class DailyHours(_Adjustment):
    """Added to the level by the mean daily time of work within the period.

    `steps` (hours, dB), hours increasing: the first step whose hours the working time stays under is taken (or just
    reaches, if `inclusive`); above the last step nothing is added.
    """

    kind: Literal["daily_hours"]
    steps: Annotated[tuple[tuple[Positive, Level], ...], Field(min_length=1)]
    inclusive: bool = False

    @field_validator("steps")
    @classmethod
    def _rising(cls, steps: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
        if any(b[0] <= a[0] for a, b in pairwise(steps)):
            raise wrong("the hours of the steps must increase")
        return steps

    def shift_db(self, hours: ArrayLike) -> NDArray[np.float64]:
        """Return what is added to the level, in dB, for working hours of any shape."""
        bounds = [step[0] for step in self.steps]
        shifts = np.array([*(step[1] for step in self.steps), 0.0])
        side: Literal["left", "right"] = "left" if self.inclusive else "right"
        return np.asarray(shifts[np.searchsorted(bounds, np.asarray(hours, dtype=float), side=side)])

    def __str__(self) -> str:
        how = "at most" if self.inclusive else "under"
        steps = ", ".join(f"{shift:+g} dB {how} {hours:g} h" for hours, shift in self.steps)
        return f"on the level by daily working time: {steps}"


class WorksDays(_Adjustment):
    """Added to the limit by the number of calendar days of the whole works: over_days < days <= to_days."""

    kind: Literal["works_days"]
    add_db: Level
    over_days: Days = 0
    to_days: Days | None = None

    def fits(self, days: float) -> bool:
        """Tell whether the works' length calls for the adjustment."""
        return days > self.over_days and (self.to_days is None or days <= self.to_days)

    def __str__(self) -> str:
        until = f"at most {self.to_days}" if self.to_days is not None else f"more than {self.over_days}"
        return f"{self.add_db:+g} dB on the limit for works of {until} days"


class ShortEvents(_Adjustment):
    """Added to the limit for sound that lasts at most so many minutes in an hour."""

    kind: Literal["short_events"]
    add_db: Level
    minutes_per_hour: Positive

    def __str__(self) -> str:
        return f"{self.add_db:+g} dB on the limit for sound of at most {self.minutes_per_hour:g} minutes in an hour"


class RestHours(_Adjustment):
    """Time at work in hours of rest counts several times in what adds up over the assessment time."""

    kind: Literal["rest_hours"]
    factor: Positive
    hours: Annotated[tuple[Period, ...], Field(min_length=1)]

    def __str__(self) -> str:
        hours = ", ".join(period.label for period in self.hours)
        return f"time at work in hours of rest ({hours}) counts {self.factor:g} times"


Adjustment = Annotated[Impulse | Tone | DailyHours | WorksDays | ShortEvents | RestHours, Field(discriminator="kind")]
