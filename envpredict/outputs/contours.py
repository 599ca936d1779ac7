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

    Vibration: at fixed levels in mm/s; noise: at every 5 dB inside the grid's range.
    """
    import shapely

    grid = assessment.grids[method, kind]
    found = []
    if kind == "noise":
        low, high = np.nanmin(grid.values), np.nanmax(grid.values)
        first = NOISE_STEP_DB * int(np.ceil(low / NOISE_STEP_DB))
        for level in range(first, int(high) + 1, NOISE_STEP_DB):
            found += [(float(level), shapely.linestrings(path)) for path in trace(grid, float(level), True)]
        return found
    for value in VIBRATION_LEVELS_MM_S:
        found += [(value, shapely.linestrings(path)) for path in trace(grid, float(np.log10(value)), False)]
    return found
