"""What the site allows at each pile: constraints, existing faces, running lines, possessions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.works.shifts import Window

if TYPE_CHECKING:
    import geopandas as gpd

    from envpredict.scenario.types import Scenario

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
FACE_USES = frozenset({"dwelling", "hospital", "school", "office", "worship", "workshop", "laboratory", "heritage",
                       "bridge"})
"""Uses of receptors that have a face which a pile must stand clear of."""


@dataclass(frozen=True, slots=True, eq=False)
class Site:
    """The constraints at piles (P); a length is NaN where none is given.

    `clearance_m`: to the nearest existing face, `face` what it belongs to; `running_line_m`: to the nearest railway,
    `line` which; `possession`: the hours in which work is allowed beside or on a line, None where the shift holds.
    """

    headroom_m: Floats
    width_m: Floats
    over_water: Flags
    on_slope: Flags
    obstructed: Flags
    clearance_m: Floats
    face: NDArray[np.object_]
    running_line_m: Floats
    line: NDArray[np.object_]
    possession: tuple[Window | None, ...]


def clock_s(text: str) -> float:
    """Return a clock time 'HH:MM' as seconds since midnight."""
    hours, minutes = text.split(":")
    return int(hours) * 3600.0 + int(minutes) * 60.0


def _hits(constraints: gpd.GeoDataFrame, kind: str, piles: NDArray[np.object_]) -> tuple[gpd.GeoDataFrame, Flags]:
    """Return the constraints of a kind (C) and whether each pile stands in each of them (C, P)."""
    import shapely

    rows = constraints[constraints["kind"] == kind]
    shapes = np.asarray(rows.geometry.values, dtype=object)
    return rows, np.asarray(shapely.intersects(shapes[:, None], piles[None, :]), dtype=bool).reshape(len(rows),
                                                                                                     len(piles))


def _least(constraints: gpd.GeoDataFrame, kind: str, piles: NDArray[np.object_]) -> Floats:
    rows, hit = _hits(constraints, kind, piles)
    values = np.where(hit, rows["value_m"].to_numpy(dtype=float)[:, None], np.inf).min(axis=0, initial=np.inf)
    return np.where(np.isfinite(values), values, np.nan)


def _nearest(shapes: NDArray[np.object_], names: NDArray[np.object_], piles: NDArray[np.object_]
             ) -> tuple[Floats, NDArray[np.object_]]:
    """Return the distance from each pile to the nearest of the shapes and its name; NaN and "" without any."""
    import shapely

    if not len(shapes):
        return np.full(len(piles), np.nan), np.full(len(piles), "", dtype=object)
    apart = shapely.distance(shapes[:, None], piles[None, :])
    which = apart.argmin(axis=0)
    return apart[which, np.arange(len(piles))], names[which]


def common_time(windows: list[Window]) -> Window | None:
    """Return the time that all windows share; None if there is none. Raises IndexError for an empty list."""
    found: Window | None = windows[0]
    for window in windows[1:]:
        found = None if found is None else found.shared(window)
    return found


def possession_windows(scenario: Scenario) -> list[list[Window]]:
    """Return, for every pile, the hours of the possessions that it stands in."""
    piles = np.asarray(scenario.piles.geometry.values, dtype=object)
    found: list[list[Window]] = [[] for _ in piles]
    if scenario.constraints is not None:
        rows, hit = _hits(scenario.constraints, "possession", piles)
        for (start, to), inside in zip(rows[["from", "to"]].itertuples(index=False, name=None), hit, strict=True):
            for pile in np.flatnonzero(inside):
                found[pile].append(Window.between(clock_s(start), clock_s(to)))
    return found


def read_site(scenario: Scenario) -> Site:
    """Return what the site allows at each pile of a scenario.

    Faces are those of receptors that are buildings or bridges, and of obstacles drawn as polygons. Where several
    constraints of a kind meet, the tightest holds; where possessions meet, the time that they share.
    """
    piles = np.asarray(scenario.piles.geometry.values, dtype=object)
    receptors, constraints = scenario.receptors, scenario.constraints
    nothing, never = np.full(len(piles), np.nan), np.zeros(len(piles), dtype=bool)

    def least(kind: str) -> Floats:
        return nothing if constraints is None else _least(constraints, kind, piles)

    def inside(kind: str) -> Flags:
        return never if constraints is None else np.asarray(_hits(constraints, kind, piles)[1].any(axis=0), dtype=bool)

    solid = receptors[receptors["use"].isin(FACE_USES)]
    shapes = [*solid.geometry.values]
    names = [*solid["id"]]
    if scenario.obstacles is not None:
        walls = scenario.obstacles[scenario.obstacles.geom_type.isin(["Polygon", "MultiPolygon"])]
        shapes += [*walls.geometry.values]
        names += [*walls["id"]]
    lines = receptors[receptors["use"] == "railway"]
    clearance, face = _nearest(np.array(shapes, dtype=object), np.array(names, dtype=object), piles)
    running, line = _nearest(np.asarray(lines.geometry.values, dtype=object), lines["id"].to_numpy(dtype=object), piles)
    windows = [common_time(each) if each else None for each in possession_windows(scenario)]
    return Site(least("headroom"), least("width"), inside("over_water"), inside("slope"), inside("obstruction"),
                clearance, face, running, line, tuple(windows))
