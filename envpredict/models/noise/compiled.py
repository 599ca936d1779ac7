"""How loops over pairs are compiled: cached on disk, sums in the order written, without the lock."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba

F = TypeVar("F", bound=Callable[..., Any])


def compiled(function: F) -> F:
    """Compile a function of numbers and arrays at its first call and keep the result on disk.

    No fast-math: a sum keeps the order in which it is written, so that the same inputs give the same bits. The lock is
    released, so that threads may work on tiles side by side. The cache notices changes of a kernel's own module alone:
    whoever changes one that another module's kernels call empties the `__pycache__` folders.
    """
    options: dict[str, Any] = {"nogil": True, "fastmath": False, "error_model": "numpy"}
    try:
        return cast("F", numba.njit(cache=True, **options)(function))
    except RuntimeError:
        # neither the package's folder nor the user's can be written: compiled anew in each run, with the same results
        return cast("F", numba.njit(**options)(function))
