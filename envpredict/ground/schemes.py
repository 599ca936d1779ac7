"""The words by which laws, rules and tables call the ground, from kind and strength; one function per scheme."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import Citation
from envpredict.core.registry import Registry
from envpredict.ground.strata import Floats, Strata, Words

UNKNOWN = "unknown"
CU_PER_N_KPA = 4.5
CU_FROM_N = Citation(
    "Stroud", None, "cu about (4 to 5) N kPa for clay of medium plasticity", "read",
    via="civilengineeringx.com/foundation/strength-and-stiffness-from-in-situ-tests/6",
    note="6 to 7 N for a plasticity index below 20; the middle of the lower range is taken",
)
PROPOSAL = Citation("our judgement", None, "mapping from strength to the scheme's words", "estimate",
                    note="the scheme's document gives words, not numbers")


@dataclass(frozen=True, slots=True)
class Scheme:
    """A scheme: its words with their meaning, how strata are given one, and where that comes from."""

    id: str
    title: str
    words: Mapping[str, str]
    function: Callable[[Strata], Words]
    citation: Citation
    note: str = ""

    def __call__(self, strata: Strata) -> Words:
        """Return the word of each stratum; `unknown` where the strength that decides is missing."""
        return self.function(strata)


SCHEMES: Registry[Scheme] = Registry("ground scheme")


def scheme(id: str, title: str, words: Mapping[str, str], citation: Citation,
           note: str = "") -> Callable[[Callable[[Strata], Words]], Callable[[Strata], Words]]:
    """Declare the decorated function as a scheme."""
    def register(function: Callable[[Strata], Words]) -> Callable[[Strata], Words]:
        SCHEMES.add(id, Scheme(id, title, dict(words), function, citation, note))
        return function

    return register


def clay_strength_kpa(strata: Strata) -> Floats:
    """Return the undrained strength of cohesive strata, by `CU_FROM_N` where it wasn't given; NaN for the others."""
    cu = np.where(np.isnan(strata.cu_kpa), CU_PER_N_KPA * strata.n, strata.cu_kpa)
    return np.where(strata.kind == "cohesive", cu, np.nan)


def strength_is_from_n(strata: Strata) -> NDArray[np.bool_]:
    """Return which cohesive strata have their strength from N alone."""
    return np.asarray((strata.kind == "cohesive") & np.isnan(strata.cu_kpa) & ~np.isnan(strata.n), dtype=bool)


def _banded(values: Floats, edges: Sequence[float], words: Sequence[str], *, top_inclusive: bool = False) -> Words:
    """Return the word of the band of each value, `unknown` for NaN.

    An edge belongs to the band above it, or with `top_inclusive` to the one below.
    """
    band = np.digitize(values, edges, right=top_inclusive)
    return np.where(np.isnan(values), UNKNOWN, np.array(words)[np.minimum(band, len(words) - 1)])


def _by_kind(strata: Strata, coarse: Words, cohesive: Words, rock: Words | str, organic: str) -> Words:
    """Return each stratum's word by its kind; fill counts as coarse."""
    return np.select(
        [np.isin(strata.kind, ("coarse", "fill")), strata.kind == "cohesive", strata.kind == "rock",
         strata.kind == "organic"],
        [coarse, cohesive, np.broadcast_to(rock, strata.kind.shape), np.full(strata.kind.shape, organic)], UNKNOWN)


BS5228_WORDS = {
    "soft": "soft cohesive, loose granular, loose fill, organic",
    "stiff": "stiff cohesive, medium dense granular, compacted fill",
    "very_stiff": "very stiff cohesive, dense granular, fill with obstructions large against the pile",
    "refusal": "the pile at refusal",
}


@scheme("bs5228_ground", "ground words of BS 5228-2 for percussive piling", BS5228_WORDS, PROPOSAL,
        "rock counts as refusal; ground in which the pile refuses is `refusal` whatever its strength")
def bs5228_ground(strata: Strata) -> Words:
    """Return soft below N 15 or 50 kPa, stiff below N 30 or 100 kPa, very_stiff above, refusal in rock."""
    words = ("soft", "stiff", "very_stiff")
    return _by_kind(strata, _banded(strata.n, (15.0, 30.0), words),
                    _banded(clay_strength_kpa(strata), (50.0, 100.0), words), "refusal", "soft")


@scheme("env1993_ground", "ground words of ENV 1993-5",
        {**{word: BS5228_WORDS[word] for word in ("soft", "stiff")},
         "very_stiff": "very stiff cohesive, dense granular, rock, fill with large obstructions"}, PROPOSAL)
def env1993_ground(strata: Strata) -> Words:
    """Return soft below N 15 or 50 kPa, stiff below N 30 or 100 kPa, very_stiff above and in rock."""
    words = bs5228_ground(strata)
    return np.where(words == "refusal", "very_stiff", words)


@scheme("caltrans_class", "soil classes I to IV of the Caltrans manual",
        {"I": "weak or soft", "II": "competent", "III": "hard", "IV": "hard, competent rock"},
        Citation("California Department of Transportation: Transportation and Construction Vibration Guidance Manual",
                 2013, "Table 17 (from Woods and Jedele 1985), N below 5, to 15, to 50, above", "memory",
                 note="the limits by undrained strength are ours"))
def caltrans_class(strata: Strata) -> Words:
    """Return I below N 5 or 25 kPa, II below 15 or 50 kPa, III to 50 or 200 kPa, IV above and in rock."""
    words = ("I", "II", "III", "IV")
    coarse = np.where(strata.n <= 50.0, _banded(strata.n, (5.0, 15.0), words[:3]),
                      _banded(strata.n, (50.0,), ("III", "IV")))
    cu = clay_strength_kpa(strata)
    cohesive = np.where(cu <= 200.0, _banded(cu, (25.0, 50.0), words[:3]), _banded(cu, (200.0,), ("III", "IV")))
    return _by_kind(strata, coarse, cohesive, "IV", "I")


@scheme("catalogue", "ground classes of the methods' rates and suitability",
        {"soft_clay": "undrained strength to 75 kPa", "stiff_clay": "undrained strength above 75 kPa",
         "loose_sand": "N to 30", "dense_sand": "N above 30", "gravel_cobbles": "gravel or cobbles",
         "boulders": "boulders", "weak_rock": "unconfined strength to 25 MPa",
         "hard_rock": "unconfined strength above 25 MPa"},
        Citation("our judgement", None, "limits between the classes of the decision tables", "estimate",
                 note="the tables name stiff clay 75 to 150 kPa, dense sand N > 50, weak rock < 25 and hard rock > 50 "
                      "MPa; what lies between goes to the harder class"))
def catalogue(strata: Strata) -> Words:
    """Return the catalogue's class: boulders and cobbles first, then gravel, then strength."""
    coarse = np.where(strata.gravel, "gravel_cobbles",
                      _banded(strata.n, (30.0,), ("loose_sand", "dense_sand"), top_inclusive=True))
    cohesive = _banded(clay_strength_kpa(strata), (75.0,), ("soft_clay", "stiff_clay"), top_inclusive=True)
    rock = _banded(strata.ucs_mpa, (25.0,), ("weak_rock", "hard_rock"), top_inclusive=True)
    words = _by_kind(strata, coarse, cohesive, rock, "soft_clay")
    words = np.where(strata.cobbles & (strata.kind != "rock"), "gravel_cobbles", words)
    return np.where(strata.boulders & (strata.kind != "rock"), "boulders", words)


@scheme("hard_ground", "where driving gets hard: N above 50, refusal or rock",
        {"hard": "N above 50 (converted where the test refused), or rock", "other": "anything else that is known"},
        Citation("US technical note on sheet piles", None, "sheet piles are normally not driven easily past N = 50",
                 "read", note="rock counts as hard (ours)"))
def hard_ground(strata: Strata) -> Words:
    """Return hard above N 50 and in rock, other below; cohesive ground by N where given, else by 200 kPa."""
    n = _banded(strata.n, (50.0,), ("other", "hard"), top_inclusive=True)
    cu = _banded(clay_strength_kpa(strata), (200.0,), ("other", "hard"), top_inclusive=True)
    return _by_kind(strata, n, np.where(np.isnan(strata.n), cu, n), "hard", "other")


@scheme("seismic_class", "seismic site classes of UFC 3-310-03A",
        {"B": "rock, shear wave speed 760 to 1500 m/s", "C": "very dense soil and soft rock, 360 to 760 m/s",
         "D": "stiff soil, 180 to 360 m/s", "E": "soft soil, below 180 m/s"},
        Citation("UFC 3-310-03A", None, "site classes by shear wave speed, N and undrained strength", "read",
                 via="buildingcriteria1.tpub.com/ufc_3_310_03a/ufc_3_310_03a0038.htm",
                 note="weak rock, or rock of unknown strength, counts as C (ours)"))
def seismic_class(strata: Strata) -> Words:
    """Return E below N 15 or 50 kPa, D to N 50 or 100 kPa, C above and in weak rock, B in hard rock."""
    coarse = np.where(strata.n <= 50.0, _banded(strata.n, (15.0,), ("E", "D")), _banded(strata.n, (50.0,), ("D", "C")))
    cu = clay_strength_kpa(strata)
    cohesive = np.where(cu <= 100.0, _banded(cu, (50.0,), ("E", "D")), _banded(cu, (100.0,), ("D", "C")))
    rock = np.where(strata.ucs_mpa > 25.0, "B", "C")
    return _by_kind(strata, coarse, cohesive, rock, "E")
