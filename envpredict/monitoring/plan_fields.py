"""The small types that a monitoring plan is made of."""

from __future__ import annotations

import re
from typing import Annotated, Any, ClassVar, Literal, TypeVar

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from envpredict.core.quantities import POSITIONS, QUANTITIES
from envpredict.core.words import suggestion
from envpredict.scenario.schema import fault
from envpredict.scenario.types import WEEKDAYS

T = TypeVar("T")

DAY_WORDS: tuple[str, ...] = (*WEEKDAYS, "holiday")
"""The days of a plan; a public holiday is a day of its own."""
MOVEMENTS: dict[str, tuple[str, str]] = {
    "settlement_mm": ("mm", "vertical movement since the first reading"),
    "tilt_mm_per_m": ("mm/m", "change of tilt since the first reading"),
    "crack_width_mm": ("mm", "change of a crack's width since the first reading"),
    "track_level_mm": ("mm", "change of a rail's level since the first reading"),
    "track_twist_mm_per_m": ("mm/m", "change of a track's twist since the first reading"),
    "displacement_mm": ("mm", "horizontal movement since the first reading"),
}
"""What movement points read: quantity to unit and meaning."""
LOGGED_BESIDE: dict[str, str] = {
    "la10_db": "level exceeded 10 % of the time",
    "dominant_frequency_hz": "dominant frequency of the largest peak, per axis",
    "audio": "sound recorded on trigger",
    "octave_bands": "octave or third-octave band levels",
}
"""What a station may log beside the quantities that limits are stated in."""

Kind = Literal["noise", "vibration", "movement"]
InstrumentKind = Literal[
    "sound_level_meter", "sound_calibrator", "vibration_meter", "movement_sensor", "weather_station"
]
Tier = Literal["alert", "action", "stop"]
Coupling = Literal["bolt", "resin", "plaster", "spike", "sandbag", "adhesive_tape", "laid_on"]
Surface = Literal["foundation_wall", "floor", "concrete", "rock", "soil", "pipe", "rail_structure", "loose_slab"]
Waveform = Literal["on_trigger", "continuous", "none"]
FieldCheck = Literal["before_and_after", "before", "after", "none"]
Recorded = Literal["on_site", "nearby", "none"]
Rain = Literal["excluded", "flagged", "kept"]
DaylightSaving = Literal["offset_in_every_stamp", "no_change", "none_here"]
Stamp = Literal["start", "end"]
Weighting = Literal["A", "C", "Z", "none", "KB", "Wb", "Wd", "Wm", "other"]

_CLOCK = re.compile(r"([01]\d|2[0-3]):[0-5]\d|24:00")


def _tuple(value: Any) -> Any:
    """Accept a list, as every file gives it, where a tuple is meant."""
    return tuple(value) if isinstance(value, list) else value


def _clock(text: str) -> str:
    if not _CLOCK.fullmatch(text):
        raise fault(f"{text!r} is no clock time", 'write it as "HH:MM" from "00:00" to "24:00"')
    return text


def _quantity(word: str) -> str:
    known = (*QUANTITIES, *MOVEMENTS)
    if word not in known:
        raise fault(f"unknown quantity '{word}'", suggestion(word, known, limit=40))
    return word


def _logged(word: str) -> str:
    known = (*QUANTITIES, *MOVEMENTS, *LOGGED_BESIDE)
    if word not in known:
        raise fault(f"unknown quantity '{word}'", suggestion(word, known, limit=40))
    return word


def _position(word: str) -> str:
    if word not in POSITIONS:
        raise fault(f"unknown position '{word}'", suggestion(word, POSITIONS, limit=40))
    return word


def _day(word: str) -> str:
    if word not in DAY_WORDS:
        raise fault(f"unknown day '{word}'", suggestion(word, DAY_WORDS))
    return word


def _signed_off(text: str) -> str:
    """Refuse text that only looks like an answer."""
    if text.strip().casefold() in {"", "tbc", "tbd", "n/a", "na", "none", "-", "?", "to be confirmed"}:
        raise fault(f"{text!r} says nothing", "leave the key out until it's known: it's then listed as not stated")
    return text


Text = Annotated[str, Field(min_length=1), AfterValidator(_signed_off)]
Clock = Annotated[str, AfterValidator(_clock)]
Quantity = Annotated[str, AfterValidator(_quantity)]
Logged = Annotated[str, AfterValidator(_logged)]
Position = Annotated[str, AfterValidator(_position)]
Day = Annotated[str, AfterValidator(_day)]
Many = Annotated[tuple[T, ...], BeforeValidator(_tuple)]
Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Percent = Annotated[float, Field(ge=0, le=100)]
Count = Annotated[int, Field(ge=1)]


class Part(BaseModel):
    """A part of a plan: frozen; unknown keys are faults, text isn't taken for a number, nan is no value.

    A key that is left out is not stated; no key has a default that an audit would take for a statement.
    """

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class Row(Part):
    """A row of one of the plan's lists; `unique` names the fields that tell rows apart."""

    unique: ClassVar[tuple[str, ...]] = ()


def refers(target: str) -> dict[str, Any]:
    """Return the mark of a field that names a row of another list."""
    return {"refers": target}
