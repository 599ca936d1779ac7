"""The site's boundary as a place of judgement: how near each pile comes to it, and points along it.

Rules that are judged on the boundary hold for the site, not for a receptor: the level is that at the boundary's worst
point, and every receptor that the rule's classes take in gets it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envpredict.limits.outcome import Missing

if TYPE_CHECKING:
    from envpredict.scenario.types import Scenario

Floats = NDArray[np.float64]
PLACE = "boundary"
NEAREST_M = 0.5
"""A pile that stands on the boundary counts as this far from it; no law reaches there, and the finding says so."""
SPACING_M = 5.0
"""How far apart points along the boundary stand (our judgement)."""
NO_BOUNDARY = Missing("boundary", "the rule is judged on the site's boundary: name its polygon under [layers] boundary")


def boundary_line(scenario: Scenario) -> Any | None:
    """Return the outline of the site's polygons as one geometry, or None where the scenario has no boundary."""
    if scenario.boundary is None or scenario.boundary.empty:
        return None
    return scenario.boundary.geometry.union_all().boundary


def boundary_plan_m(scenario: Scenario) -> Floats | Missing:
    """Return (1, P) the horizontal distance from each pile to the nearest point of the boundary, or what is missing.

    Not below `NEAREST_M`. The level that a pile sends to its own nearest point is the highest along the boundary.
    """
    import shapely

    line = boundary_line(scenario)
    if line is None:
        return NO_BOUNDARY
    piles = np.asarray(scenario.piles.geometry.values, dtype=object)
    distance: Floats = np.asarray(shapely.distance(line, piles), dtype=float)[None, :]
    return np.asarray(np.maximum(distance, NEAREST_M))


@dataclass(frozen=True, slots=True, eq=False)
class BoundaryPoints:
    """Points along the boundary (B): x and y (B, 2) in the scenario's CRS."""

    xy: Floats

    def plan_m(self, piles: Floats) -> Floats:
        """Return (B, P) the horizontal distances from piles, x and y (P, 2)."""
        return np.asarray(np.hypot(self.xy[:, None, 0] - piles[None, :, 0], self.xy[:, None, 1] - piles[None, :, 1]))


def boundary_points(scenario: Scenario, spacing_m: float = SPACING_M) -> BoundaryPoints | Missing:
    """Return points along the whole boundary, at most `spacing_m` apart, and the nearest one to each pile.

    Where levels can't be taken from the nearest distance alone (sound behind a screen), the worst of these points
    governs. Raises ValueError for a spacing that isn't positive.
    """
    import shapely

    if not spacing_m > 0.0:
        raise ValueError("spacing_m must be positive")
    line = boundary_line(scenario)
    if line is None:
        return NO_BOUNDARY
    along = shapely.get_coordinates(shapely.segmentize(line, spacing_m))
    piles = np.asarray(scenario.piles.geometry.values, dtype=object)
    nearest = shapely.get_coordinates(shapely.get_point(shapely.shortest_line(line, piles), 0))
    return BoundaryPoints(np.unique(np.round(np.vstack([along, nearest]), 3), axis=0))
