"""Turn a level measured at a distance into a sound power, so that a measured machine takes the catalogue's place."""

from __future__ import annotations

import math
from typing import Literal

from envpredict.core.citation import Citation
from envpredict.methods.schema import Plant

HARD_GROUND_DB = 8.0
SOFT_GROUND_DB = 1.0
SOFT_FROM_M = 25.0
FACADE_DB = 3.0
DISTANCE = Citation("BS 5228-1:2009+A1:2014", 2014, "Annex F: LWA = L + 20 lg r + 8 over hard ground, from 25 m L + "
                    "25 lg r + 1 over soft ground", "memory",
                    note="20 lg r + 8 and the slope of 25 are read at second hand")


def sound_power_db(level_db: float, distance_m: float, *, position: Literal["free_field", "facade"],
                   ground: Literal["hard", "soft"]) -> float:
    """Return the A-weighted sound power in dB re 1 pW of a source whose level was measured (DISTANCE).

    level_db: A-weighted level while operating; distance_m: from the source; position: free_field, or facade (1 m in
    front of one: 3 dB are taken off); ground between: hard or soft (soft counts from 25 m). Raises ValueError for a
    distance that isn't positive and unknown words: a level without position, distance and ground can't be used.
    """
    if not distance_m > 0:
        raise ValueError("distance_m must be positive")
    if position not in ("free_field", "facade") or ground not in ("hard", "soft"):
        raise ValueError("position is free_field or facade, ground is hard or soft")
    incident = level_db - (FACADE_DB if position == "facade" else 0.0)
    if ground == "soft" and distance_m >= SOFT_FROM_M:
        return incident + 25 * math.log10(distance_m) + SOFT_GROUND_DB
    return incident + 20 * math.log10(distance_m) + HARD_GROUND_DB


def measured_plant(plant: Plant, level_db: float, distance_m: float, *, position: Literal["free_field", "facade"],
                   ground: Literal["hard", "soft"], citation: Citation) -> Plant:
    """Return an item of plant at a measured level, its spectrum shifted. Raises as `sound_power_db` does."""
    return plant.at_level(sound_power_db(level_db, distance_m, position=position, ground=ground), citation)
