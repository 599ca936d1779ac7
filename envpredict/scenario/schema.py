"""The tables of scenario.toml and what each key may hold."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, time
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, model_validator
from pydantic_core import PydanticCustomError

from envpredict.core.words import suggestion
from envpredict.scenario.types import WEEKDAYS

DAY_S = 86400


def fault(what: str, hint: str) -> PydanticCustomError:
    """Return a validation error that carries its remedy."""
    return PydanticCustomError("scenario", "{what}", {"what": what, "hint": hint})


def one_of(*words: str) -> Callable[[str], str]:
    """Return a check that a text is one of these words."""
    def check(word: str) -> str:
        if word not in words:
            raise fault(f"unknown word '{word}'", suggestion(word, words))
        return word
    return check


def clock(value: Any) -> int:
    """Return a clock time, 'HH:MM' or TOML's own, as seconds since midnight; 24:00 is the end of the day."""
    hint = 'write it as "HH:MM" from "00:00" to "24:00"'
    if isinstance(value, time):
        return value.hour * 3600 + value.minute * 60
    if isinstance(value, str) and len(value) == 5 and value[2] == ":" and (value[:2] + value[3:]).isdigit():
        hours, minutes = int(value[:2]), int(value[3:])
        if (hours < 24 and minutes < 60) or (hours, minutes) == (24, 0):
            return hours * 3600 + minutes * 60
    raise fault(f"{value!r} is no clock time", hint)


def step(most: float) -> Callable[[Any], Any]:
    """Return a check of a step into a building: a factor above 0 and at most `most`, or the name of a declared step."""
    def check(value: Any) -> Any:
        hint = f"write a factor above 0 and at most {most:g}, or the name of a declared step in quotes"
        if isinstance(value, str) and value:
            return value
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise fault(f"{value!r} is neither a factor nor the name of a step", hint)
        if not 0.0 < value <= most:
            raise fault(f"{value!r} is out of range: it must be above 0 and at most {most:g}", hint)
        return float(value)
    return check


def _holidays(value: Any) -> Any:
    """Accept a country's code or a list of dates."""
    dates = isinstance(value, list) and all(type(item) is date for item in value)
    if not dates and not isinstance(value, str):
        raise fault(f"{value!r} is neither a country's code nor a list of dates",
                    'write holidays = "GB", or holidays = [2027-12-25, 2027-12-27] without quotes')
    return value


def _cell(value: Any) -> Any:
    """Accept what may stand in a cell of a layer."""
    if not isinstance(value, str | int | float | bool):
        raise fault(f"{value!r} can't stand in a cell", "give a text, a number, true or false")
    return value


Day = date
Cell = Annotated[Any, AfterValidator(_cell)]
Text = Annotated[str, Field(min_length=1)]
Clock = Annotated[int, BeforeValidator(clock)]
Positive = Annotated[float, Field(gt=0)]
Fraction = Annotated[float, Field(ge=0, le=1)]
Level = Annotated[float, Field(gt=-50, lt=200)]
LevelType = Annotated[str, AfterValidator(one_of("mean", "maximum"))]
Side = Annotated[str, AfterValidator(one_of("facade", "free_field"))]


class Table(BaseModel):
    """A table of the file: unknown keys are faults, text isn't taken for a number, nan is no value."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)

    def stated(self, *without: str) -> dict[str, Any]:
        """Return only the keys that the user wrote."""
        return {name: value for name, value in self.model_dump(exclude_unset=True, by_alias=True).items()
                if name not in without}


class HeadTable(Table):
    """What stands above the first header."""

    title: Text
    crs: Text
    invented: bool = False


class FileTable(Table):
    """A file, given by its path or by a table."""

    file: Text

    @model_validator(mode="before")
    @classmethod
    def _path(cls, data: Any) -> Any:
        return {"file": data} if isinstance(data, str) else data


class LayerTable(FileTable):
    """A layer of features: `columns` tells which of the file's columns holds ours, `defaults` fills what is empty."""

    layer: Text | None = None
    crs: Text | None = None
    columns: dict[str, Text] = Field(default_factory=dict)
    defaults: dict[str, Cell] = Field(default_factory=dict)


class GroundTable(Table):
    """The ground: boreholes, or one stated class."""

    strata: FileTable | None = None
    ground_class: Text | None = Field(default=None, alias="class")
    groundwater_m: Annotated[float, Field(ge=0, le=200)] | None = None
    piling_ground: Annotated[str, AfterValidator(one_of("soil", "till", "rock"))] | None = None


class BackgroundTable(Table):
    """The sound that is there already."""

    baseline: FileTable | None = None
    other_sources: FileTable | None = None


class ShiftTable(Table):
    """The hours of a shift; one that ends before it starts runs past midnight."""

    start: Clock = Field(alias="from")
    end: Clock = Field(alias="to")

    @model_validator(mode="after")
    def _length(self) -> ShiftTable:
        if self.start == self.end:
            raise fault("the shift has zero length: it ends when it starts", 'give hours, as { from = "08:00", '
                        'to = "18:00" }; round the clock is from "00:00" to "24:00"')
        if self.start == DAY_S:
            raise fault("a shift can't start at 24:00", 'write "00:00"')
        return self

    @property
    def length_s(self) -> int:
        """Return the length in seconds."""
        return (self.end - self.start) % DAY_S or DAY_S


class ProgrammeTable(Table):
    """When work may happen."""

    start: Day
    shift: ShiftTable
    time_zone: Text
    working_days: Annotated[list[Annotated[str, AfterValidator(one_of(*WEEKDAYS))]], Field(min_length=1)] = Field(
        default=["mon", "tue", "wed", "thu", "fri"])
    rigs: Annotated[int, Field(ge=1, le=50)] = 1
    holidays: Annotated[Any, BeforeValidator(_holidays)] = None
    direction: Annotated[str, AfterValidator(one_of("forward", "reverse"))] = "forward"


class RateTable(Table):
    """Metres of pile per hour, all in: slow, likely and fast."""

    slow: Positive
    likely: Positive
    fast: Positive

    @model_validator(mode="after")
    def _ordered(self) -> RateTable:
        if not self.slow <= self.likely <= self.fast:
            raise fault("slow, likely and fast are not in order", "slow is the smallest and fast the largest rate")
        return self


class MeasuredTable(Table):
    """A level measured at a machine: without distance and position it says nothing."""

    level_db: Level
    distance_m: Annotated[float, Field(gt=0, le=1000)]
    position: Side
    ground: Annotated[str, AfterValidator(one_of("hard", "porous"))] = "hard"
    level_type: LevelType = "mean"
    by: Text | None = None


class PlantTable(Table):
    """An item of plant whose level, spectrum or working time the scenario states itself."""

    id: Text
    count: Annotated[int, Field(ge=1, le=50)] | None = None
    on_time_fraction: Fraction | None = None
    on_s: Positive | None = None
    cycle_s: Positive | None = None
    lwa_db: Level | None = None
    octaves_db: Annotated[list[Level], Field(min_length=8, max_length=8)] | None = None
    level_type: LevelType | None = None
    height_m: Annotated[float, Field(ge=0, le=150)] | None = None
    measured: MeasuredTable | None = None

    @model_validator(mode="after")
    def _one_way(self) -> PlantTable:
        if self.measured is not None and (self.lwa_db is not None or self.octaves_db is not None):
            raise fault("a measured level and a sound power are both given", "keep one of them")
        if (self.on_s is None) != (self.cycle_s is None):
            raise fault("on_s and cycle_s belong together", "give both, or neither")
        if self.on_s is not None and self.on_time_fraction is not None:
            raise fault("a cycle and an on_time_fraction are both given", "keep the cycle (on_s, cycle_s)")
        if self.on_s is not None and self.cycle_s is not None and self.on_s > self.cycle_s:
            raise fault(f"on_s {self.on_s:g} is longer than cycle_s {self.cycle_s:g}", "on_s is a part of the cycle")
        return self


class MethodTable(Table):
    """A candidate method; what is left out comes from the catalogue.

    With `parts` it's other candidates one after another: everything but its name and title is theirs.
    """

    id: Text
    method: Text | None = None
    title: Text | None = None
    sections: list[Text] = Field(default_factory=list)
    parts: Annotated[list[Text], Field(min_length=2)] | None = None
    model: Text | None = None
    energy_kj: Annotated[float, Field(gt=0, le=3000)] | None = None
    frequency_hz: Annotated[float, Field(gt=0, le=500)] | None = None
    blow_rate_per_min: Annotated[float, Field(gt=0, le=300)] | None = None
    blows_per_m: Annotated[float, Field(gt=0, le=5000)] | None = None
    rate_m_h: RateTable | None = None
    zero_moment: bool | None = None
    plant: list[PlantTable] = Field(default_factory=list)

    @model_validator(mode="after")
    def _parts_alone(self) -> MethodTable:
        other = sorted(self.model_fields_set - {"id", "title", "parts"})
        if self.parts is not None and other:
            raise fault(f"parts stand beside {', '.join(other)}",
                        "state that of the parts, each a candidate of its own")
        return self


class ReductionTable(Table):
    """A reduction from the catalogue, for all candidates or for those named."""

    id: Text
    methods: list[Text] = Field(default_factory=list)
    insertion_loss_db: Annotated[float, Field(ge=0, le=40)] | None = None
    vibration_factor: Annotated[float, Field(gt=0, le=1)] | None = None
    energy_kj: Annotated[float, Field(gt=0, le=3000)] | None = None
    frequency_hz: Annotated[float, Field(gt=0, le=500)] | None = None
    screen: Text | None = None
    height_m: Annotated[float, Field(gt=0, le=30)] | None = None
    shift: ShiftTable | None = None
    source: Text | None = None


class ConfirmationTable(Table):
    """Who compared a set that was recalled from memory with its document."""

    by: Text
    date: Day
    edition: Text
    values: dict[str, float] = Field(default_factory=dict)


class LimitsTable(Table):
    """The limit sets per effect; there is no silent default."""

    damage: list[Text] = Field(default_factory=list)
    people: list[Text] = Field(default_factory=list)
    noise: list[Text] = Field(default_factory=list)
    equipment: list[Text] = Field(default_factory=list)
    assets: list[Text] = Field(default_factory=list)
    wildlife: list[Text] = Field(default_factory=list)
    settlement: list[Text] = Field(default_factory=list)
    own: FileTable | None = None
    confirmed: dict[str, ConfirmationTable] = Field(default_factory=dict)


class RejectedTable(Table):
    """An option that was looked at and not taken."""

    method: Text
    why: Text


class SubmissionTable(Table):
    """What an authority asks for beside the numbers."""

    applicant: Text | None = None
    site_manager: Text | None = None
    contact_24h: Text | None = None
    authority: Text | None = None
    legal_basis: Text | None = None
    competent_person: Text | None = None
    qualification: Text | None = None
    need: Text | None = None
    hours_exceptions: Text | None = None
    other_sites: Text | None = None
    community: Text | None = None
    condition_surveys: Text | None = None
    options_rejected: list[RejectedTable] = Field(default_factory=list)
    revision: Text | None = None
    date: Day | None = None


class DesignTable(Table):
    """The exceedance that a verdict is given for."""

    exceedance: Annotated[float, Field(gt=0, lt=0.5)] = 0.05


class ChoiceTable(Table):
    """Choices between published ways of predicting."""

    noise: Text = "octave"
    models: dict[str, Text] = Field(default_factory=dict)
    ground_to_floor: Annotated[Any, BeforeValidator(step(20.0))] = None
    ground_to_foundation: Annotated[Any, BeforeValidator(step(2.0))] = None
    foundation_to_floor: Annotated[Any, BeforeValidator(step(20.0))] = None
    windows: Annotated[str, AfterValidator(one_of("open", "tilted", "closed"))] | None = None
    impulse_db: Annotated[float, Field(ge=0, le=15)] | None = None
    tone_db: Annotated[float, Field(ge=0, le=10)] | None = None
    c0_db: Annotated[float, Field(ge=0, le=5)] | None = None
    screening: bool | None = None
    reflections: bool | None = None


class AcousticTable(Table):
    """The air, and the ground as sound sees it."""

    temperature_c: Annotated[float, Field(ge=-20, le=50)] = 10.0
    humidity_percent: Annotated[float, Field(ge=10, le=100)] = 70.0
    porosity: Fraction = 0.0
    terrain: Literal["flat", "surface"] = "flat"


class OwnTable(Table):
    """Files with the user's own declarations, in the schema of the shipped ones."""

    laws: list[Text] = Field(default_factory=list)
    methods: list[Text] = Field(default_factory=list)
    plant: list[Text] = Field(default_factory=list)
    reductions: list[Text] = Field(default_factory=list)
    pile_types: list[Text] = Field(default_factory=list)


LAYER_NAMES = ("piles", "receptors", "boundary", "obstacles", "acoustic_ground", "constraints")
TABLES: dict[str, type[Table]] = {
    "ground": GroundTable, "background": BackgroundTable, "programme": ProgrammeTable, "limits": LimitsTable,
    "submission": SubmissionTable, "design": DesignTable, "choice": ChoiceTable, "acoustic": AcousticTable,
    "own": OwnTable, "site_law": FileTable,
}
"""The tables with one header each."""
LISTS: dict[str, type[Table]] = {"methods": MethodTable, "reductions": ReductionTable}
"""The tables that may stand several times, under a double-bracketed header."""
REQUIRED = ("layers", "programme", "methods", "limits")
