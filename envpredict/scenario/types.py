"""What a scenario is once it has been read and found sound: frozen, in one CRS, nothing left to check."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd
    from pyproj import CRS

USES: tuple[str, ...] = ("dwelling", "hospital", "school", "office", "worship", "workshop", "laboratory", "heritage",
                         "railway", "bridge", "buried_pipe", "habitat", "open_space")
BUILDING_USES: frozenset[str] = frozenset({"dwelling", "hospital", "school", "office", "worship", "workshop",
                                           "laboratory", "heritage"})
"""Uses that are buildings: they need a structure and a number of floors."""
STRUCTURES: tuple[str, ...] = ("concrete", "steel", "masonry", "timber", "historic", "none")
CONDITIONS: tuple[str, ...] = ("sound", "cracked", "unknown")
FOUNDATIONS: tuple[str, ...] = ("spread", "shaft_bearing_piles", "toe_bearing_piles", "none", "unknown")
CONSTRAINT_KINDS: tuple[str, ...] = ("headroom", "width", "over_water", "slope", "possession", "obstruction")
POSITION_WORDS: tuple[str, ...] = ("facade", "free_field")
WEEKDAYS: tuple[str, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
LIMIT_EFFECTS: tuple[str, ...] = ("damage", "people", "noise", "equipment", "assets", "wildlife", "settlement")

RECEPTOR_COLUMNS: dict[str, str] = {
    "id": "text, unique",
    "name": "text; the id where none is given",
    "use": f"one of {', '.join(USES)}",
    "structure": f"one of {', '.join(STRUCTURES)}",
    "condition": f"one of {', '.join(CONDITIONS)}",
    "floors": "number of storeys above ground, 0 where the receptor is no building",
    "foundation": f"one of {', '.join(FOUNDATIONS)}",
    "depth_m": "depth of a buried pipe's axis or of a basement below ground; NaN where none is given",
    "occupied_hours": "text 'HH:MM-HH:MM', several separated by commas; None means always",
    "equipment": "text: class of sensitive equipment; None where there is none",
}
PILE_COLUMNS: dict[str, str] = {
    "id": "text, unique",
    "section": "text: the part of the wall",
    "pile_type": "identifier of a pile type of the catalogue",
    "length_m": "length of the pile, which is also the depth of its toe below ground at the end of the drive",
    "spacing_m": "distance to the next pile along the line; NaN for piles given as points",
}


@dataclass(frozen=True, slots=True)
class Known:
    """The words that a scenario may use, handed in by whoever owns them.

    Required are the identifiers of methods, limit sets, pile types, models and reductions. What is None isn't
    checked. `laws` tells by which models a method may be predicted; `limit_effects` for which effects a set has rules;
    `need_holidays` which sets can't be judged without public holidays; `facts` names what limit sets ask of a receptor
    and `fact_words` the words that answer (none: any text); `read_spt` reads the text of a standard penetration test
    and raises ValueError or an EnvpredictError if it can't; `a_weighted_sum` sums eight octave levels.
    `unused` names tables ("reductions") and keys ("choice.windows", "methods.frequency_hz") of the file that this
    version wouldn't use: stating one is refused, since it would change nothing unnoticed.
    """

    methods: frozenset[str]
    limit_sets: frozenset[str]
    pile_types: frozenset[str]
    models: frozenset[str]
    reductions: frozenset[str]
    plant: frozenset[str] | None = None
    ground_classes: frozenset[str] | None = None
    noise_methods: frozenset[str] | None = None
    laws: Mapping[str, frozenset[str]] = field(default_factory=dict)
    limit_effects: Mapping[str, frozenset[str]] = field(default_factory=dict)
    need_holidays: frozenset[str] = frozenset()
    facts: frozenset[str] = frozenset()
    fact_words: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    read_spt: Callable[[str], object] | None = None
    a_weighted_sum: Callable[[Sequence[float]], float] | None = None
    unused: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Programme:
    """When work may happen.

    A shift whose end isn't after its start runs past midnight; `shift_s` is its length in seconds. `holidays` are local
    dates without work; `holidays_from` tells where they come from: a country's code, "listed" or "not stated".
    """

    start: date
    working_days: tuple[str, ...]
    shift_from: time
    shift_to: time
    shift_s: int
    time_zone: str
    rigs: int
    holidays: frozenset[date]
    holidays_from: str
    reverse: bool = False

    @property
    def zone(self) -> ZoneInfo:
        """Return the time zone."""
        return ZoneInfo(self.time_zone)

    def works_on(self, day: date) -> bool:
        """Return whether a shift starts on this local date."""
        return WEEKDAYS[day.weekday()] in self.working_days and day not in self.holidays

    def working_dates(self, count: int) -> tuple[date, ...]:
        """Return the first `count` local dates on which a shift starts, from `start` on."""
        dates: list[date] = []
        day = self.start
        while len(dates) < count:
            if self.works_on(day):
                dates.append(day)
            day += timedelta(days=1)
        return tuple(dates)


@dataclass(frozen=True, slots=True)
class MethodEntry:
    """A candidate: `method` is the catalogue's, `id` names the candidate (one method may enter twice).

    `overrides` holds what the scenario states itself, by the keys of `schema.MethodTable` (for instance `energy_kj`,
    `model`, `plant`); `sections` the parts of the wall that it's for, empty meaning all.
    """

    id: str
    method: str
    title: str | None = None
    overrides: Mapping[str, Any] = field(default_factory=dict)
    sections: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CombinedEntry:
    """A candidate that is others one after another, by their ids: each for its sections, or pass after pass."""

    id: str
    parts: tuple[str, ...]
    title: str | None = None


@dataclass(frozen=True, slots=True)
class ReductionEntry:
    """A reduction that the scenario adopts, for the candidates named (empty: for all)."""

    id: str
    methods: tuple[str, ...] = ()
    overrides: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Confirmation:
    """Who compared a limit set with its document, when, which edition, and the values that stand there."""

    by: str
    date: date
    edition: str
    values: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class LimitsEntry:
    """The limit sets that the scenario adopts, per effect, in the order named."""

    damage: tuple[str, ...] = ()
    people: tuple[str, ...] = ()
    noise: tuple[str, ...] = ()
    equipment: tuple[str, ...] = ()
    assets: tuple[str, ...] = ()
    wildlife: tuple[str, ...] = ()
    settlement: tuple[str, ...] = ()
    own: Path | None = None
    confirmed: Mapping[str, Confirmation] = field(default_factory=dict)

    def by_effect(self) -> dict[str, tuple[str, ...]]:
        """Return the adopted sets of every effect, empty ones included."""
        return {effect: getattr(self, effect) for effect in LIMIT_EFFECTS}

    @property
    def ids(self) -> tuple[str, ...]:
        """Return every adopted set once, in the order named."""
        return tuple(dict.fromkeys(name for names in self.by_effect().values() for name in names))


@dataclass(frozen=True, slots=True)
class GroundDefaults:
    """What is said of the ground beside the boreholes.

    `ground_class`: one class of the catalogue; `groundwater_m`: depth of groundwater; `piling_ground`: soil, till or
    rock, for limit sets that ask. None where it isn't stated.
    """

    ground_class: str | None = None
    groundwater_m: float | None = None
    piling_ground: str | None = None


@dataclass(frozen=True, slots=True)
class Acoustic:
    """The air, and the ground as sound sees it where no polygon says otherwise (porosity 0 hard to 1 porous)."""

    temperature_c: float = 10.0
    humidity_percent: float = 70.0
    porosity: float = 0.0
    terrain: str = "flat"


@dataclass(frozen=True, slots=True)
class OwnFiles:
    """The files by which a scenario brings its own declarations; read before the scenario itself is checked."""

    limits: Path | None = None
    laws: tuple[Path, ...] = ()
    methods: tuple[Path, ...] = ()
    plant: tuple[Path, ...] = ()
    reductions: tuple[Path, ...] = ()
    pile_types: tuple[Path, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Scenario:
    """A sound scenario: every frame in `crs`, every identifier known, every default said in `notes`.

    `piles`: points in driving order, columns `PILE_COLUMNS`; `wall`: lines for drawing (section, pile_type).
    `receptors`: columns `RECEPTOR_COLUMNS` and those facts of `Known.facts` that the layer gives; geometry of any
    type.
    `obstacles`: polygons (buildings) and lines (screens), columns id, height_m and, where the layer has it,
    built_fraction (then one of the two is NaN); `acoustic_ground`: polygons, porosity;
    `constraints`: polygons, columns id, kind, value_m, from, to; `boundary`: polygons.
    `strata`: borehole, x, y (scenario's CRS), top_m, base_m (depths below ground), description, spt_n (text), cu_kpa,
    ucs_mpa, vs_m_s, cobble_m, boulder_m, gravel (text), water_m; a missing number is NaN, a missing text None.
    `baseline`: receptor, period, laeq_db, la90_db, dates, position, instrument, weather.
    `other_sources`: id, name, x, y, lwa_db, height_m, from, to.
    `inputs`: name as the scenario calls it and SHA-256 of every file that was read.
    """

    folder: Path
    title: str
    invented: bool
    crs: CRS
    piles: gpd.GeoDataFrame
    wall: gpd.GeoDataFrame
    receptors: gpd.GeoDataFrame
    programme: Programme
    methods: tuple[MethodEntry, ...]
    limits: LimitsEntry
    boundary: gpd.GeoDataFrame | None = None
    obstacles: gpd.GeoDataFrame | None = None
    acoustic_ground: gpd.GeoDataFrame | None = None
    constraints: gpd.GeoDataFrame | None = None
    surface: Path | None = None
    strata: pd.DataFrame | None = None
    baseline: pd.DataFrame | None = None
    other_sources: pd.DataFrame | None = None
    reductions: tuple[ReductionEntry, ...] = ()
    design_exceedance: float = 0.05
    choice: Mapping[str, Any] = field(default_factory=dict)
    submission: Mapping[str, Any] = field(default_factory=dict)
    ground_defaults: GroundDefaults = GroundDefaults()
    acoustic: Acoustic = Acoustic()
    own: OwnFiles = OwnFiles()
    site_law: Path | None = None
    combined: tuple[CombinedEntry, ...] = ()
    inputs: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()

    def facts(self, row: int) -> dict[str, str | None]:
        """Return what is known of the receptor at this position of `receptors`, as words for a limit set's classes."""
        names = self.receptors.columns.drop(self.receptors.geometry.name)
        words = {str(name): _word(self.receptors[name].iat[row]) for name in names}
        return {**words, "piling_ground": self.ground_defaults.piling_ground}

    def every_fact(self) -> list[dict[str, str | None]]:
        """Return the facts of every receptor, in their order: `facts` of each, but fast."""
        names = self.receptors.columns.drop(self.receptors.geometry.name)
        columns = [[_word(value) for value in self.receptors[name].tolist()] for name in names]
        site = {"piling_ground": self.ground_defaults.piling_ground}
        return [{**dict(zip(map(str, names), values, strict=True)), **site} for values in zip(*columns, strict=True)]


def _word(value: object) -> str | None:
    """Return a cell as a word: None for what is missing, whole numbers without a decimal point."""
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return None
    return f"{value:g}" if isinstance(value, float) else str(value)
