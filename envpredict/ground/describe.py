"""What the description of a stratum says it is made of."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, get_args

Kind = Literal["cohesive", "coarse", "rock", "organic", "fill", "unknown"]
KINDS: tuple[Kind, ...] = get_args(Kind)

_NOUNS: dict[Kind, tuple[str, ...]] = {
    "cohesive": ("clay", "silt", "till", "loam", "mud"),
    "coarse": ("sand", "sands", "gravel", "gravels", "cobbles", "boulders", "ballast"),
    "rock": ("rock", "bedrock", "sandstone", "mudstone", "siltstone", "claystone", "limestone", "chalk", "marlstone",
             "shale", "slate", "granite", "gneiss", "schist", "basalt", "dolerite", "andesite", "tuff", "conglomerate",
             "breccia", "dolomite", "quartzite", "gypsum"),
    "organic": ("peat", "topsoil", "gyttja"),
    "fill": ("fill", "ground", "rubble"),
}
_KIND_OF = {noun: kind for kind, nouns in _NOUNS.items() for noun in nouns}
# what follows these words is an inclusion, not what the stratum is
_INCLUSIONS = re.compile(r"\b(?:with|containing|including|some|occasional|few|many|over|becoming)\b")
_GRAVEL = re.compile(r"\bgravels?\b")
_COBBLES = re.compile(r"\bcobbles?\b|\bcobbly\b")
# boulder clay is an old name of till, and says nothing about boulders
_BOULDERS = re.compile(r"\bboulders\b|\bbouldery\b|\bboulder\b(?!\s+clay)")


@dataclass(frozen=True, slots=True)
class Described:
    """What a description says: the kind of ground, and whether it speaks of gravel, cobbles and boulders.

    `gravel` is about what the ground is, not about gravelly clay or clay with some gravel.
    """

    kind: Kind
    gravel: bool
    cobbles: bool
    boulders: bool


def describe(text: str) -> Described:
    """Read an English description such as `stiff sandy gravelly CLAY with cobbles`.

    The last noun before the first inclusion names the ground; silt counts as cohesive. What holds no known noun is
    `unknown`.
    """
    words = text.casefold()
    main = _INCLUSIONS.split(words)[0]
    nouns = [word for word in re.findall(r"[a-z]+", main) if word in _KIND_OF]
    kind: Kind = "unknown"
    if "ground" in nouns and "made" not in main:
        nouns = [word for word in nouns if word != "ground"]
    if nouns:
        kind = "fill" if "fill" in nouns or "ground" in nouns or "rubble" in nouns else _KIND_OF[nouns[-1]]
    return Described(kind, kind == "coarse" and bool(_GRAVEL.search(main)), bool(_COBBLES.search(words)),
                     bool(_BOULDERS.search(words)))
