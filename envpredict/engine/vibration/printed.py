"""The curves that a document prints beside its law, under the document's own labels and digit for digit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from envpredict.core.registry import Registry
    from envpredict.models.spec import ModelSpec

BOUND = "upper bound as printed"


@dataclass(frozen=True, slots=True)
class PrintedCurve:
    """A curve as printed: its label, the equation that gives it and the options that choose it."""

    label: str
    spec: ModelSpec
    options: Mapping[str, str]


def printed_curves(models: Registry[ModelSpec], spec: ModelSpec, inputs: Mapping[str, Any]) -> list[PrintedCurve]:
    """Return the printed curves of a law, for the words that its inputs hold; none where the document prints none.

    A law that is itself an upper bound is its own printed curve. A label is the document's, and no statistic of ours.
    """
    if spec.statistic == "upper_bound":
        return [PrintedCurve(BOUND, spec, {})]
    found = []
    for curve in models.values():
        if curve.statistic != "exceedance" or curve.medians != spec.id:
            continue
        free = [name for name in curve.options if name not in inputs]
        for words in product(*(curve.options[name] for name in free)):
            found.append(PrintedCurve(f"'{', '.join(words)}' as printed", curve, dict(zip(free, words, strict=True))))
    return found


def printed_values(curve: PrintedCurve, **inputs: Any) -> Any:
    """Return the values of a printed curve in mm/s; inputs are those of the law, arrays broadcast."""
    taken = {name: value for name, value in inputs.items() if name in curve.spec.inputs}
    return curve.spec(**taken, **curve.options)
