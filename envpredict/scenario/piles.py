"""From a layer of points or lines to single piles in driving order."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from envpredict.scenario.columns import METRES, Column
from envpredict.scenario.layers import Layer
from envpredict.scenario.problems import Findings
from envpredict.scenario.types import PILE_COLUMNS, Known

if TYPE_CHECKING:
    import geopandas as gpd

ONE_PLACE_M = 0.05
ROUNDING_M = 0.01
"""A line that falls short of its last pile by this much still bears it: coordinates come rounded."""


def pile_columns(known: Known) -> tuple[Column, ...]:
    """Return the columns of the pile layer."""
    return (
        Column("id"), Column("section"),
        Column("pile_type", "word", tuple(sorted(known.pile_types)), required=True),
        Column("length_m", "number", above=0.0, high=100.0, required=True, hint=f"a pile's length: {METRES}"),
        Column("spacing_m", "number", low=0.1, high=10.0, hint=f"the distance from pile to pile: {METRES}"),
    )


@dataclass(slots=True)
class _Row:
    """One pile."""

    section: str
    pile_type: str
    length_m: float
    spacing_m: float
    place: shapely.Point
    id: str | None = None


@dataclass(slots=True)
class Piles:
    """What comes of the pile layer."""

    piles: gpd.GeoDataFrame
    wall: gpd.GeoDataFrame
    sections: tuple[str, ...] = field(default_factory=tuple)


def read_piles(layer: Layer, frame: gpd.GeoDataFrame | None, known: Known, found: Findings, *,
               reverse: bool) -> Piles | None:
    """Return the piles; None if `frame` (the layer in the scenario's system) is missing or no row is sound."""
    cells = layer.cells(pile_columns(known), found)
    if all(section is None for section in cells["section"]):
        found.note("piles: no section named; all belong to section 'A'")
    for row, shape in enumerate(layer.frame.geometry):
        line = layer.sound[row] and "Line" in shape.geom_type
        if line and cells["spacing_m"][row] is None and not layer.faults.names(row, "spacing_m"):
            layer.faults.add(row, "a line of piles has no spacing_m",
                             "give the distance from pile to pile in a column, or defaults = { spacing_m = 1.2 }")
    if frame is None:
        return None
    rows = list(_all_piles(frame, cells, layer, found))
    if not rows:
        return None
    _name(rows)
    _tell_duplicates(rows, layer, found)
    return _frames(rows[::-1] if reverse else rows, frame, cells, layer)


def _all_piles(frame: gpd.GeoDataFrame, cells: dict[str, list[Any]], layer: Layer, found: Findings) -> Iterator[_Row]:
    """Yield every pile in the order of the layer, along each line from its start."""
    last: shapely.Point | None = None
    for row, shape in enumerate(frame.geometry):
        if not layer.sound[row] or cells["pile_type"][row] is None or cells["length_m"][row] is None:
            continue
        spacing = cells["spacing_m"][row]
        section = cells["section"][row] or "A"
        line = "Line" in shape.geom_type
        if line and spacing is None:
            continue
        for place in _along(shape, spacing) if line else shapely.get_parts(shape):
            if line and last is not None and shapely.distance(last, place) < spacing / 2:
                found.note(f"{layer.where}: where two lines of piles meet, one pile stands")
                continue
            last = place
            yield _Row(section, cells["pile_type"][row], cells["length_m"][row], spacing if line else math.nan, place,
                       None if line else cells["id"][row])


def _along(shape: Any, spacing_m: float) -> Iterator[shapely.Point]:
    """Yield places along a line: at its start and every `spacing_m` after it, as far as it reaches."""
    merged = shapely.line_merge(shape) if shape.geom_type == "MultiLineString" else shape
    for part in shapely.get_parts(merged):
        count = math.floor((part.length + ROUNDING_M) / spacing_m) + 1
        if part.is_closed and count > 1 and (count - 1) * spacing_m > part.length - spacing_m / 2:
            count -= 1
        yield from shapely.line_interpolate_point(part, np.minimum(np.arange(count) * spacing_m, part.length))


def _name(rows: list[_Row]) -> None:
    """Give every pile without an identifier one: its section and its number in it."""
    counts: dict[str, int] = {}
    for row in rows:
        counts[row.section] = counts.get(row.section, 0) + 1
        if row.id is None:
            row.id = f"{row.section}-{counts[row.section]:03d}"


def _tell_duplicates(rows: list[_Row], layer: Layer, found: Findings) -> None:
    ids: dict[str, int] = {}
    for row in rows:
        ids[str(row.id)] = ids.get(str(row.id), 0) + 1
    for name, count in ids.items():
        if count > 1:
            found.add(layer.where, f"pile id '{name}' stands {count} times", "give every pile its own id")
    places = np.array([row.place for row in rows])
    for a, b in shapely.STRtree(places).query(places, predicate="dwithin", distance=ONE_PLACE_M).T:
        if a < b:
            found.add(layer.where, f"piles '{rows[a].id}' and '{rows[b].id}' stand at one place",
                      "take one of them out")


def _frames(rows: list[_Row], frame: gpd.GeoDataFrame, cells: dict[str, list[Any]], layer: Layer) -> Piles:
    import geopandas as gpd

    sections = tuple(dict.fromkeys(row.section for row in rows))
    piles = gpd.GeoDataFrame({name: [getattr(row, name) for row in rows] for name in PILE_COLUMNS},
                             geometry=[row.place for row in rows], crs=frame.crs)
    lines: list[tuple[str, str, Any]] = [
        (cells["section"][row] or "A", cells["pile_type"][row], shape) for row, shape in enumerate(frame.geometry)
        if layer.sound[row] and "Line" in shape.geom_type]
    for section in sections:
        points = [row for row in rows if row.section == section and math.isnan(row.spacing_m)]
        if len(points) > 1:
            lines.append((section, points[0].pile_type, shapely.LineString([row.place for row in points])))
    wall = gpd.GeoDataFrame({"section": [line[0] for line in lines], "pile_type": [line[1] for line in lines]},
                            geometry=[line[2] for line in lines], crs=frame.crs)
    return Piles(piles, wall, sections)
