"""Levels on a regular grid around the works, for contours."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.results import Grid
from envpredict.engine.sound.field import Positions
from envpredict.engine.sound.method import method_sound, plant_by_screens
from envpredict.engine.sound.points import SoundPoints
from envpredict.engine.sound.run_sound import Sound
from envpredict.engine.vibration.field import ground_vibration

if TYPE_CHECKING:
    from envpredict.engine.run import MethodRun, Run

Floats = NDArray[np.float64]
CELLS = 60
MARGIN_M = 60.0
LEAST_DISTANCE_M = 1.0
GRID_EAR_M = 1.5
MOST_POSITIONS = 12


def _axes(run: Run) -> tuple[Floats, Floats]:
    """Return the grid's x and y: receptors and piles with a margin, square cells."""
    x0, y0, x1, y1 = run.scenario.receptors.total_bounds
    px0, py0, px1, py1 = run.scenario.piles.total_bounds
    low = np.array([min(x0, px0), min(y0, py0)]) - MARGIN_M
    high = np.array([max(x1, px1), max(y1, py1)]) + MARGIN_M
    cell = float((high - low).max()) / CELLS
    count = np.ceil((high - low) / cell).astype(int) + 1
    return low[0] + cell * np.arange(count[0]), low[1] + cell * np.arange(count[1])


def _vibration(run: Run, method: MethodRun, plan_m: Floats) -> tuple[Floats, str]:
    """Return the median of the worst pile at each cell, in the law's own unit on the ground, and its quantity."""
    field = ground_vibration(method.choice, run.catalogue.models, run.drive, plan_m, run.schemes)
    worked = np.unique(method.passes.pile)
    return np.asarray(10.0 ** np.nanmax(field.log_median[:, worked], axis=1, initial=-np.inf)), field.quantity


def _own_obstacles(run: Run, cells: Floats) -> NDArray[np.int64]:
    """Return, per cell, the number of the obstacle that it lies in, -1 for none: it doesn't screen its own inside."""
    import shapely

    own = np.full(len(cells), -1, dtype=np.int64)
    if run.scenario.obstacles is not None:
        tree = shapely.STRtree(run.scenario.obstacles.geometry.to_numpy())
        cell, number = tree.query(shapely.points(cells), predicate="within")
        own[cell] = number
    return own


def _thinned(run: Run, method: MethodRun, cells: Floats) -> NDArray[np.int64]:
    """Return the piles of a method that stand for its works on the grid: evenly spread along the line, at most 12."""
    worked = np.unique(method.passes.pile)
    return worked[np.unique(np.linspace(0, len(worked) - 1, min(MOST_POSITIONS, len(worked))).astype(np.int64))]


def _sound_grids(run: Run, methods: Sequence[MethodRun], cells: Floats) -> list[Floats]:
    """Return, per method, the highest level at each cell over the positions that stand for its works, incident."""
    at = replace(run.quiet.moved(SoundPoints.at(cells, GRID_EAR_M, _own_obstacles(run, cells))), others=())
    found: list[Floats] = []
    groups: dict[tuple[object, ...], tuple[Sound, list[int]]] = {}
    for number, method in enumerate(methods):
        piles = _thinned(run, method, cells)
        key = (tuple(piles.tolist()),)
        if key not in groups:
            some = Positions(run.quiet.positions.xy[piles], run.quiet.positions.length_m[piles])
            groups[key] = (replace(at, positions=some, _fields={}), [])
        groups[key][1].append(number)
    for sound, members in groups.values():
        for screens, plants in plant_by_screens(run.scenario, [methods[number].choice for number in members]):
            sound.fields(plants, screens)
    for number, method in enumerate(methods):
        sound = next(one for one, members in groups.values() if number in members)
        heard = method_sound(sound, method.choice, run.drive)
        total = np.sum([item.field.energy.mean(axis=0, dtype=float) * item.factor for item in heard.items], axis=0)
        found.append(np.asarray(10.0 * np.log10(total.max(axis=1))))
    return found


def level_grids(run: Run, methods: Iterable[MethodRun]) -> Mapping[tuple[str, str], Grid]:
    """Return the vibration and noise grids of every candidate, for contours; cells nearer than 1 m to a pile count 1 m.

    Vibration: median at the ground of the worst pile of the programme. Noise: A-weighted level with all of the method's
    plant at work, the highest over positions spread along the works, incident, 1.5 m above ground, past everything
    that stands in the way.
    """
    chosen = list(methods)
    x, y = _axes(run)
    cells = np.column_stack([np.tile(x, len(y)), np.repeat(y, len(x))])
    piles = run.quiet.positions.xy
    plan = np.hypot(cells[:, None, 0] - piles[None, :, 0], cells[:, None, 1] - piles[None, :, 1])
    plan = np.maximum(plan, LEAST_DISTANCE_M)
    sounds = _sound_grids(run, chosen, cells)
    grids: dict[tuple[str, str], Grid] = {}
    for method, sound in zip(chosen, sounds, strict=True):
        shape = (len(y), len(x))
        shaken, quantity = _vibration(run, method, plan)
        grids[method.choice.id, "vibration"] = Grid(x, y, shaken.reshape(shape), quantity, "mm/s")
        grids[method.choice.id, "noise"] = Grid(x, y, sound.reshape(shape), "laeq_db", "dB")
    return grids
