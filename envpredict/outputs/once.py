"""What several outputs of one run share is made once and forgotten with the run."""

from __future__ import annotations

import weakref
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar, cast

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment

T = TypeVar("T")
_KEPT: dict[int, dict[str, Any]] = {}


def once(assessment: Assessment, make: Callable[[Assessment], T]) -> T:
    """Return `make(assessment)`, computed at the first call for a run.

    What is made must not hold the run's findings: it's forgotten when they are.
    """
    findings = assessment.findings
    key = id(findings)
    if key not in _KEPT:
        _KEPT[key] = {}
        weakref.finalize(findings, _KEPT.pop, key, None)
    kept = _KEPT[key]
    name = f"{make.__module__}.{make.__qualname__}"
    if name not in kept:
        kept[name] = make(assessment)
    return cast("T", kept[name])
