"""Levels of items of plant at every point from every position: each transfer once per height, tile after tile."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import Citation
from envpredict.engine.sound.paths import Ends, joined

if TYPE_CHECKING:
    from envpredict.engine.sound.octave import Levels
    from envpredict.engine.sound.points import SoundPoints
    from envpredict.engine.sound.scene import SoundScene
    from envpredict.methods.schema import Plant

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Singles = NDArray[np.float32]
HEAD_PARTS = 4
HEAD_CLEARANCE_M = 1.0
HEAD_HEIGHT = Citation("common practice", None,
                       "a hammer or vibrator sits 1 m above the pile's head and comes down with it", "practice")
TILE_PATHS = 60_000
"""So many paths go through at once; it bounds the memory, never the result."""
PILE_HEAD = "pile_head"
THREADS = [min(os.cpu_count() or 1, 8)]
"""The threads that tiles of paths go through; a process that shares the processors with others takes fewer."""


class NoiseMethod(Protocol):
    """A way to predict the level of plant.

    `model`: the equation that names it, of `models` that it's made of; `of_maxima`: its emissions are maxima; `sources`
    of what its equations don't cite themselves.
    """

    id: str
    model: str
    models: tuple[str, ...]
    title: str
    of_maxima: bool
    sources: tuple[Citation, ...]

    def levels(self, scene: SoundScene, ends: Ends, span_m: Floats, plants: Sequence[Plant]) -> Levels:
        """Return the levels of items of plant that stand at the sources of these paths."""


@dataclass(frozen=True, slots=True, eq=False)
class Positions:
    """Where plant stands (P): places (P, 2), and the length of the pile there (P), NaN where there's none."""

    xy: Floats
    length_m: Floats

    def __len__(self) -> int:
        return len(self.xy)


@dataclass(frozen=True, slots=True, eq=False)
class PlantField:
    """An item of plant at work: its level at points (Q) from positions (P), one item of it.

    `energy` (K, Q, P): 10^(L/10), incident, A-weighted, for each of the K equal parts of the drive during which it
    stands at one height; `u_db` (Q, P): standard uncertainty of the way; `in_range` (Q, P).
    """

    plant: Plant
    energy: Singles
    u_db: Singles
    in_range: NDArray[np.bool_]

    @property
    def parts(self) -> int:
        """Return the number of parts of the drive."""
        return int(self.energy.shape[0])

    def level_db(self) -> Floats:
        """Return the mean level over the drive (Q, P) in dB."""
        return np.asarray(10.0 * np.log10(self.energy.mean(axis=0, dtype=float)))


def head_heights_m(length_m: Floats, part: int) -> Floats:
    """Return the height of the source on a pile's head in the middle of one of the equal parts of its drive."""
    left = 1.0 - (part + 0.5) / HEAD_PARTS
    return np.asarray(length_m * left + HEAD_CLEARANCE_M)


@dataclass(frozen=True, slots=True, eq=False)
class Stand:
    """Plant that shares its heights: heights and downward reach at positions (P), and who stands there (numbers)."""

    part: int
    height_m: Floats
    span_m: Floats
    who: tuple[int, ...]


def stands(plants: Sequence[Plant], positions: Positions) -> list[Stand]:
    """Return the heights at which items of plant stand, each with all who share it."""
    heads = tuple(number for number, plant in enumerate(plants) if plant.height == PILE_HEAD)
    found = []
    for part in range(HEAD_PARTS if heads else 0):
        height = head_heights_m(positions.length_m, part)
        found.append(Stand(part, height, height, heads))
    for fixed in sorted({float(plant.height) for plant in plants if plant.height != PILE_HEAD}):
        who = tuple(number for number, plant in enumerate(plants) if plant.height != PILE_HEAD
                    and float(plant.height) == fixed)
        found.append(Stand(0, np.full(len(positions), fixed), np.zeros(len(positions)), who))
    return found


def ends_of(points: SoundPoints, positions: Positions, height_m: Floats) -> Ends:
    """Return the paths from every position (P) to every point (Q), point after point: N = Q x P."""
    q, p = len(points), len(positions)
    return Ends(np.tile(positions.xy, (q, 1)), np.tile(height_m, q), np.repeat(points.xy, p, axis=0),
                np.repeat(points.height_m, p), np.repeat(points.own, p))


def _same_plan_first(points: SoundPoints, count: int, heights: int) -> Ints:
    """Return the order of paths (heights x Q x `count` positions) in which those that share their plan follow in a row.

    The screening looks up once what such paths share.
    """
    keys = np.column_stack([points.xy, points.own])
    place = np.unique(keys, axis=0, return_inverse=True)[1].reshape(-1)
    plan = place[:, None] * count + np.arange(count)
    return np.asarray(np.argsort(np.tile(plan.reshape(-1), heights), kind="stable"), dtype=np.int64)


def _together(scene: SoundScene, method: NoiseMethod, points: SoundPoints, positions: Positions,
              standing: Sequence[Stand], items: Sequence[Plant]) -> Levels:
    """Return the levels of all items of plant at all heights (I, heights x Q x P), height after height."""
    ends = joined([ends_of(points, positions, stand.height_m) for stand in standing])
    span = np.concatenate([np.tile(stand.span_m, len(points)) for stand in standing])
    order = _same_plan_first(points, len(positions), len(standing))
    back = np.empty_like(order)
    back[order] = np.arange(len(order))
    found = method.levels(scene, ends.take(order), span[order], items)
    return replace(found, energy=found.energy[:, back], u_db=found.u_db[:, back], in_range=found.in_range[back])


def tiles(count: int, step: int) -> Iterator[slice]:
    """Yield slices of `step` that cover `count` rows."""
    for start in range(0, count, step):
        yield slice(start, min(start + step, count))


def plant_fields(scene: SoundScene, method: NoiseMethod, points: SoundPoints, positions: Positions,
                 plants: Iterable[Plant], tile_paths: int = TILE_PATHS) -> dict[Plant, PlantField]:
    """Return the field of every item of plant, each once.

    Tiles of points go through side by side; the result doesn't depend on their size or number.
    """
    items = list(dict.fromkeys(plants))
    shape = (len(points), len(positions))
    fields = [PlantField(plant, np.zeros((HEAD_PARTS if plant.height == PILE_HEAD else 1, *shape), np.float32),
                         np.zeros(shape, np.float32), np.ones(shape, dtype=bool)) for plant in items]
    standing = stands(items, positions)

    def fill(tile: slice) -> None:
        here = points.take(np.arange(tile.start, tile.stop))
        cells = (len(here), len(positions))
        squares = [np.zeros(cells) for _ in items]
        found = _together(scene, method, here, positions, standing, items)
        of_stand = slice(0, 0)
        for stand in standing:
            of_stand = slice(of_stand.stop, of_stand.stop + cells[0] * cells[1])
            for number in stand.who:
                energy = found.energy[number, of_stand].reshape(cells)
                fields[number].energy[stand.part, tile] = energy
                fields[number].in_range[tile] &= found.in_range[of_stand].reshape(cells)
                squares[number] += energy * found.u_db[number, of_stand].reshape(cells) ** 2
        for field, square in zip(fields, squares, strict=True):
            field.u_db[tile] = np.sqrt(square / field.energy[:, tile].sum(axis=0, dtype=float))

    step = max(tile_paths // max(len(positions) * len(standing), 1), 1)
    with ThreadPoolExecutor(max_workers=THREADS[0]) as pool:
        for _ in pool.map(fill, tiles(len(points), step)):
            pass
    return dict(zip(items, fields, strict=True))
