"""A small invented site on which every limit set can be tried: one receptor of each use, a boundary, loose wet sand."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from envpredict.engine.catalogue import load_catalogue
from envpredict.engine.findings import frame
from envpredict.engine.intake import read_scenario
from envpredict.engine.judging import method_findings
from envpredict.engine.run import MethodRun, Run, prepare, run_method
from envpredict.engine.works.choices import choices
from envpredict.limits.schema import LimitSet
from envpredict.scenario.starter import write_starter
from envpredict.scenario.types import USES, LimitsEntry, MethodEntry, Scenario

EAST, NORTH = 524_000.0, 6_150_000.0
FACTS: dict[str, dict[str, str]] = {
    "dwelling": {"area": "residential", "zone": "jp_1", "windows": "openable", "main_road": "no"},
    "hospital": {"area": "special", "equipment": "operating_theatre"},
    "school": {"area": "mixed"}, "office": {"area": "commercial"}, "worship": {"area": "mixed"},
    "workshop": {"area": "industrial", "zone": "jp_2"},
    "laboratory": {"area": "mixed", "equipment": "vc_c"}, "heritage": {"finish": "plaster"},
    "railway": {"asset": "track"}, "bridge": {"asset": "bridge"},
    "buried_pipe": {"asset": "gas_pipe", "pipe_material": "steel"}, "habitat": {"species": "songbird"},
    "open_space": {},
}
EVERYWHERE = {"age": "old", "engineered": "no", "finish": "plaster", "wall_material": "brick", "setting": "urban",
              "owner": "other"}
LANDMARKS = ("railway", "bridge", "buried_pipe", "habitat", "open_space")


def receptors(crs: Any) -> gpd.GeoDataFrame:
    """Return one receptor of each use in a row, 8 to 80 m from the piles, and a bare one of which nothing is known."""
    rows = []
    for number, use in enumerate(USES):
        x, y = EAST + 6.0 * (number % 4), NORTH + 8.0 + 6.0 * number
        building = use not in LANDMARKS
        rows.append({"id": f"R{number:02d}", "name": use, "use": use, "structure": "masonry" if building else "none",
                     "condition": "sound", "floors": 2 if building else 0, "foundation": "spread",
                     "depth_m": 1.5 if use == "buried_pipe" else np.nan, "occupied_hours": None, "equipment": None,
                     **EVERYWHERE, **FACTS[use], "geometry": shapely.box(x, y, x + 5.0, y + 4.0)})
    bare = {"id": "bare", "name": "bare", "use": "dwelling", "structure": "masonry", "condition": "unknown",
            "floors": 1, "foundation": "unknown", "depth_m": np.nan, "occupied_hours": None, "equipment": None,
            "geometry": shapely.box(EAST + 40, NORTH + 20, EAST + 46, NORTH + 26)}
    return gpd.GeoDataFrame([*rows, bare], geometry="geometry", crs=crs).astype({"floors": int})


def strata() -> pd.DataFrame:
    """Return a borehole: loose wet sand over dense gravel and very dense sand."""
    rows = [("fine sand", 0.0, 5.0, "8", "no"), ("dense sandy gravel", 5.0, 7.0, "50/120 mm", "yes"),
            ("very dense sand", 7.0, 20.0, "58", "no")]
    return pd.DataFrame([{"borehole": "BH1", "x": EAST, "y": NORTH, "top_m": top, "base_m": base, "description": text,
                          "spt_n": n, "cu_kpa": np.nan, "ucs_mpa": np.nan, "vs_m_s": np.nan, "cobble_m": np.nan,
                          "boulder_m": np.nan, "gravel": gravel, "water_m": 1.0}
                         for text, top, base, n, gravel in rows])


@lru_cache(maxsize=1)
def starter() -> Scenario:
    """Return the starter scenario, read once."""
    with tempfile.TemporaryDirectory() as folder:
        return read_scenario(write_starter(Path(folder) / "site"))


def scenario(**changes: Any) -> Scenario:
    """Return the small site: seven piles, every kind of receptor, a boundary 5 m around the piles."""
    base = starter()
    piles = base.piles.iloc[:7].copy()
    around = gpd.GeoDataFrame(geometry=[shapely.convex_hull(shapely.multipoints(list(piles.geometry))).buffer(5.0)],
                              crs=base.crs)
    usual = {"piles": piles, "receptors": receptors(base.crs), "boundary": around, "strata": strata(),
             "methods": (MethodEntry("impact_hydraulic", "impact_hydraulic"),), "reductions": (), "baseline": None,
             "limits": LimitsEntry(people=("bs_5228_2_2009",))}
    return replace(base, **{**usual, **changes})


def entries(methods: Iterable[str]) -> tuple[MethodEntry, ...]:
    """Return plain candidates of these methods."""
    return tuple(MethodEntry(name, name) for name in methods)


def adopting(sets: Iterable[LimitSet]) -> LimitsEntry:
    """Return limits that adopt sets for everything that they speak of."""
    named: dict[str, list[str]] = {}
    for limit_set in sets:
        for effect in limit_set.effects:
            named.setdefault(effect, []).append(limit_set.id)
    return LimitsEntry(**{effect: tuple(names) for effect, names in named.items()})


def prepared(site: Scenario) -> tuple[Run, list[MethodRun]]:
    """Return the run of a site and of its candidates."""
    catalogue = load_catalogue(site.own)
    run = prepare(site, catalogue, choices(site, catalogue))
    return run, [run_method(run, choice) for choice in run.choices]


def findings(site: Scenario) -> pd.DataFrame:
    """Return the findings of a site."""
    run, methods = prepared(site)
    return frame([block for method in methods for block in method_findings(run, method)])


SET = """
id = "tried"
title = "A set made up for a test"
document = "made up"
body = "nobody"
edition = "1"
country = "INT"
status = "guidance"

[sources.made_up]
document = "made up"
place = "table 1"
basis = "read"

[classes]
building = "a building"
other = "anything else"

[[class_map]]
when = { use = ["dwelling", "hospital", "school", "office", "worship", "workshop", "laboratory", "heritage"] }
class = "building"
[[class_map]]
class = "other"
"""


def made_up(*rules: str) -> LimitSet:
    """Return a limit set of these rules; each is the body of a table, id, title, clause and source are filled in."""
    from envpredict.limits.load import parse_limit_set

    text = SET
    for number, rule in enumerate(rules, 1):
        text += f'\n[[rules]]\nid = "rule_{number}"\ntitle = "rule {number}"\nclause = "{number}"\n'
        text += f'source = "made_up"\n{rule}\n'
    found = parse_limit_set(text, "made_up.toml")
    assert isinstance(found, LimitSet), found
    return found


def with_set(run: Run, limit_set: LimitSet) -> Run:
    """Return the run with a set added to its catalogue and adopted alone."""
    from envpredict.core.registry import Registry

    sets: Registry[LimitSet] = Registry("limit set")
    for name, one in run.catalogue.limit_sets.items():
        sets.add(name, one)
    sets.add(limit_set.id, limit_set)
    return replace(run, catalogue=replace(run.catalogue, limit_sets=sets), _classed={},
                   scenario=replace(run.scenario, limits=adopting([limit_set])))


def judged(run: Run, methods: Iterable[MethodRun]) -> pd.DataFrame:
    """Return the findings of a run's methods."""
    return frame([block for method in methods for block in method_findings(run, method)])
