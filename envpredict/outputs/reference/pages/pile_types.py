"""The types of pile that are shipped; dimensions are ranges over the sections in use."""

from __future__ import annotations

from envpredict.engine.catalogue import load_catalogue
from envpredict.methods.fields import Cited
from envpredict.methods.schema import PileType
from envpredict.outputs.reference.markdown import cited, facts, sections, table, values

TITLE = "Types of pile"


def _section(pile: PileType) -> str:
    parts = [(name, getattr(pile, name)) for name in type(pile).model_fields]
    own = [(f"{family}, {ground}", f"{suit.code} {suit.aid}".strip(), cited(suit))
           for family, by_ground in pile.suits.items() for ground, suit in by_ground.items()]
    return sections([
        f"## {pile.id}",
        f"{pile.title}.",
        facts([("form", pile.form), ("displacement of soil", pile.displacement), ("interlocks", pile.interlocks),
               ("driven as", pile.driven_as), ("made to stand against a face", pile.against_face),
               ("note", pile.note)]),
        table(["dimension", "value", "source"],
              [(name, values(part), cited(part)) for name, part in parts if isinstance(part, Cited)]),
        table(["where it differs from its method", "suits", "source"], own) if own else "",
    ])


def body() -> str:
    """Return one section on each type of pile."""
    return sections(_section(pile) for pile in load_catalogue().pile_types.values())
