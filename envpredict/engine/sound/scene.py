"""What stands and lies between the works and their neighbours, as sound meets it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.sound.cover import Cover
from envpredict.engine.sound.terrain import Terrain, read_terrain
from envpredict.models.noise.iso9613_2_1996.reflections import REFLECTION_COEFFICIENT
from envpredict.models.noise.screen_geometry import Obstacles, Part, index_obstacles

if TYPE_CHECKING:
    import geopandas as gpd

    from envpredict.scenario.types import Scenario

Floats = NDArray[np.float64]
Screens = Mapping[str, float]
"""Screens that are planned beside what stands already: the obstacle's id and its height in m."""
LEAST_WALL_M = 1.0
BUILDING, SCREEN = "windows", "hard_flat"


@dataclass(frozen=True, slots=True, eq=False)
class Walls:
    """Upright surfaces that reflect (W): ends in plan, elevations of lower and upper edge, obstacle, coefficient.

    `start`, `end` (W, 2): seen from the start the reflecting side lies on the right.
    """

    start: Floats
    end: Floats
    base_m: Floats
    top_m: Floats
    obstacle: NDArray[np.int64]
    coefficient: Floats

    def __len__(self) -> int:
        return len(self.top_m)


@dataclass(frozen=True, slots=True, eq=False)
class SoundScene:
    """The surroundings of a run: obstacles, reflecting walls, the ground's porosity, houses, terrain, the air.

    `houses`: the share of built area where heights aren't known; `c0_db`: the constant of the long-term correction, 0
    where it isn't asked for.
    """

    obstacles: Obstacles
    walls: Walls
    porosity: Cover
    houses: Cover
    terrain: Terrain | None
    temperature_c: float
    humidity_percent: float
    c0_db: float

    @property
    def empty(self) -> bool:
        """Return whether no obstacle stands in the scene."""
        return self.obstacles.scene.x.size == 0

    def ground_m(self, xy: Floats) -> Floats:
        """Return the ground's elevation (N,) at places (N, 2); 0 everywhere without a terrain."""
        return np.zeros(len(xy)) if self.terrain is None else self.terrain.elevation_m(xy)


def planned_ids(scenario: Scenario) -> frozenset[str]:
    """Return the ids of obstacles that stand only where a reduction builds them."""
    return frozenset(str(entry.overrides["screen"]) for entry in scenario.reductions if entry.overrides.get("screen"))


def sound_scene(scenario: Scenario, screens: Screens | None = None) -> SoundScene:
    """Return the scene of a scenario with some of its planned screens standing.

    An obstacle that a reduction names as its screen stands only if `screens` holds it, at the height given there; so
    does any other obstacle whose height `screens` gives.
    """
    choice, air = scenario.choice, scenario.acoustic
    built = dict(screens or {})
    terrain = None if scenario.surface is None or air.terrain != "surface" else read_terrain(
        scenario.surface, scenario.crs, _bounds(scenario))
    heights = _heights(scenario, built)
    standing = heights if choice.get("screening", True) else np.full(len(heights), np.nan)
    reflecting = heights if choice.get("reflections", True) else np.full(len(heights), np.nan)
    frame = scenario.obstacles
    return SoundScene(
        obstacles=prepared(frame, standing, terrain), walls=walls_of(frame, reflecting, terrain),
        porosity=Cover.of(scenario.acoustic_ground, "porosity", air.porosity),
        houses=_houses(frame) if choice.get("screening", True) else Cover.of(None, "", 0.0), terrain=terrain,
        temperature_c=air.temperature_c, humidity_percent=air.humidity_percent, c0_db=choice.get("c0_db") or 0.0)


def _heights(scenario: Scenario, built: dict[str, float]) -> Floats:
    """Return the height above ground of every obstacle (K), NaN where it doesn't stand or its height isn't known."""
    if scenario.obstacles is None:
        return np.zeros(0)
    heights: Floats = scenario.obstacles["height_m"].to_numpy(dtype=float).copy()
    planned = planned_ids(scenario)
    for number, name in enumerate(scenario.obstacles["id"]):
        if str(name) in built:
            heights[number] = built[str(name)]
        elif str(name) in planned:
            heights[number] = np.nan
    return heights


def _bounds(scenario: Scenario) -> tuple[float, float, float, float]:
    """Return the box that holds every path: piles, receptors, obstacles and other sources."""
    frames = [scenario.piles, scenario.receptors, *([] if scenario.obstacles is None else [scenario.obstacles])]
    boxes = np.array([frame.total_bounds for frame in frames])
    if scenario.other_sources is not None:
        xy = scenario.other_sources[["x", "y"]].to_numpy(dtype=float)
        boxes = np.vstack([boxes, [*xy.min(axis=0), *xy.max(axis=0)]])
    low, high = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _houses(frame: gpd.GeoDataFrame | None) -> Cover:
    """Return the share of built area of obstacles whose heights aren't known."""
    if frame is None or "built_fraction" not in frame.columns:
        return Cover.of(None, "", 0.0)
    return Cover.of(frame[frame["built_fraction"].notna()], "built_fraction", 0.0)


def _rings(shape: Any) -> list[tuple[str, Floats]]:
    """Return the parts of an obstacle's outline: what each is, and its corners."""
    found: list[tuple[str, Floats]] = []
    for part in getattr(shape, "geoms", [shape]):
        if part.geom_type == "Polygon":
            found.append(("outline", np.asarray(part.exterior.coords)[:, :2]))
            found += [("hole", np.asarray(ring.coords)[:, :2]) for ring in part.interiors]
        else:
            found.append(("line", np.asarray(part.coords)[:, :2]))
    return found


def _least_ground_m(rings: list[tuple[str, Floats]], terrain: Terrain | None) -> float:
    """Return the lowest ground elevation under an obstacle's corners: its top isn't credited with more."""
    if terrain is None:
        return 0.0
    return float(np.nanmin(terrain.elevation_m(np.concatenate([xy for _, xy in rings]))))


def _standing(frame: gpd.GeoDataFrame | None, heights_m: Floats) -> Iterator[tuple[int, Any]]:
    """Yield number and shape of every obstacle with a height."""
    if frame is not None:
        for number in np.flatnonzero(~np.isnan(heights_m)).tolist():
            yield number, frame.geometry.iloc[number]


def prepared(frame: gpd.GeoDataFrame | None, heights_m: Floats, terrain: Terrain | None) -> Obstacles:
    """Return the obstacles that stand, ready for paths; those with a NaN height keep their number and have no walls."""
    parts: list[Part] = []
    tops = np.zeros(len(heights_m))
    for number, shape in _standing(frame, heights_m):
        rings = _rings(shape)
        tops[number] = heights_m[number] + _least_ground_m(rings, terrain)
        parts += [Part(number, kind, xy) for kind, xy in rings]
    return index_obstacles(parts, tops if tops.size else np.zeros(1))


def walls_of(frame: gpd.GeoDataFrame | None, heights_m: Floats, terrain: Terrain | None) -> Walls:
    """Return the reflecting walls of the obstacles that stand: facades outside and in courts, screens on both sides."""
    rows: list[tuple[float, ...]] = []
    for number, shape in _standing(frame, heights_m):
        rings = _rings(shape)
        base = _least_ground_m(rings, terrain)
        for kind, xy in rings:
            turned = xy if kind == "line" or (_area(xy) > 0.0) == (kind == "outline") else xy[::-1]
            word = SCREEN if kind == "line" else BUILDING
            for a, b in pairwise(turned):
                if np.hypot(*(b - a)) < LEAST_WALL_M:
                    continue
                rest = (base, base + heights_m[number], number, REFLECTION_COEFFICIENT[word])
                rows.append((*a, *b, *rest))
                if kind == "line":
                    rows.append((*b, *a, *rest))
    table = np.array(rows, dtype=float).reshape(-1, 8)
    return Walls(np.ascontiguousarray(table[:, :2]), np.ascontiguousarray(table[:, 2:4]), table[:, 4].copy(),
                 table[:, 5].copy(), table[:, 6].astype(np.int64), table[:, 7].copy())


def _area(xy: Floats) -> float:
    """Return the signed area of a ring, positive where it runs anticlockwise."""
    x, y = xy[:, 0] - xy[0, 0], xy[:, 1] - xy[0, 1]
    return float(0.5 * np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))
