"""How a published equation is declared: what it predicts, on which distance, where it's valid, how it scatters."""

from __future__ import annotations

import importlib
import inspect
import math
import pkgutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, ParamSpec, TypeVar, cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

from envpredict.core.citation import Citation
from envpredict.core.quantities import POSITIONS, QUANTITIES
from envpredict.core.ranges import Range
from envpredict.core.registry import Registry
from envpredict.core.vocabulary import INPUTS

Statistic = Literal["median", "upper_bound", "exceedance", "deterministic"]
Distance = Literal["plan", "slope", "none"]
P = ParamSpec("P")
R = TypeVar("R")


@dataclass(frozen=True, slots=True)
class Scatter:
    """How much measured values differ from the median.

    `between_site`: this equation against this ground, one draw for a whole run; `within_site`: pile to pile, the maximum
    of one pile's drive at one point. Log10 units for linear quantities, dB for decibels. `bound_z` tells how many total
    standard deviations lie between the median and what the document prints as an upper bound.
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
    def from_total(cls, total: float, source: Citation, *, within_site: float = 0.20,
                   bound_z: float | None = None) -> Scatter:
        """Split a published total by the declared rule: `within_site` of it is pile to pile, the rest is the site.

        The default 0.20 is an estimate of ours.
        """
        within = min(within_site, total)
        return cls(math.sqrt(max(total**2 - within**2, 0.0)), within, source, bound_z)


@dataclass(frozen=True, slots=True)
class ModelSpec:
    """A published equation and everything that it declares about itself.

    Calling it calls the equation. `flags` tells what sets an equation apart (for instance `proxy`: fitted on another
    method; `estimate`: no published datum). `medians` names the function that gives the median where the equation itself
    is an upper bound or takes an exceedance.
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

    @property
    def inputs(self) -> tuple[str, ...]:
        """Return the names of the equation's inputs, all of them in the vocabulary or in `options`."""
        return tuple(inspect.signature(self.function).parameters)

    def __call__(self, *args: Any, **kwargs: Any) -> Any:
        """Evaluate the equation; arrays broadcast."""
        return self.function(*args, **kwargs)

    def in_range(self, **inputs: ArrayLike) -> NDArray[np.bool_]:
        """Return, per element of the broadcast inputs, whether every stated range holds it."""
        inside: NDArray[np.bool_] = np.ones((), dtype=bool)
        for name, limits in self.validity.items():
            if name in inputs:
                inside = inside & limits.holds(inputs[name])
        return cast("NDArray[np.bool_]", np.asarray(inside))


MODELS: Registry[ModelSpec] = Registry("model")


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
) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Declare the decorated function as a published equation and put it into the registry.

    Every argument of the function must be an input of the vocabulary, or a choice listed in `options` (argument name to
    its allowed words). Raises ValueError at import if the declaration doesn't fit the function.
    """

    def register(function: Callable[P, R]) -> Callable[P, R]:
        choices = dict(options or {})
        for name in inspect.signature(function).parameters:
            if name not in INPUTS and name not in choices:
                raise ValueError(f"model '{id}': argument '{name}' is neither in the vocabulary nor an option")
        for name in validity:
            if name not in inspect.signature(function).parameters:
                raise ValueError(f"model '{id}': a range is given for '{name}', which isn't an argument")
        if quantity not in QUANTITIES or position not in POSITIONS:
            raise ValueError(f"model '{id}': unknown quantity '{quantity}' or position '{position}'")
        MODELS.add(id, ModelSpec(id, function, quantity, position, statistic, distance, dict(validity), source, scatter,
                                 title, falls_with_distance, phase, flags, sources, choices))
        return function

    return register


def load_models() -> Registry[ModelSpec]:
    """Import every module under `models.vibration` and `models.noise` and return the filled registry."""
    for package_name in ("envpredict.models.vibration", "envpredict.models.noise"):
        package = importlib.import_module(package_name)
        for module in pkgutil.walk_packages(package.__path__, prefix=f"{package_name}."):
            importlib.import_module(module.name)
    return MODELS
