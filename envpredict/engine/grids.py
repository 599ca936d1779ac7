"""Levels on a regular grid around the works, for contours."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.geometry import coordinates
from envpredict.engine.noise import Propagation, SoundPoints, method_sound, plant_levels
from envpredict.engine.results import Grid
from envpredict.engine.run import all_plant
from envpredict.engine.vibration import ground_vibration

if TYPE_CHECKING:
    from envpredict.engine.run import MethodRun, Run

Floats = NDArray[np.float64]
CELLS = 80
MARGIN_M = 60.0
LEAST_DISTANCE_M = 1.0
GRID_EAR_M = 1.5


def _axes(run: Run) -> tuple[Floats, Floats]:
    """Return the grid's x and y: receptors and piles with a margin, square cells."""
    x0, y0, x1, y1 = run.scenario.receptors.total_bounds
    px0, py0, px1, py1 = run.scenario.piles.total_bounds
    low = np.array([min(x0, px0), min(y0, py0)]) - MARGIN_M
    high = np.array([max(x1, px1), max(y1, py1)]) + MARGIN_M
    cell = float((high - low).max()) / CELLS
    count = np.ceil((high - low) / cell).astype(int) + 1
    return low[0] + cell * np.arange(count[0]), low[1] + cell * np.arange(count[1])


def _vibration(run: Run, method: MethodRun, plan_m: Floats) -> Floats:
    """Return the median of the worst pile at each cell, in the law's own unit on the ground."""
    field = ground_vibration(method.choice, run.catalogue.models, run.drive, plan_m, run.schemes)
    worked = np.unique(method.passes.pile)
    return np.asarray(10.0 ** np.nanmax(field.log_median[:, worked], axis=1, initial=-np.inf))


def _sound(method: MethodRun, levels: Mapping[str, Floats], path: Propagation) -> Floats:
    """Return the highest operating level at each cell over the piles: all plant of the method at work, incident."""
    sound = method_sound(method.choice, levels, path)
    total = np.sum([10.0 ** (item.level_db / 10.0) for item in sound.items], axis=0)
    worked = np.unique(method.passes.pile)
    return np.asarray(10.0 * np.log10(total[:, worked].max(axis=1)))


def level_grids(run: Run, methods: Iterable[MethodRun]) -> Mapping[tuple[str, str], Grid]:
    """Return the vibration and noise grids of every candidate, for contours; cells nearer than 1 m to a pile count 1 m.

    Vibration: median at the ground of the worst pile of the programme. Noise: A-weighted level with all of the method's
    plant at work at the worst pile, incident, 1.5 m above ground, over flat unscreened ground.
    """
    x, y = _axes(run)
    cells = np.column_stack([np.tile(x, len(y)), np.repeat(y, len(x))])
    piles = coordinates(run.scenario.piles.geometry)
    plan = np.hypot(cells[:, None, 0] - piles[None, :, 0], cells[:, None, 1] - piles[None, :, 1])
    plan = np.maximum(plan, LEAST_DISTANCE_M)
    points = SoundPoints(cells, np.full(len(cells), GRID_EAR_M), np.arange(len(cells)))
    path = replace(run.path, points=points, plan_m=plan)
    levels = plant_levels(all_plant(run.choices), path)
    grids: dict[tuple[str, str], Grid] = {}
    for method in methods:
        shape = (len(y), len(x))
        grids[method.choice.id, "vibration"] = Grid(x, y, _vibration(run, method, plan).reshape(shape),
                                                    method.vibration.quantity, "mm/s")
        grids[method.choice.id, "noise"] = Grid(x, y, _sound(method, levels, path).reshape(shape), "laeq_db", "dB")
    return grids
