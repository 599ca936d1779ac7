"""ISO 9613-2 clause 7.3: what the ground adds to or takes from the sound."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, not_negative, numbers, positive
from envpredict.models.noise.arguments import BANDS, between, result
from envpredict.models.noise.iso9613_2_1996 import kernels
from envpredict.models.noise.iso9613_2_1996.sources import ALTERNATIVE_GROUND, CLARIFIED, GROUND
from envpredict.models.spec import DerivedRange, model

POROSITY_RANGE = Range(0.0, 1.0, "7.3.1: 0 hard, 1 porous")
DISTANCE_RANGE = Range(high=1000.0, place="Table 5: no accuracy is stated beyond")


def _mean_height(source_height_m: ArrayLike, receptor_height_m: ArrayLike) -> Floats:
    return result(0.5 * (numbers(source_height_m, "source_height_m") + numbers(receptor_height_m, "receptor_height_m")))


MEAN_HEIGHT = DerivedRange("mean height of source and receptor above ground in m",
                           ("source_height_m", "receptor_height_m"), _mean_height,
                           Range(0.0, 30.0, "Table 5 (recalled): no accuracy is stated above"))
HEIGHT_RANGE = Range(low=0.0, place="7.3.1: above the ground; Table 5 limits the mean of both")
HEIGHT_RANGES = {"source_height_m": HEIGHT_RANGE, "receptor_height_m": HEIGHT_RANGE}
GROUND_RANGES = {"distance_m": DISTANCE_RANGE, **HEIGHT_RANGES, "source_porosity": POROSITY_RANGE,
                 "receptor_porosity": POROSITY_RANGE, "middle_porosity": POROSITY_RANGE}


def checked(distance_m: ArrayLike, source_height_m: ArrayLike, receptor_height_m: ArrayLike,
            source_porosity: ArrayLike, receptor_porosity: ArrayLike, middle_porosity: ArrayLike) -> kernels.Path:
    """Return the six arguments of a path over ground as floats; ValueError names the one that can't be."""
    return (positive(distance_m, "distance_m"), not_negative(source_height_m, "source_height_m"),
            not_negative(receptor_height_m, "receptor_height_m"),
            between(source_porosity, 0.0, 1.0, "source_porosity"),
            between(receptor_porosity, 0.0, 1.0, "receptor_porosity"),
            between(middle_porosity, 0.0, 1.0, "middle_porosity"))


def flat(array: Floats, shape: tuple[int, ...], bands: tuple[int, ...] = ()) -> tuple[Floats, int]:
    """Return an array as the kernels take it: flattened to `shape` (its `bands` axis kept), and its step.

    The step is 0 where a single value serves all. Copies only what must be broadcast, reordered or is read-only: the
    compiled code is made for one kind of array.
    """
    if array.shape[: array.ndim - len(bands)] == (1,) * (array.ndim - len(bands)):
        return np.require(array.reshape(1, *bands), requirements=["C", "W"]), 0
    full = array if array.shape == shape + bands else np.broadcast_to(array, shape + bands)
    return np.require(full, requirements=["C", "W"]).reshape(-1, *bands), 1


def flat_path(path: kernels.Path, shape: tuple[int, ...]) -> tuple[kernels.Path, kernels.Steps]:
    """Return the six arguments as the kernels take them, and their steps."""
    (d, d0), (s, s0), (r, r0), (gs, gs0), (gr, gr0), (gm, gm0) = (flat(array, shape) for array in path)
    return (d, s, r, gs, gr, gm), (d0, s0, r0, gs0, gr0, gm0)


@model("iso9613_ground_parts", title="Ground effect by region (general method)", quantity="attenuation_db",
       statistic="deterministic", position="free_field", distance="plan", validity=GROUND_RANGES,
       derived=(MEAN_HEIGHT,), source=GROUND, sources=(CLARIFIED,), falls_with_distance=False)
def ground_parts_db(distance_m: ArrayLike, source_height_m: ArrayLike, receptor_height_m: ArrayLike, *,
                    source_porosity: ArrayLike, receptor_porosity: ArrayLike, middle_porosity: ArrayLike) -> Floats:
    """Return As, Ar and Am of Table 3 in dB: shape (..., 3, 8), regions in the order source, receptor, middle.

    Arguments and errors as in `ground_effect_db`, which is their sum.

    >>> parts = ground_parts_db(400.0, 1.0, 4.0, source_porosity=0.0, receptor_porosity=1.0, middle_porosity=0.0)
    >>> [round(float(part), 3) for part in parts[:, 7]]
    [-1.5, -0.0, -1.875]
    """
    path = checked(distance_m, source_height_m, receptor_height_m, source_porosity, receptor_porosity, middle_porosity)
    shape = np.broadcast_shapes(*(array.shape for array in path))
    out = np.empty((int(np.prod(shape)), 3, BANDS))
    kernels.ground_pairs(*flat_path(path, shape), out)
    return out.reshape(*shape, 3, BANDS)


@model("iso9613_ground_effect", title="Ground effect (general method)", quantity="attenuation_db",
       statistic="deterministic", position="free_field", distance="plan", validity=GROUND_RANGES,
       derived=(MEAN_HEIGHT,), source=GROUND, sources=(CLARIFIED,), falls_with_distance=False)
def ground_effect_db(distance_m: ArrayLike, source_height_m: ArrayLike, receptor_height_m: ArrayLike, *,
                     source_porosity: ArrayLike, receptor_porosity: ArrayLike, middle_porosity: ArrayLike) -> Floats:
    """Return the ground effect Agr = As + Ar + Am of ISO 9613-2 7.3.1 in octave bands, dB: shape (..., 8).

    distance_m: plan distance dp in m, positive. source_height_m, receptor_height_m: heights hs, hr above ground in m,
    0 or more. The porosities G are 0 (hard: paving, water, compacted ground) to 1 (porous: grass, farmland), each the
    length-weighted mean of its region: 30 hs from the source, 30 hr from the receptor, the rest. All broadcast.
    Negative values mean that the ground raises the level. Raises ValueError that names the argument.

    >>> agr = ground_effect_db(100.0, 3.0, 4.0, source_porosity=0.5, receptor_porosity=0.5, middle_porosity=0.5)
    >>> [round(float(a), 2) for a in agr]
    [-3.0, 0.51, 1.03, -1.4, -1.5, -1.5, -1.5, -1.5]
    """
    parts = ground_parts_db(distance_m, source_height_m, receptor_height_m, source_porosity=source_porosity,
                            receptor_porosity=receptor_porosity, middle_porosity=middle_porosity)
    return result(parts[..., 0, :] + parts[..., 1, :] + parts[..., 2, :])


@model("iso9613_alternative_ground", title="Ground effect on the A-weighted level (alternative method)",
       quantity="attenuation_db", statistic="deterministic", position="free_field", distance="slope",
       validity={"distance_m": DISTANCE_RANGE, "mean_path_height_m": Range.unstated()}, source=ALTERNATIVE_GROUND,
       falls_with_distance=False)
def alternative_ground_db(distance_m: ArrayLike, mean_path_height_m: ArrayLike) -> Floats:
    """Return the ground effect of ISO 9613-2 7.3.2, equation (10): one number for the A-weighted level, dB, 0 or more.

    Only over porous or mostly porous ground and for sound without tones, together with `ground_reflection_index_db`.
    distance_m: slope distance d in m. mean_path_height_m: mean height hm of the sight line above the ground in m, the
    area between them over d. They broadcast. Raises ValueError that names the argument.

    >>> round(float(alternative_ground_db(100.0, 3.5)), 2)
    3.4
    """
    d = positive(distance_m, "distance_m")
    height = not_negative(mean_path_height_m, "mean_path_height_m")
    return result(np.maximum(4.8 - (2.0 * height / d) * (17.0 + 300.0 / d), 0.0))


@model("iso9613_ground_reflection_index", title="Solid-angle index for reflection from the ground near the source",
       quantity="level_correction_db", statistic="deterministic", position="free_field", distance="plan",
       validity={"distance_m": DISTANCE_RANGE, **HEIGHT_RANGES}, derived=(MEAN_HEIGHT,), source=ALTERNATIVE_GROUND,
       falls_with_distance=False)
def ground_reflection_index_db(distance_m: ArrayLike, source_height_m: ArrayLike,
                               receptor_height_m: ArrayLike) -> Floats:
    """Return D_Omega of equation (11) in dB, 0 to 3: added to the source's level with the alternative method alone.

    distance_m: plan distance dp in m. The heights are above ground, in m. All broadcast. Raises ValueError that names
    the argument.

    >>> round(float(ground_reflection_index_db(100.0, 3.0, 4.0)), 2)
    3.0
    """
    square = positive(distance_m, "distance_m") ** 2
    hs = not_negative(source_height_m, "source_height_m")
    hr = not_negative(receptor_height_m, "receptor_height_m")
    return result(10.0 * np.log10(1.0 + (square + (hs - hr) ** 2) / (square + (hs + hr) ** 2)))
