"""Flags of readings: what is wrong with a row, and what that means for its use. The raw row stays as it is."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

Flags = NDArray[np.int32]

OVERLOAD: Final = 1 << 0
UNDER_RANGE: Final = 1 << 1
FILLER: Final = 1 << 2
IMPLAUSIBLE: Final = 1 << 3
FAULT: Final = 1 << 4
CALIBRATING: Final = 1 << 5
BATTERY: Final = 1 << 6
EMPTY: Final = 1 << 7
WIND: Final = 1 << 8
RAIN: Final = 1 << 9
RAIN_NOTED: Final = 1 << 10
EXCLUDED: Final = 1 << 11
DRIFT: Final = 1 << 12
DUPLICATE: Final = 1 << 13
CONFLICT: Final = 1 << 14
OVERLAP: Final = 1 << 15
STUCK: Final = 1 << 16

MEANING: dict[int, tuple[str, str]] = {
    OVERLOAD: ("overload", "clipped: the level was at least the value given"),
    UNDER_RANGE: ("under_range", "below what the instrument can measure"),
    FILLER: ("filler", "a filler in place of a level: 0 dB is no reading"),
    IMPLAUSIBLE: ("implausible", "outside what can be a reading"),
    FAULT: ("fault", "the logger reports a fault"),
    CALIBRATING: ("calibrating", "a calibration or check was going on"),
    BATTERY: ("battery", "battery low"),
    EMPTY: ("empty", "no level at all"),
    WIND: ("wind", "wind or gust above the plan's limit"),
    RAIN: ("rain", "rain, which the plan excludes"),
    RAIN_NOTED: ("rain_noted", "rain, which the plan only flags"),
    EXCLUDED: ("excluded", "left out by a logged decision"),
    DRIFT: ("drift", "between two field checks that drifted too far apart"),
    DUPLICATE: ("duplicate", "the same row again"),
    CONFLICT: ("conflict", "another row has the same time and other values"),
    OVERLAP: ("overlap", "starts before the row before it ends"),
    STUCK: ("stuck", "the same values for too long"),
}
"""Flag to its word and its meaning."""

DOWN: Final = UNDER_RANGE | FILLER | IMPLAUSIBLE | FAULT | EMPTY | STUCK
"""The instrument doesn't measure."""
VOID: Final = DOWN | CALIBRATING | WIND | RAIN | EXCLUDED | DRIFT | DUPLICATE
"""The row says nothing of the level."""
AT_LEAST: Final = OVERLOAD | CONFLICT
"""The level was at least this: an exceedance counts, but the time doesn't count as measured."""

STATUS_WORDS: dict[str, int] = {
    "": 0, "ok": 0, "overload": OVERLOAD, "under_range": UNDER_RANGE, "fault": FAULT, "off": FAULT,
    "calibration": CALIBRATING, "battery_low": BATTERY,
}
"""Words of the column `status`; an export's own words are mapped to these in records.toml."""


def usable(flags: Flags) -> NDArray[np.bool_]:
    """Return whether rows say something of the level, at least a lower bound."""
    return np.asarray((flags & VOID) == 0)


def complete(flags: Flags) -> NDArray[np.bool_]:
    """Return whether rows count as measured time."""
    return np.asarray((flags & (VOID | AT_LEAST)) == 0)


def words(flags: int) -> list[str]:
    """Return the words of a row's flags."""
    return [word for bit, (word, _) in MEANING.items() if flags & bit]
