"""Sound of every method at every receptor point: propagation once per source height, then on-times by the clock."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import Basis, Citation, weakest
from envpredict.core.series import LevelSeries
from envpredict.engine.geometry import coordinates, facing_point

if TYPE_CHECKING:
    from envpredict.engine.blocks import Blocks
    from envpredict.engine.choices import MethodChoice
    from envpredict.engine.programme import Passes
    from envpredict.methods.fields import PlantUse
    from envpredict.methods.schema import Plant
    from envpredict.scenario.types import Scenario

Floats = NDArray[np.float64]
FIRST_EAR_M, STOREY_M = 1.5, 3.0
EAR_HEIGHT = Citation("common practice", None, "receptor points 1.5 m above each floor, storeys of 3 m", "practice")
HEAD_PARTS = 4
HEAD_CLEARANCE_M = 1.0
HEAD_HEIGHT = Citation("common practice", None,
                       "a hammer or vibrator sits 1 m above the pile's head and comes down with it", "practice")
NEAREST_M = 1.0
TILE_CELLS = 500_000
ON_TIME_RELATIVE_SD = 0.3
ON_TIME_SOURCE = Citation("envpredict", 2026, "spread of on-time from day to day: 30 %", "estimate")


@dataclass(frozen=True, slots=True, eq=False)
class SoundPoints:
    """Receptor points (Q): x, y, height above ground, and the number of the receptor that each belongs to."""

    xy: Floats
    height_m: Floats
    receptor: NDArray[np.int64]


def sound_points(scenario: Scenario) -> SoundPoints:
    """Return one point per floor of each receptor, on the side that faces the works."""
    import shapely

    works = shapely.multipoints(np.asarray(scenario.piles.geometry.values))
    at = facing_point(scenario.receptors.geometry, works)
    floors = np.maximum(scenario.receptors["floors"].to_numpy(dtype=int), 1)
    receptor = np.repeat(np.arange(len(floors)), floors)
    floor = np.arange(len(receptor)) - np.repeat(np.cumsum(floors) - floors, floors)
    return SoundPoints(at[receptor], FIRST_EAR_M + STOREY_M * floor, receptor.astype(np.int64))


@dataclass(frozen=True, slots=True, eq=False)
class Propagation:
    """What lies between the piles and the points: plan distances (Q, P), the air, and the ground as sound sees it."""

    points: SoundPoints
    lengths_m: Floats
    temperature_c: float
    humidity_percent: float
    porosity: float
    plan_m: Floats

    def attenuation_db(self, source_height_m: float, tile: slice) -> Floats:
        """Return (tile, P, 8) the octave attenuation from a source at this height at every pile."""
        from envpredict.models.noise.iso9613_2_1996 import flat_attenuation

        return flat_attenuation(
            np.maximum(self.plan_m[tile], NEAREST_M), source_height_m, self.points.height_m[tile, None],
            source_porosity=self.porosity, receptor_porosity=self.porosity, middle_porosity=self.porosity,
            temperature_c=self.temperature_c, humidity_percent=self.humidity_percent)


def propagation(scenario: Scenario, points: SoundPoints) -> Propagation:
    """Return the propagation between the scenario's piles and the points."""
    piles = coordinates(scenario.piles.geometry)
    plan = np.hypot(points.xy[:, None, 0] - piles[None, :, 0], points.xy[:, None, 1] - piles[None, :, 1])
    air = scenario.acoustic
    return Propagation(points, scenario.piles["length_m"].to_numpy(dtype=float), air.temperature_c,
                       air.humidity_percent, air.porosity, plan)


def head_heights_m(length_m: float) -> list[float]:
    """Return heights of the pile's head at the middles of equal parts of the drive, the hammer's centre above it.

    Rounded to whole metres, so that piles of like length share one propagation.
    """
    left = 1.0 - (np.arange(HEAD_PARTS) + 0.5) / HEAD_PARTS
    return [float(np.round(length_m * share + HEAD_CLEARANCE_M)) for share in left]


def _parts(plant: Plant, lengths_m: Floats) -> list[tuple[float, Floats]]:
    """Return the heights at which an item of plant sits and, per pile, the share of its time that it spends there."""
    if plant.height != "pile_head":
        return [(float(plant.height), np.ones(len(lengths_m)))]
    shares: dict[float, Floats] = {}
    for length in np.unique(lengths_m):
        for height in head_heights_m(float(length)):
            here = shares.setdefault(height, np.zeros(len(lengths_m)))
            here += (lengths_m == length) / HEAD_PARTS
    return sorted(shares.items())


def plant_levels(plants: Iterable[Plant], path: Propagation) -> dict[str, Floats]:
    """Return, per item of plant, the A-weighted incident level (Q, P) while it works at each pile.

    The propagation is computed once per source height and shared by all items. What sits on the pile's head comes down
    during the drive: its energy is averaged over parts of the drive. Points go through in tiles that bound the memory.
    """
    from envpredict.models.noise.weighting import A_WEIGHTING_DB

    items = {plant.id: (np.asarray(plant.octaves_db) + np.asarray(A_WEIGHTING_DB), _parts(plant, path.lengths_m))
             for plant in plants}
    heights = sorted({height for _, parts in items.values() for height, _ in parts})
    energy = {name: np.zeros(path.plan_m.shape) for name in items}
    step = max(int(TILE_CELLS // max(path.plan_m.shape[1], 1)), 1)
    for start in range(0, path.plan_m.shape[0], step):
        tile = slice(start, start + step)
        for height in heights:
            attenuation = path.attenuation_db(height, tile)
            for name, (power, parts) in items.items():
                for at, share in parts:
                    if at == height:
                        energy[name][tile] += share * (10.0 ** ((power - attenuation) / 10.0)).sum(axis=-1)
    return {name: 10.0 * np.log10(value) for name, value in energy.items()}


@dataclass(frozen=True, slots=True, eq=False)
class PlantLevels:
    """The operating levels of one item of plant of a method (Q, P), incident, dB(A)."""

    use: PlantUse
    plant: Plant
    level_db: Floats


@dataclass(frozen=True, slots=True, eq=False)
class MethodSound:
    """The sound of one method: the levels of its plant at the points, and what is known of them."""

    items: tuple[PlantLevels, ...]
    points: SoundPoints
    plan_m: Floats
    median_basis: Basis
    basis: Basis


def method_sound(choice: MethodChoice, levels: Mapping[str, Floats], path: Propagation) -> MethodSound:
    """Return the operating levels of a method's plant at every point and pile, from those of all plant."""
    items = tuple(PlantLevels(use, mean_level(plant), levels[plant.id]) for use, plant in choice.plant)
    # the item that gives most of the sound decides how well the median is known
    loudest = max(choice.plant, key=lambda pair: pair[1].lwa_db + 10.0 * np.log10(pair[0].on_time_fraction))
    every: list[Basis] = [EAR_HEIGHT.basis, ON_TIME_SOURCE.basis]
    for use, plant in choice.plant:
        every += [use.citation.basis, plant.citation.basis, plant.spectrum_citation.basis, plant.u_citation.basis]
    return MethodSound(items, path.points, path.plan_m, loudest[1].citation.basis, weakest(every))


def mean_level(plant: Plant) -> Plant:
    """Return the plant with its mean level while it works; a maximum enters only through its declared difference."""
    if plant.level_type == "mean":
        return plant
    if plant.max_minus_mean_db is None or plant.max_minus_mean_citation is None:
        raise ValueError(f"plant '{plant.id}' states a maximum and no difference between maximum and mean")
    return plant.at_level(plant.lwa_db - plant.max_minus_mean_db, plant.max_minus_mean_citation)


def mean_level_series(sound: MethodSound, passes: Passes, blocks: Blocks, correction_db: float) -> LevelSeries:
    """Return LAeq over each block at each point, with its scatter.

    Shared: the sources' uncertainty, each item's own draw weighted by its share of the energy, with the propagation's.
    Own: the on-time's spread from day to day. `correction_db` is added once: +3 dB for levels at a facade.
    """
    from envpredict.models.noise.uncertainty import on_time_u_db, propagation_u_db

    energy: list[Floats] = []
    for item in sound.items:
        seconds = np.zeros((item.level_db.shape[1], len(blocks)))
        np.add.at(seconds, passes.pile, blocks.overlap_s * passes.on_share(item.use)[:, None] * item.use.count)
        energy.append(10.0 ** (item.level_db / 10.0) @ (seconds / blocks.length_s))
    total = np.sum(energy, axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        median = 10.0 * np.log10(total) + correction_db
        source = np.sqrt(sum((part / total * item.plant.u_db) ** 2
                             for part, item in zip(energy, sound.items, strict=True)))
    nearest = sound.plan_m[:, passes.pile].min(axis=1)
    path_u = np.broadcast_to(np.asarray(propagation_u_db(nearest))[:, None], median.shape)
    own = np.full(median.shape, float(on_time_u_db(ON_TIME_RELATIVE_SD)))
    within = np.broadcast_to((nearest >= NEAREST_M)[:, None], median.shape)
    return LevelSeries("laeq_db", "free_field" if correction_db == 0.0 else "facade", blocks.slots, median,
                       np.hypot(np.nan_to_num(source), path_u), own, within)
