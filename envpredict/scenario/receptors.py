"""Reads the layer of receptors: what each is, what it's made of, and what must be known of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from envpredict.scenario.columns import METRES, Column
from envpredict.scenario.layers import Layer
from envpredict.scenario.problems import Findings
from envpredict.scenario.types import BUILDING_USES, CONDITIONS, FOUNDATIONS, STRUCTURES, USES, Known

if TYPE_CHECKING:
    import geopandas as gpd


OWN_COLUMNS: tuple[Column, ...] = (
    Column("id", required=True), Column("name"),
    Column("use", "word", USES, required=True),
    Column("structure", "word", STRUCTURES),
    Column("condition", "word", CONDITIONS, otherwise="unknown"),
    Column("floors", "whole", low=0, high=150),
    Column("foundation", "word", FOUNDATIONS, otherwise="unknown"),
    Column("depth_m", "number", low=0.0, high=60.0, hint=f"the depth below ground: {METRES}"),
    Column("occupied_hours", "hours"), Column("equipment"),
)


def receptor_columns(layer: Layer, known: Known) -> tuple[Column, ...]:
    """Return the columns of the receptor layer: our own, and the facts that limit sets ask for where it has them."""
    columns = {column.name: column for column in OWN_COLUMNS}
    given = {str(name) for name in layer.frame.columns} | {*layer.table.columns, *layer.table.defaults}
    for name in sorted(known.facts):
        words = known.fact_words.get(name, ())
        if (name in given and name not in columns) or name == "equipment":
            columns[name] = Column(name, "word" if words else "text", (*words, "unknown") if words else ())
    return tuple(columns.values())


def read_receptors(layer: Layer, frame: gpd.GeoDataFrame | None, known: Known, found: Findings
                   ) -> gpd.GeoDataFrame | None:
    """Return the receptors; None if `frame` (the layer in the scenario's system) is missing."""
    cells = layer.cells(receptor_columns(layer, known), found)
    _tell_duplicates(cells["id"], layer, found)
    for row, use in enumerate(cells["use"]):
        if use in BUILDING_USES:
            _check_building(row, use, cells, layer)
        elif use is not None:
            cells["structure"][row] = cells["structure"][row] or "none"
            cells["floors"][row] = cells["floors"][row] or 0
    _say_defaults(cells, layer, found)
    if frame is None:
        return None
    import geopandas as gpd
    import pandas as pd

    cells["name"] = [name or identifier for name, identifier in zip(cells["name"], cells["id"], strict=True)]
    numbers = {"depth_m": float, "floors": int}
    columns = {name: pd.Series([0 if value is None and name == "floors" else value for value in values],
                               dtype=numbers.get(name, object)) for name, values in cells.items()}
    return gpd.GeoDataFrame(columns, geometry=frame.geometry.to_numpy(), crs=frame.crs)


def _check_building(row: int, use: str, cells: dict[str, list[Any]], layer: Layer) -> None:
    """Tell what must be known of a building and isn't."""
    for name, example in (("structure", '"masonry"'), ("floors", "2")):
        if cells[name][row] is None and not layer.faults.names(row, name):
            layer.faults.add(row, f"a {use} needs a value for {name}",
                             f"fill it in, or give defaults = {{ {name} = {example} }} if that is so")
    if cells["floors"][row] == 0:
        layer.faults.add(row, f"a {use} with 0 floors", "give the number of storeys above ground, at least 1")


def _tell_duplicates(ids: list[Any], layer: Layer, found: Findings) -> None:
    rows: dict[str, list[str]] = {}
    for number, name in enumerate(ids, 1):
        if name is not None:
            rows.setdefault(name, []).append(str(number))
    for name, numbers in rows.items():
        if len(numbers) > 1:
            found.add(f"{layer.where}, features {', '.join(numbers)}", f"receptor id '{name}' stands "
                      f"{len(numbers)} times", "give every receptor its own id")


def _say_defaults(cells: dict[str, list[Any]], layer: Layer, found: Findings) -> None:
    """Say what was assumed where the layer is silent."""
    count = len(cells["id"])
    for name in ("condition", "foundation"):
        unknown = sum(value == "unknown" for value in cells[name])
        if unknown:
            found.note(f"receptors: {name} not known for {unknown} of {count}")
    always = sum(value is None and use in BUILDING_USES
                 for value, use in zip(cells["occupied_hours"], cells["use"], strict=True))
    if always:
        found.note(f"receptors: no occupied_hours for {always} of {count} that are buildings; taken as always occupied")
    for name, value in layer.table.defaults.items():
        if name in cells:
            found.note(f"receptors: where {name} is empty, the scenario's default '{value}' stands")
