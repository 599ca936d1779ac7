"""What a run may use: memory, processes, a cluster, a folder for what is done already. None of it changes a result."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from envpredict.core.errors import InputProblems, Problem
from envpredict.engine.sound.field import HEAD_PARTS, PILE_HEAD

if TYPE_CHECKING:
    from envpredict.engine.tiled.tile import Ready

Progress = Callable[[str, float], None]
"""Called with a short text on what comes next, and the share of the work that is done, 0 to 1."""
DEFAULT_MEMORY_GB = 2.0
MOST_RECEPTORS = 1000
"""A tile holds no more receptors than this: more wouldn't make a run faster, and progress would be told too seldom."""


@dataclass(frozen=True, slots=True)
class Means:
    """What a run may use.

    `memory_gb`: for the tiles at work, all processes together, beside the results themselves; `workers`: processes on
    this machine; `cluster`: address of a scheduler whose workers take the tiles; `cache`: folder in which the finished
    tiles of a run of several are kept; `resume`: those that are there already are used.
    """

    memory_gb: float = DEFAULT_MEMORY_GB
    workers: int = 1
    cluster: str | None = None
    cache: Path | None = None
    resume: bool = False

    def __post_init__(self) -> None:
        problems = []
        if not self.memory_gb > 0.0:
            problems.append(Problem("--memory-gb", f"{self.memory_gb:g} isn't above 0", "give GB that may be used"))
        if self.workers < 1:
            problems.append(Problem("--workers", f"{self.workers} is no number of processes", "give 1 or more"))
        if self.cluster is not None and self.workers != 1:
            problems.append(Problem("--workers", "is given beside --cluster",
                                    "the cluster has workers of its own: leave one of the two out"))
        if problems:
            raise InputProblems(problems, "the means of the run")


def bytes_per_receptor(shared: Ready) -> float:
    """Return about how many bytes a tile needs for each of its receptors, from what is computed for it at once."""
    run = shared.run
    piles = run.pile_count
    plants = {plant for choice in run.choices for _, plant in choice.plant}
    heights = sum(HEAD_PARTS if plant.height == PILE_HEAD else 1 for plant in plants)
    table = run.scenario.receptors
    polygons = table.geometry.geom_type.isin(["Polygon", "MultiPolygon"]).to_numpy()
    floors = np.maximum(table["floors"].to_numpy(dtype=float), 1.0)
    points = float((floors * np.where(polygons, 2.0, 1.0)).mean())
    laws = max(len(choice.laws) for choice in run.choices) + 1
    passes = max(len(one.pile) for method in shared.methods for one in method.programmes.values())
    sound = points * piles * (4 * heights + 5 * len(plants) + 16)
    ground = piles * laws * 60
    series = passes * (120 + 16 * points * max(len(choice.plant) for choice in run.choices))
    return float(sound + ground + series)


def tile_size(shared: Ready, means: Means) -> int:
    """Return how many receptors a tile holds, so that all that are at work at once stay within the memory."""
    room = means.memory_gb * 1e9 / means.workers
    return int(np.clip(room / bytes_per_receptor(shared), 1, MOST_RECEPTORS))
