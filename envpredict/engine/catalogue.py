"""Everything that can be named in a scenario, the user's own declarations included."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from envpredict.core.registry import Registry

if TYPE_CHECKING:
    from envpredict.limits.schema import LimitSet
    from envpredict.methods.schema import Method, MovementFlag, PileType, Plant, Reduction
    from envpredict.models.spec import ModelSpec
    from envpredict.scenario.types import OwnFiles


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
    """Return what is shipped plus what the scenario brings. Raises InputProblems for faults in the user's files."""
    from envpredict.limits.load import load_limit_sets
    from envpredict.methods.load import (
        load_methods,
        load_movement_flags,
        load_pile_types,
        load_plant,
        load_reductions,
    )
    from envpredict.models.spec import load_models

    if own is None:
        return _shipped()
    return Catalogue(
        methods=load_methods(own.methods),
        plant=load_plant(own.plant),
        reductions=load_reductions(own.reductions),
        pile_types=load_pile_types(own.pile_types),
        movement=load_movement_flags(),
        models=load_models(),
        limit_sets=load_limit_sets((own.limits,) if own.limits else ()),
    )


@lru_cache(maxsize=1)
def _shipped() -> Catalogue:
    from envpredict.scenario.types import OwnFiles

    return load_catalogue(OwnFiles())
