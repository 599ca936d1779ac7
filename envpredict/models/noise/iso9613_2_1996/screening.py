"""ISO 9613-2 clause 7.4: attenuation by screens and buildings, from the lengths of the paths over and round them.

What the standard leaves open is decided here, each time to the louder side, and said at the function:

- an obstacle that leaves the sight line clear takes no credit for the ground's reflection (`top_edge_db`);
- a path round a side is never neglected, however long (`combined_db`);
- all paths together never make the receptor louder than without the obstacle (`combined_db`).
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, choose, not_negative, numbers, positive
from envpredict.models.noise.arguments import octaves, result
from envpredict.models.noise.iso9613_2_1996.ground import DISTANCE_RANGE
from envpredict.models.noise.iso9613_2_1996.sources import CLARIFIED, SCREEN, SCREEN_SIZE
from envpredict.models.noise.weighting import NOMINAL_HZ
from envpredict.models.spec import model

SOUND_SPEED_M_S: Final = 340.0
WAVELENGTH_M: Final[Floats] = SOUND_SPEED_M_S / NOMINAL_HZ
WAVELENGTH_M.flags.writeable = False

SINGLE_CAP_DB: Final = 20.0
DOUBLE_CAP_DB: Final = 25.0

C2: Final = {"in_factor": 20.0, "by_images": 40.0}
"""The factor C2 by where reflections from the ground are: in the factor itself, or computed as image sources."""
_VERTICAL_BENDING: Final = {"over": 1.0, "round": 0.0}


def path_difference_m(source_edge_m: ArrayLike, receptor_edge_m: ArrayLike, distance_m: ArrayLike, *,
                      edge_separation_m: ArrayLike = 0.0, along_edge_m: ArrayLike = 0.0,
                      clear: ArrayLike = False) -> Floats:
    """Return z of equations (16) and (17) in m: the path over the edges less the straight path.

    source_edge_m: dss, source to first edge. receptor_edge_m: dsr, last edge to receptor. distance_m: slope distance d.
    edge_separation_m: e, between the two edges, 0 for a single one. along_edge_m: a, the offset of source and receptor
    along the edge. clear: whether the sight line passes the edge unbroken; z is then negative. All in m, broadcast.
    Raises ValueError for a distance not positive or another length below 0.

    >>> round(float(path_difference_m(10.4403, 90.0222, 100.005)), 4)
    0.4575
    """
    across = (not_negative(source_edge_m, "source_edge_m") + not_negative(receptor_edge_m, "receptor_edge_m")
              + not_negative(edge_separation_m, "edge_separation_m"))
    detour = np.hypot(across, not_negative(along_edge_m, "along_edge_m")) - positive(distance_m, "distance_m")
    return result(np.where(clear, -detour, detour))


def double_edge_factor(edge_separation_m: ArrayLike) -> Floats:
    """Return C3 of equation (15) per octave: shape (..., 8); 1 for a single edge (e = 0), up to 3 for two far apart.

    >>> [round(float(c), 3) for c in double_edge_factor(10.0)]
    [1.088, 1.305, 1.838, 2.485, 2.84, 2.958, 2.989, 2.997]
    """
    e = not_negative(edge_separation_m, "edge_separation_m")[..., None]
    with np.errstate(divide="ignore", invalid="ignore"):
        square = (5.0 * WAVELENGTH_M / e) ** 2
        factor = (1.0 + square) / (1.0 / 3.0 + square)
    return result(np.where(np.isinf(square), 1.0, factor))


def weather_factor(path_difference_m: ArrayLike, source_edge_m: ArrayLike, receptor_edge_m: ArrayLike,
                   distance_m: ArrayLike) -> Floats:
    """Return Kmet of equation (18): 1 where z is 0 or less, below 1 where sound bent down passes over the edge.

    Lengths in m, as in `path_difference_m`; they broadcast.

    >>> round(float(weather_factor(0.4575, 10.4403, 90.0222, 100.005)), 3)
    0.852
    """
    z = numbers(path_difference_m, "path_difference_m")
    product = (not_negative(source_edge_m, "source_edge_m") * not_negative(receptor_edge_m, "receptor_edge_m")
               * positive(distance_m, "distance_m"))
    with np.errstate(divide="ignore", invalid="ignore"):
        bent = np.exp(-np.sqrt(product / (2.0 * z)) / 2000.0)
    return result(np.where(np.isnan(z), np.nan, np.where(z > 0.0, bent, np.where(np.isnan(product), np.nan, 1.0))))


@model("iso9613_screen", title="Screening of one path past an obstacle, Dz", quantity="attenuation_db",
       statistic="deterministic", position="free_field", distance="slope",
       validity={"distance_m": DISTANCE_RANGE,
                 **dict.fromkeys(("path_difference_m", "source_edge_m", "receptor_edge_m", "edge_separation_m"),
                                 Range.unstated())},
       source=SCREEN, sources=(CLARIFIED,), falls_with_distance=False,
       options={"passes": ("over", "round"), "ground_reflections": ("in_factor", "by_images")})
def screening_db(distance_m: ArrayLike, path_difference_m: ArrayLike, source_edge_m: ArrayLike,
                 receptor_edge_m: ArrayLike, *, edge_separation_m: ArrayLike = 0.0, passes: ArrayLike = "over",
                 ground_reflections: ArrayLike = "in_factor") -> Floats:
    """Return Dz of equation (14) in octave bands, dB: shape (..., 8), 0 to 20 (one edge) or 25 (two).

    distance_m: slope distance d. path_difference_m: z, negative where the sight line is clear. source_edge_m: dss.
    receptor_edge_m: dsr. edge_separation_m: e, the path between the first and the last edge, 0 for a single edge. All
    in m. passes: `over` the top, or `round` a vertical edge (Kmet is then 1). ground_reflections: `in_factor` (C2 = 20)
    or `by_images` (C2 = 40). All broadcast. Raises ValueError that names the argument.

    >>> [round(float(dz), 2) for dz in screening_db(100.005, 0.4575, 10.4403, 90.0222)]
    [6.48, 7.68, 9.41, 11.6, 14.14, 16.89, 19.76, 20.0]
    """
    z = numbers(path_difference_m, "path_difference_m")
    e = not_negative(edge_separation_m, "edge_separation_m")
    bending = choose(passes, _VERTICAL_BENDING, "passes")
    c2 = choose(ground_reflections, C2, "ground_reflections")
    kmet = weather_factor(z, source_edge_m, receptor_edge_m, distance_m)
    weighted = z * (bending * kmet + (1.0 - bending))
    bracket = 3.0 + (c2 * weighted)[..., None] / WAVELENGTH_M * double_edge_factor(e)
    cap = np.where(e > 0.0, DOUBLE_CAP_DB, SINGLE_CAP_DB)[..., None]
    return result(np.minimum(10.0 * np.log10(np.maximum(bracket, 1.0)), cap))


def top_edge_db(screening_db: ArrayLike, ground_attenuation_db: ArrayLike, path_difference_m: ArrayLike) -> Floats:
    """Return Abar = Dz - Agr of equation (12) in octave bands, dB, 0 or more: shape (..., 8).

    screening_db: Dz (..., 8). ground_attenuation_db: Agr (..., 8) without the obstacle. path_difference_m: z (...).
    Where the ground raises the level (Agr below 0) the equation credits the obstacle with taking that away. Of an
    obstacle that leaves the sight line clear (z below 0) the standard can't mean this, or a kerb would screen by 3 dB:
    there a negative Agr isn't subtracted. Raises ValueError for a wrong band axis.
    """
    dz = octaves(screening_db, "screening_db")
    agr = octaves(ground_attenuation_db, "ground_attenuation_db")
    clear = (numbers(path_difference_m, "path_difference_m") < 0.0)[..., None]
    return result(np.maximum(dz - np.where(clear, np.maximum(agr, 0.0), agr), 0.0))


def combined_db(top_db: ArrayLike, left_db: ArrayLike = np.inf, right_db: ArrayLike = np.inf) -> Floats:
    """Return Abar of all paths past an obstacle in dB: their energies added, 0 or more.

    top_db: Abar over the top. left_db, right_db: Abar = Dz round each side, equation (13), the ground effect kept;
    infinite where there is no such path. Any shapes that broadcast. The standard allows a side path to be neglected
    whose detour is more than eight times that over the top; here none is, since caps make such a path count.
    """
    energy = sum(10.0 ** (-numbers(one, name) / 10.0)
                 for one, name in ((top_db, "top_db"), (left_db, "left_db"), (right_db, "right_db")))
    with np.errstate(divide="ignore"):
        return result(np.maximum(-10.0 * np.log10(energy), 0.0))


def wide_enough(width_m: ArrayLike) -> NDArray[np.bool_]:
    """Return per octave whether an obstacle counts as a screen: shape (..., 8).

    width_m: its horizontal extent across the path, left and right of it together, in m; must exceed the wavelength.
    Raises ValueError for a negative width. Source: recalled (`SCREEN_SIZE`).
    """
    return np.asarray(not_negative(width_m, "width_m")[..., None] > WAVELENGTH_M)


SIZE_SOURCE: Final = SCREEN_SIZE
