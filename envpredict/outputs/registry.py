"""Outputs of a run: each is a function declared with the file that it writes."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from envpredict.core.registry import Registry

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment

Writer = Callable[["Assessment", Path], None]


@dataclass(frozen=True, slots=True)
class Output:
    """A file of the result folder: its name, what it holds, and the function that writes it to a path."""

    name: str
    holds: str
    write: Writer


OUTPUTS: Registry[Output] = Registry("output")


def output(name: str, holds: str) -> Callable[[Writer], Writer]:
    """Declare the decorated function as the writer of a file of the result folder."""

    def register(write: Writer) -> Writer:
        OUTPUTS.add(name, Output(name, holds, write))
        return write

    return register


def load_outputs() -> Registry[Output]:
    """Import every module of the package, so that each has declared what it writes, and return the registry."""
    import envpredict.outputs as package

    for module in pkgutil.iter_modules(package.__path__, prefix="envpredict.outputs."):
        importlib.import_module(module.name)
    return OUTPUTS
