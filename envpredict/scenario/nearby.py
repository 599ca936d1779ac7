"""Checks things against one another: receptors on a pile, layers in another part of the world, short boreholes."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from envpredict.scenario.layers import Layer
from envpredict.scenario.problems import Findings

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

CLEARANCE_M = 0.5
FAR_M = 10_000.0
FAR_HINT = ("are both in the right coordinate reference system and unit? leave out what lies farther than "
            f"{FAR_M / 1000:g} km")


def check_distances(piles: gpd.GeoDataFrame, receptors: gpd.GeoDataFrame, layer: Layer, found: Findings) -> None:
    """Tell of receptors on top of a pile and of those tens of kilometres away."""
    shapes = receptors.geometry.to_numpy()
    rows = np.flatnonzero(layer.sound)
    tree = shapely.STRtree(piles.geometry.to_numpy())
    nearest = tree.nearest(shapes[rows])
    distances = shapely.distance(shapes[rows], piles.geometry.to_numpy()[nearest])
    far = distances > FAR_M
    if far.all() and len(far):
        found.add(layer.where, f"every receptor is {distances.min() / 1000:.0f} km or more from the nearest pile",
                  FAR_HINT)
        return
    wrong = far | (distances < CLEARANCE_M)
    for row, pile, distance in zip(rows[wrong], nearest[wrong], distances[wrong], strict=True):
        name, pile_id = receptors["id"].iloc[row], piles["id"].iloc[pile]
        if distance > FAR_M:
            layer.faults.add(int(row), f"receptor '{name}' is {distance / 1000:.0f} km from the nearest pile", FAR_HINT)
        else:
            layer.faults.add(int(row), _too_near(name, pile_id, float(distance), shapes[row]),
                             f"a receptor stands at least {CLEARANCE_M} m clear of every pile: check positions and "
                             "systems, or draw only the part of it that stays clear")


def _too_near(name: str, pile: str, distance: float, shape: Any) -> str:
    if distance == 0.0 and "Polygon" in shape.geom_type:
        return f"pile '{pile}' stands inside receptor '{name}'"
    return f"receptor '{name}' is on top of pile '{pile}' ({distance:.2f} m)"


def check_obstacles(piles: gpd.GeoDataFrame, obstacles: gpd.GeoDataFrame, layer: Layer) -> None:
    """Tell of obstacles to sound that a pile stands in, and of screens that touch one: sound needs room before them."""
    shapes = obstacles.geometry.to_numpy()
    places = piles.geometry.to_numpy()
    tree = shapely.STRtree(places)
    for row in np.flatnonzero(layer.sound):
        line = "Line" in shapes[row].geom_type
        hit = tree.query(shapes[row], predicate="dwithin" if line else "intersects",
                         **({"distance": CLEARANCE_M} if line else {}))
        if not len(hit):
            continue
        pile = hit[shapely.distance(places[hit], shapes[row]).argmin()]
        name, obstacle = piles["id"].iloc[pile], obstacles["id"].iloc[row]
        if line:
            layer.faults.add(int(row), f"screen '{obstacle}' touches pile '{name}' "
                             f"({shapely.distance(places[pile], shapes[row]):.2f} m)",
                             f"a screen stands at least {CLEARANCE_M} m clear of every source: move it, or take it out")
        else:
            layer.faults.add(int(row), f"pile '{name}' stands in obstacle '{obstacle}'",
                             "move one of them, or take the obstacle out")


def check_inside(receptors: gpd.GeoDataFrame, layer: Layer, obstacles: gpd.GeoDataFrame, other: Layer) -> None:
    """Tell of receptors drawn as points inside an obstacle: nobody knows before which facade they stand."""
    shapes = obstacles.geometry.to_numpy()
    tree = shapely.STRtree(shapes)
    for row in np.flatnonzero(layer.sound):
        shape = receptors.geometry.iloc[row]
        if shape.geom_type != "Point":
            continue
        hit = [number for number in tree.query(shape, predicate="within") if other.sound[number]]
        if hit:
            layer.faults.add(int(row), f"receptor '{receptors['id'].iloc[row]}' is a point inside obstacle "
                             f"'{obstacles['id'].iloc[hit[0]]}'",
                             "draw it as the building's outline, or put the point 1 m before the facade")


def check_sources(sources: pd.DataFrame, obstacles: gpd.GeoDataFrame, layer: Layer, where: str,
                  found: Findings) -> None:
    """Tell of other sources of sound that stand inside an obstacle."""
    shapes = obstacles.geometry.to_numpy()
    tree = shapely.STRtree(shapes)
    for source in sources.dropna(subset=["x", "y"]).to_dict("records"):
        hit = [number for number in tree.query(shapely.Point(source["x"], source["y"]), predicate="within")
               if layer.sound[number]]
        if hit:
            found.add(where, f"source '{source['id']}' stands inside obstacle '{obstacles['id'].iloc[hit[0]]}'",
                      "move one of them, or take the obstacle out")


def check_strata_reach(piles: gpd.GeoDataFrame, strata: pd.DataFrame, where: str, found: Findings) -> None:
    """Tell of boreholes far from every pile, and of those that end above the toe of a pile that uses their strata."""
    sound = strata.dropna(subset=["borehole", "x", "y", "base_m"])
    if sound.empty:
        return
    holes = sound.groupby("borehole", sort=False).agg(x=("x", "first"), y=("y", "first"), base_m=("base_m", "max"))
    places = np.atleast_1d(np.asarray(shapely.points(holes["x"], holes["y"])))
    pile_places = piles.geometry.to_numpy()
    apart = shapely.distance(shapely.multipoints(pile_places), places)
    for name, distance in zip(holes.index, apart, strict=True):
        if distance > FAR_M:
            found.add(where, f"borehole '{name}' is {distance / 1000:.0f} km from the nearest pile",
                      "give x and y in the scenario's coordinate reference system")
    if (apart > FAR_M).any():
        return
    served: defaultdict[int, list[int]] = defaultdict(list)
    for pile, hole in enumerate(shapely.STRtree(places).nearest(pile_places)):
        served[int(hole)].append(pile)
    for hole, rows in served.items():
        lengths = piles["length_m"].to_numpy()[rows]
        base = float(holes["base_m"].iloc[hole])
        if lengths.max() > base + 0.01:
            pile = piles["id"].iloc[rows[int(lengths.argmax())]]
            found.add(where, f"borehole '{holes.index[hole]}' ends at {base:g} m, above the toe of pile '{pile}' at "
                      f"{lengths.max():g} m, which takes its ground from it",
                      "add what lies below as a stratum; if that isn't known, leave its strength empty")
