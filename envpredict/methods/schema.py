"""The catalogue's entries: methods, plant, reductions, pile types, flags of ground movement."""

from __future__ import annotations

import math
from collections.abc import Collection
from typing import Annotated, Literal

from pydantic import Field, model_validator

from envpredict.core.citation import Citation
from envpredict.methods.fields import (
    Cited,
    Code,
    Energy,
    Entry,
    Family,
    Form,
    Frequency,
    GroundClass,
    GroundLimit,
    LawUse,
    Needs,
    PlantSwap,
    PlantUse,
    Rate,
    Signal,
    Spread,
    Stage,
    Suit,
)

A_WEIGHTING_DB: tuple[float, ...] = (-26.2, -16.1, -8.6, -3.2, 0.0, 1.2, 1.0, -1.1)
"""A-weighting of the octave bands 63 Hz to 8 kHz; IEC 61672-1 (computed from its pole formula and from a library)."""

Octaves = Annotated[tuple[float, ...], Field(min_length=8, max_length=8)]
Id = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$")]
SPECTRUM_TOLERANCE_DB = 0.1


def a_weighted_sum_db(octaves_db: tuple[float, ...]) -> float:
    """Return the A-weighted sum of eight unweighted octave levels, 63 Hz to 8 kHz."""
    return 10.0 * math.log10(sum(10.0 ** ((level + a) / 10.0) for level, a in zip(octaves_db, A_WEIGHTING_DB,
                                                                                 strict=True)))


class Spectrum(Cited):
    """The shape of a spectrum: eight unweighted octaves relative to the A-weighted level."""

    id: Id
    title: str
    shape_db: Octaves

    def at(self, level_db: float) -> tuple[float, ...]:
        """Return the octaves whose A-weighted sum is `level_db` exactly."""
        offset = level_db - a_weighted_sum_db(self.shape_db)
        return tuple(value + offset for value in self.shape_db)


class Plant(Cited):
    """An item of plant as a source of sound; `citation` is that of the sound power.

    `lwa_db`: A-weighted sound power (re 1 pW) so that the level over hard ground is LWA - 20 lg r - 8. `level_type`:
    the energy mean while operating, or the maximum. `max_minus_mean_db`: LAFmax less LAeq while operating.
    `sel_10m_db`: of one blow at 10 m, at `sel_blow_rate_per_min`. `height`: `pile_head`, or metres above ground.
    `u_db`: standard uncertainty of the generic level. `pack`: it's a power pack or another engine in a housing.
    `fta_emission_db`: what the FTA's hand method takes, typical, at 50 ft (15.24 m).
    """

    id: Id
    title: str
    lwa_db: float
    lwa_low_db: float
    lwa_high_db: float
    octaves_db: Octaves
    spectrum_citation: Citation
    level_type: Literal["mean", "maximum"]
    max_minus_mean_db: float | None = None
    max_minus_mean_low_db: float | None = None
    max_minus_mean_high_db: float | None = None
    max_minus_mean_citation: Citation | None = None
    sel_10m_db: float | None = None
    sel_blow_rate_per_min: float | None = Field(default=None, gt=0)
    sel_citation: Citation | None = None
    height: float | Literal["pile_head"]
    height_low_m: float
    height_high_m: float
    height_citation: Citation
    u_db: float = Field(ge=0)
    u_citation: Citation
    pack: bool = False
    fta_emission_db: float | None = None
    fta_citation: Citation | None = None
    note: str = ""

    @model_validator(mode="after")
    def _consistent(self) -> Plant:
        if not self.lwa_low_db <= self.lwa_db <= self.lwa_high_db:
            raise ValueError("lwa_low_db <= lwa_db <= lwa_high_db is broken")
        total = a_weighted_sum_db(self.octaves_db)
        if abs(total - self.lwa_db) > SPECTRUM_TOLERANCE_DB + 1e-9:
            raise ValueError(f"the octaves sum to {total:.2f} dB(A), not to the stated {self.lwa_db:.2f}")
        if self.max_minus_mean_db is not None and self.max_minus_mean_citation is None:
            raise ValueError("max_minus_mean_db needs its max_minus_mean_citation")
        if self.fta_emission_db is not None and self.fta_citation is None:
            raise ValueError("fta_emission_db needs its fta_citation")
        if self.sel_10m_db is not None:
            if self.sel_citation is None or self.sel_blow_rate_per_min is None:
                raise ValueError("sel_10m_db needs sel_blow_rate_per_min and sel_citation")
            mean = self.sel_10m_db + 10.0 * math.log10(self.sel_blow_rate_per_min / 60.0)
            if self.level_type == "mean" and abs(mean - (self.lwa_db - 28.0)) > SPECTRUM_TOLERANCE_DB:
                raise ValueError(f"sel_10m_db at its blow rate means {mean:.1f} dB at 10 m, but lwa_db - 28 is "
                                 f"{self.lwa_db - 28.0:.1f}")
        return self

    def at_level(self, lwa_db: float, citation: Citation, u_db: float = 2.0) -> Plant:
        """Return this plant with a measured sound power, spectrum and SEL shifted with it.

        u_db: standard uncertainty of a level measured on the same machine and ground (2 dB is an estimate).
        """
        shift = lwa_db - self.lwa_db
        return self.model_copy(update={
            "lwa_db": lwa_db, "lwa_low_db": lwa_db, "lwa_high_db": lwa_db, "citation": citation, "u_db": u_db,
            "octaves_db": tuple(value + shift for value in self.octaves_db),
            "sel_10m_db": None if self.sel_10m_db is None else self.sel_10m_db + shift,
        })


class Method(Entry):
    """A way to bring a pile into the ground, or out of it.

    `forms`: which forms of pile it can install; `cast_in_place`: it makes another wall instead of installing the piles.
    `handbook_column`: the column of the handbook tables that speaks of it. `start_stop_frequency`: the band swept
    through when a vibrator starts and stops. `movement`: ids of the ground-movement flags that it may raise.
    `force_kn`: what a press can push, or the centrifugal force of a vibrator, over the machines of its kind; None where
    no rule compares it with the ground.
    """

    id: Id
    title: str
    family: Family
    action: Literal["install", "extract"] = "install"
    signal: Signal
    zero_moment: bool = False
    cast_in_place: bool = False
    forms: tuple[Form, ...]
    handbook_column: Literal["vibratory", "impact", "press_in"] | None = None
    frequency: Frequency
    start_stop_frequency: Frequency | None = None
    energy: Energy | None = None
    force_kn: Spread | None = None
    blow_rate_per_min: Spread | None = None
    blows_per_m: dict[GroundClass, Spread] | None = None
    laws: tuple[LawUse, ...] = Field(min_length=1)
    plant: tuple[PlantUse, ...] = Field(min_length=1)
    plant_swaps: tuple[PlantSwap, ...] = ()
    stages: tuple[Stage, ...] = ()
    rates: dict[GroundClass, Rate]
    suits: dict[GroundClass, Suit]
    ground_limits: tuple[GroundLimit, ...] = ()
    needs: Needs = Needs()
    movement: tuple[str, ...] = ()
    note: str = ""

    @model_validator(mode="after")
    def _consistent(self) -> Method:
        stages = {stage.id for stage in self.stages} or {"drive"}
        for stage in (*(law.stage for law in self.laws), *(use.stage for use in self.plant)):
            if stage not in stages:
                raise ValueError(f"stage '{stage}' isn't one of {', '.join(sorted(stages))}")
        if not any(law.role == "preferred" for law in self.laws):
            raise ValueError("no law is preferred")
        missing = [name for name, suit in self.suits.items() if suit.code != "N" and name not in self.rates]
        if missing:
            raise ValueError(f"suited but without a rate: {', '.join(missing)}")
        return self

    def plant_for(self, form: Form, energy_kj: float | None, soils: Collection[str] = ()) -> tuple[PlantUse, ...]:
        """Return the plant for a form of pile, an energy and the ground classes met; the last fitting swap holds."""
        fitting = {swap.instead_of: swap.plant for swap in self.plant_swaps
                   if (not swap.forms or form in swap.forms)
                   and (swap.above_kj is None or (energy_kj is not None and energy_kj > swap.above_kj))
                   and (not swap.soils or not set(soils).isdisjoint(swap.soils))}
        return tuple(use.model_copy(update={"plant": fitting.get(use.plant, use.plant)}) for use in self.plant)

    def preferred(self, phase: str = "all", stage: str = "drive") -> LawUse | None:
        """Return the preferred law of a phase and stage, or None."""
        for law in self.laws:
            if law.role == "preferred" and law.phase == phase and law.stage == stage:
                return law
        return None


class VibrationEffect(Cited):
    """What a reduction does to vibration: a factor on velocity, likely, best and least."""

    factor: float = Field(gt=0, le=1)
    best: float = Field(gt=0, le=1)
    least: float = Field(gt=0, le=1)
    phase: Literal["all", "running", "start_stop"] = "all"


class NoiseEffect(Cited):
    """What a reduction does to noise: an insertion loss in dB(A), likely, best and least, on which source or path."""

    insertion_loss_db: float = Field(ge=0)
    best_db: float = Field(ge=0)
    least_db: float = Field(ge=0)
    on: Literal["pile_head", "pack", "all_plant", "path", "maximum"]


class Reduction(Entry):
    """A measure that lowers vibration or noise.

    `order`: its place on the ladder, 1 other method, 2 loosened ground, 3 machine settings, 4 time, 5 path, 6 receiver.
    `setting`: what it changes in the calculation instead of a factor (an energy, a frequency, hours ...), or `factor`.
    `families`, `methods`: what it can be used with (empty: all). `unknown`: the effect exists but nobody published it.
    `becomes`: the method of the catalogue that takes a method's place with it.
    """

    id: Id
    title: str
    order: int = Field(ge=1, le=6)
    setting: Literal["factor", "energy", "frequency", "zero_moment", "hours", "respite", "method", "screen", "receiver"]
    families: tuple[Family, ...] = ()
    methods: tuple[str, ...] = ()
    becomes: dict[str, str] = Field(default_factory=dict)
    vibration: VibrationEffect | None = None
    noise: NoiseEffect | None = None
    unknown: str = ""
    caution: str
    citation: Citation


class PileType(Entry):
    """A type of pile; dimensions are ranges over the sections in use.

    `suits`: by family of method and ground class, where this pile differs from what the method says.
    `against_face`: made to stand against an existing face, without a gap.
    """

    id: Id
    title: str
    form: Form
    width_m: Spread
    mass_kg_per_m: Spread
    steel_area_m2: Spread | None = None
    perimeter_m: Spread | None = None
    clearance_m: Spread
    displacement: Literal["small", "large"]
    interlocks: int = Field(ge=0)
    driven_as: Literal["single", "pair"]
    against_face: bool = False
    suits: dict[Family, dict[GroundClass, Suit]] = Field(default_factory=dict)
    note: str = ""


class MovementFlag(Cited):
    """A way in which a method may move the ground near a foundation, pipe or track.

    `soils`: the ground classes in which it acts, for piles of large displacement only where that is said;
    `within_pile_lengths`: how far from the pile it's warned about.
    """

    id: Id
    title: str
    mechanism: str
    soils: tuple[GroundClass, ...]
    large_displacement_only: bool = False
    within_pile_lengths: float = Field(gt=0)
    warning: str


class HandbookCell(Entry):
    """One cell of a handbook table: the code given to it, the aid, and the handbook's advice in short."""

    code: Code
    advice: str
    aid: str = ""


class HandbookRow(Entry):
    """One band of a handbook table: values up to `high` (None: no upper end) and above `low`."""

    low: float | None = None
    high: float | None = None
    band: str
    vibratory: HandbookCell
    impact: HandbookCell
    press_in: HandbookCell


class HandbookTable(Cited):
    """A handbook table of method against strength.

    `measure` is n or cu_kpa; `soils` are the ground classes that it speaks of; where it `decides`, its cell stands in
    the place of the method's own code for the class, elsewhere the worse of both holds.
    """

    id: Id
    title: str
    measure: Literal["n", "cu_kpa"]
    soils: tuple[GroundClass, ...]
    decides: tuple[GroundClass, ...]
    rows: tuple[HandbookRow, ...] = Field(min_length=1)


class CounterCase(Cited):
    """A published job that contradicts a table: what it contradicts is shown as `needs trial`.

    `columns`: the handbook columns; `above`, `at_most`: the part of the table's scale, None where the job states none.
    """

    id: Id
    title: str
    columns: tuple[Literal["vibratory", "impact", "press_in"], ...]
    soils: tuple[GroundClass, ...]
    measure: Literal["n", "cu_kpa"]
    above: float | None = None
    at_most: float | None = None
    story: str


class CheckRow(Entry):
    """One row of a table that a size check reads; `low` and `high` are equal where the table gives one value."""

    name: str
    low: float
    high: float


class CheckTable(Cited):
    """A table that a size check reads."""

    id: Id
    title: str
    unit: str
    rows: tuple[CheckRow, ...] = Field(min_length=1)
