"""Loose saturated sand beneath a receptor: whether there is any, and how stiff it is, from the nearest borehole.

Rules on settlement are judged only where such sand is found; where the borehole doesn't tell, they can't be.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import Citation, weakest
from envpredict.engine.applied import JUDGED, MISSING, NOT_GOVERNED, Applied, rank
from envpredict.engine.geometry import facing_point

if TYPE_CHECKING:
    from envpredict.engine.run import Run
    from envpredict.ground.ground import Ground

Floats = NDArray[np.float64]
LOOSE_N = 30.0
LOOSE = Citation("Terzaghi and Peck, density of sand from the standard penetration test", 1948,
                 "loose to N 10, medium dense to N 30", "memory")
CORRELATION = "road_bridge_sand"
_SILT, _CLAY = re.compile(r"\bsilts?\b", re.IGNORECASE), re.compile(r"\bclay", re.IGNORECASE)


@dataclass(frozen=True, slots=True, eq=False)
class Sand:
    """The loose saturated sand at receptors (R).

    `status` as in `Applied`, `text` why it isn't judged; `speed_m_s` of its softest stratum, NaN where there's none;
    `scatter` in log10 units; `in_range` of the correlation; `median_basis`, `basis` ranks; `said` in words.
    """

    status: NDArray[np.int64]
    text: NDArray[np.object_]
    speed_m_s: Floats
    scatter: Floats
    in_range: NDArray[np.bool_]
    median_basis: NDArray[np.int64]
    basis: NDArray[np.int64]
    said: NDArray[np.object_]


@dataclass(frozen=True, slots=True)
class _Found:
    status: int
    text: str
    speed_m_s: float = np.nan
    scatter: float = 0.0
    in_range: bool = True
    measured: bool = False
    said: str = ""


@lru_cache(maxsize=2)
def sand_at(run: Run) -> Sand:
    """Return what is known of loose saturated sand under every receptor, down to the deepest toe."""
    count = run.receptor_count
    ground = run.drive.ground
    if ground is None:
        found = [_Found(MISSING, "the rule needs strata: boreholes tell whether there is loose saturated sand")] * count
    else:
        import shapely

        works = shapely.multipoints(np.asarray(run.scenario.piles.geometry.values))
        at = facing_point(run.scenario.receptors.geometry, works)
        hole = ground.nearest(at[:, 0], at[:, 1])
        stated = run.scenario.ground_defaults.groundwater_m
        depth = float(run.drive.length_m.max())
        known = {int(number): _in_borehole(ground, int(number), depth, stated) for number in np.unique(hole)}
        found = [known[int(number)] for number in hole]
    return _stacked(found)


def _stacked(found: list[_Found]) -> Sand:
    from envpredict.ground.stiffness import CORRELATIONS, SCATTER

    law = CORRELATIONS[CORRELATION].citation.basis
    median = np.array([rank(weakest([LOOSE.basis] if one.measured else [LOOSE.basis, law])) for one in found])
    every = np.array([rank(weakest([LOOSE.basis] if one.measured else [LOOSE.basis, law, SCATTER.basis]))
                      for one in found])
    return Sand(
        status=np.array([one.status for one in found]), text=np.array([one.text for one in found], dtype=object),
        speed_m_s=np.array([one.speed_m_s for one in found]), scatter=np.array([one.scatter for one in found]),
        in_range=np.array([one.in_range for one in found]), median_basis=median, basis=every,
        said=np.array([one.said for one in found], dtype=object))


def _in_borehole(ground: Ground, hole: int, depth_m: float, groundwater_m: float | None) -> _Found:
    """Return what a borehole tells of loose saturated sand above a depth."""
    from envpredict.ground.stiffness import CORRELATIONS, SCATTER_FRACTION, shear_wave_speed

    strata = ground.strata
    name = strata.names[hole]
    water = float(strata.water_m[hole])
    water = water if np.isfinite(water) or groundwater_m is None else groundwater_m
    silt = np.array([bool(_SILT.search(text)) and not _CLAY.search(text) for text in strata.description.tolist()])
    sandy = (np.isin(strata.kind, ("coarse", "fill")) & ~strata.gravel & ~strata.boulders) | silt
    unknown_kind = strata.kind == "unknown"
    here = (strata.borehole == hole) & (strata.top_m < depth_m) & ~(strata.base_m <= water)
    maybe = here & (sandy | unknown_kind) & ~(strata.n > LOOSE_N)
    if not maybe.any():
        return _Found(NOT_GOVERNED, f"no loose saturated sand in borehole {name}, the nearest")
    lacking = maybe & (unknown_kind | (np.isnan(strata.n) & np.isnan(strata.vs_m_s)))
    if lacking.any():
        row = int(np.flatnonzero(lacking)[0])
        return _Found(MISSING, f"the rule needs strata: what lies at {strata.top_m[row]:g} to {strata.base_m[row]:g} m "
                               f"in borehole {name}, and its SPT N, to tell whether it is loose sand")
    if not np.isfinite(water):
        return _Found(MISSING, f"the rule needs groundwater_m: the sand in borehole {name} may be saturated")
    rows = np.flatnonzero(maybe)
    law = CORRELATIONS[CORRELATION]
    by_n = shear_wave_speed(strata.n[rows], CORRELATION)
    measured = np.isfinite(strata.vs_m_s[rows])
    speed = np.where(measured, strata.vs_m_s[rows], by_n.m_s)
    softest = int(np.nanargmin(speed))
    row, direct = rows[softest], bool(measured[softest])
    if speed[softest] <= 0.0:
        return _Found(MISSING, f"the rule needs vs_m_s: the sand in borehole {name} has an SPT N of 0, from which no "
                               "stiffness follows")
    how = "measured" if direct else f"from N by {law.title} ({law.citation.document})"
    count = "N unknown" if np.isnan(strata.n[row]) else f"N {strata.n[row]:.0f}"
    said = (f"loose saturated sand at {strata.top_m[row]:g} to {strata.base_m[row]:g} m in borehole {name}, the nearest"
            f" ({count}): shear-wave speed {speed[softest]:.0f} m/s, {how}")
    return _Found(JUDGED, "", float(speed[softest]), 0.0 if direct else float(np.log10(1.0 + SCATTER_FRACTION)),
                  direct or bool(by_n.in_range[softest]), direct, said)


def with_sand(applied: Applied, sand: Sand) -> Applied:
    """Return the limits with the receptors that stand on no loose saturated sand, or may, taken out."""
    hit = (applied.status == JUDGED) & (sand.status != JUDGED)
    return Applied(applied.value, applied.basis, np.where(hit, sand.status, applied.status),
                   np.where(hit, sand.text, applied.text).astype(object), applied.note)
