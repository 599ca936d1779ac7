"""The law of a site as a file: what trial records have made of a published law, and of the sound power of plant.

`envpredict fit` writes the file, `[site_law] file` of a scenario names it. It holds the records that it rests on, so
that whether they suffice is counted here and never taken from what the file says of itself.
"""

from __future__ import annotations

import itertools
import math
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from envpredict.core.citation import Citation
from envpredict.core.quantities import QUANTITIES

Floats = NDArray[np.float64]
SCHEMA = "envpredict site law 1"
Reads = Literal["level", "below", "above"]
Stratum = Literal["hard", "other"]
STRATA: dict[str, str] = {
    "hard": "piles that entered the hard stratum (N above 50, refusal or rock)",
    "other": "piles that never entered the hard stratum",
}

LEAST_TO_FIT = 3
LEAST_RECORDS = 6
LEAST_DISTANCES = 3
LEAST_SPREAD = 4.0
LEAST_PILES = 2
NEAREST, FARTHEST = 0.5, 2.0
STEEPEST, FLATTEST = -2.0, -0.5
SAME_DISTANCE = 1.1
LEAST_LEVELS = 6
ENERGY_ABOVE = 1.05
ENOUGH = Citation(
    "our judgement", None, f"{LEAST_RECORDS} records of {LEAST_PILES} piles or more at {LEAST_DISTANCES} distances or "
    f"more, the farthest {LEAST_SPREAD:g} times the nearest or more; exponent {STEEPEST:g} to {FLATTEST:g}", "estimate")
REACH = Citation("our judgement", None, f"a site law reaches from {NEAREST:g} times the nearest to {FARTHEST:g} times "
                 "the farthest record", "estimate")


def speaks_for(measured: str, wanted: str) -> bool:
    """Tell whether a measured peak velocity is never below the component that another quantity is about."""
    component = QUANTITIES[wanted].component
    never_below = {"ppv_resultant": True, "ppv_component": component != "resultant",
                   "ppv_vertical": component in ("vertical", "vertical, weighted"),
                   "ppv_horizontal": component == "largest horizontal"}
    return measured == wanted or never_below.get(measured, False)


def _tuple(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


def _citation(value: Any) -> Any:
    return Citation(**{"year": None, **value}) if isinstance(value, dict) else value


Numbers = Annotated[tuple[float, ...], BeforeValidator(_tuple)]
Texts = Annotated[tuple[str, ...], BeforeValidator(_tuple)]
Cited = Annotated[Citation, BeforeValidator(_citation)]
Positive = Annotated[float, Field(gt=0)]


class Part(BaseModel):
    """A frozen part of the file; keys that it doesn't know, nan and infinity are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, arbitrary_types_allowed=True)


class Data(Part):
    """The records behind a stratum, one entry each: the highest level of one pile's drive at one point.

    `distance_m`: as the law takes it, in plan or to the toe; `reads`: the level itself, a level that it stayed below (a
    trigger), or one that it went above (an instrument's range).
    """

    pile: Texts
    distance_m: Annotated[tuple[Positive, ...], BeforeValidator(_tuple)]
    ppv_mm_s: Annotated[tuple[Positive, ...], BeforeValidator(_tuple)]
    reads: Annotated[tuple[Reads, ...], BeforeValidator(_tuple)]
    published_mm_s: Annotated[tuple[Positive, ...], BeforeValidator(_tuple)]

    @model_validator(mode="after")
    def _alike(self) -> Data:
        lengths = {len(part) for part in (self.pile, self.distance_m, self.ppv_mm_s, self.reads, self.published_mm_s)}
        if len(lengths) != 1:
            raise ValueError("pile, distance_m, ppv_mm_s, reads and published_mm_s differ in length")
        return self

    @property
    def exact(self) -> NDArray[np.bool_]:
        """Return which records read the level itself."""
        return np.array([word == "level" for word in self.reads], dtype=bool)

    @property
    def levels_m(self) -> Floats:
        """Return the distances of the records that read a level, sorted."""
        return np.asarray(np.sort(np.asarray(self.distance_m)[self.exact]))


class StratumFit(Part):
    """What the records make of the law for piles that entered the hard stratum, or for those that never did.

    In log10 units: the median is shifted by `level_shift + slope_shift log10(distance / reference_m)`; `covariance`
    holds the variance of the level shift, the covariance, the variance of the slope shift: together the new scatter
    between sites. `exponent`: of distance in the updated law; `line_exponent`: of the line through the records alone.
    """

    ground: Stratum
    reference_m: Positive
    level_shift: float
    slope_shift: float
    covariance: Annotated[tuple[float, float, float], BeforeValidator(_tuple)]
    within_site: Positive
    exponent: float
    line_exponent: float | None = None
    data: Data

    @model_validator(mode="after")
    def _sound(self) -> StratumFit:
        level, both, slope = self.covariance
        if level < 0 or slope < 0 or both**2 > level * slope * (1 + 1e-9):
            raise ValueError("covariance holds no covariance: variance of the level, covariance, variance of the slope")
        if self.data.exact.sum() < LEAST_TO_FIT:
            raise ValueError(f"fewer than {LEAST_TO_FIT} records read a level")
        return self

    @property
    def reach_m(self) -> tuple[float, float]:
        """Return the least and the greatest distance to which the records reach."""
        levels = self.data.levels_m
        return NEAREST * float(levels[0]), FARTHEST * float(levels[-1])

    @property
    def counts(self) -> tuple[int, int, int]:
        """Return how many records read a level, of how many piles, at how many distances."""
        exact = self.data.exact
        return int(exact.sum()), len({p for p, ok in zip(self.data.pile, exact, strict=True) if ok}), distances(
            self.data.levels_m)

    def lacks(self) -> tuple[str, ...]:
        """Return what the records lack before `unlikely` may rest on them; nothing where they suffice."""
        records, piles, places = self.counts
        levels = self.data.levels_m
        spread = float(levels[-1] / levels[0])
        found = []
        if records < LEAST_RECORDS:
            found.append(f"{records} of {LEAST_RECORDS} records")
        if piles < LEAST_PILES:
            found.append(f"{piles} of {LEAST_PILES} piles")
        if places < LEAST_DISTANCES:
            found.append(f"{places} of {LEAST_DISTANCES} distances")
        if spread < LEAST_SPREAD:
            found.append(f"the farthest {spread:.2g} instead of {LEAST_SPREAD:g} times the nearest distance")
        for name, exponent in (("the updated law", self.exponent), ("the records alone", self.line_exponent)):
            if exponent is not None and not STEEPEST <= exponent <= FLATTEST:
                found.append(f"exponent of {name} {exponent:.2f}, outside {STEEPEST:g} to {FLATTEST:g}")
        return tuple(found)

    def shift(self, distance_m: Floats) -> Floats:
        """Return what is added to log10 of the published median at distances, any shape."""
        return np.asarray(self.level_shift + self.slope_shift * np.log10(distance_m / self.reference_m))

    def between(self, distance_m: Floats) -> Floats:
        """Return the scatter between sites that is left at distances, any shape, in log10 units."""
        u = np.log10(distance_m / self.reference_m)
        level, both, slope = self.covariance
        return np.asarray(np.sqrt(np.maximum(level + 2 * both * u + slope * u**2, 0.0)))


def distances(levels_m: Floats) -> int:
    """Return how many distances there are: those within 10 % of the nearest one of a group count once."""
    groups, first = 0, -math.inf
    for distance in levels_m:
        if distance > SAME_DISTANCE * first or not groups:
            groups, first = groups + 1, float(distance)
    return groups


class LawPrior(Part):
    """The published law as it was before the records; scatters in log10 units."""

    between_site: Annotated[float, Field(ge=0)]
    slope_sd: Annotated[float, Field(ge=0)]
    within_site: Positive
    factor: Positive
    parameters: dict[str, float | str]
    source: Cited
    scatter_source: Cited
    slope_source: Cited


class SiteLaw(Part):
    """A published law of one phase of one method, updated.

    `energy_kj`: lowest and highest of the records; `pile_types`, `longest_m`: of the piles of the trial, where known.
    """

    method: str
    phase: Literal["all", "running", "start_stop"]
    stage: str
    model: str
    quantity: str
    distance: Literal["plan", "slope"]
    energy_kj: Annotated[tuple[Positive, Positive] | None, BeforeValidator(_tuple)] = None
    pile_types: Texts = ()
    longest_m: Positive | None = None
    prior: LawPrior
    strata: Annotated[tuple[StratumFit, ...], BeforeValidator(_tuple), Field(min_length=1, max_length=2)]

    @model_validator(mode="after")
    def _once(self) -> SiteLaw:
        if len({fit.ground for fit in self.strata}) != len(self.strata):
            raise ValueError("a stratum stands twice")
        return self

    def of(self, ground: str) -> StratumFit | None:
        """Return the fit for `hard` or `other` piles, or None."""
        return next((fit for fit in self.strata if fit.ground == ground), None)


class PlantFit(Part):
    """The sound power of an item of plant, updated: dB re 1 pW, A-weighted.

    `measured_db`: the sound powers that the measurements mean; `measured_sd_db`: their standard deviation as used.
    """

    plant: str
    prior_db: float
    prior_u_db: Positive
    prior_source: Cited
    measured_db: Numbers
    measured_sd_db: Positive
    posterior_db: float
    posterior_u_db: Positive
    formula: Cited

    @model_validator(mode="after")
    def _measured(self) -> PlantFit:
        if not self.measured_db:
            raise ValueError("measured_db is empty")
        return self

    def lacks(self) -> tuple[str, ...]:
        """Return what the measurements lack before `unlikely` may rest on them."""
        few = len(self.measured_db) < LEAST_LEVELS
        return (f"{len(self.measured_db)} of {LEAST_LEVELS} measurements",) if few else ()


class HarderGround(Part):
    """Piles at which the ground proved harder than the boreholes say, and what shows it."""

    piles: Annotated[tuple[str, ...], BeforeValidator(_tuple), Field(min_length=1)]
    from_m: Annotated[float, Field(ge=0)]
    to_m: Positive
    why: Annotated[str, Field(min_length=1)]


class SiteFile(Part):
    """Everything that a site's records have taught. `records`: name and SHA-256 of each file that was read."""

    form: Literal["envpredict site law 1"] = Field(alias="schema")
    title: str = ""
    invented: bool = False
    fitted_with: str
    records: dict[str, str]
    vibration: Annotated[tuple[SiteLaw, ...], BeforeValidator(_tuple)] = ()
    plant: Annotated[tuple[PlantFit, ...], BeforeValidator(_tuple)] = ()
    harder_ground: Annotated[tuple[HarderGround, ...], BeforeValidator(_tuple)] = ()

    @model_validator(mode="after")
    def _something(self) -> SiteFile:
        if not (self.vibration or self.plant or self.harder_ground):
            raise ValueError("holds neither a law, nor plant, nor harder ground")
        names = [(law.method, law.phase, law.stage, law.model) for law in self.vibration]
        twice = [one for one, other in itertools.combinations(names, 2) if one[:3] == other[:3]]
        if twice:
            raise ValueError(f"two laws speak of method '{twice[0][0]}', phase {twice[0][1]}")
        if len({item.plant for item in self.plant}) != len(self.plant):
            raise ValueError("an item of plant stands twice")
        return self
