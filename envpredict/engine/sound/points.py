"""Where sound is predicted: in front of the facades of every floor, and at places out of doors."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import Citation
from envpredict.engine.geometry import facing_point

if TYPE_CHECKING:
    import geopandas as gpd

    from envpredict.scenario.types import Scenario

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
FIRST_EAR_M, STOREY_M = 1.5, 3.0
EAR_HEIGHT = Citation("common practice", None, "receptor points 1.5 m above each floor, storeys of 3 m", "practice")
BEFORE_FACADE_M = 1.0
LEAST_WALL_M = 1.0
CLEAR_OF_CORNER_M = 0.5
NEAR_BUILDING_M = 2.0
"""A receptor drawn as a point so near to an obstacle stands before its own facade."""
FACING, OTHER, PLACE = "facing", "other", "place"
SIDES = {FACING: "in front of the facade that faces the works", OTHER: "in front of the loudest other facade",
         PLACE: "at the place nearest to the works"}


@dataclass(frozen=True, slots=True, eq=False)
class SoundPoints:
    """Receptor points (Q): x, y, height above ground, the number of the receptor that each belongs to.

    `side` (Q): a word of `SIDES`; `floor` (Q): 0 the ground floor; `own` (Q): the number of the obstacle that is the
    receptor's own building and neither screens nor reflects for it, -1 for none.
    """

    xy: Floats
    height_m: Floats
    receptor: Ints
    side: NDArray[np.str_]
    floor: Ints
    own: Ints

    def __len__(self) -> int:
        return len(self.height_m)

    def take(self, keep: NDArray[Any]) -> SoundPoints:
        """Return the chosen points."""
        return SoundPoints(self.xy[keep], self.height_m[keep], self.receptor[keep], self.side[keep], self.floor[keep],
                           self.own[keep])

    @classmethod
    def at(cls, xy: Floats, height_m: float, own: Ints | None = None) -> SoundPoints:
        """Return points at places (Q, 2) at one height, each a receptor of its own."""
        count = len(xy)
        return cls(xy, np.full(count, height_m), np.arange(count, dtype=np.int64), np.full(count, PLACE),
                   np.zeros(count, dtype=np.int64), np.full(count, -1, dtype=np.int64) if own is None else own)


@dataclass(frozen=True, slots=True, eq=False)
class Neighbours:
    """What stands near whom: trees and geometries of a whole scenario.

    `works`: all piles as one geometry; `solid`: every building of receptors and obstacles; `obstacles`: None without
    any.
    """

    works: Any
    solid: Any
    obstacles: Any | None

    @classmethod
    def of(cls, scenario: Scenario) -> Neighbours:
        """Return the neighbourhoods of a whole scenario."""
        import shapely

        obstacles = scenario.obstacles
        tree = None if obstacles is None or not len(obstacles) else shapely.STRtree(obstacles.geometry.to_numpy())
        return cls(shapely.multipoints(np.asarray(scenario.piles.geometry.values)),
                   _solid(scenario.receptors, obstacles), tree)


def sound_points(receptors: gpd.GeoDataFrame, around: Neighbours) -> SoundPoints:
    """Return the points of some or all of the receptors of a scenario.

    A building drawn as a polygon has, for every floor, a point before the facade that faces the works and one before
    each of the other sides; a building drawn as a point one per floor there; everything else one place. They come in
    the order of the receptors.
    """
    works, solid = around.works, around.solid
    nearest = facing_point(receptors.geometry, works)
    shapes = np.asarray(receptors.geometry.values, dtype=object)
    floors = np.maximum(receptors["floors"].to_numpy(dtype=int), 0)
    own = own_obstacles(receptors, around.obstacles)
    places: list[tuple[int, str, Floats]] = []
    for row, shape in enumerate(shapes):
        building = floors[row] > 0 and shape.geom_type in ("Polygon", "MultiPolygon")
        faces = _before_facades(shape, nearest[row], works, _others(solid, shape)) if building else []
        places += [(row, OTHER if number else FACING, xy) for number, xy in enumerate(faces)]
        if not faces:
            places.append((row, FACING if floors[row] > 0 else PLACE, nearest[row]))
    count = np.maximum(floors, 1)
    row_of = np.array([row for row, _, _ in places], dtype=np.int64)
    repeat = np.repeat(np.arange(len(places)), count[row_of])
    floor = np.arange(len(repeat)) - np.repeat(np.cumsum(count[row_of]) - count[row_of], count[row_of])
    return SoundPoints(np.array([xy for _, _, xy in places])[repeat], FIRST_EAR_M + STOREY_M * floor,
                       row_of[repeat], np.array([side for _, side, _ in places])[repeat], floor.astype(np.int64),
                       own[row_of[repeat]])


def own_obstacles(receptors: gpd.GeoDataFrame, tree: Any | None) -> Ints:
    """Return, per receptor (R), the number of the obstacle in a tree that is its own building; -1 for none.

    Of a polygon: the obstacle that shares most of its area, if that is more than half of the smaller of the two. Of a
    building drawn as a point or line: the nearest obstacle polygon within 2 m.
    """
    import shapely

    own = np.full(len(receptors), -1, dtype=np.int64)
    if tree is None:
        return own
    shapes = tree.geometries
    areas = shapely.area(shapes)
    floors = receptors["floors"].to_numpy(dtype=int)
    for row, shape in enumerate(receptors.geometry.to_numpy()):
        if shape.geom_type in ("Polygon", "MultiPolygon"):
            near = tree.query(shape, predicate="intersects")
            shared = shapely.area(shapely.intersection(shapes[near], shape))
            enough = shared > 0.5 * np.minimum(areas[near], shape.area)
            near, shared = near[enough & (areas[near] > 0.0)], shared[enough & (areas[near] > 0.0)]
            if near.size:
                own[row] = near[shared.argmax()]
        elif floors[row] > 0:
            near = tree.query(shape, predicate="dwithin", distance=NEAR_BUILDING_M)
            near = near[areas[near] > 0.0]
            if near.size:
                own[row] = near[shapely.distance(shapes[near], shape).argmin()]
    return own


def _solid(receptors: gpd.GeoDataFrame, obstacles: gpd.GeoDataFrame | None) -> Any:
    """Return a tree of every building that may stand against another: those of receptors and obstacles."""
    import shapely

    shapes = [shape for shape, floors in zip(receptors.geometry, receptors["floors"], strict=True)
              if floors > 0 and shape.geom_type in ("Polygon", "MultiPolygon")]
    if obstacles is not None:
        shapes += [shape for shape in obstacles.geometry if shape.geom_type in ("Polygon", "MultiPolygon")]
    return shapely.STRtree(shapes)


def _others(solid: Any, shape: Any) -> list[Any]:
    """Return the buildings near a building that aren't the building itself."""
    near = solid.geometries[solid.query(shape, predicate="dwithin", distance=BEFORE_FACADE_M)]
    return [other for other in near if other.intersection(shape).area < 0.5 * min(other.area, shape.area)]


def _before_facades(shape: Any, nearest: Floats, works: Any, others: list[Any]) -> list[Floats]:
    """Return a point before the facade that faces the works, then one before each other side that is open.

    Walls are sorted by the direction that they look to, in quarters counted from the facing one; of each quarter the
    longest counts. Party walls aren't facades: a point that lies in another building is left out.
    """
    import shapely

    start, end, outward = _walls(shape)
    length = np.hypot(*(end - start).T)
    target = shapely.get_coordinates(shapely.get_point(shapely.shortest_line(shapely.points(nearest), works), 1))[0]
    along = np.clip(((nearest - start) * (end - start)).sum(axis=1) / length**2, 0.0, 1.0)
    away = np.hypot(*(start + along[:, None] * (end - start) - nearest).T)
    looks = outward @ (target - nearest) / max(float(np.hypot(*(target - nearest))), 1e-9)
    facing = int(np.lexsort((-looks, np.round(away, 3)))[0])
    turn = np.arctan2(outward[:, 1], outward[:, 0]) - np.arctan2(outward[facing, 1], outward[facing, 0])
    quarter = np.round(turn / (0.5 * np.pi)).astype(int) % 4
    chosen = [facing]
    for side in range(4):
        here = np.flatnonzero((quarter == side) & (np.arange(len(length)) != facing) & (length >= LEAST_WALL_M))
        if here.size:
            chosen.append(int(here[length[here].argmax()]))
    found = []
    for wall in chosen:
        beside = min(CLEAR_OF_CORNER_M / float(length[wall]), 0.5)
        at = start[wall] + np.clip(along[wall], beside, 1.0 - beside) * (end[wall] - start[wall])
        place = at + BEFORE_FACADE_M * outward[wall]
        if not any(other.contains(shapely.Point(place)) for other in others):
            found.append(place)
        elif wall == facing:
            found.append(nearest)
    return found


def _walls(shape: Any) -> tuple[Floats, Floats, Floats]:
    """Return starts, ends and outward unit normals (W, 2) of the outer walls of a building, straight ones joined."""
    from shapely.geometry.polygon import orient

    simple: list[Any] = [orient(part, 1.0).simplify(0.05) for part in getattr(shape, "geoms", [shape])]
    rings = [np.asarray(part.exterior.coords)[:, :2] for part in simple]
    start = np.concatenate([ring[:-1] for ring in rings])
    end = np.concatenate([ring[1:] for ring in rings])
    way = end - start
    # the building lies left of every wall of a ring that runs anticlockwise
    return start, end, np.column_stack([way[:, 1], -way[:, 0]]) / np.hypot(*way.T)[:, None]
