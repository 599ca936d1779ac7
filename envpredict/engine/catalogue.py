"""Everything that can be named in a scenario, the user's own declarations included."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, TypeVar

from envpredict.core.errors import InputProblems, Problem
from envpredict.core.registry import Registry
from envpredict.core.words import suggestion

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from envpredict.limits.schema import LimitSet
    from envpredict.methods.schema import Method, MovementFlag, PileType, Plant, Reduction
    from envpredict.models.spec import ModelSpec
    from envpredict.scenario.types import OwnFiles

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Catalogue:
    """The registries of a run."""

    methods: Registry[Method]
    plant: Registry[Plant]
    reductions: Registry[Reduction]
    pile_types: Registry[PileType]
    movement: Registry[MovementFlag]
    models: Registry[ModelSpec]
    limit_sets: Registry[LimitSet]


def load_catalogue(own: OwnFiles | None = None) -> Catalogue:
    """Return what is shipped plus what the scenario brings.

    Raises InputProblems with the faults of all of the user's files, and with laws that a user's method names in vain.
    """
    from envpredict.engine.own_laws import with_own_laws
    from envpredict.limits.load import load_limit_sets
    from envpredict.methods.load import (
        load_methods,
        load_movement_flags,
        load_pile_types,
        load_plant,
        load_reductions,
    )

    if own is None:
        return _shipped()
    problems: list[Problem] = []

    def read(load: Callable[[Sequence[Path]], Registry[T]], paths: Sequence[Path]) -> Registry[T]:
        try:
            return load(paths)
        except InputProblems as error:
            problems.extend(error.problems)
            return load(())

    found = Catalogue(
        methods=read(load_methods, own.methods),
        plant=read(load_plant, own.plant),
        reductions=read(load_reductions, own.reductions),
        pile_types=read(load_pile_types, own.pile_types),
        movement=load_movement_flags(),
        models=read(with_own_laws, own.laws),
        limit_sets=read(load_limit_sets, (own.limits,) if own.limits else ()),
    )
    problems += [Problem(f"method '{method.id}'", f"names an unknown law '{law.model}'",
                         suggestion(law.model, found.models))
                 for method in found.methods.values() for law in method.laws if law.model not in found.models]
    if problems:
        raise InputProblems(problems, "the user's own files")
    return found


@lru_cache(maxsize=1)
def _shipped() -> Catalogue:
    from envpredict.scenario.types import OwnFiles

    return load_catalogue(OwnFiles())
