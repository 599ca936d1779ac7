"""Time stamps: ISO 8601 with an offset from UTC to milliseconds since 1970, vectorised; nothing is guessed."""

from __future__ import annotations

import re
from typing import Final

import numpy as np
from numpy.typing import NDArray

from envpredict.models.noise.compiled import compiled

Millis = NDArray[np.int64]
"""Milliseconds since 1970-01-01T00:00Z."""
Codes = NDArray[np.int8]

GOOD: Final = 0
NO_OFFSET: Final = 1
MALFORMED: Final = 2
DAY_MS: Final = 86_400_000
WIDTH: Final = 40
"""Bytes of a stamp that are looked at; a longer one is malformed."""

_OFFSET = re.compile(r"([+-])(\d\d):?(\d\d)")


def offset_ms(text: str) -> int | None:
    """Return an offset from UTC written as Z or +01:00 in milliseconds, or None if it's neither."""
    if text in ("Z", "z"):
        return 0
    match = _OFFSET.fullmatch(text)
    if match is None or int(match[2]) > 14 or int(match[3]) > 59:
        return None
    size = (int(match[2]) * 60 + int(match[3])) * 60_000
    return -size if match[1] == "-" else size


@compiled
def _number(text: NDArray[np.uint8], start: int, length: int) -> int:
    """Return the digits at a place as a number, or -1."""
    value = 0
    for at in range(start, start + length):
        if at >= text.size or text[at] < 48 or text[at] > 57:
            return -1
        value = 10 * value + text[at] - 48
    return value


@compiled
def _days(year: int, month: int, day: int) -> int:
    """Return days since 1970-01-01 of a date in the Gregorian calendar, or a huge negative number if there is none."""
    lengths = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
    if month < 1 or month > 12:
        return -(10**9)
    leap = year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)
    longest = lengths[month - 1] + (1 if leap and month == 2 else 0)
    if day < 1 or day > longest or year < 1900:
        return -(10**9)
    before = year - 1
    days = 365 * (year - 1970) + (before // 4 - 492) - (before // 100 - 19) + (before // 400 - 4)
    for m in range(month - 1):
        days += lengths[m] + (1 if leap and m == 1 else 0)
    return days + day - 1


@compiled
def _offset_at(text: NDArray[np.uint8], at: int, end: int) -> int:
    """Return the offset in minutes that stands from a place to the end, 10000 where none does, 20000 if malformed."""
    if at == end:
        return 10_000
    if (text[at] == 90 or text[at] == 122) and at + 1 == end:
        return 0
    if text[at] != 43 and text[at] != 45:
        return 20_000
    colon = at + 3 < end and text[at + 3] == 58
    hours, minutes = _number(text, at + 1, 2), _number(text, at + (4 if colon else 3), 2)
    if end != at + (6 if colon else 5) or hours < 0 or hours > 14 or minutes < 0 or minutes > 59:
        return 20_000
    return (60 * hours + minutes) * (1 if text[at] == 43 else -1)


@compiled
def _parse(table: NDArray[np.uint8], ends: NDArray[np.int64], millis: Millis, codes: Codes) -> None:
    """Fill milliseconds and codes of stamps, one per row of bytes; a stamp without offset is read as UTC and marked."""
    for row in range(table.shape[0]):
        text, end = table[row], ends[row]
        codes[row] = 2
        if end < 16 or text[4] != 45 or text[7] != 45 or (text[10] != 84 and text[10] != 32) or text[13] != 58:
            continue
        days = _days(_number(text, 0, 4), _number(text, 5, 2), _number(text, 8, 2))
        hour, minute, second, fraction, at = _number(text, 11, 2), _number(text, 14, 2), 0, 0, 16
        if at < end and text[at] == 58:
            second, at = _number(text, 17, 2), 19
            if at < end and (text[at] == 46 or text[at] == 44):
                at += 1
                scale = 100
                while at < end and text[at] >= 48 and text[at] <= 57:
                    fraction += scale * (text[at] - 48)
                    scale //= 10
                    at += 1
        minutes = _offset_at(text, at, end)
        if days < -(10**8) or hour < 0 or hour > 23 or minute < 0 or minute > 59 or second < 0 or second > 59:
            continue
        if minutes == 20_000:
            continue
        codes[row] = 1 if minutes == 10_000 else 0
        shift = 0 if minutes == 10_000 else 60_000 * minutes
        millis[row] = 86_400_000 * days + 3_600_000 * hour + 60_000 * minute + 1000 * second + fraction - shift


def parse_iso(texts: NDArray[np.object_] | list[str]) -> tuple[Millis, Codes]:
    """Return milliseconds since 1970 (N,) and a code per stamp.

    Codes: GOOD, NO_OFFSET (read as UTC, to be shifted) or MALFORMED (its milliseconds mean nothing).
    Read are YYYY-MM-DDThh:mm[:ss[.fff]] (or a space for the T) with Z or +hh:mm. What is finer than a millisecond is
    cut off.
    """
    given = np.asarray(texts, dtype=object)
    millis, codes = np.zeros(given.size, dtype=np.int64), np.full(given.size, MALFORMED, dtype=np.int8)
    if given.size == 0:
        return millis, codes
    try:
        packed = given.astype(f"S{WIDTH}")
    except UnicodeEncodeError:
        packed = np.array([str(text).encode("ascii", "replace")[:WIDTH] for text in given], dtype=f"S{WIDTH}")
    ends = np.char.str_len(packed).astype(np.int64)
    _parse(packed.view(np.uint8).reshape(given.size, WIDTH), ends, millis, codes)
    codes[ends >= WIDTH] = MALFORMED
    return millis, codes


def parse_format(texts: NDArray[np.object_], form: str) -> tuple[Millis, Codes]:
    """Return milliseconds and codes of stamps in a strptime format; without %z they carry no offset."""
    import pandas as pd

    found = pd.to_datetime(pd.Series(texts, dtype=object), format=form, errors="coerce", utc=True)
    lost = found.isna().to_numpy()
    millis = found.to_numpy(dtype="datetime64[ms]").astype(np.int64)
    codes = np.where(lost, MALFORMED, GOOD if "%z" in form else NO_OFFSET).astype(np.int8)
    return np.where(lost, 0, millis), codes


AMBIGUOUS: Final = 3
NEVER: Final = 4


def from_zone(millis: Millis, time_zone: str) -> tuple[Millis, Codes]:
    """Return UTC milliseconds of clock times in a zone, with a code for each.

    AMBIGUOUS: the hour is repeated when clocks change; NEVER: it's left out.
    """
    import pandas as pd

    local = pd.DatetimeIndex(pd.to_datetime(millis, unit="ms"))
    early = local.tz_localize(time_zone, ambiguous=np.ones(len(local), dtype=bool), nonexistent="NaT")
    late = local.tz_localize(time_zone, ambiguous=np.zeros(len(local), dtype=bool), nonexistent="NaT")
    never = np.asarray(early.isna())
    first = early.tz_convert("UTC").as_unit("ms").asi8
    codes = np.where(never, NEVER, np.where(first != late.tz_convert("UTC").as_unit("ms").asi8, AMBIGUOUS, GOOD))
    return np.where(never, 0, first), codes.astype(np.int8)


def iso(millis: int | np.int64, time_zone: str = "UTC") -> str:
    """Return a moment as ISO 8601 in a zone, with its offset."""
    from datetime import UTC, datetime, timedelta
    from zoneinfo import ZoneInfo

    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=int(millis))
    spec = "milliseconds" if int(millis) % 1000 else "seconds"
    text = moment.astimezone(ZoneInfo(time_zone)).isoformat(timespec=spec)
    return text.replace("+00:00", "Z") if time_zone == "UTC" else text
