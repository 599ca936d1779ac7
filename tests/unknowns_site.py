"""A small invented site on which unknowns are sampled: two boreholes, ten piles, five neighbours, a baseline."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd
from limits_site import EAST, NORTH, receptors, scenario, starter

from envpredict.engine.assess import assess
from envpredict.engine.results import Assessment
from envpredict.scenario.types import LimitsEntry, MethodEntry, Scenario

METHODS = ("impact_hydraulic", "vibratory_standard", "press_in_auger")
LIMITS = LimitsEntry(damage=("din_4150_3_1999",), people=("bs_5228_2_2009",), noise=("bs_5228_1_2009",))


def strata(west: float = 1.0, east: float = 1.0) -> pd.DataFrame:
    """Return two boreholes, the strengths of each times a factor."""
    rows = []
    for name, x, factor, layers in (("west", EAST, west, ((0.0, 4.0, 12), (4.0, 20.0, 34))),
                                    ("east", EAST + 12.0, east, ((0.0, 4.0, 7), (4.0, 20.0, 22)))):
        rows += [{"borehole": name, "x": x, "y": NORTH, "top_m": top, "base_m": base, "description": "sand",
                  "spt_n": str(round(n * factor)), "cu_kpa": np.nan, "ucs_mpa": np.nan, "vs_m_s": np.nan,
                  "cobble_m": np.nan, "boulder_m": np.nan, "gravel": "no", "water_m": 1.0} for top, base, n in layers]
    return pd.DataFrame(rows)


def baseline(ids: list[str], more_db: float = 0.0) -> pd.DataFrame:
    """Return a measured background by day of every receptor."""
    return pd.DataFrame([{"receptor": name, "period": "day", "laeq_db": 56.0 + 3.0 * number + more_db,
                          "la90_db": 46.0 + more_db, "dates": "2026-10-01/2026-10-07", "position": "free_field",
                          "instrument": "class 1", "weather": "dry"} for number, name in enumerate(ids)])


def site(overrides: Mapping[str, Mapping[str, Any]] | None = None, background_db: float = 0.0,
         strengths: tuple[float, float] = (1.0, 1.0), **changes: Any) -> Scenario:
    """Return the site, with what is stated of methods, a shifted background, factors on boreholes' strengths."""
    base = starter()
    near = receptors(base.crs).iloc[[0, 2, 3, 7, 0]].reset_index(drop=True)
    near.loc[4, "id"] = "far"
    near.loc[[4], "geometry"] = near.geometry.iloc[[4]].translate(0.0, 140.0)
    stated = overrides or {}
    return scenario(**{
        "piles": base.piles.iloc[:10].copy(), "receptors": near, "limits": LIMITS, "strata": strata(*strengths),
        "baseline": baseline(near["id"].tolist(), background_db),
        "methods": tuple(MethodEntry(name, name, overrides=dict(stated.get(name, {}))) for name in METHODS),
        **changes})


def assessed(**changes: Any) -> Assessment:
    """Return the assessment of the site with changes."""
    return assess(site(**changes), grids=False)


@lru_cache(maxsize=1)
def plain() -> Assessment:
    """Return the assessment of the site as it is, made once."""
    return assessed()


def with_piles(count: int) -> Scenario:
    """Return the site with its first piles alone."""
    return replace(site(), piles=site().piles.iloc[:count].copy())
