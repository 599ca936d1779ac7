"""ISO 9613-2 clause 7.5: reflections from facades, as image sources."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from envpredict.models.arguments import Floats, numbers, positive
from envpredict.models.noise.arguments import between, octaves, result
from envpredict.models.noise.iso9613_2_1996.screening import WAVELENGTH_M
from envpredict.models.noise.iso9613_2_1996.sources import REFLECTION

REFLECTION_COEFFICIENT: Final = {"hard_flat": 1.0, "windows": 0.8, "half_open": 0.4}
"""rho: flat hard wall; wall of a building with windows and small openings; works wall with half of it open."""
COEFFICIENT_SOURCE: Final = REFLECTION
LEAST_COEFFICIENT: Final = 0.2
"""A surface with a smaller coefficient isn't taken into account (recalled, as the others)."""


class Reflection(NamedTuple):
    """The path from source to receptor by one reflection from an upright wall, all of one shape (...).

    `exists`: source and receptor lie before the same side of the wall and the path meets it within its ends and heights
    (ends included). `point` (..., 3): where. `source_m`, `receptor_m`: lengths from there to source and receptor.
    `cosine`: of the angle of incidence. Where no such path exists the numbers are NaN.
    """

    exists: NDArray[np.bool_]
    point: Floats
    source_m: Floats
    receptor_m: Floats
    cosine: Floats


def _points(values: ArrayLike, size: int, name: str) -> Floats:
    array = numbers(values, name)
    if array.ndim == 0 or array.shape[-1] != size:
        raise ValueError(f"{name} must have {size} coordinates on its last axis, not shape {array.shape}")
    return array


def wall_reflection(source_xyz_m: ArrayLike, receptor_xyz_m: ArrayLike, wall_from_m: ArrayLike, wall_to_m: ArrayLike,
                    base_m: ArrayLike, top_m: ArrayLike) -> Reflection:
    """Return the path by one reflection from an upright wall, by the image of the source.

    source_xyz_m, receptor_xyz_m: (..., 3). wall_from_m, wall_to_m: the wall's ends in plan (..., 2), apart. base_m,
    top_m: elevations of its lower and upper edge (...). All in m of one coordinate system; they broadcast.
    Raises ValueError for a wall without length or wrong shapes.
    """
    s, r = _points(source_xyz_m, 3, "source_xyz_m"), _points(receptor_xyz_m, 3, "receptor_xyz_m")
    a, b = _points(wall_from_m, 2, "wall_from_m"), _points(wall_to_m, 2, "wall_to_m")
    along = b - a
    length = np.hypot(along[..., 0], along[..., 1])
    if (length == 0.0).any():
        raise ValueError("wall_to_m must lie apart from wall_from_m")
    normal = np.stack([-along[..., 1], along[..., 0]], axis=-1) / length[..., None]
    before_s = ((s[..., :2] - a) * normal).sum(axis=-1)
    before_r = ((r[..., :2] - a) * normal).sum(axis=-1)
    same_side = before_s * before_r > 0.0
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(same_side, before_s / (before_s + before_r), np.nan)
    image = s[..., :2] - 2.0 * before_s[..., None] * normal
    plan = image + share[..., None] * (r[..., :2] - image)
    height = s[..., 2] + share * (r[..., 2] - s[..., 2])
    place = ((plan - a) * along).sum(axis=-1) / length**2
    exists = (same_side & (place >= 0.0) & (place <= 1.0) & (height >= numbers(base_m, "base_m"))
              & (height <= numbers(top_m, "top_m")))
    total = np.sqrt(((r[..., :2] - image) ** 2).sum(axis=-1) + (r[..., 2] - s[..., 2]) ** 2)
    cosine = (np.abs(before_s) + np.abs(before_r)) / total
    point = np.concatenate([plan, height[..., None]], axis=-1)
    kept = [np.where(exists, one, np.nan) for one in (share * total, (1.0 - share) * total, cosine)]
    return Reflection(np.asarray(exists), result(np.where(exists[..., None], point, np.nan)), *map(result, kept))


def large_enough(source_m: ArrayLike, receptor_m: ArrayLike, cosine: ArrayLike,
                 least_size_m: ArrayLike) -> NDArray[np.bool_]:
    """Return per octave whether a surface is large enough to reflect, equation (19): shape (..., 8).

    source_m, receptor_m: path lengths ds,o and dr,o to source and receptor in m. cosine: of the angle of incidence.
    least_size_m: lmin, the smaller of the surface's length and height in m. They broadcast; NaN gives False. The test
    is 1/lambda > [2 / (lmin cos b)^2] [ds,o dr,o / (ds,o + dr,o)]. Raises ValueError for a length not positive.
    """
    ds, dr = positive(source_m, "source_m"), positive(receptor_m, "receptor_m")
    size = positive(least_size_m, "least_size_m") * numbers(cosine, "cosine")
    with np.errstate(divide="ignore"):
        bound = 2.0 / size**2 * (ds * dr / (ds + dr))
    return np.asarray(bound[..., None] < 1.0 / WAVELENGTH_M)


def image_power_db(sound_power_db: ArrayLike, coefficient: ArrayLike, directivity_db: ArrayLike = 0.0) -> Floats:
    """Return LW,im = LW + 10 lg rho + D of equation (20) in octave bands, dB: shape (..., 8).

    sound_power_db: LW (..., 8). coefficient: rho (...), 0 to 1; at or below 0.2 the surface doesn't count and the image
    is silent (-inf). directivity_db: towards the image of the receptor (...). Raises ValueError for a coefficient
    outside 0 to 1.
    """
    rho = between(coefficient, 0.0, 1.0, "coefficient")
    with np.errstate(divide="ignore"):
        lost = np.where(rho <= LEAST_COEFFICIENT, -np.inf, 10.0 * np.log10(rho))
    added = np.where(np.isnan(rho), np.nan, lost) + numbers(directivity_db, "directivity_db")
    return result(octaves(sound_power_db, "sound_power_db") + added[..., None])
