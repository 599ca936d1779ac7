"""An invented assessment of any number of receptors, for tests of what is shown: its numbers are drawn, not predicted.

Levels fall with distance by a made-up power law. Nothing here says anything about any method.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, time, timedelta
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pyproj import CRS
from scipy.special import ndtr, ndtri
from shapely import affinity
from shapely.geometry import LineString, Point, Polygon, box

from envpredict.core.cautions import CAUTIONS
from envpredict.engine.findings import likelihoods
from envpredict.engine.results import FINDING_COLUMNS, Assessment, Grid, Provenance
from envpredict.scenario.types import LimitsEntry, MethodEntry, Programme, Scenario

EAST, NORTH = 500_000.0, 6_200_000.0
"""A point in open sea."""
ZONE = CRS.from_epsg(32631)
PILES = 60
DESIGN = 0.05
HOSTILE = (
    "<img src=x onerror=\"window.hurt = true\">",
    "</script><script>window.hurt = true</script>",
    "a name of three hundred letters, ".ljust(300, "x"),
    "\u202eשלום <b>world</b>\u202c",
    "line\u2028separator & \"quotes\" 'single' \\ {{ this }} ${hurt}",
)


@dataclass(frozen=True)
class Candidate:
    """As much of a method as an output reads."""

    id: str
    title: str
    level_mm_s: float
    level_db: float
    estimate: bool
    rate: int
    laws: tuple[Any, ...] = ()


CANDIDATES = (
    Candidate("impact_hydraulic", "Hydraulic impact hammer", 22.0, 112.0, False, 3),
    Candidate("vibratory_standard", "Vibratory hammer", 9.0, 104.0, False, 5),
    Candidate("press_in", "Hydraulic pressing", 1.2, 94.0, True, 2),
)


@dataclass(frozen=True)
class Case:
    """One rule under one period, as the findings name it."""

    effect: str
    quantity: str
    position: str
    period: str
    limit_set: str
    rule: str
    clause: str
    limit: float
    unit: str
    basis: str
    added: float


CASES = (
    Case("damage", "ppv_component", "foundation", "whole programme", "invented_structures", "pulses", "Table 1", 12.0,
         "mm/s", "read", 1.0),
    Case("people", "ppv_component", "floor", "whole programme", "invented_people", "comfort", "Table 2", 1.0, "mm/s",
         "memory", 1.5),
    Case("noise", "laeq_db", "facade", "day", "invented_noise", "day", "Annex, section 1", 70.0, "dB", "memory", 3.0),
    Case("noise", "laeq_db", "facade", "evening", "invented_noise", "evening", "Annex, section 2", 60.0, "dB", "memory",
         -6.0),
)


def receptors(count: int, seed: int = 1) -> gpd.GeoDataFrame:
    """Return buildings in rows north of the wall, and a railway, a pipe, a habitat, a point and a missing structure."""
    draw = np.random.default_rng(seed)
    per_row = max(12, int(np.sqrt(2 * count)))
    shapes: list[Any] = []
    for number in range(count):
        row, column = divmod(number, per_row)
        x = EAST - 14.0 * per_row / 2 + 14.0 * column + draw.uniform(-2, 2)
        y = NORTH + 12.0 + 18.0 * row + draw.uniform(-2, 2)
        house = box(x, y, x + draw.uniform(6, 11), y + draw.uniform(6, 10))
        shapes.append(affinity.rotate(house, float(draw.uniform(-12, 12))))
    uses = draw.choice(["dwelling"] * 8 + ["office", "workshop"], size=count).astype(object)
    yard = box(EAST - 80, NORTH + 58, EAST - 60, NORTH + 72)
    special: list[tuple[str, Any]] = [
        ("railway", LineString([(EAST - 200, NORTH + 30), (EAST + 200, NORTH + 44)])),
        ("buried_pipe", LineString([(EAST - 120, NORTH + 6), (EAST + 150, NORTH + 5)])),
        ("habitat", Polygon([(EAST + 60, NORTH - 60), (EAST + 110, NORTH - 50), (EAST + 90, NORTH - 90)])),
        ("school", box(EAST - 90, NORTH + 50, EAST - 50, NORTH + 80).difference(yard)),
        ("open_space", Point(EAST + 20, NORTH + 60)),
    ]
    for number, (use, shape) in enumerate(special[:count]):
        uses[number], shapes[number] = use, shape
    ids = [f"R{number + 1:05d}" for number in range(count)]
    return gpd.GeoDataFrame({
        "id": ids, "name": [f"Family {number}" if use == "dwelling" else key
                            for number, (use, key) in enumerate(zip(uses, ids, strict=True))],
        "use": uses, "structure": draw.choice(["masonry", "concrete", "timber"], size=count),
        "condition": draw.choice(["sound", "unknown"], size=count), "floors": draw.integers(1, 5, size=count),
        "foundation": "unknown", "depth_m": np.nan, "occupied_hours": None, "equipment": None, "zone": None,
        "material": None,
    }, geometry=shapes, crs=ZONE)


def piles() -> gpd.GeoDataFrame:
    x = EAST - 90 + 3.0 * np.arange(PILES)
    points = gpd.points_from_xy(x, NORTH + 6 * np.sin(np.arange(PILES) / 20))
    return gpd.GeoDataFrame({"id": [f"P{n + 1:03d}" for n in range(PILES)], "section": "A", "pile_type": "sheet_u",
                             "length_m": 14.0, "spacing_m": 3.0}, geometry=points, crs=ZONE)


def scenario(count: int, seed: int) -> Scenario:
    """Return an invented scenario with every layer that a map may draw."""
    driven = piles()
    strata = pd.DataFrame({"borehole": ["BH1", "BH1", "BH2"], "x": EAST + np.array([-60.0, -60.0, 50.0]),
                           "y": NORTH + np.array([3.0, 3.0, 8.0]), "top_m": [0.0, 4.0, 0.0],
                           "base_m": [4.0, 16.0, 16.0]})
    calendar = Programme(date(2027, 3, 1), ("mon", "tue", "wed", "thu", "fri"), time(8), time(18), 36_000, "Etc/UTC", 1,
                         frozenset(), "listed")
    screen = LineString([(EAST - 100, NORTH + 9), (EAST - 20, NORTH + 9)])
    return Scenario(
        folder=Path("invented"), title="Invented wall for tests", invented=True, crs=ZONE, piles=driven,
        wall=gpd.GeoDataFrame({"section": ["A"]}, geometry=[LineString(driven.geometry.tolist())], crs=ZONE),
        receptors=receptors(count, seed), programme=calendar,
        methods=tuple(MethodEntry(one.id, one.id) for one in CANDIDATES), limits=LimitsEntry(),
        boundary=gpd.GeoDataFrame(geometry=[box(EAST - 110, NORTH - 20, EAST + 110, NORTH + 12)], crs=ZONE),
        obstacles=gpd.GeoDataFrame({"id": ["O1", "O2"], "height_m": [3.0, 9.0]},
                                   geometry=[screen, box(EAST - 160, NORTH + 14, EAST - 140, NORTH + 30)], crs=ZONE),
        constraints=gpd.GeoDataFrame({"id": ["C1"], "kind": ["headroom"], "value_m": [6.0], "from": [None],
                                      "to": [None]},
                                     geometry=[box(EAST + 20, NORTH - 12, EAST + 60, NORTH + 10)], crs=ZONE),
        strata=strata, design_exceedance=DESIGN, notes=("the temperature isn't given: 10 degrees taken",),
    )


def working_days(count: int) -> list[date]:
    """Return Mondays to Fridays from the first of March 2027."""
    days = [date(2027, 3, 1) + timedelta(days=n) for n in range(2 * count + 7)]
    return [day for day in days if day.weekday() < 5][:count]


def programme(one: Candidate, driven: gpd.GeoDataFrame) -> pd.DataFrame:
    """Return events: so many piles a day, in line order, two items of plant each."""
    day = np.arange(len(driven)) // one.rate
    dates = working_days(int(day.max()) + 1)
    frame = pd.DataFrame({"day": [dates[n].isoformat() for n in day], "rig": 1, "section": driven["section"],
                          "pile": driven["id"], "method": one.id, "pass": "drive"})
    return pd.concat([frame.assign(plant=plant) for plant in ("driver", "crane")], ignore_index=True)


def _levels(one: Candidate, case: Case, distance_m: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return medians of a made-up law: log10 of mm/s, or dB."""
    near = np.maximum(distance_m, 1.0)
    if case.unit == "dB":
        return one.level_db - 20 * np.log10(near) - 11.0 + case.added
    return np.log10(one.level_mm_s * case.added) - 1.3 * np.log10(near / 5.0)


def assess(count: int = 120, *, seed: int = 1, daily: bool = True, names: tuple[str, ...] = (),
           cases: tuple[Case, ...] = CASES) -> Assessment:
    """Return an invented assessment of `count` receptors; `names` replaces the first names and ids' texts."""
    made = scenario(count, seed)
    where = made.receptors
    if names:
        where = where.assign(name=[names[n] if n < len(names) else name for n, name in enumerate(where["name"])])
        made = replace(made, receptors=where)
    apart = np.stack([where.geometry.distance(point).to_numpy() for point in made.piles.geometry[::4]])
    blocks: list[pd.DataFrame] = []
    chances: dict[tuple[str, str], NDArray[np.float64]] = {}
    days = working_days(PILES // min(one.rate for one in CANDIDATES))
    for one in CANDIDATES:
        for case in cases:
            blocks.append(_findings(one, case, where, apart))
        if daily:
            for effect in dict.fromkeys(case.effect for case in cases):
                chances[one.id, effect] = _by_day(one, next(c for c in cases if c.effect == effect), apart, len(days))
    findings = pd.concat(blocks, ignore_index=True)
    return Assessment(
        scenario=made, methods=CANDIDATES, findings=findings, receptors=where,    # type: ignore[arg-type]
        programme={one.id: programme(one, made.piles) for one in CANDIDATES}, grids=_grids(made),
        provenance=Provenance("0.0", {"scenario.toml": "0" * 64}, {}, ("an invented source",), (), (), {}),
        cautions=CAUTIONS, drafts=("invented_people: Table 2",), warnings=("an invented warning",),
        detail={"daily": chances, "days": days} if daily else {},
    )


def _findings(one: Candidate, case: Case, where: gpd.GeoDataFrame, apart: NDArray[np.float64]) -> pd.DataFrame:
    nearest = apart.min(axis=0)
    decibel = case.unit == "dB"
    median = _levels(one, case, nearest)
    scatter = 4.0 if decibel else 0.3
    limit = case.limit if decibel else np.log10(case.limit)
    design = median + scatter * ndtri(1 - DESIGN)
    chance = ndtr((median - limit) / scatter)
    inside = nearest < 150.0
    governed = np.where(case.effect == "noise", True, where["use"].ne("buried_pipe").to_numpy())
    known = where["use"].ne("school").to_numpy() | (case.effect != "noise")
    estimate = one.estimate and not decibel
    seen = governed & known
    word = likelihoods(known, ~governed, chance, np.zeros(len(where), dtype=bool), ~inside | estimate, DESIGN)

    def out(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.where(seen, values if decibel else 10.0**values, np.nan)

    pile = np.array([f"P{4 * n + 1:03d}" for n in apart.argmin(axis=0)], dtype=object)
    basis = "estimate" if estimate else case.basis
    frame = pd.DataFrame({
        "receptor": where["id"], "use": where["use"], "method": one.id, "effect": case.effect,
        "model": "an_invented_law", "quantity": case.quantity, "position": case.position, "period": case.period,
        "limit_set": case.limit_set, "rule": case.rule, "clause": case.clause, "class": "ordinary",
        "predicted_median": out(median), "scatter": np.where(seen, scatter, np.nan),
        "other_laws_low": out(median - 0.2), "other_laws_high": out(median + 0.1), "predicted_design": out(design),
        "limit": np.where(seen, case.limit, np.nan), "unit": case.unit,
        "margin_db": np.where(seen, (limit - design) * (1.0 if decibel else 20.0), np.nan),
        "p_exceed": np.where(seen, chance, np.nan), "likelihood": word,
        "p_one_pile": np.where(seen, 0.5 * chance, np.nan), "governing_pile": np.where(seen, pile, ""),
        "governing_day": "2027-03-01", "days_above": np.where(seen, 5 * chance, np.nan),
        "days_above_low": np.where(seen, 0.0, np.nan), "days_above_high": np.where(seen, 9.0, np.nan),
        "in_range": inside | ~seen, "median_basis": "estimate" if estimate else "read", "basis": basis,
        "reason": np.where(known, f"limit: {basis}", "no background level was given"),
    })
    return frame[list(FINDING_COLUMNS)]


def _by_day(one: Candidate, case: Case, apart: NDArray[np.float64], days: int) -> NDArray[np.float64]:
    """Return each receptor's chance on each day (R, days); NaN after the method's last day."""
    scatter, limit = (4.0, case.limit) if case.unit == "dB" else (0.3, np.log10(case.limit))
    chance = np.full((apart.shape[1], days), np.nan)
    for day in range(-(-PILES // one.rate)):
        at = apart[min(len(apart) - 1, day * one.rate // 4)]
        chance[:, day] = ndtr((_levels(one, case, at) - limit) / scatter)
    return chance


def _grids(made: Scenario) -> dict[tuple[str, str], Grid]:
    x0, y0, x1, y1 = made.receptors.total_bounds
    x, y = np.linspace(x0 - 60, x1 + 60, 70), np.linspace(min(y0, NORTH) - 60, y1 + 60, 60)
    works = made.wall.geometry.iloc[0]
    cells = gpd.GeoSeries(gpd.points_from_xy(*(part.ravel() for part in np.meshgrid(x, y))))
    distance = cells.distance(works).to_numpy().reshape(len(y), len(x))
    grids = {}
    for one in CANDIDATES:
        near = np.maximum(distance, 1.0)
        ground = one.level_mm_s * (near / 5.0) ** -1.3
        grids[one.id, "vibration"] = Grid(x, y, ground, "ppv_component", "mm/s")
        grids[one.id, "noise"] = Grid(x, y, one.level_db - 20 * np.log10(near) - 11.0, "laeq_db", "dB")
    return grids
