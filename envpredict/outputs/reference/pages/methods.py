"""The installation methods that are shipped: how they vibrate, what predicts them, how fast, in which ground.

F means feasible, A feasible with assistance or care, N not feasible alone or not recommended. A rate is metres of pile
per hour and rig, pitching and moves included: slow, likely, fast.
"""

from __future__ import annotations

from collections.abc import Iterator

from envpredict.engine.catalogue import load_catalogue
from envpredict.methods.fields import Cited
from envpredict.methods.schema import Method
from envpredict.outputs.reference.markdown import cited, facts, sections, table, values

TITLE = "Installation methods"


def _parts(method: Method) -> Iterator[tuple[str, Cited | None]]:
    yield "frequency", method.frequency
    yield "frequency when starting and stopping", method.start_stop_frequency
    yield "energy", method.energy
    yield "blows per minute", method.blow_rate_per_min
    for stage in method.stages:
        yield f"stage {stage.id}", stage
    for name in type(method.needs).model_fields:
        part = getattr(method.needs, name)
        if isinstance(part, Cited):
            yield f"needs: {name}", part


def _ground(method: Method) -> str:
    rows = []
    for ground, suit in method.suits.items():
        rate = method.rates.get(ground)
        speed = f"{rate.slow:g}, {rate.likely:g}, {rate.fast:g}" if rate else None
        rows.append((ground, suit.code, suit.aid, cited(suit), speed, cited(rate)))
    return table(["ground", "suits", "aid", "source", "m/h", "source of the rate"], rows)


def _laws(method: Method) -> str:
    rows = []
    for law in method.laws:
        kind = "estimate" if law.estimate else "proxy" if law.proxy else ""
        changed = ", ".join([*([f"factor {law.factor:g}"] if law.factor != 1 else []),
                             *(f"{name} {value}" for name, value in law.parameters.items())])
        rows.append((f"[{law.model}](models.md#{law.model})", law.role, law.phase, law.stage, kind, changed, law.why,
                     cited(law)))
    return table(["equation", "role", "phase", "stage", "kind", "with", "why", "source"], rows)


def _section(method: Method) -> str:
    signal = method.signal + (", resonance-free start and stop" if method.zero_moment else "")
    plant = [(f"[{use.plant}](plant.md#{use.plant})", use.stage, use.part, use.count,
              f"{use.on_time_fraction:g} ({use.on_time_low:g} to {use.on_time_high:g})", cited(use))
             for use in method.plant]
    return sections([
        f"## {method.id}",
        f"{method.title}.",
        facts([("family", method.family), ("signal", signal), ("forms of pile", method.forms), ("note", method.note),
               ("reaction", method.needs.reaction), ("water", method.needs.water_supply),
               ("on site", method.needs.note)]),
        table(["property", "value", "source"],
              [(name, values(part), cited(part)) for name, part in _parts(method) if part is not None]),
        _laws(method),
        table(["plant", "stage", "works during", "number", "on-time fraction", "source"], plant),
        _ground(method),
        table(["limit of the ground", "value", "source"],
              [(limit.id, values(limit, ["id"]), cited(limit)) for limit in method.ground_limits])
        if method.ground_limits else "",
    ])


def body() -> str:
    """Return the list of methods, and one section on each."""
    methods = load_catalogue().methods
    rows = [(f"[{entry.id}](#{entry.id})", entry.title, entry.family, entry.signal,
             entry.laws[0].model, "estimate" if entry.laws[0].estimate else "proxy" if entry.laws[0].proxy else "")
            for entry in methods.values()]
    head = ["method", "title", "family", "signal", "first equation", "kind"]
    return sections([table(head, rows), *(_section(entry) for entry in methods.values())])
