"""Which edition of ISO 9613-2 is meant, and where each of its parts was seen."""

from __future__ import annotations

from typing import Final, Literal

from envpredict.core.citation import Citation

Basis = Literal["read", "memory"]

EDITION: Final = "ISO 9613-2:1996 as clarified by ISO/TR 17534-3:2015"
NOT_CLAIMED: Final = ("ISO 9613-2:2024 is not implemented: it changes how the ground regions are combined and the "
                      "screening terms, with higher levels behind screens.")
_LIBRARY: Final = "the reference text of a general-purpose acoustics library that implements the standard"


def _place(place: str, basis: Basis = "read", note: str = "") -> Citation:
    return Citation("ISO 9613-2", 1996, place, basis, via=_LIBRARY if basis == "read" else "", note=note)


LEVEL: Final = _place("6, equations (3) to (5)")
DIVERGENCE: Final = _place("7.1, equation (7)")
AIR: Final = _place("7.2, equation (8)")
GROUND: Final = _place("7.3.1, equation (9), Table 3")
ALTERNATIVE_GROUND: Final = _place("7.3.2, equations (10) and (11)")
SCREEN: Final = _place("7.4, equations (12) to (18)")
SCREEN_SIZE: Final = _place("7.4, what counts as a screen", "memory")
REFLECTION: Final = _place("7.5, equations (19) and (20)", "memory")
WEATHER: Final = _place("8, equations (21) and (22)")
LONG_DETOUR: Final = Citation(
    "our judgement", None, "a way round a side that more than doubles the path loses the divergence of what is beyond",
    "estimate", note="ISO 9613-2 may leave out a detour of more than eight times that over the top; here none is left "
    "out, and none depends on the top, so that a higher screen is never louder")
POINT_SOURCE: Final = _place("4, when a group of sources is one point", "memory")
ACCURACY: Final = _place("9, Table 5", "memory",
                         note="the span, +/-1 to +/-3 dB up to 1000 m, was read; its cells were not")
CLARIFIED: Final = Citation("ISO/TR 17534-3", 2015, "6.2.5: ground factor of a region of mixed ground", "read",
                            via="a public text that quotes the clause")
