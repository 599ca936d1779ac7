"""How a published equation is declared: what it predicts, on which distance, where it's valid, how it scatters."""

from __future__ import annotations

import importlib
import inspect
import math
import pkgutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from statistics import NormalDist
from typing import Any, Literal, ParamSpec, TypeVar, cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

from envpredict.core.citation import Basis, Citation, weakest
from envpredict.core.quantities import POSITIONS, QUANTITIES
from envpredict.core.ranges import Range
from envpredict.core.registry import Registry
from envpredict.core.vocabulary import INPUTS
from envpredict.models.arguments import Floats, numbers

Statistic = Literal["median", "upper_bound", "exceedance", "deterministic"]
Distance = Literal["plan", "slope", "none"]
P = ParamSpec("P")
R = TypeVar("R")

WITHIN_SITE = 0.20
SPLIT_RULE = Citation("our judgement", None, "where only a total scatter is published, 0.20 of it (log10 units) is "
                      "pile to pile and the rest, in quadrature, the error of the law on this ground", "estimate")

PHASES: dict[str, str] = {
    "all": "the whole drive",
    "running": "steady running of a vibrator",
    "start_stop": "start-up and run-down of a vibrator",
}


@dataclass(frozen=True, slots=True)
class Scatter:
    """How much measured values differ from the median.

    `between_site`: this equation against this ground, one draw for a whole run; `within_site`: pile to pile, the
    maximum of one pile's drive at one point. Log10 units for linear quantities, dB for decibels. `bound_z` tells how
    many total standard deviations lie between the median and what the document prints as an upper bound.
    """

    between_site: float
    within_site: float
    source: Citation
    bound_z: float | None = None

    @property
    def total(self) -> float:
        """Return both scatters together."""
        return math.hypot(self.between_site, self.within_site)

    @classmethod
    def from_total(cls, total: float, source: Citation, *, within_site: float = WITHIN_SITE,
                   bound_z: float | None = None) -> Scatter:
        """Split a published total by the rule `SPLIT_RULE`: `within_site` is pile to pile, the rest the site."""
        within = min(within_site, total)
        return cls(math.sqrt(max(total**2 - within**2, 0.0)), within, source, bound_z)


@dataclass(frozen=True, slots=True)
class DerivedRange:
    """A range stated for something that follows from several inputs, for instance a scaled distance.

    `inputs` are names of the vocabulary; `value` takes them in this order, arrays broadcast, and returns what `limits`
    must hold.
    """

    meaning: str
    inputs: tuple[str, ...]
    value: Callable[..., Floats]
    limits: Range

    def holds(self, inputs: Mapping[str, ArrayLike]) -> NDArray[np.bool_]:
        """Return, per element of the broadcast inputs, whether the derived value lies inside."""
        return self.limits.holds(self.value(*(numbers(inputs[name], name) for name in self.inputs)))


@dataclass(frozen=True, slots=True)
class Origin:
    """The quantity in which a source published its values, and what turning them into velocities took for granted.

    A limit in `quantity` is judged through the model `conversion` with exactly this crest factor (and frequency, where
    the conversion takes one), so that a level turned into a velocity and back returns itself.
    """

    quantity: str
    conversion: str
    crest_factor: float
    frequency_hz: float | None
    detector: str


@dataclass(frozen=True, slots=True)
class ModelSpec:
    """A published equation and everything that it declares about itself.

    Calling it calls the equation. `flags` tells what sets an equation apart (for instance `proxy`: fitted on another
    method; `estimate`: no published datum). `medians` names the model that gives the median where the equation itself
    prints levels with a stated exceedance. `phases` maps the words of the option `phase_option` to phases, where one
    equation covers several.
    """

    id: str
    function: Callable[..., Any]
    quantity: str
    position: str
    statistic: Statistic
    distance: Distance
    validity: Mapping[str, Range]
    source: Citation
    scatter: Scatter | None
    title: str
    falls_with_distance: bool = True
    phase: str = "all"
    flags: frozenset[str] = frozenset()
    sources: tuple[Citation, ...] = ()
    options: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    derived: tuple[DerivedRange, ...] = ()
    medians: str = ""
    phase_option: str = ""
    phases: Mapping[str, str] = field(default_factory=dict)
    origin: Origin | None = None

    @property
    def inputs(self) -> tuple[str, ...]:
        """Return the names of the equation's inputs, all of them in the vocabulary or in `options`."""
        return tuple(inspect.signature(self.function).parameters)

    @property
    def defaults(self) -> dict[str, Any]:
        """Return the inputs that the document gives a value for, with that value."""
        parameters = inspect.signature(self.function).parameters
        return {name: p.default for name, p in parameters.items() if p.default is not inspect.Parameter.empty}

    @property
    def range_inputs(self) -> tuple[str, ...]:
        """Return the names that `in_range` must be given: also inputs that the equation doesn't take (a toe depth).

        Inputs with a default and those without a stated range may be given, but needn't be.
        """
        stated = [name for name, limits in self.validity.items() if limits.stated]
        names = dict.fromkeys([*stated, *(name for one in self.derived for name in one.inputs)])
        return tuple(name for name in names if name not in self.defaults)

    @property
    def basis(self) -> Basis:
        """Return how the equation is known: the weakest of all its sources, and an estimate where it says so."""
        flagged: tuple[Basis, ...] = ("estimate",) if "estimate" in self.flags else ()
        return weakest([self.source.basis, *(source.basis for source in self.sources), *flagged])

    def __call__(self, *args: Any, **kwargs: Any) -> Any:
        """Evaluate the equation; arrays broadcast."""
        return self.function(*args, **kwargs)

    def in_range(self, **inputs: ArrayLike) -> NDArray[np.bool_]:
        """Return, per element of the broadcast inputs, whether every stated range holds it.

        An input left out takes the equation's default. What isn't known is given as NaN and counts as outside; leaving
        it out raises ValueError, so that no range goes unchecked in silence. Names the ranges don't need are ignored.
        """
        known = {**self.defaults, **inputs}
        missing = [name for name in self.range_inputs if name not in known]
        if missing:
            raise ValueError(f"the range of '{self.id}' also needs {', '.join(missing)} (NaN where it isn't known)")
        inside: NDArray[np.bool_] = np.ones((), dtype=bool)
        for name, limits in self.validity.items():
            if name in known:
                inside = inside & limits.holds(known[name])
        for one in self.derived:
            inside = inside & one.holds(known)
        return cast("NDArray[np.bool_]", np.asarray(inside))

    def phase_of(self, **options: str) -> str:
        """Return the phase that a result with these options belongs to, a key of `PHASES`."""
        if not self.phase_option:
            return self.phase
        return self.phases[options.get(self.phase_option, self.defaults.get(self.phase_option, ""))]

    def median(self, values: ArrayLike) -> Floats:
        """Turn values of the equation into their medians, by its declared statistic.

        values: any shape, in the unit of `quantity`; the result has the same shape. A printed upper bound lies
        `scatter.bound_z` total standard deviations above the median. Raises ValueError where the equation prints levels
        with a stated exceedance: their median is another model's, named in `medians`.
        """
        array = numbers(values, "values")
        if self.statistic == "exceedance":
            raise ValueError(f"'{self.id}' gives levels under the document's labels; its median is '{self.medians}'")
        if self.statistic != "upper_bound":
            return array[()]
        scatter = self._scatter()
        return self._shift(array, -cast("float", scatter.bound_z) * scatter.total)

    def at_exceedance(self, values: ArrayLike, exceedance: float) -> Floats:
        """Turn values of the equation into the level that one pile exceeds with the chance `exceedance` (0 to 1).

        values: any shape, in the unit of `quantity`; the result has the same shape and unit.
        """
        if not 0.0 < exceedance < 1.0:
            raise ValueError(f"exceedance must lie between 0 and 1, not {exceedance:g}")
        return self._shift(self.median(values), NormalDist().inv_cdf(1.0 - exceedance) * self._scatter().total)

    def _scatter(self) -> Scatter:
        if self.scatter is None:
            raise ValueError(f"'{self.id}' declares no scatter")
        return self.scatter

    def _shift(self, values: Floats, by: float) -> Floats:
        if QUANTITIES[self.quantity].scale == "decibel":
            return values + by
        return cast("Floats", values * 10.0**by)


MODELS: Registry[ModelSpec] = Registry("model")


def check_declaration(spec: ModelSpec) -> None:
    """Raise ValueError if a declaration doesn't fit its function or contradicts itself."""
    taken = spec.inputs
    for name in taken:
        if name not in INPUTS and name not in spec.options:
            raise ValueError(f"model '{spec.id}': argument '{name}' is neither in the vocabulary nor an option")
    for name in (*spec.validity, *spec.range_inputs):
        if name not in INPUTS:
            raise ValueError(f"model '{spec.id}': a range is given for '{name}', which the vocabulary doesn't know")
    for name in (*spec.options, *filter(None, [spec.phase_option])):
        if name not in taken:
            raise ValueError(f"model '{spec.id}': '{name}' is given as an option, but isn't an argument")
    if spec.quantity not in QUANTITIES or spec.position not in POSITIONS:
        raise ValueError(f"model '{spec.id}': unknown quantity '{spec.quantity}' or position '{spec.position}'")
    if spec.statistic == "upper_bound" and (spec.scatter is None or spec.scatter.bound_z is None):
        raise ValueError(f"model '{spec.id}': an upper bound states the scatter and bound_z that its median needs")
    if spec.statistic == "exceedance" and not spec.medians:
        raise ValueError(f"model '{spec.id}': levels with a stated exceedance name the model of their median")
    if not {spec.phase, *spec.phases.values()} <= set(PHASES):
        raise ValueError(f"model '{spec.id}': a phase is one of {', '.join(PHASES)}")
    if set(spec.phases) != set(spec.options.get(spec.phase_option, ())):
        raise ValueError(f"model '{spec.id}': every word of '{spec.phase_option}' needs its phase")


def model(
    id: str,
    *,
    title: str,
    quantity: str,
    statistic: Statistic,
    distance: Distance,
    validity: Mapping[str, Range],
    source: Citation,
    position: str = "ground",
    scatter: Scatter | None = None,
    falls_with_distance: bool = True,
    phase: str = "all",
    flags: frozenset[str] = frozenset(),
    sources: tuple[Citation, ...] = (),
    options: Mapping[str, tuple[str, ...]] | None = None,
    derived: tuple[DerivedRange, ...] = (),
    medians: str = "",
    phase_option: str = "",
    phases: Mapping[str, str] | None = None,
    origin: Origin | None = None,
) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Declare the decorated function as a published equation and put it into the registry.

    Every argument of the function must be an input of the vocabulary, or a choice listed in `options` (argument name to
    its allowed words). `validity` may also name inputs of the vocabulary that the function doesn't take: they are
    needed to tell whether a result is in range. Raises ValueError at import if a declaration doesn't fit its function.
    """

    def register(function: Callable[P, R]) -> Callable[P, R]:
        falls = falls_with_distance and "distance_m" in inspect.signature(function).parameters
        spec = ModelSpec(id, function, quantity, position, statistic, distance, dict(validity), source, scatter, title,
                         falls, phase, flags, sources, dict(options or {}), derived, medians, phase_option,
                         dict(phases or {}), origin)
        check_declaration(spec)
        MODELS.add(id, spec)
        return function

    return register


def load_models() -> Registry[ModelSpec]:
    """Import every module under `models.vibration` and `models.noise` and return the filled registry."""
    for package_name in ("envpredict.models.vibration", "envpredict.models.noise"):
        package = importlib.import_module(package_name)
        for module in pkgutil.walk_packages(package.__path__, prefix=f"{package_name}."):
            importlib.import_module(module.name)
    return MODELS
