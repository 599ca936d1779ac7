"""A run for some of its receptors alone."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from envpredict.engine.run import Run


def part_of(run: Run, rows: NDArray[np.int64]) -> Run:
    """Return the run for some of its receptors (n) alone, in their order; its sound isn't predicted yet."""
    points = run.sound.points
    keep = np.isin(points.receptor, rows)
    place = np.full(run.receptor_count, -1, dtype=np.int64)
    place[rows] = np.arange(len(rows))
    mine = replace(points.take(keep), receptor=place[points.receptor[keep]])
    scenario = replace(run.scenario, receptors=run.scenario.receptors.iloc[rows].reset_index(drop=True))
    return replace(run, scenario=scenario, plan_m=run.plan_m[rows], sound=run.sound.moved(mine),
                   facts=[run.facts[row] for row in rows], _classed={})
