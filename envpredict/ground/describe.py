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
    "fill": ("fill", "ground", "rubble", "rockfill"),
}
_KIND_OF = {noun: kind for kind, nouns in _NOUNS.items() for noun in nouns}
# what follows these words is an inclusion, not what the stratum is
_INCLUSIONS = re.compile(r"\b(?:with|containing|including|some|occasional|few|many|over|becoming)\b", re.IGNORECASE)
_GRAVEL = re.compile(r"\bgravels?\b", re.IGNORECASE)
_COBBLES = re.compile(r"\bcobbles?\b|\bcobbly\b", re.IGNORECASE)
# boulder clay is an old name of till, and says nothing about boulders
_BOULDERS = re.compile(r"\bboulders\b|\bbouldery\b|\bboulder\b(?!\s+clay)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Described:
    """What a description says: the kind of ground, and whether it speaks of gravel, cobbles and boulders.

    `gravel` is about what the ground is, not about gravelly clay or clay with some gravel.
    """

    kind: Kind
    gravel: bool
    cobbles: bool
    boulders: bool


def _nouns(text: str) -> list[str]:
    """Return the nouns of ground in a text; those in capitals alone where it mixes capitals and small letters."""
    words = re.findall(r"[A-Za-z]+", text)
    found = [word for word in words if word.casefold() in _KIND_OF]
    if any(word.islower() for word in words):
        found = [word for word in found if word.isupper()] or found
    made = "made" in text.casefold()
    return [word.casefold() for word in found if word.casefold() != "ground" or made]


def describe(text: str) -> Described:
    """Read an English description such as `stiff sandy gravelly CLAY with cobbles`.

    The last noun of the first clause that has one names the ground, a noun in capitals before the others; what follows
    words such as `with` is an inclusion. Silt counts as cohesive. What holds no known noun is `unknown`.
    """
    main = _INCLUSIONS.split(text)[0]
    nouns = next((found for clause in re.split(r"[.,;:()]", main) if (found := _nouns(clause))), [])
    kind: Kind = "unknown"
    if nouns:
        kind = "fill" if any(_KIND_OF[noun] == "fill" for noun in nouns) else _KIND_OF[nouns[-1]]
    return Described(kind, kind == "coarse" and bool(_GRAVEL.search(main)), bool(_COBBLES.search(text)),
                     bool(_BOULDERS.search(text)))
