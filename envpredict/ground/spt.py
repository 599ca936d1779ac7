"""Read the result of a standard penetration test as people write it."""

from __future__ import annotations

import re
from dataclasses import dataclass

from envpredict.core.citation import Citation

CONVERTED_N = Citation(
    "Japanese estimating practice", None, "converted N = 1500 / penetration in cm at 50 blows", "read",
    via="an estimating guide, zyuukasetu.com/archives/552", note="in general: blows x 300 / penetration in mm",
)
TEST_DRIVE_MM = 300.0
LEAST_BARE_MM = 25.0
"""A bare penetration below this could be mm, cm or in: its unit must be given."""

_TO_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "inch": 25.4, "inches": 25.4, '"': 25.4}
_NUMBER = r"\d+(?:\.\d+)?"
_COUNT = re.compile(rf"(?:n\s*=?\s*)?(?P<bound>[>≥])?\s*=?\s*(?P<blows>{_NUMBER})\s*(?:blows?)?", re.IGNORECASE)
_PENETRATION = re.compile(
    rf"(?:n\s*=?\s*)?(?P<blows>{_NUMBER})\s*(?:blows?)?\s*(?:/|for|in|over)\s*(?P<depth>{_NUMBER})\s*"
    rf"(?P<unit>mm|cm|m|inches|inch|in|\")?\.?", re.IGNORECASE)
HINT = "write 34, N=34, N>50, or blows and penetration as 50/75 mm"


@dataclass(frozen=True, slots=True)
class Spt:
    """A test: the blows counted, over which penetration, and N converted to 300 mm.

    `at_least`: the true N is this or more (`N>50`). `refused`: the sampler didn't go the full 300 mm.
    """

    n: float
    penetration_mm: float
    converted_n: float
    at_least: bool = False

    @property
    def refused(self) -> bool:
        """Return whether the test ended short of its full penetration."""
        return self.penetration_mm < TEST_DRIVE_MM


def converted_n(blows: float, penetration_mm: float) -> float:
    """Return N converted to 300 mm: blows x 300 / penetration (the rule of `CONVERTED_N`, 1500 / cm at 50 blows)."""
    return blows * TEST_DRIVE_MM / penetration_mm


def read_spt(text: str | float) -> Spt:
    """Read a test result: a count (`34`, `N=34`, `N>50`) or blows and penetration (`50/75 mm`, `50 for 75`, `25/300`).

    A penetration without a unit is in mm. Raises ValueError with the remedy for what can't be read, for a penetration
    of zero or above 450 mm, and for a bare penetration below 25, whose unit can't be told.
    """
    words = str(text).strip()
    if found := _PENETRATION.fullmatch(words):
        return _with_penetration(words, float(found["blows"]), float(found["depth"]), found["unit"])
    if found := _COUNT.fullmatch(words):
        blows = float(found["blows"])
        return Spt(blows, TEST_DRIVE_MM, blows, at_least=found["bound"] is not None)
    raise ValueError(f"'{words}' isn't a test result: {HINT}")


def _with_penetration(words: str, blows: float, depth: float, unit: str | None) -> Spt:
    if unit is None and depth < LEAST_BARE_MM:
        raise ValueError(f"'{words}' has a penetration without a unit that could be mm, cm or in: add the unit")
    depth_mm = depth * _TO_MM[(unit or "mm").lower()]
    if not 0.0 < depth_mm <= 450.0:
        raise ValueError(f"'{words}' has a penetration of {depth_mm:g} mm: a test goes 300 mm at most, 450 mm with the "
                         "seating drive")
    return Spt(blows, depth_mm, converted_n(blows, depth_mm))
