"""What lies on the site: wall, piles, boreholes, boundary, obstacles, constraints, measuring positions, for drawing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pandas as pd

from envpredict.outputs.map.shapes import Shapes, encode, to_page

if TYPE_CHECKING:
    from envpredict.outputs.drafted import Place
    from envpredict.outputs.map.pack import Block
    from envpredict.outputs.map.shapes import Origin
    from envpredict.scenario.types import Scenario


def write_site(block: Block, scenario: Scenario, piles: Shapes, origin: Origin,
               positions: Sequence[Place] = ()) -> dict[str, Any]:
    """Write every layer's shapes into the page's block and return the words that belong to them, by layer.

    `positions`: where the drafted monitoring plan measures.
    """
    encode(piles, origin).write(block, "piles")
    layers: dict[str, Any] = {"piles": _texts(scenario.piles["id"])}
    frames = {"wall": scenario.wall, "boundary": scenario.boundary, "obstacles": scenario.obstacles,
              "constraints": scenario.constraints, "boreholes": boreholes(scenario),
              "stations": stations(scenario, positions)}
    for name, frame in frames.items():
        if frame is not None and len(frame):
            encode(to_page(frame.geometry), origin).write(block, name)
            layers[name] = LABELS[name](frame)
    return layers


def boreholes(scenario: Scenario) -> gpd.GeoDataFrame | None:
    """Return one point per borehole, or None where the scenario has no strata."""
    if scenario.strata is None:
        return None
    first = scenario.strata.drop_duplicates("borehole")
    return gpd.GeoDataFrame({"borehole": first["borehole"].astype(str)},
                            geometry=gpd.points_from_xy(first["x"], first["y"]), crs=scenario.crs)


def stations(scenario: Scenario, positions: Sequence[Place]) -> gpd.GeoDataFrame:
    """Return one point per measuring position with the letters of what is measured there."""
    return gpd.GeoDataFrame({"letters": [one.letters for one in positions]},
                            geometry=gpd.points_from_xy([one.x for one in positions], [one.y for one in positions]),
                            crs=scenario.crs)


def _texts(column: pd.Series) -> list[str]:
    return [str(text) for text in column.astype(object).where(column.notna(), "")]


def _obstacles(frame: gpd.GeoDataFrame) -> list[str]:
    height = frame["height_m"] if "height_m" in frame else pd.Series(float("nan"), index=frame.index)
    return [f"{value:.1f} m high" if pd.notna(value) else "height not known" for value in height]


def _constraints(frame: gpd.GeoDataFrame) -> list[str]:
    """Return what each constraint says: its kind with the metres or the hours that belong to it."""
    told = []
    for row in frame.drop(columns=frame.geometry.name).to_dict("records"):
        text = str(row["kind"]).replace("_", " ")
        value, start, end = row.get("value_m"), row.get("from"), row.get("to")
        if pd.notna(value):
            text += f" {value:g} m"
        if isinstance(start, str) and isinstance(end, str):
            text += f" {start} to {end}"
        told.append(text)
    return told


LABELS: dict[str, Any] = {
    "wall": lambda frame: _texts(frame["section"]) if "section" in frame else [""] * len(frame),
    "boundary": lambda frame: [""] * len(frame),
    "obstacles": _obstacles,
    "constraints": _constraints,
    "boreholes": lambda frame: _texts(frame["borehole"]),
    "stations": lambda frame: _texts(frame["letters"]),
}
