"""Measures that lower vibration or noise, in the order in which they are tried.

1 another method, 2 loosened ground, 3 settings of the machine, 4 time, 5 the path, 6 the receiver.
"""

from __future__ import annotations

from envpredict.engine.catalogue import load_catalogue
from envpredict.methods.schema import Reduction
from envpredict.outputs.reference.markdown import cited, facts, sections, table, values

TITLE = "Reductions"


def _section(measure: Reduction) -> str:
    effects = [(name, values(part), cited(part))
               for name, part in (("vibration", measure.vibration), ("noise", measure.noise)) if part is not None]
    return sections([
        f"## {measure.id}",
        f"{measure.title}.",
        facts([("changes", measure.setting), ("with methods of the family", measure.families),
               ("with methods", measure.methods), ("unknown", measure.unknown), ("caution", measure.caution),
               ("source", measure.citation)]),
        table(["effect on", "value", "source"], effects) if effects else "",
    ])


def body() -> str:
    """Return the measures in their order, and one section on each."""
    measures = sorted(load_catalogue().reductions.values(), key=lambda measure: (measure.order, measure.id))
    rows = [(measure.order, f"[{measure.id}](#{measure.id})", measure.title, measure.setting) for measure in measures]
    return sections([table(["order", "measure", "title", "changes"], rows), *map(_section, measures)])
