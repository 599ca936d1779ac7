"""Is the public path as fast as its arithmetic? Ratios within one run, so that the machine's speed doesn't matter.

Run with `pytest tests/benchmarks`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from time import perf_counter

import numba
import numpy as np
import shapely

from envpredict.models.noise.iso9613_1_1993 import octave_absorption_db_m
from envpredict.models.noise.iso9613_2_1996 import flat_attenuation
from envpredict.models.noise.iso9613_2_1996.reflections import wall_reflection
from envpredict.models.noise.screen_geometry import Part, index_obstacles, screen_paths

PAIRS = 1_000_000


def best_of(repeats: int, *works: Callable[[], object]) -> list[float]:
    """Return the shortest time of each piece of work in s, run in turns after one run that isn't counted."""
    times: list[list[float]] = [[] for _ in works]
    for turn in range(repeats + 1):
        for work, taken in zip(works, times, strict=True):
            start = perf_counter()
            work()
            if turn:
                taken.append(perf_counter() - start)
    return [min(taken) for taken in times]


@numba.njit
def bare(dp, hs, hr, gs, gr, gm, alpha, out):  # type: ignore[no-untyped-def]
    """Write Adiv + Aatm + Agr as a plain loop: no checks, no broadcasting, nothing kept from pair to pair."""
    for i in range(dp.size):
        near, far = 1.0 - math.exp(-dp[i] / 50.0), 1.0 - math.exp(-2.8e-6 * dp[i] * dp[i])
        d2 = dp[i] * dp[i] + (hs[i] - hr[i]) ** 2
        d, spread = math.sqrt(d2), 10.0 * math.log10(d2) + 11.0
        ends = 30.0 * (hs[i] + hr[i])
        q = 0.0 if dp[i] <= ends else 1.0 - ends / dp[i]
        for band in range(8):
            out[i, band] = spread + alpha[band] * d - 3.0 * q * (1.0 if band == 0 else 1.0 - gm[i])
        for side in range(2):
            h, g = (hs[i], gs[i]) if side == 0 else (hr[i], gr[i])
            h2 = h * h
            out[i, 0] -= 1.5
            out[i, 1] += -1.5 + g * (1.5 + 3.0 * math.exp(-0.12 * (h - 5.0) ** 2) * near
                                     + 5.7 * math.exp(-0.09 * h2) * far)
            out[i, 2] += -1.5 + g * (1.5 + 8.6 * math.exp(-0.09 * h2) * near)
            out[i, 3] += -1.5 + g * (1.5 + 14.0 * math.exp(-0.46 * h2) * near)
            out[i, 4] += -1.5 + g * (1.5 + 5.0 * math.exp(-0.9 * h2) * near)
            for band in range(5, 8):
                out[i, band] -= 1.5 * (1.0 - g)


def test_a_million_unscreened_pairs_cost_at_most_twice_the_bare_loop() -> None:
    rng = np.random.default_rng(5)
    dp, hs, hr = rng.uniform(5.0, 1000.0, PAIRS), rng.uniform(1.0, 20.0, PAIRS), rng.uniform(1.5, 15.0, PAIRS)
    gs, gr, gm = rng.random((3, PAIRS))
    alpha = octave_absorption_db_m()
    out = np.empty((PAIRS, 8))

    def public() -> np.ndarray:
        return flat_attenuation(dp, hs, hr, source_porosity=gs, receptor_porosity=gr, middle_porosity=gm)

    def plain() -> None:
        # the result's memory is part of the work in both
        bare(dp, hs, hr, gs, gr, gm, alpha, np.empty((PAIRS, 8)))

    bare(dp, hs, hr, gs, gr, gm, alpha, out)
    np.testing.assert_allclose(public(), out, rtol=0, atol=1e-9)
    ours, theirs = best_of(5, public, plain)
    print(f"1e6 pairs x 8 bands: {1e3 * ours:.0f} ms, bare loop {1e3 * theirs:.0f} ms, ratio {ours / theirs:.2f}")
    assert ours <= 2.0 * theirs


@numba.njit
def visit(scene, sx, sy, ends):  # type: ignore[no-untyped-def]
    """Count the walls that each path crosses, visiting every cell on it: no tops, no hulls, no rules for touching."""
    x, y, after, cells, in_cell = scene.x, scene.y, scene.after, scene.cells, scene.in_cell
    columns, rows, cell, x0, y0 = scene.columns, scene.rows, scene.cell, scene.x0, scene.y0
    seen = np.full(x.size, -1)
    found = np.zeros(len(ends), dtype=np.int64)
    for ray in range(len(ends)):
        rx, ry = ends[ray, 0], ends[ray, 1]
        first = max(int((min(sx, rx) - x0) // cell), 0)
        last = min(int((max(sx, rx) - x0) // cell), columns - 1)
        for column in range(first, last + 1):
            ta = (x0 + column * cell - sx) / (rx - sx)
            tb = (x0 + (column + 1) * cell - sx) / (rx - sx)
            ya, yb = sy + min(max(ta, 0.0), 1.0) * (ry - sy), sy + min(max(tb, 0.0), 1.0) * (ry - sy)
            low = max(int((min(ya, yb) - y0) // cell), 0)
            for row in range(low, min(int((max(ya, yb) - y0) // cell), rows - 1) + 1):
                for item in range(cells[row * columns + column], cells[row * columns + column + 1]):
                    a = in_cell[item]
                    if seen[a] == ray:
                        continue
                    seen[a] = ray
                    b = after[a]
                    da = (rx - sx) * (y[a] - sy) - (ry - sy) * (x[a] - sx)
                    db = (rx - sx) * (y[b] - sy) - (ry - sy) * (x[b] - sx)
                    ds = (x[b] - x[a]) * (sy - y[a]) - (y[b] - y[a]) * (sx - x[a])
                    dr = (x[b] - x[a]) * (ry - y[a]) - (y[b] - y[a]) * (rx - x[a])
                    if da * db < 0.0 and ds * dr < 0.0:
                        found[ray] += 1
    return found


def test_paths_over_the_top_cost_at_most_ten_times_the_walls_on_them() -> None:
    # 5 000 houses (20 000 walls) on 2 km x 2 km, one source in the middle
    rng = np.random.default_rng(1)
    size, count = 2000.0, 5000
    corners, sizes = rng.uniform(0.0, size, (count, 2)), rng.uniform(8.0, 20.0, (count, 2))
    houses = shapely.box(corners[:, 0], corners[:, 1], corners[:, 0] + sizes[:, 0], corners[:, 1] + sizes[:, 1])
    source = np.array([1000.0, 1000.0, 3.0])
    receptors = np.column_stack([rng.uniform(0.0, size, (10_000, 2)), np.full(10_000, 4.0)])
    parts = [Part(n, "outline", house.exterior.coords) for n, house in enumerate(houses)]
    obstacles = index_obstacles(parts, rng.uniform(4.0, 15.0, count))
    scene, origin = obstacles.scene, np.array(obstacles.origin_m)
    ends, start = receptors[:, :2] - origin, source[:2] - origin

    def bare_visit() -> np.ndarray:
        return visit(scene, *start, ends)

    walls = shapely.linestrings(np.stack([np.column_stack([scene.x, scene.y]),
                                          np.column_stack([scene.x, scene.y])[scene.after]], axis=1))
    tree = shapely.STRtree(walls)
    few = 500
    paths = shapely.linestrings(np.stack([np.broadcast_to(start, (few, 2)), ends[:few]], axis=1))

    def by_index() -> np.ndarray:
        return np.bincount(tree.query(paths, predicate="intersects")[0], minlength=few)

    np.testing.assert_array_equal(bare_visit()[:few], by_index())
    over, visited, everything, indexed = best_of(
        3, lambda: screen_paths(obstacles, source, receptors, sides=False), bare_visit,
        lambda: screen_paths(obstacles, source, receptors), by_index)
    over, visited, everything = (1e6 * seconds / len(receptors) for seconds in (over, visited, everything))
    indexed *= 1e6 / few
    print(f"us a path: over the top {over:.1f}, walls alone {visited:.1f}, spatial index {indexed:.0f}; "
          f"round the sides {everything - over:.1f} more")
    assert over <= 10.0 * visited
    assert over <= 0.1 * indexed


def test_a_reflection_costs_little_beside_its_path() -> None:
    # reported apart: the image of one source in one wall for many receptors
    receptors = np.column_stack([np.random.default_rng(3).uniform(0.0, 500.0, (100_000, 2)), np.full(100_000, 4.0)])
    taken, _ = best_of(3, lambda: wall_reflection([250.0, 250.0, 2.0], receptors, [0.0, 0.0], [500.0, 0.0], 0.0, 9.0),
                       lambda: None)
    print(f"us a reflection: {1e6 * taken / len(receptors):.2f}")
    assert taken < 0.5
