"""The attenuation of sound on the direct way from sources to receptors through a scene, band by band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.sound.scene import SoundScene
from envpredict.models.noise.housing_rows import housing_db, with_ground_db
from envpredict.models.noise.iso9613_2_1996 import (
    air_attenuation_db,
    divergence_db,
    flat_attenuation,
    ground_effect_db,
)
from envpredict.models.noise.iso9613_2_1996.weather import long_term_correction_db
from envpredict.models.noise.screen_edges import obstacle_edges, over_edges
from envpredict.models.noise.screen_geometry import ScreenPaths, obstacle_attenuation_db, screen_paths

Floats = NDArray[np.float64]
NEAREST_M = 1.0
NAMES = tuple(one.name for one in fields(ScreenPaths))
REGION_HEIGHTS = 30.0
"""The ground regions of ISO 9613-2 reach 30 heights of the source from it, and 30 of the receptor from that one."""


@dataclass(frozen=True, slots=True, eq=False)
class Ends:
    """Sources and receptors of paths (N): places (N, 2), heights above ground (N), and each receptor's own obstacle."""

    source_xy: Floats
    source_height_m: Floats
    receptor_xy: Floats
    receptor_height_m: Floats
    own: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.own)

    def take(self, keep: NDArray[np.int64]) -> Ends:
        """Return the chosen paths, in their order; a path may be asked for more than once."""
        return Ends(self.source_xy[keep], self.source_height_m[keep], self.receptor_xy[keep],
                    self.receptor_height_m[keep], self.own[keep])

    @property
    def plan_m(self) -> Floats:
        """Return the plan distance (N); nearer than 1 m counts as 1 m."""
        apart = self.receptor_xy - self.source_xy
        return np.maximum(np.hypot(apart[:, 0], apart[:, 1]), NEAREST_M)


def joined(parts: Sequence[Ends]) -> Ends:
    """Return the paths of several as one, in their order."""
    return Ends(*(np.concatenate([getattr(part, one.name) for part in parts]) for one in fields(Ends)))


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """The direct way of each path (N) in dB; octave bands on the last axis.

    `plan_m`, `slope_m` (N); `porosity` (N, 3): of the source's, the receptor's and the middle region; `open_db` (N, 8):
    divergence, air, ground and long-term correction with nothing in the way; `screen_db` (N, 8): Abar; `houses_db` (N):
    by houses whose heights aren't known; `beyond_db` (N, 8): what they take off beyond ground and screens;
    `weather_db` (N): the long-term correction alone; `screens`: the paths past obstacles, None where there are none.
    """

    plan_m: Floats
    slope_m: Floats
    porosity: Floats
    open_db: Floats
    screen_db: Floats
    houses_db: Floats
    beyond_db: Floats
    weather_db: Floats
    screens: ScreenPaths | None

    @property
    def attenuation_db(self) -> Floats:
        """Return (N, 8) the whole attenuation."""
        if self.screens is None and not self.houses_db.any():
            return self.open_db
        return self.open_db + self.screen_db + self.beyond_db


def regions(ends: Ends, plan_m: Floats) -> tuple[Floats, Floats]:
    """Return where the ground regions of each path begin and end (N, 3), as shares of the path from the source on.

    In the order source, receptor, middle; a middle without length has none of its own.
    """
    near = np.minimum(REGION_HEIGHTS * ends.source_height_m / plan_m, 1.0)
    far = np.maximum(1.0 - REGION_HEIGHTS * ends.receptor_height_m / plan_m, 0.0)
    zero, one = np.zeros_like(near), np.ones_like(near)
    return (np.column_stack([zero, far, np.minimum(near, far)]),
            np.column_stack([near, one, np.where(far > near, far, np.minimum(near, far))]))


def direct_ways(scene: SoundScene, ends: Ends, *, sides: bool = True) -> Way:
    """Return the direct way of each path; without `sides` no way round an obstacle's side is looked for."""
    plan, source_xy = ends.plan_m, apart(ends)
    source, receptor = with_elevation(scene, source_xy, ends)
    slope = np.hypot(plan, receptor[:, 2] - source[:, 2])
    porosity = scene.porosity.means(source_xy, ends.receptor_xy, *regions(ends, plan))
    weather = np.zeros(len(ends)) if scene.c0_db == 0.0 else long_term_correction_db(
        plan, ends.source_height_m, ends.receptor_height_m, weather_constant_db=scene.c0_db)
    nothing, houses = np.zeros((len(ends), 8)), _houses_db(scene, source_xy, ends, slope)
    way = Way(plan, slope, porosity, _open_db(scene, ends, plan, slope, porosity) + weather[:, None], nothing, houses,
              nothing, weather, None)
    if not scene.empty or scene.terrain is not None:
        paths, hills, bare = past_obstacles(scene, source, receptor, ends.own, sides=sides)
        hit = np.flatnonzero(paths.path_difference_m > -np.inf)
        screened = np.zeros_like(nothing)
        if hit.size:
            screened[hit] = obstacle_attenuation_db(taken(paths, hit), ground_db(ends.take(hit), plan[hit],
                                                                                 porosity[hit]))
        if hills.size:
            # an obstacle beside a hill never makes it louder than the hill alone
            alone = obstacle_attenuation_db(bare, ground_db(ends.take(hills), plan[hills], porosity[hills]))
            screened[hills] = np.maximum(screened[hills], alone)
        way = replace(way, screen_db=screened, screens=paths)
    if houses.any():
        # houses and screens aren't added: what takes off more counts
        agr = ground_db(ends, plan, porosity)
        behind = with_ground_db(agr, houses[:, None]) - agr
        way = replace(way, beyond_db=np.maximum(behind - way.screen_db, 0.0))
    return way


def ground_db(ends: Ends, plan_m: Floats, porosity: Floats) -> Floats:
    """Return the ground effect Agr (N, 8) of paths with these porosities (N, 3)."""
    return ground_effect_db(plan_m, ends.source_height_m, ends.receptor_height_m, source_porosity=porosity[:, 0],
                            receptor_porosity=porosity[:, 1], middle_porosity=porosity[:, 2])


def air_db(scene: SoundScene, slope_m: Floats) -> Floats:
    """Return the air's attenuation Aatm (N, 8)."""
    return air_attenuation_db(slope_m, temperature_c=scene.temperature_c, humidity_percent=scene.humidity_percent)


def _open_db(scene: SoundScene, ends: Ends, plan_m: Floats, slope_m: Floats, porosity: Floats) -> Floats:
    """Return divergence, air and ground (N, 8); where the ground isn't flat, over the true length of the path."""
    flat = flat_attenuation(plan_m, ends.source_height_m, ends.receptor_height_m, source_porosity=porosity[:, 0],
                            receptor_porosity=porosity[:, 1], middle_porosity=porosity[:, 2],
                            temperature_c=scene.temperature_c, humidity_percent=scene.humidity_percent)
    if scene.terrain is None:
        return flat
    level = np.hypot(plan_m, ends.receptor_height_m - ends.source_height_m)
    longer = (divergence_db(slope_m) - divergence_db(level))[:, None] + air_db(scene, slope_m) - air_db(scene, level)
    return np.asarray(flat + longer)


def apart(ends: Ends) -> Floats:
    """Return the sources' places (N, 2), moved off receptors that they would share a place with."""
    same = (ends.source_xy == ends.receptor_xy).all(axis=1)
    return np.where(same[:, None], ends.source_xy + np.array([NEAREST_M, 0.0]), ends.source_xy)


def with_elevation(scene: SoundScene, source_xy: Floats, ends: Ends) -> tuple[Floats, Floats]:
    """Return the ends (N, 3) with elevations: heights above the ground there."""
    return (np.column_stack([source_xy, scene.ground_m(source_xy) + ends.source_height_m]),
            np.column_stack([ends.receptor_xy, scene.ground_m(ends.receptor_xy) + ends.receptor_height_m]))


def _houses_db(scene: SoundScene, source_xy: Floats, ends: Ends, slope_m: Floats) -> Floats:
    """Return (N) what built-up ground of unknown heights takes off: by the built share of each whole path."""
    if scene.houses.plain:
        return np.zeros(len(ends))
    whole = np.zeros((len(ends), 1)), np.ones((len(ends), 1))
    share = scene.houses.means(source_xy, ends.receptor_xy, *whole)[:, 0]
    return np.asarray(housing_db(np.clip(share, 0.0, 1.0), slope_m))


def past_obstacles(scene: SoundScene, source: Floats, receptor: Floats, own: NDArray[np.int64], *,
                   sides: bool = True) -> tuple[ScreenPaths, NDArray[np.int64], ScreenPaths]:
    """Return the paths past obstacles and over the ground, which paths the ground breaks, and those over it alone.

    Over the top the taut band lies over obstacles and ground together. Round the sides of a hill no way is looked for:
    a way round an obstacle's side still passes the hill, so that it isn't shorter than the way over the hill alone.
    """
    paths = screen_paths(scene.obstacles, source, receptor, own=own, sides=sides)
    ground = None if scene.terrain is None else scene.terrain.edges(source, receptor)
    hills = np.zeros(0, dtype=np.int64) if ground is None else np.flatnonzero(np.diff(ground.starts))
    if ground is None or not hills.size:
        return paths, hills, taken(paths, hills)
    ends = source[hills], receptor[hills]
    level = np.hypot(*(ends[1] - ends[0])[:, :2].T), ends[0][:, 2], ends[1][:, 2]
    alone = over_edges(ground.take(hills), *level)
    both = over_edges(ground.take(hills).joined(obstacle_edges(scene.obstacles, *ends, own[hills])), *level)
    nothing, beside = np.zeros(len(hills)), np.full(len(hills), np.inf)
    bare = ScreenPaths(paths.distance_m[hills], alone[:, 0], alone[:, 1], alone[:, 2], alone[:, 3], beside, nothing,
                       beside, nothing, beside)
    blocked = paths.blocked[hills]
    found = {name: getattr(paths, name).copy() for name in NAMES}
    for column, name in enumerate(("path_difference_m", "source_edge_m", "receptor_edge_m", "edge_separation_m")):
        found[name][hills] = both[:, column]
    for name in ("left_difference_m", "right_difference_m"):
        found[name][hills] = np.where(blocked, np.maximum(found[name][hills], alone[:, 0]), np.inf)
    found["width_m"][hills] = np.where(blocked, found["width_m"][hills], np.inf)
    return ScreenPaths(**found), hills, bare


def taken(paths: ScreenPaths, keep: NDArray[np.int64]) -> ScreenPaths:
    """Return the chosen paths."""
    return ScreenPaths(*(getattr(paths, name)[keep] for name in NAMES))
