"""Level contours of a run's grids, as lines for a GIS program."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from envpredict.outputs.map.contours import trace

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment

VIBRATION_LEVELS_MM_S = (0.1, 0.3, 1.0, 3.0, 5.0, 10.0, 20.0, 50.0)
NOISE_STEP_DB = 5


def contour_lines(assessment: Assessment, method: str, kind: str) -> list[tuple[float, Any]]:
    """Return (level, line) pairs of one method's vibration or noise grid, in the scenario's CRS; medians.

    Vibration: at fixed levels in mm/s; noise: at every 5 dB inside the grid's range. A grid without a single level
    (the ground isn't known anywhere) has no lines.
    """
    import shapely

    grid = assessment.grids[method, kind]
    decibel = kind == "noise"
    known = grid.values[np.isfinite(grid.values)]
    if not known.size:
        return []
    if decibel:
        first = NOISE_STEP_DB * int(np.ceil(known.min() / NOISE_STEP_DB))
        levels = [float(level) for level in range(first, int(np.floor(known.max())) + 1, NOISE_STEP_DB)]
    else:
        levels = list(VIBRATION_LEVELS_MM_S)
    return [(level, shapely.linestrings(path)) for level in levels
            for path in trace(grid, level if decibel else float(np.log10(level)), decibel)]
