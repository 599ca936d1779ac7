"""Which of a building's other facades is the loudest: settled once for a run, so that two sides are followed up."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.sound.field import HEAD_PARTS, Positions, ends_of, head_heights_m, tiles
from envpredict.engine.sound.paths import direct_ways
from envpredict.engine.sound.points import OTHER
from envpredict.models.noise.weighting import A_WEIGHTING_DB

if TYPE_CHECKING:
    from envpredict.engine.sound.points import SoundPoints
    from envpredict.engine.sound.scene import SoundScene

Floats = NDArray[np.float64]
MOST_POSITIONS = 24
LOW_SOURCE_M = 1.5
STEP = 1000


def loudest_sides(scene: SoundScene, points: SoundPoints, positions: Positions) -> SoundPoints:
    """Return the points without those before other facades than the loudest one of each building.

    The facades are compared on the topmost floor, by sound with as much power in every octave, from at most 24
    positions along the works, from half-way down the drive and from 1.5 m above ground.
    """
    other = points.side == OTHER
    if not other.any():
        return points
    places, place_of = np.unique(np.column_stack([points.receptor, points.xy])[other], axis=0, return_inverse=True)
    place_of = np.ravel(place_of)
    rows = np.flatnonzero(other)
    top = np.full(len(places), -1, dtype=np.int64)
    order = np.argsort(points.floor[rows], kind="stable")
    top[place_of[order]] = rows[order]
    loudness = _loudness(scene, points.take(top), positions)
    receptor = places[:, 0].astype(np.int64)
    best = np.zeros(len(places), dtype=bool)
    ranked = np.lexsort((-np.arange(len(places)), loudness, receptor))
    last = np.append(receptor[ranked][1:] != receptor[ranked][:-1], True)
    best[ranked[last]] = True
    keep = ~other
    keep[rows] = best[place_of]
    return points.take(keep)


def _loudness(scene: SoundScene, points: SoundPoints, positions: Positions) -> Floats:
    """Return, per point, the highest energy from any of the positions compared, on an arbitrary scale."""
    some = np.unique(np.linspace(0, len(positions) - 1, min(MOST_POSITIONS, len(positions))).astype(np.int64))
    few = Positions(positions.xy[some], positions.length_m[some])
    found = np.zeros(len(points))
    weight = 10.0 ** (A_WEIGHTING_DB / 10.0)
    for height in (head_heights_m(few.length_m, HEAD_PARTS // 2), np.full(len(few), LOW_SOURCE_M)):
        for tile in tiles(len(points), STEP):
            here = points.take(np.arange(tile.start, tile.stop))
            way = direct_ways(scene, ends_of(here, few, height), sides=False)
            energy = (10.0 ** (-way.attenuation_db / 10.0)) @ weight
            found[tile] = np.maximum(found[tile], energy.reshape(len(here), len(few)).max(axis=1))
    return found
