"""The small parts that catalogue entries are made of; every number stands beside the place that it comes from."""

from __future__ import annotations

from typing import Literal, get_args

from pydantic import BaseModel, ConfigDict, Field, model_validator

from envpredict.core.citation import Basis, Citation

GroundClass = Literal[
    "soft_clay", "stiff_clay", "loose_sand", "dense_sand", "gravel_cobbles", "boulders", "weak_rock", "hard_rock"
]
GROUND_CLASSES: tuple[GroundClass, ...] = get_args(GroundClass)
"""The ground classes of rates and of suitability, in the order of the tables."""

GROUND_CLASS_MEANING: dict[GroundClass, str] = {
    "soft_clay": "very soft to firm clay: undrained strength up to 75 kPa",
    "stiff_clay": "stiff clay: undrained strength above 75 kPa",
    "loose_sand": "loose to medium dense sand: N up to 30",
    "dense_sand": "dense and very dense sand: N above 30",
    "gravel_cobbles": "gravel or cobbles",
    "boulders": "ground with boulders",
    "weak_rock": "weak rock",
    "hard_rock": "hard rock",
}

Code = Literal["F", "A", "N"]
CODE_MEANING: dict[Code, str] = {
    "F": "feasible",
    "A": "feasible with assistance or care",
    "N": "not feasible alone, or not recommended",
}
Family = Literal["impact", "vibratory", "press", "drill"]
Signal = Literal["transient", "continuous", "quasi_static"]
Form = Literal["sheet", "h_section", "tube", "precast"]


class Entry(BaseModel):
    """A frozen part of a catalogue entry; keys that it doesn't know are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Cited(Entry):
    """A part whose numbers come from one place."""

    citation: Citation

    @property
    def basis(self) -> Basis:
        """How the numbers are known."""
        return self.citation.basis

    @property
    def source(self) -> str:
        """The place in one line, with its verify mark."""
        return str(self.citation)


class Spread(Cited):
    """A likely value with the range in which it is expected to lie."""

    low: float
    likely: float
    high: float

    @model_validator(mode="after")
    def _ordered(self) -> Spread:
        if not self.low <= self.likely <= self.high:
            raise ValueError(f"low <= likely <= high is broken: {self.low:g}, {self.likely:g}, {self.high:g}")
        return self


class Frequency(Cited):
    """The band of the dominant frequency of the vibration, in Hz."""

    low_hz: float = Field(gt=0)
    likely_hz: float = Field(gt=0)
    high_hz: float = Field(gt=0)

    @model_validator(mode="after")
    def _ordered(self) -> Frequency:
        if not self.low_hz <= self.likely_hz <= self.high_hz:
            raise ValueError("low_hz <= likely_hz <= high_hz is broken")
        return self


class Energy(Cited):
    """Nominal energy per blow, or per cycle of a vibrator, in kJ."""

    default_kj: float = Field(gt=0)
    low_kj: float = Field(gt=0)
    high_kj: float = Field(gt=0)
    kind: Literal["per_blow", "per_cycle"]

    @model_validator(mode="after")
    def _ordered(self) -> Energy:
        if not self.low_kj <= self.default_kj <= self.high_kj:
            raise ValueError("low_kj <= default_kj <= high_kj is broken")
        return self


class Rate(Cited):
    """Metres of pile per hour and rig, gross: pitching and moves included."""

    slow: float = Field(gt=0)
    likely: float = Field(gt=0)
    fast: float = Field(gt=0)

    @model_validator(mode="after")
    def _ordered(self) -> Rate:
        if not self.slow <= self.likely <= self.fast:
            raise ValueError("slow <= likely <= fast is broken")
        return self


class Suit(Cited):
    """Whether a method suits a ground class, and with which aid."""

    code: Code
    aid: str = ""


class GroundLimit(Cited):
    """A rule on a measured property of the ground: beyond `value` the method's code is no better than `code`.

    `measure`: n (SPT blows per 300 mm, converted for refusal), cu_kpa, ucs_mpa, cobble_m or boulder_m; `side` tells
    whether the rule bites above or below the value; `soils` limits it to some ground classes (empty: all).
    """

    id: str
    measure: Literal["n", "cu_kpa", "ucs_mpa", "cobble_m", "boulder_m"]
    side: Literal["above", "at_most"]
    value: float
    code: Code
    aid: str
    soils: tuple[GroundClass, ...] = ()


class LawUse(Cited):
    """One equation that a method may be predicted with; `citation` is that of factor, parameters and choice.

    `model` is an id of the registry of models. `role`: a `hard_ground` law takes part where the drive enters N > 50,
    rock or refusal, and governs where it's higher than the preferred one; a `hard_ground_beside` law is one that a
    scenario's own choice has put among the others, there alone. `phase`: all, running or start_stop. `stage`
    names the stage of the work (see `Stage`). `proxy`: fitted on another method; `estimate`: no published datum stands
    behind it.
    """

    model: str
    role: Literal["preferred", "alternative", "hard_ground", "hard_ground_beside"]
    why: str
    phase: Literal["all", "running", "start_stop"] = "all"
    stage: str = "drive"
    factor: float = Field(default=1.0, gt=0)
    parameters: dict[str, float | str] = Field(default_factory=dict)
    proxy: bool = False
    estimate: bool = False


class PlantUse(Cited):
    """An item of plant that a method uses, and for which fraction of a pile's cycle it works.

    `part`: `drive` for what works only while the pile penetrates, `cycle` for what works throughout the cycle; `count`
    tells how many of them work at once.
    """

    plant: str
    on_time_fraction: float = Field(gt=0, le=1)
    on_time_low: float = Field(gt=0, le=1)
    on_time_high: float = Field(gt=0, le=1)
    part: Literal["drive", "cycle"]
    stage: str = "drive"
    count: int = Field(default=1, ge=1)

    @model_validator(mode="after")
    def _ordered(self) -> PlantUse:
        if not self.on_time_low <= self.on_time_fraction <= self.on_time_high:
            raise ValueError("on_time_low <= on_time_fraction <= on_time_high is broken")
        return self


class PlantSwap(Cited):
    """An item of plant that takes the place of another: for some forms of pile, above an energy, in some ground."""

    plant: str
    instead_of: str
    forms: tuple[Form, ...] = ()
    above_kj: float | None = None
    soils: tuple[GroundClass, ...] = ()


class Stage(Cited):
    """A stage of a pile's cycle (an auger pass before the drive) and its share of the cycle's time."""

    id: str
    title: str
    time_share: float = Field(gt=0, le=1)


class Access(Cited):
    """Where a rig can stand: `yes`, `temporary_works` (barge, platform or trestle), or `no`."""

    over_water: Literal["yes", "temporary_works", "no"]
    on_slope: Literal["yes", "temporary_works", "no"]


class Spoil(Cited):
    """What comes out of the ground per metre of pile, in m3 as dug."""

    m3_per_m: float = Field(ge=0)
    low_m3_per_m: float = Field(ge=0)
    high_m3_per_m: float = Field(ge=0)
    words: str


class Needs(Entry):
    """What a method needs on site; what is None isn't known.

    `headroom_above_pile_m`: above the length of the pile, for a pile in one piece; `least_headroom_m`: with
    low-headroom plant and spliced piles; `clearance_m`: from the pile's axis to an existing face; `power_kw`: engine
    power of the pack.
    """

    headroom_above_pile_m: Spread | None = None
    least_headroom_m: Spread | None = None
    working_width_m: Spread | None = None
    clearance_m: Spread | None = None
    power_kw: Spread | None = None
    access: Access | None = None
    spoil: Spoil | None = None
    reaction: str = ""
    water_supply: str = ""
    note: str = ""
