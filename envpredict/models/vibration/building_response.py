"""From the ground into a building: ground to foundation, ground or foundation to floor, each with source and scatter.

Losses at the foundation are never a default: a scenario must choose them. For damage the foundation is taken to move
like the ground; for people in light houses the floor moves 5 dB more than the ground.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from envpredict.core.citation import Citation
from envpredict.core.ranges import Range
from envpredict.core.registry import Registry
from envpredict.models.arguments import Floats, choose, not_negative, numbers, positive
from envpredict.models.spec import model

FTA: Final = Citation("US FTA, Transit Noise and Vibration Impact Assessment", 2006,
                      "Table 10-1: adjustments derived for trains", "read")
HOUSES: Final = Citation("survey of timber houses by the Japanese environment agency", None,
                         "median of ground to floor, vertical level: +5 dB", "read",
                         via="questions and answers of the Acoustical Society of Japan")
DIN_PRACTICE: Final = Citation("practice beside DIN 4150", None, "foundation 0.3 to 0.8 of the ground, 0.5 usual; "
                               "floor 1.5 to 4 of the foundation, 3 usual, to 10 at resonance", "memory")
AS_GROUND: Final = Citation("our judgement", None, "no loss at the foundation: safe for damage", "estimate")
FOUNDATION_SD: Final = 0.20
FLOOR_SD: Final = 0.25
SCATTER: Final = Citation("our judgement", None, "0.15 to 0.2 for foundations, 0.2 to 0.3 for floors", "estimate")


@dataclass(frozen=True, slots=True)
class Transfer:
    """A step from one position to another: factor on velocity and its scatter in log10 units, added in quadrature."""

    id: str
    title: str
    start: str
    end: str
    factor: float
    scatter: float
    source: Citation
    scatter_source: Citation = SCATTER

    @property
    def gain_db(self) -> float:
        """Return the factor in dB."""
        return float(20.0 * np.log10(self.factor))


TRANSFERS: Registry[Transfer] = Registry("building response")


def _add(id: str, title: str, start: str, end: str, scatter: float, source: Citation, *, gain_db: float | None = None,
         factor: float = 1.0) -> None:
    value = factor if gain_db is None else 10.0 ** (gain_db / 20.0)
    TRANSFERS.add(id, Transfer(id, title, start, end, value, scatter, source))


_add("as_ground", "foundation moves like the ground", "ground", "foundation", 0.0, AS_GROUND)
_add("wood_frame_house", "loss at the foundation of a wood frame house", "ground", "foundation", FOUNDATION_SD, FTA,
     gain_db=-5.0)
_add("masonry_1_2_storeys", "loss at the foundation of masonry, 1 or 2 storeys", "ground", "foundation", FOUNDATION_SD,
     FTA, gain_db=-7.0)
_add("masonry_3_4_storeys", "loss at the foundation of masonry, 3 or 4 storeys", "ground", "foundation", FOUNDATION_SD,
     FTA, gain_db=-10.0)
_add("large_masonry_on_piles", "loss at the foundation of large masonry on piles", "ground", "foundation",
     FOUNDATION_SD, FTA, gain_db=-10.0)
_add("large_masonry_on_footings", "loss at the foundation of large masonry on spread footings", "ground", "foundation",
     FOUNDATION_SD, FTA, gain_db=-13.0)
_add("foundation_in_rock", "foundation in rock: no loss", "ground", "foundation", FOUNDATION_SD, FTA, gain_db=0.0)
_add("half_of_ground", "usual loss at a foundation in German practice", "ground", "foundation", FOUNDATION_SD,
     DIN_PRACTICE, factor=0.5)
_add("light_house_floor", "floor of a light house against the ground", "ground", "floor", FLOOR_SD, HOUSES, gain_db=5.0)
_add("as_foundation", "floor moves like the foundation", "foundation", "floor", FLOOR_SD, AS_GROUND)
_add("resonant_floor", "resonance of a floor", "foundation", "floor", FLOOR_SD, FTA, gain_db=6.0)
_add("usual_floor", "usual gain of a floor in German practice", "foundation", "floor", FLOOR_SD, DIN_PRACTICE,
     factor=3.0)

FACTORS: Final = {name: transfer.factor for name, transfer in TRANSFERS.items()}
COUPLING_DB: Final = {"none": 0.0, "wood_frame_house": -5.0, "masonry_1_2_storeys": -7.0, "masonry_3_4_storeys": -10.0,
                      "large_masonry_on_piles": -10.0, "large_masonry_on_footings": -13.0, "foundation_in_rock": 0.0}
PPV: Final = Range.unstated("a factor holds for any amplitude")


def _words(start: str, end: str) -> tuple[str, ...]:
    return tuple(name for name, one in TRANSFERS.items() if (one.start, one.end) == (start, end))


def _factor(transfer: ArrayLike, words: tuple[str, ...]) -> Floats:
    return choose(transfer, {word: FACTORS[word] for word in words}, "transfer")


def default_transfer(effect: Literal["damage", "people"]) -> Transfer:
    """Return the step that is taken where the scenario chooses none.

    Damage: `as_ground`. People: `light_house_floor` for every structure: heavier buildings respond less, and no
    published factor without a loss at the foundation was found for them.
    """
    return TRANSFERS[{"damage": "as_ground", "people": "light_house_floor"}[effect]]


GROUND_TO_FOUNDATION: Final = _words("ground", "foundation")
GROUND_TO_FLOOR: Final = _words("ground", "floor")
FOUNDATION_TO_FLOOR: Final = _words("foundation", "floor")


@model(
    "ground_to_foundation",
    title="Foundation's vibration from the ground's", position="foundation",
    quantity="ppv_unspecified", statistic="deterministic", distance="none", validity={"ppv_mm_s": PPV},
    source=FTA, sources=(AS_GROUND, DIN_PRACTICE), options={"transfer": GROUND_TO_FOUNDATION},
)
def ground_to_foundation(ppv_mm_s: ArrayLike, *, transfer: ArrayLike = "as_ground") -> Floats:
    """Return the PPV on the foundation in mm/s: the ground's times the factor of the chosen step.

    ppv_mm_s: on the ground, mm/s; transfer: a step of `TRANSFERS` from ground to foundation; by default no loss.
    Arrays broadcast. Raises ValueError for a PPV that isn't positive and an unknown word. Source: FTA 2006, Table
    10-1, and others as `TRANSFERS` tells.

    >>> round(float(ground_to_foundation(1.0, transfer="wood_frame_house")), 2)
    0.56
    """
    return positive(ppv_mm_s, "ppv_mm_s") * _factor(transfer, GROUND_TO_FOUNDATION)


@model(
    "ground_to_floor",
    title="Floor's vertical vibration from the ground's", position="floor",
    quantity="ppv_vertical", statistic="deterministic", distance="none", validity={"ppv_mm_s": PPV},
    source=HOUSES, options={"transfer": GROUND_TO_FLOOR},
)
def ground_to_floor(ppv_mm_s: ArrayLike, *, transfer: ArrayLike = "light_house_floor") -> Floats:
    """Return the vertical PPV on the floor in mm/s: the ground's times the factor of the chosen step, 1.78 by default.

    ppv_mm_s: on the ground, mm/s; transfer: a step of `TRANSFERS` from ground to floor. Arrays broadcast. US practice
    gives -1 dB for a like house, 6 dB apart. Raises ValueError for a PPV that isn't positive and an unknown word.
    Source: Japanese environment agency, survey of timber houses.

    >>> round(float(ground_to_floor(1.0)), 2)
    1.78
    """
    return positive(ppv_mm_s, "ppv_mm_s") * _factor(transfer, GROUND_TO_FLOOR)


@model(
    "foundation_to_floor",
    title="Floor's vertical vibration from the foundation's", position="floor",
    quantity="ppv_vertical", statistic="deterministic", distance="none", validity={"ppv_mm_s": PPV},
    source=FTA, sources=(DIN_PRACTICE,), options={"transfer": FOUNDATION_TO_FLOOR},
)
def foundation_to_floor(ppv_mm_s: ArrayLike, *, transfer: ArrayLike) -> Floats:
    """Return the vertical PPV on the floor in mm/s: the foundation's times the factor of the chosen step.

    ppv_mm_s: on the foundation, mm/s; transfer: a step of `TRANSFERS` from foundation to floor. Arrays broadcast.
    Raises ValueError for a PPV that isn't positive and an unknown word. Source: FTA 2006, Table 10-1; German practice
    from memory: verify.

    >>> round(float(foundation_to_floor(1.0, transfer="resonant_floor")), 2)
    2.0
    """
    return positive(ppv_mm_s, "ppv_mm_s") * _factor(transfer, FOUNDATION_TO_FLOOR)


@model(
    "fta_indoor_level",
    title="Velocity level on a floor by building, storey and resonance (US transit guidance)", position="floor",
    quantity="velocity_level_us_db", statistic="deterministic", distance="none",
    validity={"level_db": Range.unstated(), "storey": Range(0.0, 10.0, "Table 10-1: floors 1 to 10")},
    source=FTA, options={"coupling": tuple(COUPLING_DB), "resonance": ("yes", "no")},
)
def fta_indoor_level(level_db: ArrayLike, storey: ArrayLike, *, coupling: ArrayLike,
                     resonance: ArrayLike = "yes") -> Floats:
    """Return the velocity level on a floor in dB re 1e-6 in/s from that on the ground.

    level_db: on the ground, dB re 1e-6 in/s; storey: floors above the ground floor, each 2 dB less to the fifth and 1
    dB less above; coupling: kind of building (the loss at its foundation), "none" for no loss; resonance: "yes" adds
    6 dB for floors, walls and ceilings. Arrays broadcast. Derived for trains; to 10 floors. Raises ValueError for a
    negative storey and unknown words. Source: FTA 2006, Table 10-1.

    >>> float(fta_indoor_level(75.0, 1, coupling="wood_frame_house"))
    74.0
    """
    floors = not_negative(storey, "storey")
    loss = 2.0 * np.minimum(floors, 5.0) + np.maximum(floors - 5.0, 0.0)
    gain = choose(resonance, {"yes": 6.0, "no": 0.0}, "resonance")
    return numbers(level_db, "level_db") + choose(coupling, COUPLING_DB, "coupling") - loss + gain
