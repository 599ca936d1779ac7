"""Reads the optional layers: the site's boundary, obstacles to sound, the ground as sound sees it, site constraints."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from envpredict.scenario.columns import METRES, Column
from envpredict.scenario.layers import LINES, POLYGONS, Layer
from envpredict.scenario.problems import Findings
from envpredict.scenario.types import CONSTRAINT_KINDS

if TYPE_CHECKING:
    import geopandas as gpd

NEED_VALUE = frozenset({"headroom", "width"})

HEIGHT = Column("height_m", "number", above=0.0, high=300.0, required=True, hint=f"the height above ground: {METRES}")
BUILT = Column("built_fraction", "number", above=0.0, high=1.0,
               hint="the share of a region that houses cover, where their heights aren't known")
COLUMNS: dict[str, tuple[Column, ...]] = {
    "boundary": (Column("id"),),
    "obstacles": (Column("id"), HEIGHT),
    "acoustic_ground": (Column("id"), Column("porosity", "number", low=0.0, high=1.0, required=True,
                                             hint="0 is hard (paved, water), 1 porous (grass, soil)")),
    "constraints": (Column("id"), Column("kind", "word", CONSTRAINT_KINDS, required=True),
                    Column("value_m", "number", above=0.0, high=200.0, hint=METRES),
                    Column("from", "clock"), Column("to", "clock")),
}
KINDS: dict[str, frozenset[str]] = {"boundary": POLYGONS, "obstacles": POLYGONS | LINES, "acoustic_ground": POLYGONS,
                                    "constraints": POLYGONS}


def read_surroundings(name: str, layer: Layer, frame: gpd.GeoDataFrame | None, found: Findings
                      ) -> gpd.GeoDataFrame | None:
    """Return an optional layer; None if `frame` (the layer in the scenario's system) is missing."""
    wanted = COLUMNS[name]
    if name == "obstacles" and layer.has(BUILT.name):
        # houses whose heights nobody knows count by the area that they cover
        wanted = (*(replace(column, required=False) if column is HEIGHT else column for column in wanted), BUILT)
    cells = layer.cells(wanted, found)
    check = CHECKS.get(name)
    if check is not None:
        check(layer, cells)
    if frame is None:
        return None
    import geopandas as gpd

    cells["id"] = [identifier or str(row) for row, identifier in enumerate(cells["id"], 1)]
    return gpd.GeoDataFrame(cells, geometry=frame.geometry.to_numpy(), crs=frame.crs)


def _check_obstacles(layer: Layer, cells: dict[str, list[Any]]) -> None:
    """Tell of an obstacle with neither a height nor a share of built area, with both, or a line without a height."""
    for row, share in enumerate(cells.get("built_fraction", ())):
        height, shape = cells["height_m"][row], layer.frame.geometry.iloc[row]
        line = shape is not None and "Line" in shape.geom_type
        if any(layer.faults.names(row, name) for name in ("height_m", BUILT.name)):
            continue
        if height is None and (share is None or line):
            layer.faults.add(row, "height_m is empty" + (" and a line has no built_fraction" if line else
                                                         " and so is built_fraction"),
                             f"give {HEIGHT.hint}" if line else
                             "give the height, or for houses of unknown height the share of the area that they cover")
        elif height is not None and share is not None:
            layer.faults.add(row, "height_m and built_fraction are both given", "keep one of them: the height, if it's "
                             "known")


def _check_constraints(layer: Layer, cells: dict[str, list[Any]]) -> None:
    """Tell of a constraint without the value that its kind needs."""
    for row, kind in enumerate(cells["kind"]):
        if kind in NEED_VALUE and cells["value_m"][row] is None:
            layer.faults.add(row, f"a constraint of kind '{kind}' needs value_m", "give it in metres")
        if kind == "possession" and (cells["from"][row] is None or cells["to"][row] is None):
            layer.faults.add(row, "a constraint of kind 'possession' needs from and to",
                             "give the clock times between which work may go on, as 23:30 and 05:00")


CHECKS: dict[str, Callable[[Layer, dict[str, list[Any]]], None]] = {"constraints": _check_constraints,
                                                                       "obstacles": _check_obstacles}
