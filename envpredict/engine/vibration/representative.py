"""One stratum that stands for a ground class, where only the class is named."""

from __future__ import annotations

from typing import TYPE_CHECKING

from envpredict.core.citation import Citation

if TYPE_CHECKING:
    from envpredict.ground.ground import Ground

REPRESENTATIVE: dict[str, dict[str, object]] = {
    "soft_clay": {"description": "soft clay", "cu_kpa": 40.0},
    "stiff_clay": {"description": "stiff clay", "cu_kpa": 100.0},
    "loose_sand": {"description": "sand", "spt_n": "20"},
    "dense_sand": {"description": "very dense sand", "spt_n": "60"},
    "gravel_cobbles": {"description": "sandy gravel", "spt_n": "55"},
    "boulders": {"description": "very dense gravel with boulders", "spt_n": "60", "boulder_m": 0.5},
    "weak_rock": {"description": "weak rock", "ucs_mpa": 10.0},
    "hard_rock": {"description": "strong rock", "ucs_mpa": 60.0},
}
SOURCE = Citation("our judgement", None, "one stratum with a typical strength stands for a ground class", "estimate")


def representative_ground(ground_class: str, depth_m: float) -> Ground:
    """Return a ground of one stratum of the class, down to the depth."""
    import pandas as pd

    from envpredict.ground.ground import Ground

    row: dict[str, object] = {"borehole": ground_class, "x": 0.0, "y": 0.0, "top_m": 0.0, "base_m": depth_m,
                              "spt_n": None, "cu_kpa": None, "ucs_mpa": None, "cobble_m": None, "boulder_m": None,
                              "gravel": None, "water_m": None}
    return Ground.from_strata(pd.DataFrame([row | REPRESENTATIVE[ground_class]]))
