"""Outputs of a run: each is a function declared with the file that it writes."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from envpredict.core.registry import Registry

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment

Writer = Callable[["Assessment", Path], None]


def always(_: Assessment) -> bool:
    """Return True: most files belong to every result."""
    return True


def nothing(_: Assessment) -> Sequence[str]:
    """Return no sentence: most files hold all that they speak of."""
    return ()


@dataclass(frozen=True, slots=True)
class Output:
    """A file of the result folder: its name, what it holds, and the function that writes it to a path.

    `due` tells whether a run has it unasked; `left_out` tells, in sentences, what of a run the file doesn't hold since
    the run is large.
    """

    name: str
    holds: str
    write: Writer
    due: Callable[[Assessment], bool] = always
    left_out: Callable[[Assessment], Sequence[str]] = nothing


OUTPUTS: Registry[Output] = Registry("output")


def output(name: str, holds: str, *, due: Callable[[Assessment], bool] = always,
           left_out: Callable[[Assessment], Sequence[str]] = nothing) -> Callable[[Writer], Writer]:
    """Declare the decorated function as the writer of a file of the result folder."""

    def register(write: Writer) -> Writer:
        OUTPUTS.add(name, Output(name, holds, write, due, left_out))
        return write

    return register


def load_outputs() -> Registry[Output]:
    """Import every module of the package, so that each has declared what it writes, and return the registry."""
    import envpredict.outputs as package

    for module in pkgutil.iter_modules(package.__path__, prefix="envpredict.outputs."):
        importlib.import_module(module.name)
    return OUTPUTS
