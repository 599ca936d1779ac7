"""Screening prediction of vibration and noise from pile installation in hard ground, judged against published limits.

The names below are loaded when they're first used, so that importing the package stays instant.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from envpredict.core.registry import Registry
    from envpredict.engine.assess import assess
    from envpredict.engine.intake import read_scenario
    from envpredict.limits.schema import LimitSet
    from envpredict.methods.schema import Method, Plant
    from envpredict.models.spec import ModelSpec

    laws: Registry[ModelSpec]
    limit_sets: Registry[LimitSet]
    methods_catalogue: Registry[Method]
    plant_catalogue: Registry[Plant]

__all__ = ["assess", "laws", "limit_sets", "methods_catalogue", "plant_catalogue", "read_scenario"]

_FUNCTIONS = {"assess": "envpredict.engine.assess", "read_scenario": "envpredict.engine.intake"}
_REGISTRIES = {
    "laws": ("envpredict.models.spec", "load_models"),
    "limit_sets": ("envpredict.limits.load", "load_limit_sets"),
    "methods_catalogue": ("envpredict.methods.load", "load_methods"),
    "plant_catalogue": ("envpredict.methods.load", "load_plant"),
}


def __getattr__(name: str) -> Any:
    if name in _FUNCTIONS:
        return getattr(importlib.import_module(_FUNCTIONS[name]), name)
    if name in _REGISTRIES:
        module, loader = _REGISTRIES[name]
        return getattr(importlib.import_module(module), loader)()
    raise AttributeError(f"module 'envpredict' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
