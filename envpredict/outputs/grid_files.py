"""Level grids as GeoTIFF, for those who ask for them: one file per method and kind."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from envpredict.core.cautions import SCREENING

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment

NO_LEVEL = -9999.0
"""What a cell without a level holds, declared in the file as its missing value."""


def write_grids(assessment: Assessment, folder: Path) -> tuple[Path, ...]:
    """Write every level grid of a run into an existing folder as a one-band GeoTIFF and return the files.

    Cells are centred on the grid's points, rows run from north to south, values are 32-bit: medians in the unit named
    in the file's tags, `NO_LEVEL` where there is none. Raises OSError if a file can't be written.
    """
    from rasterio import Affine  # type: ignore[import-untyped]
    from rasterio.io import MemoryFile  # type: ignore[import-untyped]

    written = []
    for (method, kind), grid in assessment.grids.items():
        step_x, step_y = float(grid.x[1] - grid.x[0]), float(grid.y[1] - grid.y[0])
        place = Affine(step_x, 0.0, float(grid.x[0]) - step_x / 2.0, 0.0, -step_y, float(grid.y[-1]) + step_y / 2.0)
        values = np.where(np.isfinite(grid.values), grid.values, NO_LEVEL).astype(np.float32)
        path = folder / f"{file_stem(method)}_{kind}.tif"
        # written to memory first: the raster library doesn't report a disk that is full when the file is closed
        with MemoryFile() as memory:
            with memory.open(driver="GTiff", width=len(grid.x), height=len(grid.y), count=1, dtype="float32",
                             crs=assessment.scenario.crs.to_wkt(), transform=place, nodata=NO_LEVEL,
                             compress="deflate") as file:
                file.write(values[::-1], 1)
                file.update_tags(method=method, kind=kind, quantity=grid.quantity, unit=grid.unit, caution=SCREENING)
            path.write_bytes(memory.read())
        written.append(path)
    return tuple(written)


def file_stem(method: str) -> str:
    """Return a method's identifier as part of a file's name: what isn't a letter, a digit or _ becomes _."""
    return "".join(sign if sign.isascii() and (sign.isalnum() or sign == "_") else "_" for sign in method)
