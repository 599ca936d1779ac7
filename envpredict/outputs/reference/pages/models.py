"""Every published equation that can be chosen: what it predicts, where it is valid, how it scatters.

A `median` is what half of the measured values exceed; an `upper_bound` is what the document prints as a safe upper
line, and the equation's scatter says how far above the median it lies.
"""

from __future__ import annotations

import inspect

from envpredict.core.quantities import POSITIONS, QUANTITIES
from envpredict.core.vocabulary import INPUTS
from envpredict.engine.catalogue import load_catalogue
from envpredict.models.spec import ModelSpec
from envpredict.outputs.reference.markdown import facts, marked, sections, table

TITLE = "Equations"


def _scatter(spec: ModelSpec) -> str:
    if spec.scatter is None:
        return "none stated"
    unit = "dB" if QUANTITIES[spec.quantity].scale == "decibel" else "log10"
    bound = f"; the bound lies {spec.scatter.bound_z:.3g} standard deviations above the median" \
        if spec.scatter.bound_z is not None else ""
    return (f"{spec.scatter.between_site:.3g} between sites, {spec.scatter.within_site:.3g} within a site "
            f"({unit}){bound}; {spec.scatter.source}")


def _inputs(spec: ModelSpec) -> str:
    rows = []
    for name, parameter in inspect.signature(spec.function).parameters.items():
        default = None if parameter.default is inspect.Parameter.empty else parameter.default
        if name in spec.options:
            rows.append((f"`{name}`", "word", "one of " + ", ".join(spec.options[name]), default, "-"))
        else:
            valid = str(spec.validity[name]) if name in spec.validity else "-"
            rows.append((f"`{name}`", INPUTS[name].unit, INPUTS[name].meaning, default, valid))
    return table(["input", "unit", "meaning", "default", "valid range"], rows)


def _section(spec: ModelSpec) -> str:
    quantity = QUANTITIES[spec.quantity]
    return sections([
        f"## {spec.id}",
        f"{spec.title}.",
        facts([
            ("predicts", f"{quantity.symbol} ({quantity.meaning}), {quantity.unit}, {POSITIONS[spec.position]}"),
            ("statistic", spec.statistic),
            ("distance", spec.distance),
            ("phase of the work", spec.phase),
            ("set apart by", spec.flags),
            ("scatter", _scatter(spec)),
            ("source", spec.source),
            ("further sources", "; ".join(str(source) for source in spec.sources)),
        ]),
        _inputs(spec),
    ])


def body() -> str:
    """Return the list of equations, and one section on each."""
    models = load_catalogue().models
    rows = [(f"[{spec.id}](#{spec.id})", spec.title, QUANTITIES[spec.quantity].symbol, spec.statistic,
             marked(spec.basis)) for spec in models.values()]
    head = ["equation", "what", "quantity", "statistic", "basis"]
    return sections([table(head, rows), *(_section(spec) for spec in models.values())])
