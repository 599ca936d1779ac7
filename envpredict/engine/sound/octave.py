"""Levels of plant by octave bands: ISO 9613-2:1996, general method, through the scene."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import Citation
from envpredict.engine.sound.paths import Ends, Way, direct_ways
from envpredict.engine.sound.reflect import reflected_energy
from envpredict.models.noise.iso9613_2_1996.ground import DISTANCE_RANGE, MEAN_HEIGHT
from envpredict.models.noise.iso9613_2_1996.sources import (
    EDITION,
    LONG_DETOUR,
    NOT_CLAIMED,
    POINT_SOURCE,
    REFLECTION,
    SCREEN_SIZE,
)
from envpredict.models.noise.segments import LEAST_SEGMENT_M, is_point, nearest_distance_m, segments_needed
from envpredict.models.noise.uncertainty import (
    PROPAGATION,
    SCREENING,
    SUM_OF_SOURCES,
    propagation_u_db,
    screening_u_db,
)
from envpredict.models.noise.weighting import A_WEIGHTING_DB

if TYPE_CHECKING:
    from envpredict.engine.sound.scene import SoundScene
    from envpredict.methods.schema import Plant

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
_NEPER = np.log(10.0) / 10.0


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """Levels of items of plant (I) at work, on paths (N): `energy` (I, N) is 10^(L/10), incident, A-weighted.

    `u_db` (I, N): standard uncertainty of the way; `in_range` (N): the method is valid there.
    """

    energy: Floats
    u_db: Floats
    in_range: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Cut:
    """Paths (M) from the parts that tall sources are cut into: `path` (M) tells whose part each is, `count` (N).

    `in_range` (N): every part is a point at its distance.
    """

    ends: Ends
    path: Ints
    count: Ints
    in_range: NDArray[np.bool_]

    def means(self, values: Floats) -> Floats:
        """Return the means (N, ...) over each path's parts of values (M, ...): the parts share its power evenly."""
        if len(self.path) == len(self.count):
            return values
        first = np.cumsum(self.count) - self.count
        share = self.count.reshape(-1, *([1] * (values.ndim - 1)))
        return np.asarray(np.add.reduceat(values, first, axis=0) / share)


def cut(ends: Ends, span_m: Floats) -> Cut:
    """Cut sources that reach down to the ground over `span_m` (N) into parts that are points at their distance.

    A source that is a point as a whole stays where it is: at the pile's head. One with a span of 0 is compact: a metre
    in size.
    """
    plan = ends.plan_m
    compact = np.abs(ends.receptor_height_m - ends.source_height_m)
    nearest = np.where(span_m > 0.0, nearest_distance_m(plan, 0.0, span_m, ends.receptor_height_m),
                       np.hypot(plan, compact))
    count = segments_needed(span_m, nearest)
    within = is_point(np.maximum(span_m / count, LEAST_SEGMENT_M), nearest)
    if (count == 1).all():
        return Cut(ends, np.arange(len(ends), dtype=np.int64), count, within)
    path = np.repeat(np.arange(len(ends), dtype=np.int64), count)
    number = np.arange(len(path)) - np.repeat(np.cumsum(count) - count, count)
    middle = span_m[path] * (number + 0.5) / count[path]
    parts = ends.take(path)
    height = np.where(count[path] > 1, middle, parts.source_height_m)
    return Cut(replace(parts, source_height_m=height), path, count, within)


@dataclass(frozen=True, slots=True, eq=False)
class Passed:
    """What passes along each path (N, 8) per energy of the source: direct, with nothing in the way, mirrored.

    `reflections` (N): how many walls mirror the source, over all of its parts.
    """

    direct: Floats
    open: Floats
    mirrored: Floats
    reflections: Ints


def passed(scene: SoundScene, parts: Cut) -> tuple[Passed, Way]:
    """Return what passes along each path, and the ways of the parts."""
    way = direct_ways(scene, parts.ends)
    ends = parts.ends
    source_z = scene.ground_m(ends.source_xy) + ends.source_height_m
    receptor_z = scene.ground_m(ends.receptor_xy) + ends.receptor_height_m
    path, extra = reflected_energy(scene, ends, source_z, receptor_z, way.porosity)
    mirrored = np.zeros_like(way.open_db)
    np.add.at(mirrored, path, extra)
    open_ = np.exp(-_NEPER * way.open_db)
    direct = open_ if way.screens is None and not way.houses_db.any() else np.exp(-_NEPER * way.attenuation_db)
    number = np.bincount(parts.path[path], minlength=len(parts.count)).astype(np.int64)
    return Passed(parts.means(direct), parts.means(open_), parts.means(mirrored), number), way


def weighted_power(plants: Sequence[Plant]) -> Floats:
    """Return the A-weighted energies (I, 8) of the sound powers of items of plant."""
    octaves = np.array([plant.octaves_db for plant in plants], dtype=float).reshape(-1, 8)
    return np.asarray(np.exp(_NEPER * (octaves + A_WEIGHTING_DB)))


class OctaveMethod:
    """ISO 9613-2:1996 in octave bands."""

    id: str = "octave"
    model: str = "iso9613_flat"
    models: tuple[str, ...] = ("iso9613_flat", "iso9613_air_absorption", "iso9613_screen", "iso9613_long_term",
                               "iso9613_housing")
    title: str = f"{EDITION}, octave bands. {NOT_CLAIMED}"
    of_maxima: bool = False
    sources: tuple[Citation, ...] = (REFLECTION, SCREEN_SIZE, POINT_SOURCE, LONG_DETOUR, PROPAGATION, SCREENING,
                                     SUM_OF_SOURCES)

    def levels(self, scene: SoundScene, ends: Ends, span_m: Floats, plants: Sequence[Plant]) -> Levels:
        """Return the levels of items of plant that stand at the sources of these paths."""
        parts = cut(ends, span_m)
        through, _ = passed(scene, parts)
        power = weighted_power(plants)
        direct = power @ through.direct.T
        energy = direct + power @ through.mirrored.T
        plan, height = ends.plan_m, ends.source_height_m
        with np.errstate(divide="ignore", invalid="ignore"):
            screening = 10.0 * np.log10((power @ through.open.T) / direct)
        slope = np.hypot(plan, ends.receptor_height_m - height)
        u = np.hypot(propagation_u_db(slope), screening_u_db(np.nan_to_num(screening)))
        mean_height = 0.5 * (height + ends.receptor_height_m)
        return Levels(energy, u, parts.in_range & DISTANCE_RANGE.holds(plan) & MEAN_HEIGHT.limits.holds(mean_height))
