"""Clock periods, days of the week and seasons of a rule; local civil time, a period belongs to the day it starts."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BeforeValidator, Field, field_validator

from envpredict.limits.base import Identifier, Record, Text, wrong

Day = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun", "holiday"]
WEEK: tuple[Day, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
ALL_DAYS: tuple[Day, ...] = (*WEEK, "holiday")
GROUPS: dict[str, tuple[Day, ...]] = {"all": ALL_DAYS, "weekdays": WEEK[:5], "workdays": WEEK[:6],
                                      "rest_days": ("sun", "holiday")}
DAY_S = 86400


def _spelled_out(value: Any) -> Any:
    words = [value] if isinstance(value, str) else value
    if not isinstance(words, list | tuple) or not all(isinstance(word, str) for word in words):
        return value
    return tuple(dict.fromkeys(day for word in words for day in GROUPS.get(word, (word,))))


def clock_s(text: str) -> int:
    """Return seconds since midnight of a clock time "HH:MM" between 00:00 and 24:00. Raises ValueError."""
    if not re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d|24:00", text):
        raise ValueError(f"'{text}' is no clock time")
    hours, minutes = text.split(":")
    return int(hours) * 3600 + int(minutes) * 60


class Period(Record):
    """A clock period on certain days.

    `days`: mon ... sun and holiday (in files also all, weekdays, workdays = mon to sat, rest_days = sun and holidays);
    a public holiday counts as `holiday` alone, whatever its weekday. An end at or before the start lies on the next
    day, and the period belongs to the day on which it starts. `averaging_s`: averaging time in seconds, None for maxima
    and peaks; `averaging`: averages stand in fixed blocks from the period's start (block), may start at any moment
    (rolling), or are taken over the time of work within the period alone (operation). `baseline` names the period whose
    measured background serves here, where it isn't the period's own.
    """

    id: Identifier
    label: Text
    days: Annotated[tuple[Day, ...], BeforeValidator(_spelled_out), Field(min_length=1)] = ALL_DAYS
    start: str = Field(alias="from")
    end: str = Field(alias="to")
    averaging_s: Annotated[int, Field(gt=0)] | None = None
    averaging: Literal["block", "rolling", "operation"] = "block"
    baseline: str = ""

    @field_validator("start", "end")
    @classmethod
    def _clock(cls, text: str) -> str:
        try:
            clock_s(text)
        except ValueError as error:
            raise wrong(str(error), "write HH:MM between 00:00 and 24:00") from None
        return text

    @property
    def start_s(self) -> int:
        """Return the start in seconds since local midnight of the day that the period belongs to."""
        return clock_s(self.start)

    @property
    def end_s(self) -> int:
        """Return the end in seconds since the same midnight; above 86400 where the period crosses midnight."""
        end = clock_s(self.end)
        return end if end > self.start_s else end + DAY_S

    @property
    def baseline_id(self) -> str:
        """Return the id of the period whose measured background serves for this one."""
        return self.baseline or self.id

    @property
    def length_s(self) -> int:
        """Return the length of the period in seconds of an ordinary day."""
        return self.end_s - self.start_s

    def on(self, day: str) -> bool:
        """Tell whether the period exists on a day word: mon ... sun or holiday."""
        return day in self.days


def day_words(dates: NDArray[np.datetime64], holidays: Iterable[Any] = ()) -> NDArray[np.str_]:
    """Return the day word (N,) of dates (N,): mon ... sun, or holiday where the date is one of `holidays`."""
    days = np.asarray(dates, dtype="datetime64[D]")
    weekday = (days.astype("int64") + 3) % 7  # 1970-01-01 was a Thursday
    words = np.array(WEEK)[weekday]
    free = np.array(sorted(np.datetime64(str(day), "D") for day in holidays), dtype="datetime64[D]")
    return np.where(np.isin(days, free), "holiday", words)


def clashes(periods: Sequence[Period]) -> list[str]:
    """Return in words where periods of one rule overlap, on one day or from one day into the next."""
    found = []
    for i, first in enumerate(periods):
        for second in periods[i:]:
            day = _same_day(first, second) if second is not first else None
            day = day or _into_next(first, second) or _into_next(second, first)
            if day:
                found.append(f"'{first.id}' ({first.start} to {first.end}) and '{second.id}' ({second.start} to "
                             f"{second.end}) overlap on {day}")
    return found


def _same_day(first: Period, second: Period) -> str | None:
    shared = [day for day in ALL_DAYS if first.on(day) and second.on(day)]
    overlap = first.start_s < second.end_s and second.start_s < first.end_s
    return shared[0] if shared and overlap else None


def _into_next(first: Period, second: Period) -> str | None:
    """Return the day on which the tail of `first` meets `second`, or None; a holiday may follow or precede any day."""
    if first.end_s - DAY_S <= second.start_s:
        return None
    for index, day in enumerate(WEEK):
        following = WEEK[(index + 1) % 7]
        if first.on(day) and second.on(following):
            return following
        if first.on(day) and second.on("holiday"):
            return "holiday"
        if first.on("holiday") and second.on(day):
            return day
    return None


def gaps(periods: Sequence[Period]) -> list[str]:
    """Return in words the times between periods of one day that no period of the rule covers."""
    found: dict[str, str] = {}
    for day in ALL_DAYS:
        spans = sorted((p.start_s, p.end_s, p.id) for p in periods if p.on(day))
        for (_, end, before), (start, _, after) in pairwise(spans):
            if start > end:
                found.setdefault(f"{before} {after}", f"nothing covers {_written(end)} to {_written(start)} between "
                                                      f"'{before}' and '{after}' on {day}")
    return list(found.values())


def _written(seconds: int) -> str:
    return f"{seconds // 3600 % 24:02d}:{seconds % 3600 // 60:02d}"


class Season(Record):
    """Part of the year in which a rule holds, from one month-day to another, both included; may cross New Year."""

    start: str = Field(alias="from")
    end: str = Field(alias="to")
    note: str = ""

    @field_validator("start", "end")
    @classmethod
    def _month_day(cls, text: str) -> str:
        try:
            np.datetime64(f"2000-{text}", "D")
        except ValueError:
            raise wrong(f"'{text}' is no day of a year", "write MM-DD, such as 09-01") from None
        if not re.fullmatch(r"\d\d-\d\d", text):
            raise wrong(f"'{text}' is no day of a year", "write MM-DD, such as 09-01")
        return text

    def holds(self, dates: NDArray[np.datetime64]) -> NDArray[np.bool_]:
        """Return, per date (N,), whether it lies in the season."""
        text = np.datetime_as_string(np.asarray(dates, dtype="datetime64[D]"))
        month_day = np.array([str(day)[5:] for day in np.atleast_1d(text)]).reshape(np.shape(text))
        after, before = month_day >= self.start, month_day <= self.end
        inside: NDArray[np.bool_] = np.asarray(after & before if self.start <= self.end else after | before)
        return inside
