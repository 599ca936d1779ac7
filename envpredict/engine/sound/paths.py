"""The attenuation of sound on the direct way from sources to receptors through a scene, band by band."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import Citation
from envpredict.engine.sound.scene import SoundScene
from envpredict.models.noise.housing_rows import housing_db, with_ground_db
from envpredict.models.noise.iso9613_2_1996 import (
    air_attenuation_db,
    divergence_db,
    flat_attenuation,
    ground_effect_db,
)
from envpredict.models.noise.iso9613_2_1996.weather import long_term_correction_db
from envpredict.models.noise.screen_geometry import ScreenPaths, obstacle_attenuation_db, screen_paths

Floats = NDArray[np.float64]
NEAREST_M = 1.0
LEAST_LONG_DETOUR_M = 10.0
LONG_DETOUR = Citation("our judgement", None, "a way round a side that more than doubles the path doesn't count",
                       "estimate", note="ISO 9613-2 lets out detours of more than eight times that over the top; this "
                       "one doesn't depend on the top, so that a higher screen is never louder")
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
        paths = past_obstacles(scene, source, receptor, ends.own, sides=sides)
        hit = np.flatnonzero(paths.path_difference_m > -np.inf)
        screened = np.zeros_like(nothing)
        if hit.size:
            screened[hit] = obstacle_attenuation_db(taken(paths, hit), ground_db(ends.take(hit), plan[hit],
                                                                                 porosity[hit]))
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
                   sides: bool = True) -> ScreenPaths:
    """Return the paths past obstacles and over the terrain; of the two the one with the longer detour counts.

    The taut path over both together would be longer still: this is the louder reading. Round the sides of a hill no way
    is looked for.
    """
    paths = _without_long_detours(screen_paths(scene.obstacles, source, receptor, own=own, sides=sides))
    if scene.terrain is None:
        return paths
    over = scene.terrain.over(source, receptor)
    hill = over[:, 0] > paths.path_difference_m
    first, last, between = (np.where(hill, over[:, column], getattr(paths, name)) for column, name in
                            ((1, "source_edge_m"), (2, "receptor_edge_m"), (3, "edge_separation_m")))
    round_left, round_right = (np.where(hill, np.inf, detour) for detour in
                               (paths.left_difference_m, paths.right_difference_m))
    return replace(paths, path_difference_m=np.where(hill, over[:, 0], paths.path_difference_m), source_edge_m=first,
                   receptor_edge_m=last, edge_separation_m=between, left_difference_m=round_left,
                   right_difference_m=round_right, width_m=np.where(hill, np.inf, paths.width_m))


def _without_long_detours(paths: ScreenPaths) -> ScreenPaths:
    """Return the paths without ways round a side that are left out (`LONG_DETOUR`); detours below 10 m always count."""
    longest = np.maximum(paths.distance_m, LEAST_LONG_DETOUR_M)
    left, right = (np.where(detour > longest, np.inf, detour)
                   for detour in (paths.left_difference_m, paths.right_difference_m))
    return replace(paths, left_difference_m=left, right_difference_m=right)


def taken(paths: ScreenPaths, keep: NDArray[np.int64]) -> ScreenPaths:
    """Return the chosen paths."""
    names = ("distance_m", "path_difference_m", "source_edge_m", "receptor_edge_m", "edge_separation_m",
             "left_difference_m", "left_separation_m", "right_difference_m", "right_separation_m", "width_m")
    return ScreenPaths(*(getattr(paths, name)[keep] for name in names))
