"""Level lines of a run's grids at the adopted limits: where the median has the value, and where the design level."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from envpredict.outputs.map.shapes import LINE, PAGE_CRS, Encoded, Origin

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment, Grid

LIMITS_PER_EFFECT = 3
"""The limits of an effect (and period) that lines are drawn for: those that govern most receptors."""
COLUMNS = ("receptor", "method", "effect", "period", "likelihood", "p_exceed", "margin_db", "predicted_median",
           "predicted_design", "limit", "unit", "limit_set", "rule")
"""What lines need of the findings, and what orders them."""
SIMPLIFY_M = 0.3
FEWEST_POINTS = 4
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Line:
    """The lines of one level of a grid: `paths` in the scenario's CRS.

    `level` is the grid's median on the line: the limit itself, or for `design` the limit less what lies between median
    and design level in the findings (their middle). `apart` says how the findings' medians differ from the grid at
    their receptors (least, middle, most; dB, or factors), since they are made at a facade, floor or foundation and over
    a period.
    """

    effect: str
    period: str
    limit: float
    level: float
    unit: str
    apart: tuple[float, float, float] | None
    limit_set: str
    rank: int
    design: bool
    receptors: int
    paths: tuple[Floats, ...]


def _space(values: Floats, decibel: bool) -> Floats:
    """Return levels in the space where they scatter evenly: decibels as they are, others as logarithms."""
    if decibel:
        return np.asarray(values, dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.log10(values), dtype=float)


def trace(grid: Grid, level: float, decibel: bool) -> tuple[Floats, ...]:
    """Return the paths (N, 2) on which a grid has the level, which is given in the grid's even space."""
    from contourpy import LineType, contour_generator

    values = _space(grid.values, decibel)
    masked = np.ma.masked_invalid(values)
    paths = contour_generator(grid.x, grid.y, masked, line_type=LineType.Separate).lines(level)
    return tuple(np.asarray(path, dtype=float) for path in paths if len(path) >= FEWEST_POINTS)


def at_points(grid: Grid, xy: Floats, decibel: bool) -> Floats:
    """Return the grid's level at points (N, 2), in its even space; NaN outside the grid."""
    from scipy.interpolate import RegularGridInterpolator

    values = _space(grid.values, decibel)
    inside = RegularGridInterpolator((grid.y, grid.x), values, bounds_error=False, fill_value=np.nan)
    return np.asarray(inside(xy[:, ::-1]), dtype=float)


def _limit_lines(rows: pd.DataFrame, grid: Grid, on_grid: Floats, rank: int) -> list[Line]:
    """Return the two lines of one limit: rows are its findings, `on_grid` the grid's level at every receptor.

    A line is the grid's own, at a stated level: nothing of the findings moves it.
    """
    first = rows.iloc[0]
    decibel = str(grid.unit).startswith("dB")
    median, design = (_space(rows[name].to_numpy(dtype=float), decibel)
                      for name in ("predicted_median", "predicted_design"))
    limit = float(_space(np.array([first["limit"]]), decibel)[0])
    between = _finite(design - median)
    levels = [(limit, False)] + ([(limit - float(np.median(between)), True)] if between.size else [])
    apart = _apart(_finite(median - on_grid[rows["receptor_row"].to_numpy()]), decibel)
    lines = [Line(str(first["effect"]), str(first["period"]), float(first["limit"]),
                  level if decibel else float(10.0**level), str(first["unit"]), apart, str(first["limit_set"]), rank,
                  whether, len(rows), trace(grid, level, decibel)) for level, whether in levels]
    return [line for line in lines if line.paths]


def _finite(values: Floats) -> Floats:
    return values[np.isfinite(values)]


def _apart(differences: Floats, decibel: bool) -> tuple[float, float, float] | None:
    """Return least, middle and most of differences in the even space, as dB or as factors."""
    if not differences.size:
        return None
    least, middle, most = (float(value) for value in np.quantile(differences, (0.0, 0.5, 1.0)))
    return (least, middle, most) if decibel else (10.0**least, 10.0**middle, 10.0**most)


def method_lines(frame: pd.DataFrame, grids: dict[str, Grid], xy: Floats) -> tuple[list[Line], int]:
    """Return the lines of one method and the number of limits left without one; xy: (R, 2) points of the receptors."""
    lines: list[Line] = []
    left_out = 0
    for grid_kind, grid in grids.items():
        decibel = str(grid.unit).startswith("dB")
        on_grid = at_points(grid, xy, decibel)
        fits = frame["effect"].eq("noise") if grid_kind == "noise" else frame["effect"].ne("noise")
        mine = frame[fits & frame["unit"].eq(grid.unit) & frame["limit"].notna() & frame["predicted_median"].notna()]
        for _, effect_rows in mine.groupby(["effect", "period"], sort=True):
            groups = [rows for _, rows in effect_rows.groupby(["limit_set", "rule", "limit"], sort=True)]
            decide = effect_rows.drop_duplicates("receptor_row").index
            groups.sort(key=lambda rows: (-len(rows.index.intersection(decide)), -len(rows)))
            for rank, rows in enumerate(groups[:LIMITS_PER_EFFECT]):
                lines += _limit_lines(rows, grid, on_grid, rank)
            left_out += len(groups[LIMITS_PER_EFFECT:])
    return lines, left_out


def write(encoded: Encoded, lines: list[Line], method: int, crs: Any, origin: Origin) -> list[dict[str, Any]]:
    """Add the lines to the page's shapes and return what the page says of each."""
    import shapely
    from pyproj import Transformer

    onto_page = Transformer.from_crs(crs, PAGE_CRS, always_xy=True)
    told = []
    for line in lines:
        rings = []
        for path in line.paths:
            thin = shapely.get_coordinates(shapely.simplify(shapely.linestrings(path), SIMPLIFY_M))
            rings.append(origin.quantise(np.column_stack(onto_page.transform(thin[:, 0], thin[:, 1]))))
        encoded.add(LINE, rings)
        apart = None if line.apart is None else [_told(value, line.unit) for value in line.apart]
        told.append({"method": method, "effect": line.effect, "period": line.period, "limit": f"{line.limit:.4g}",
                     "level": _told(line.level, line.unit), "apart": apart, "unit": line.unit,
                     "limit_set": line.limit_set, "rank": line.rank, "design": line.design,
                     "receptors": line.receptors})
    return told


def _told(value: float, unit: str) -> str:
    """Return a level or difference as the page shows it: tenths of a dB, else three digits."""
    return f"{value:.1f}" if unit.startswith("dB") else f"{value:.3g}"


def lines_of(assessment: Assessment, frame: pd.DataFrame, xy: Floats) -> list[tuple[int, list[Line], int]]:
    """Return, per method, its number, its lines and how many limits were left out."""
    found = []
    for number, method in enumerate(assessment.methods):
        grids = {kind: grid for (name, kind), grid in assessment.grids.items() if name == method.id}
        lines, left_out = method_lines(frame[frame["method_row"] == number], grids, xy)
        found.append((number, lines, left_out))
    return found
