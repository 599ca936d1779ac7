"""The paths over and round obstacles, against a slow implementation with shapely that is right by inspection."""

from __future__ import annotations

from dataclasses import fields
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import shortest_path
from shapely import affinity
from shapely.geometry import LineString, MultiPoint, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from envpredict.models.noise.iso9613_2_1996 import ground_effect_db
from envpredict.models.noise.screen_geometry import (
    Obstacles,
    Part,
    ScreenPaths,
    index_obstacles,
    obstacle_attenuation_db,
    screen_paths,
)

TOUCH = 0.01
Xyz = tuple[float, float, float]


def parts_of(shapes: list[BaseGeometry]) -> list[Part]:
    parts = []
    for number, shape in enumerate(shapes):
        if isinstance(shape, LineString):
            parts.append(Part(number, "line", shape.coords))
        else:
            parts.append(Part(number, "outline", shape.exterior.coords))
            parts += [Part(number, "hole", ring.coords) for ring in shape.interiors]
    return parts


def prepared(shapes: list[BaseGeometry], tops: list[float]) -> Obstacles:
    return index_obstacles(parts_of(shapes), tops)


# --- the slow way: every wall of every obstacle, hulls by shapely


def met(s: Xyz, r: Xyz, shapes: list[BaseGeometry], own: int) -> list[tuple[int, float]]:
    """Return the edges of every obstacle that the path passes through, and their distance from s in plan.

    A building: both ends of each piece of the path whose middle lies inside. A screen: where the path crosses it.
    """
    path = LineString([s[:2], r[:2]])
    found = []
    for number, shape in enumerate(shapes):
        if number == own or not path.intersects(shape):
            continue
        if isinstance(shape, LineString):
            if path.crosses(shape):
                found += [(number, path.project(Point(at))) for at in shapely.get_coordinates(path.intersection(shape))]
            continue
        walls = path.intersection(shape.boundary)
        places = sorted({0.0, path.length, *(path.project(Point(at)) for at in shapely.get_coordinates(walls))})
        for start, end in pairwise(places):
            if end - start > 1e-9 and shape.contains(path.interpolate(0.5 * (start + end))):
                found += [(number, start), (number, end)]
    return found


def slow_top(s: Xyz, r: Xyz, shapes: list[BaseGeometry], tops: list[float],
             own: int) -> tuple[float, float, float, float, set[int]]:
    """Return z, dss, dsr, e over the top, and what breaks the sight line."""
    plan = float(np.hypot(r[0] - s[0], r[1] - s[1]))
    straight = float(np.hypot(plan, r[2] - s[2]))
    edges = [(number, x, tops[number], s[2] + x / plan * (r[2] - s[2])) for number, x in met(s, r, shapes, own)]
    above = [(x, top) for _, x, top, line in edges if top > line]
    if above:
        hull = MultiPoint([(0.0, s[2]), (plan, r[2]), *above]).convex_hull
        band = [tuple(point) for point in hull.exterior.coords[:-1]]
        band = sorted(point for point in band if point not in ((0.0, s[2]), (plan, r[2])))
        dss = np.hypot(band[0][0], band[0][1] - s[2])
        dsr = np.hypot(plan - band[-1][0], band[-1][1] - r[2])
        e = hull.length - straight - dss - dsr
        return hull.length - 2.0 * straight, dss, dsr, e, {n for n, _, top, line in edges if top > line}
    clear = [(straight - np.hypot(x, top - s[2]) - np.hypot(plan - x, top - r[2]), np.hypot(x, top - s[2]),
              np.hypot(plan - x, top - r[2])) for _, x, top, _ in edges]
    return (*max(clear, default=(-np.inf, 0.0, 0.0)), 0.0, set())


def slow_side(s: Xyz, r: Xyz, shapes: list[BaseGeometry], tops: list[float], own: int, blocking: set[int],
              side: float) -> tuple[float, float]:
    """Return the plan length of the taut path round one side, and how far what hangs together reaches there."""
    a, b = np.array(s[:2]), np.array(r[:2])
    along = (b - a) / np.hypot(*(b - a))
    away = side * np.array([-along[1], along[0]])
    corners = [a - 1e4 * along + 1e-6 * away, b + 1e4 * along + 1e-6 * away]
    half = Polygon([*corners, corners[1] + 1e4 * away, corners[0] + 1e4 * away])
    tall = max(s[2], r[2])
    kept = [(n, shape.intersection(half)) for n, shape in enumerate(shapes)
            if n != own and (tops[n] > tall or n in blocking)]
    pieces = [(n, piece) for n, shape in kept for piece in shapely.get_parts(shape) if not piece.is_empty]
    path = LineString([a, b])
    group = [piece for n, piece in pieces if n in blocking and piece.distance(path) < 3e-6]
    rest = [piece for n, piece in pieces if n not in blocking or piece.distance(path) >= 3e-6]
    while True:
        near = [piece for piece in rest if any(piece.distance(one) <= TOUCH for one in group)]
        if not near:
            break
        group += near
        rest = [piece for piece in rest if not any(piece is one for one in near)]
    points = [point for piece in group for point in shapely.get_coordinates(piece)]
    hull = MultiPoint([tuple(a), tuple(b), *map(tuple, points)]).convex_hull
    reach = max((float((point - a) @ away) for point in points), default=0.0)
    plan = float(np.hypot(*(b - a)))
    return (hull.length - plan if hull.geom_type == "Polygon" else plan), reach


def shortest_way(s: Xyz, r: Xyz, shapes: list[BaseGeometry]) -> float:
    """Return the length in plan of the shortest way from s to r past obstacles, over corners that see each other."""
    corners = np.vstack([s[:2], r[:2], *[shapely.get_coordinates(shape) for shape in shapes]])
    i, j = np.triu_indices(len(corners), 1)
    lines = shapely.linestrings(np.stack([corners[i], corners[j]], axis=1))
    seen = np.ones(len(i), dtype=bool)
    for shape in shapes:
        seen &= ~(shapely.crosses(lines, shape) if isinstance(shape, LineString)
                  else shapely.intersects(lines, shape.buffer(-1e-7)))
    length = np.hypot(*(corners[i] - corners[j]).T)
    # corners of obstacles that touch lie in one place: a way from one to the other costs nothing
    length[seen & (length == 0.0)] = 1e-12
    graph = csr_matrix((length[seen], (i[seen], j[seen])), shape=(len(corners), len(corners)))
    return float(shortest_path(graph, directed=False, indices=0)[1])


def detour(plan: float, s: Xyz, r: Xyz) -> float:
    return float(np.hypot(plan, r[2] - s[2]) - np.hypot(np.hypot(r[0] - s[0], r[1] - s[1]), r[2] - s[2]))


# --- random towns


def town(rng: np.random.Generator, *, winding: bool) -> tuple[list[BaseGeometry], list[float]]:
    """Return obstacles on a grid of whole metres: houses alone, in rows that touch, nested; screens; winding ones."""
    shapes: list[BaseGeometry] = []
    for _ in range(int(rng.integers(3, 9))):
        x, y = (int(v) for v in rng.integers(0, 90, 2))
        w, h = (int(v) for v in rng.integers(4, 14, 2))
        kind = rng.integers(0, 6 if winding else 4)
        if kind == 0:
            shapes.append(box(x, y, x + w, y + h))
        elif kind == 1:      # a row of houses that share their side walls
            shapes += [box(x + k * w, y, x + (k + 1) * w, y + h) for k in range(int(rng.integers(2, 5)))]
        elif kind == 2:      # a tower on a wider base
            shapes += [box(x, y, x + w, y + h), box(x + 1, y + 1, x + w - 1, y + h - 1)]
        elif kind == 3:
            shapes.append(LineString([(x, y), (x + w, y + int(rng.integers(-9, 10)))]))
        elif kind == 4:      # a courtyard
            shapes.append(box(x, y, x + w + 6, y + h + 6).difference(box(x + 3, y + 3, x + w + 3, y + h + 3)))
        else:                # a wing on each side
            shapes.append(box(x, y, x + w + 6, y + h + 6).difference(box(x + 3, y + 3, x + w + 3, y + h + 6)))
    return shapes, list(rng.uniform(2.0, 15.0, len(shapes)))


def free_points(rng: np.random.Generator, shapes: list[BaseGeometry], count: int, *, whole: bool) -> list[Xyz]:
    built = shapely.unary_union([shape for shape in shapes if isinstance(shape, Polygon)])
    found: list[Xyz] = []
    while len(found) < count:
        x, y = rng.integers(-10, 110, 2) if whole else rng.uniform(-10.0, 110.0, 2)
        # on an edge or at a corner is allowed, inside isn't
        if not built.contains(Point(x, y)):
            found.append((float(x), float(y), float(rng.uniform(1.0, 8.0))))
    return found


def compare_top(paths: ScreenPaths, k: int, slow: tuple[float, float, float, float, set[int]]) -> None:
    z, dss, dsr, e, _ = slow
    if z == -np.inf:
        assert paths.path_difference_m[k] == -np.inf
        return
    found = [getattr(paths, name)[k] for name in ("path_difference_m", "source_edge_m", "receptor_edge_m",
                                                   "edge_separation_m")]
    np.testing.assert_allclose(found, [z, dss, dsr, e], atol=1e-6)


def compare_sides(paths: ScreenPaths, k: int, s: Xyz, r: Xyz, shapes: list[BaseGeometry], tops: list[float], own: int,
                  blocking: set[int]) -> None:
    ways = [slow_side(s, r, shapes, tops, own, blocking, side) for side in (1.0, -1.0)]
    round_ = [detour(plan, s, r) for plan, _ in ways]
    found = [float(paths.left_difference_m[k]), float(paths.right_difference_m[k])]
    # a way between obstacles may take the place of the shorter one, unless they all hang together
    shorter = int(round_[1] < round_[0])
    if len(blocking) > 1 and abs(round_[0] - round_[1]) > 1e-4:
        assert found[shorter] <= round_[shorter] + 1e-4
        assert found[1 - shorter] == pytest.approx(round_[1 - shorter], abs=1e-4)
    if len(blocking) == 1 or shapely.unary_union([shapes[n] for n in blocking]).geom_type == "Polygon":
        assert found == pytest.approx(round_, abs=1e-4)
    assert paths.width_m[k] == pytest.approx(sum(there for _, there in ways), abs=1e-4)


@pytest.mark.parametrize("seed", range(30))
@pytest.mark.parametrize("whole", [True, False], ids=["on whole metres", "anywhere"])
def test_convex_obstacles_give_the_slow_answer(seed: int, whole: bool) -> None:
    # on whole metres many paths touch corners, run along walls, start or end on an edge
    rng = np.random.default_rng([seed, whole])
    shapes, tops = town(rng, winding=False)
    source, *receptors = free_points(rng, shapes, 26, whole=whole)
    receptors = [r for r in receptors if r[:2] != source[:2]]
    paths = screen_paths(prepared(shapes, tops), source, receptors)
    for k, r in enumerate(receptors):
        slow = slow_top(source, r, shapes, tops, -1)
        compare_top(paths, k, slow)
        if slow[-1]:
            compare_sides(paths, k, source, r, shapes, tops, -1, slow[-1])
        elif slow[0] < -0.6:
            assert np.isinf([paths.left_difference_m[k], paths.right_difference_m[k]]).all()


def test_a_way_between_two_houses_by_hand() -> None:
    # two screens across the path, the first 1 m to the left and 50 m to the right of it, the second the other way
    # round: the way between them bends at (20, 1) and (40, -1), worked by Pythagoras; round all it takes 50 m
    screens = [LineString([(20, 1), (20, -50)]), LineString([(40, 50), (40, -1)])]
    paths = screen_paths(prepared(screens, [6.0, 6.0]), (0, 0, 2), [(60, 0, 2)])
    between = np.hypot(20, 2)
    assert min(paths.left_difference_m[0], paths.right_difference_m[0]) == pytest.approx(
        2.0 * np.hypot(20, 1) + between - 60.0, abs=1e-9)
    assert max(paths.left_difference_m[0], paths.right_difference_m[0]) == pytest.approx(
        np.hypot(20, 50) + np.hypot(40, 50) - 60.0, abs=1e-9)
    # where they touch, there's no way between them
    joined = [*screens, LineString([(20, -50), (40, -50)]), LineString([(40, -50), (40, -1)])]
    closed = screen_paths(prepared(joined, [6.0] * 4), (0, 0, 2), [(60, 0, 2)])
    assert min(closed.left_difference_m[0], closed.right_difference_m[0]) > 20.0


@pytest.mark.parametrize("seed", range(12))
def test_no_way_between_houses_is_shorter_than_the_one_found(seed: int) -> None:
    # rows of houses with gaps, and houses anywhere, turned; the real way is looked for past all that block
    rng = np.random.default_rng([seed, 13])
    houses: list[BaseGeometry] = []
    while len(houses) < 40:
        x, y = rng.uniform(0, 120, 2)
        angle = float(rng.uniform(0, 90)) * (seed % 2)
        house = affinity.rotate(box(x, y, x + 10, y + float(rng.uniform(5, 25))), angle)
        if all(house.distance(other) > 0.5 for other in houses):
            houses.append(house)
    tops = [12.0] * len(houses)
    source, *receptors = [(x, y, 2.0) for x, y, _ in free_points(rng, houses, 21, whole=False)]
    paths = screen_paths(prepared(houses, tops), source, receptors)
    shorter, share = 0, []
    for k in np.flatnonzero(paths.blocked):
        blocking = slow_top(source, receptors[k], houses, tops, -1)[-1]
        real = detour(shortest_way(source, receptors[k], [houses[n] for n in blocking]), source, receptors[k])
        round_ = min(detour(slow_side(source, receptors[k], houses, tops, -1, blocking, side)[0], source, receptors[k])
                     for side in (1.0, -1.0))
        found = min(paths.left_difference_m[k], paths.right_difference_m[k])
        assert found <= min(real, round_) + 1e-4
        shorter += real < round_ - 0.05
        share.append(found / real)
    assert shorter > 0
    assert np.median(share) > 0.95


def test_a_long_way_round_fades_and_is_never_cut_off() -> None:
    # a screen that grows: its ways round lose what divergence takes beyond twice the path, and never jump
    s, r = (0.0, 0.0, 1.5), [(60.0, 0.0, 1.5)]
    agr = np.zeros((1, 8))
    halves = np.geomspace(5.0, 5000.0, 400)
    found = np.array([obstacle_attenuation_db(screen_paths(prepared([LineString([(30, -half), (30, half)])], [4.0]), s,
                                                           r), agr)[0] for half in halves])
    steps = np.diff(found, axis=0)
    assert (steps >= -1e-9).all()
    assert steps.max() < 0.35
    top = obstacle_attenuation_db(screen_paths(prepared([LineString([(30, -9e6), (30, 9e6)])], [4.0]), s, r), agr)[0]
    np.testing.assert_allclose(found[-1], top, atol=0.01)
    # up to twice the path's length nothing is taken off: the cap of 20 dB for each way at 8 kHz
    assert 2.0 * np.hypot(30, 50) - 60.0 < 60.0
    three = obstacle_attenuation_db(screen_paths(prepared([LineString([(30, -50), (30, 50)])], [4.0]), s, r), agr)[0]
    assert three[7] == pytest.approx(-10.0 * np.log10(10.0 ** (-top[7] / 10.0) + 2.0 * 10.0**-2), abs=1e-9)


@pytest.mark.parametrize("seed", range(15))
def test_a_turned_town_far_from_the_origin_gives_the_slow_answer(seed: int) -> None:
    rng = np.random.default_rng([seed, 7])
    shapes, tops = town(rng, winding=False)
    points = free_points(rng, shapes, 16, whole=False)
    angle = float(rng.uniform(0.0, 360.0))
    turned = [affinity.translate(affinity.rotate(shape, angle, origin=(0, 0)), 456_000.0, 5_678_000.0)
              for shape in shapes]
    moved = [affinity.translate(affinity.rotate(Point(x, y), angle, origin=(0, 0)), 456_000.0, 5_678_000.0)
             for x, y, _ in points]
    source, *receptors = [(one.x, one.y, z) for one, (_, _, z) in zip(moved, points, strict=True)]
    paths = screen_paths(prepared(turned, tops), source, receptors)
    near = screen_paths(prepared(shapes, tops), points[0], points[1:])
    for k, (r, there) in enumerate(zip(points[1:], receptors, strict=True)):
        compare_top(paths, k, slow_top(points[0], r, shapes, tops, -1))
        assert np.isfinite(there).all()
    for name in ("left_difference_m", "right_difference_m", "width_m"):
        np.testing.assert_allclose(getattr(paths, name), getattr(near, name), atol=1e-4)


@pytest.mark.parametrize("seed", range(15))
def test_receptors_on_their_own_building_don_t_see_it(seed: int) -> None:
    rng = np.random.default_rng([seed, 3])
    shapes, tops = town(rng, winding=False)
    source = free_points(rng, shapes, 1, whole=False)[0]
    houses = [n for n, shape in enumerate(shapes) if isinstance(shape, Polygon)]
    own = [houses[int(rng.integers(len(houses)))] for _ in range(12)] if houses else []
    on_edge = [shapes[n].exterior.interpolate(float(rng.uniform()), normalized=True) for n in own]
    receptors = [(point.x, point.y, float(rng.uniform(1.0, 8.0))) for point in on_edge]
    paths = screen_paths(prepared(shapes, tops), source, np.reshape(receptors, (-1, 3)), own=np.array(own, dtype=int))
    assert len(paths.distance_m) == len(own)
    for k, r in enumerate(receptors):
        without = [shape for n, shape in enumerate(shapes) if n != own[k]]
        alone = screen_paths(prepared(without, [top for n, top in enumerate(tops) if n != own[k]]), source, [r])
        for field in fields(ScreenPaths):
            np.testing.assert_allclose(getattr(paths, field.name)[k], getattr(alone, field.name)[0], atol=1e-9)


@pytest.mark.parametrize("seed", range(30))
def test_winding_obstacles_give_the_slow_answer_over_the_top_and_never_a_longer_way_round(seed: int) -> None:
    rng = np.random.default_rng([seed, 11])
    shapes, tops = town(rng, winding=True)
    source, *receptors = free_points(rng, shapes, 21, whole=False)
    paths = screen_paths(prepared(shapes, tops), source, receptors)
    for k, r in enumerate(receptors):
        slow = slow_top(source, r, shapes, tops, -1)
        compare_top(paths, k, slow)
        courts = [Polygon(ring) for n in slow[-1] if isinstance(shapes[n], Polygon) for ring in shapes[n].interiors]
        closed = any(court.contains(Point(source[:2])) != court.contains(Point(r[:2])) for court in courts)
        for side, name in ((1.0, "left_difference_m"), (-1.0, "right_difference_m")):
            found = getattr(paths, name)[k]
            if closed or slow[0] < -0.6:
                assert np.isinf(found)
            elif slow[-1]:
                assert found <= detour(slow_side(source, r, shapes, tops, -1, slow[-1], side)[0], source, r) + 1e-4


@pytest.mark.parametrize("seed", range(40))
def test_the_way_round_is_never_longer_than_the_shortest_real_one(seed: int) -> None:
    # any simple polygon: a star with random radii; source and receptor may stand in its bays
    rng = np.random.default_rng([seed, 5])
    angles = np.sort(rng.uniform(0.0, 2.0 * np.pi, 9))
    radii = rng.uniform(5.0, 40.0, 9)
    shape = Polygon(np.column_stack([radii * np.cos(angles), radii * np.sin(angles)]))
    points = [xy for xy in rng.uniform(-45.0, 45.0, (40, 2)).tolist() if not shape.buffer(0.1).contains(Point(xy))]
    source, *receptors = [(x, y, 2.0) for x, y in points]
    paths = screen_paths(prepared([shape], [10.0]), source, receptors)
    assert paths.blocked.any()
    for k in np.flatnonzero(paths.blocked):
        real = shortest_way(source, receptors[k], [shape]) - np.hypot(*np.subtract(source[:2], receptors[k][:2]))
        found = min(paths.left_difference_m[k], paths.right_difference_m[k])
        assert found <= real + 1e-4
        hull = shape.convex_hull
        if not (hull.contains(Point(source[:2])) or hull.contains(Point(receptors[k][:2]))):
            assert found == pytest.approx(real, abs=1e-4)      # from outside its bays the band is the real way


# --- by hand


def test_a_screen_by_hand() -> None:
    # screen along x = 10 from y = -3 to 4, top 6 m; source 3 m high, receptor 4 m, 100 m apart (worked by Pythagoras)
    paths = screen_paths(prepared([LineString([(10, -3), (10, 4)])], [6.0]), (0, 0, 3), [(100, 0, 4), (5, 0, 4)])
    np.testing.assert_allclose([paths.distance_m[0], paths.path_difference_m[0], paths.source_edge_m[0],
                                paths.receptor_edge_m[0]], [100.005, 0.45753, 10.44031, 90.02222], atol=1e-5)
    assert paths.edge_separation_m[0] == 0.0
    left = np.hypot(np.hypot(10, 4) + np.hypot(90, 4), 1.0) - np.hypot(100, 1.0)
    right = np.hypot(np.hypot(10, 3) + np.hypot(90, 3), 1.0) - np.hypot(100, 1.0)
    np.testing.assert_allclose([paths.left_difference_m[0], paths.right_difference_m[0], paths.width_m[0]],
                               [left, right, 7.0])
    # before the screen nothing is screened
    assert paths.path_difference_m[1] == -np.inf
    assert not paths.blocked[1]


def test_a_terrace_screens_as_one_block() -> None:
    terrace = [box(20 + 6 * k, 10, 26 + 6 * k, 20) for k in range(10)]
    gap = [affinity.translate(house, 0.5 * k, 0.0) for k, house in enumerate(terrace)]
    s, r = (48.0, 0.0, 1.5), [(48.0, 30.0, 1.5)]
    block = screen_paths(prepared([box(20, 10, 80, 20)], [8.0]), s, r)
    row = screen_paths(prepared(terrace, [8.0] * 10), s, r)
    np.testing.assert_allclose([row.left_difference_m, row.right_difference_m, row.width_m],
                               [block.left_difference_m, block.right_difference_m, block.width_m])
    # low houses in the row don't block the way round their neighbours; nor do houses that stand apart
    low = screen_paths(prepared(terrace, [8.0 if k in (4, 5) else 1.0 for k in range(10)]), s, r)
    assert low.width_m[0] == pytest.approx(12.0)
    assert screen_paths(prepared(gap, [8.0] * 10), s, r).width_m[0] < 14.0


def test_a_courtyard_is_behind_a_closed_wall() -> None:
    court = box(0, 0, 40, 40).difference(box(10, 10, 30, 30))
    paths = screen_paths(prepared([court], [9.0]), (20, 20, 1.5), [(60, 20, 1.5), (25, 12, 1.5)])
    assert np.isinf([paths.left_difference_m[0], paths.right_difference_m[0]]).all()
    assert paths.blocked.tolist() == [True, False]
    assert paths.edge_separation_m[0] == pytest.approx(10.0)
    outside = screen_paths(prepared([court], [9.0]), (60, 20, 1.5), [(20, 20, 1.5), (-20, 20, 1.5)])
    assert np.isinf(outside.left_difference_m[0])
    assert np.isfinite(outside.left_difference_m[1])


def test_attenuation_of_a_court_a_house_and_nothing() -> None:
    agr = ground_effect_db(60.0, 1.5, 1.5, source_porosity=0.5, receptor_porosity=0.5, middle_porosity=0.5)
    wall = screen_paths(prepared([LineString([(30, -1000), (30, 1000)])], [5.0]), (0, 0, 1.5), [(60, 0, 1.5)])
    part = screen_paths(prepared([LineString([(30, -4), (30, 4)])], [5.0]), (0, 0, 1.5), [(60, 0, 1.5)])
    house = screen_paths(prepared([box(28, -4, 32, 4)], [5.0]), (0, 0, 1.5), [(60, 0, 1.5)])
    free = screen_paths(prepared([box(28, 400, 32, 404)], [5.0]), (0, 0, 1.5), [(60, 0, 1.5), (np.nan, 0, 1.5)])
    long_, short_wall, short, nothing = (obstacle_attenuation_db(one, agr) for one in (wall, part, house, free))
    assert (short[0, 1:] > 3.0).all()
    # 8 m wide: the ways round let more through than those of a long wall
    assert (long_[0] > short_wall[0]).all()
    np.testing.assert_array_equal(nothing[0], 0.0)
    assert np.isnan(nothing[1]).all()
    narrow = screen_paths(prepared([LineString([(30, -1), (30, 1)])], [5.0]), (0, 0, 1.5), [(60, 0, 1.5)])
    bands = obstacle_attenuation_db(narrow, agr)[0]
    np.testing.assert_array_equal(bands[:2], 0.0)     # 2 m are less than the wavelengths 5.4 and 2.7 m
    assert (bands[2:] > 0.0).all()


# --- what must always hold


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 10_000))
def test_source_and_receptor_change_places(seed: int) -> None:
    rng = np.random.default_rng(seed)
    shapes, tops = town(rng, winding=True)
    a, b = free_points(rng, shapes, 2, whole=False)
    there, back = (screen_paths(prepared(shapes, tops), s, [r]) for s, r in ((a, b), (b, a)))
    for one, other in (("path_difference_m",) * 2, ("source_edge_m", "receptor_edge_m"), ("edge_separation_m",) * 2,
                       ("left_difference_m", "right_difference_m"), ("right_difference_m", "left_difference_m"),
                       ("left_separation_m", "right_separation_m"), ("width_m",) * 2, ("distance_m",) * 2):
        np.testing.assert_allclose(getattr(there, one), getattr(back, other), atol=1e-6)


@settings(deadline=None, max_examples=100)
@given(st.integers(0, 10_000), st.floats(0.1, 10.0))
def test_raising_an_obstacle_never_shortens_the_way_over_the_top(seed: int, more: float) -> None:
    rng = np.random.default_rng(seed)
    shapes, tops = town(rng, winding=True)
    source, *receptors = free_points(rng, shapes, 9, whole=False)
    raised = list(tops)
    raised[int(rng.integers(len(tops)))] += more
    low, high = (screen_paths(prepared(shapes, heights), source, receptors) for heights in (tops, raised))
    finite = np.isfinite(low.path_difference_m)
    assert (high.path_difference_m[finite] >= low.path_difference_m[finite] - 1e-9).all()


@settings(deadline=None, max_examples=60)
@given(st.floats(0.0, 12.0), st.floats(0.1, 8.0), st.floats(0.0, 1.0), st.booleans())
def test_raising_a_lone_obstacle_never_makes_it_louder(top: float, more: float, porosity: float, house: bool) -> None:
    # one screen or flat-roofed house. With several obstacles a higher one may take another out of the band: two edges
    # become one, which is worth up to 10 lg 3 = 4.8 dB (C3), 5 dB at the caps, and what the weather factor changes.
    shape = box(20, -15, 26, 15) if house else LineString([(20, -15), (20, 15)])
    s, r = (0.0, 0.0, 2.5), [(60.0, 4.0, 4.0), (25.0 if house else 21.0, 20.0, 1.5), (150.0, -8.0, 6.0)]
    if house:
        r[1] = (40.0, 0.0, 1.5)
    agr = ground_effect_db(np.array([60.0, 29.0, 150.0]), 2.5, 4.0, source_porosity=porosity,
                           receptor_porosity=porosity, middle_porosity=porosity)
    low, high = (obstacle_attenuation_db(screen_paths(prepared([shape], [height]), s, r), agr)
                 for height in (top, top + more))
    assert (high >= low - 1e-9).all()


def test_the_same_bits_whatever_the_tile() -> None:
    rng = np.random.default_rng(2)
    shapes, tops = town(rng, winding=True)
    source, *receptors = free_points(rng, shapes, 60, whole=False)
    obstacles = prepared(shapes, tops)
    together = screen_paths(obstacles, source, receptors)
    tiles = [screen_paths(obstacles, source, receptors[k : k + 7]) for k in range(0, len(receptors), 7)]
    for field in fields(ScreenPaths):
        apart = np.concatenate([getattr(tile, field.name) for tile in tiles])
        np.testing.assert_array_equal(getattr(together, field.name), apart)


def test_inputs_stay_as_they_are_and_the_unknown_stays_unknown() -> None:
    xyz = np.array([[100.0, 0.0, 4.0], [np.nan, 0.0, 4.0]])
    xyz.flags.writeable = False
    before = xyz.copy()
    paths = screen_paths(prepared([box(20, -5, 30, 5)], [8.0]), np.zeros(3), xyz)
    np.testing.assert_array_equal(xyz, before)
    assert all(np.isnan(getattr(paths, field.name)[1]) for field in fields(ScreenPaths))
    assert all(not np.isnan(getattr(paths, field.name)[0]) for field in fields(ScreenPaths))
    same_place = screen_paths(prepared([box(20, -5, 30, 5)], [8.0]), (0, 0, 1), [(0, 0, 5)])
    assert same_place.path_difference_m[0] == -np.inf


def test_no_obstacle_at_all() -> None:
    empty = index_obstacles([], [])
    assert len(empty) == 0
    assert screen_paths(empty, (0, 0, 1), [(10, 0, 1)]).path_difference_m[0] == -np.inf
    assert screen_paths(empty, (0, 0, 1), np.empty((0, 3))).distance_m.shape == (0,)


@pytest.mark.parametrize(("parts", "tops", "said"), [
    ([Part(0, "outline", [(0, 0), (1, 0), (1, 0), (0, 0)])], [5.0], r"parts\[0\].xy_m has only 2 different corners"),
    ([Part(0, "line", [(0, 0)])], [5.0], r"parts\[0\].xy_m has only 1 different corners"),
    ([Part(0, "ring", [(0, 0), (1, 0), (1, 1)])], [5.0], r"parts\[0\].kind must be one of outline, hole, line"),
    ([Part(1, "line", [(0, 0), (1, 0)])], [5.0], r"parts\[0\].obstacle must be 0 to 0, not 1"),
    ([Part(0, "line", [(0, 0), (np.nan, 0)])], [5.0], r"parts\[0\].xy_m must be finite corners"),
    ([Part(0, "line", [(0, 0), (1, 0)])], [np.nan], "top_m must be finite"),
])
def test_a_wrong_obstacle_is_refused_by_name(parts: list[Part], tops: list[float], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        index_obstacles(parts, tops)


def test_each_source_may_have_its_own_receptor() -> None:
    obstacles = prepared([box(20, -5, 30, 5), LineString([(40, -9), (40, 9)])], [8.0, 4.0])
    rng = np.random.default_rng(8)
    sources = rng.uniform((-10, -10, 1), (10, 10, 12), (30, 3))
    receptors = rng.uniform((45, -20, 1), (90, 20, 12), (30, 3))
    paired = screen_paths(obstacles, sources, receptors)
    for k in range(30):
        alone = screen_paths(obstacles, sources[k], receptors[k : k + 1])
        assert paired.path_difference_m[k] == alone.path_difference_m[0]
        assert paired.left_difference_m[k] == alone.left_difference_m[0]


def test_wrong_shapes_are_refused() -> None:
    obstacles = prepared([box(0, 0, 1, 1)], [5.0])
    with pytest.raises(ValueError, match=r"source_xyz_m must have the shape \(3,\)"):
        screen_paths(obstacles, (0, 0), [(1, 1, 1)])
    with pytest.raises(ValueError, match=r"receptor_xyz_m must have the shape \(N, 3\)"):
        screen_paths(obstacles, (0, 0, 1), [(1, 1)])
    with pytest.raises(ValueError, match="eight octave bands"):
        obstacle_attenuation_db(screen_paths(obstacles, (5, 5, 1), [(9, 9, 1)]), np.zeros(7))
