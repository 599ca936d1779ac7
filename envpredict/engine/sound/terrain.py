"""The ground's elevation from a raster, and the paths of sound over it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.models.noise.compiled import compiled
from envpredict.models.noise.screen_edges import Edges

if TYPE_CHECKING:
    from pathlib import Path

    from pyproj import CRS

Floats = NDArray[np.float64]
Bounds = tuple[float, float, float, float]
CLEAR_OF_ENDS_M = 1.0
"""Ground nearer than this to source or receptor doesn't screen them: they stand on it."""


@dataclass(frozen=True, slots=True, eq=False)
class Terrain:
    """Ground elevations `z_m` (rows, columns) in m at the middles of cells.

    `x0`, `y0`: the middle of the first cell in the scenario's system; `step_x` (> 0), `step_y` (< 0: rows run south).
    """

    z_m: Floats
    x0: float
    y0: float
    step_x: float
    step_y: float

    def elevation_m(self, xy: Floats) -> Floats:
        """Return the elevation (N,) at places (N, 2) between the middles of cells, NaN outside them."""
        out = np.empty(len(xy))
        _elevations(self.z_m, self._frame, np.ascontiguousarray(xy), out)
        return out

    def edges(self, source_xyz: Floats, receptor_xyz: Floats) -> Edges:
        """Return the ground's edges under the taut band from each source (N, 3) to its receptor (N, 3).

        A path has edges only where the ground breaks its sight line: the corners of the ground's upper hull. The ground
        is sampled once a cell.
        """
        ends = self.z_m, self._frame, np.ascontiguousarray(source_xyz), np.ascontiguousarray(receptor_xyz)
        most = int(np.hypot(*self.z_m.shape)) * 2 + 16
        starts, nothing = np.zeros(len(source_xyz) + 1, dtype=np.int64), np.empty(0)
        _hulls(*ends, most, starts, nothing, nothing)
        along, top = np.empty(int(starts[-1])), np.empty(int(starts[-1]))
        if along.size:
            _hulls(*ends, most, starts, along, top)
        return Edges(starts, along, top)

    @property
    def _frame(self) -> tuple[float, float, float, float]:
        return self.x0, self.y0, self.step_x, self.step_y


def read_terrain(path: Path, crs: CRS, bounds: Bounds, margin_m: float = 20.0) -> Terrain:
    """Return the part of an elevation raster that covers the bounds (xmin, ymin, xmax, ymax) in the scenario's system.

    A raster in another system is moved into the scenario's, bilinear. Faults of the raster (not covering the site,
    holes, another unit) are told when the scenario is read.
    """
    import rasterio  # type: ignore[import-untyped]
    from rasterio.enums import Resampling  # type: ignore[import-untyped]
    from rasterio.vrt import WarpedVRT  # type: ignore[import-untyped]

    with (rasterio.open(path) as raster, WarpedVRT(raster, crs=crs.to_wkt(), resampling=Resampling.bilinear) as moved):
        wanted = moved.window(bounds[0] - margin_m, bounds[1] - margin_m, bounds[2] + margin_m, bounds[3] + margin_m)
        (top, bottom), (left, right) = wanted.toranges()
        window = rasterio.windows.Window.from_slices(
            (max(math.floor(top), 0), min(math.ceil(bottom), moved.height)),
            (max(math.floor(left), 0), min(math.ceil(right), moved.width)))
        z = moved.read(1, window=window, masked=True).astype(float).filled(np.nan)
        place = moved.window_transform(window)
    return Terrain(np.ascontiguousarray(z), place.c + 0.5 * place.a, place.f + 0.5 * place.e, place.a, place.e)


@compiled
def _at(z: Floats, frame: tuple[float, float, float, float], x: float, y: float) -> float:
    """Return the elevation at a place, bilinear between the middles of cells; NaN outside."""
    u, v = (x - frame[0]) / frame[2], (y - frame[1]) / frame[3]
    if not (-0.5 <= u <= z.shape[1] - 0.5 and -0.5 <= v <= z.shape[0] - 0.5):
        return math.nan
    # the outer half of the outermost cells takes their middle's elevation
    u, v = min(max(u, 0.0), z.shape[1] - 1.0), min(max(v, 0.0), z.shape[0] - 1.0)
    column, row = min(int(u), max(z.shape[1] - 2, 0)), min(int(v), max(z.shape[0] - 2, 0))
    right, below = min(column + 1, z.shape[1] - 1), min(row + 1, z.shape[0] - 1)
    du, dv = u - column, v - row
    above_z = z[row, column] * (1.0 - du) + z[row, right] * du
    below_z = z[below, column] * (1.0 - du) + z[below, right] * du
    return float(above_z * (1.0 - dv) + below_z * dv)


@compiled
def _elevations(z: Floats, frame: tuple[float, float, float, float], xy: Floats, out: Floats) -> None:
    for n in range(out.size):
        out[n] = _at(z, frame, xy[n, 0], xy[n, 1])


@compiled
def _hulls(z: Floats, frame: tuple[float, float, float, float], sources: Floats, receptors: Floats, most: int,
           starts: NDArray[np.int64], along: Floats, top: Floats) -> None:
    """Count the corners of the upper hull over the sampled ground, path after path; write them where there is room."""
    hull_u, hull_z = np.empty(most), np.empty(most)
    cell = min(abs(frame[2]), abs(frame[3]))
    for n in range(sources.shape[0]):
        sx, sy, sz = sources[n, 0], sources[n, 1], sources[n, 2]
        rx, ry, rz = receptors[n, 0], receptors[n, 1], receptors[n, 2]
        plan = math.hypot(rx - sx, ry - sy)
        steps = min(math.ceil(plan / cell), most - 4)
        hull_u[0], hull_z[0] = 0.0, sz
        count = 1
        for k in range(1, steps + 1):
            share = k / steps
            u, height = share * plan, rz
            if k < steps:
                if min(u, plan - u) < CLEAR_OF_ENDS_M:
                    continue
                height = _at(z, frame, sx + share * (rx - sx), sy + share * (ry - sy))
                if not height > sz + share * (rz - sz):
                    continue
            while count > 1 and ((hull_z[count - 1] - hull_z[count - 2]) * (u - hull_u[count - 2])
                                 <= (height - hull_z[count - 2]) * (hull_u[count - 1] - hull_u[count - 2])):
                count -= 1
            hull_u[count], hull_z[count] = u, height
            count += 1
        starts[n + 1] = starts[n] + max(count - 2, 0)
        if along.size:
            for k in range(1, count - 1):
                along[starts[n] + k - 1], top[starts[n] + k - 1] = hull_u[k], hull_z[k]
