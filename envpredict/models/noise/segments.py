"""When a source is a point, and how a tall one (an exposed pile) is cut into points."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from envpredict.core.citation import Citation
from envpredict.models.arguments import Floats, not_negative, numbers, positive
from envpredict.models.noise.arguments import result
from envpredict.models.noise.iso9613_2_1996.sources import POINT_SOURCE

RULE: Final = POINT_SOURCE
DISTANCE_OVER_SIZE: Final = 2.0
"""A source is a point from where its largest size is at most half the distance."""
LEAST_SEGMENT_M: Final = 1.0
LEAST_SOURCE: Final = Citation("Estimate", None, "a source isn't cut below 1 m: a hammer's own width", "estimate")


def nearest_distance_m(distance_m: ArrayLike, bottom_m: ArrayLike, top_m: ArrayLike,
                       receptor_height_m: ArrayLike) -> Floats:
    """Return the distance from a receptor to the nearest part of an upright source, in m.

    distance_m: plan distance, positive. bottom_m, top_m: lower and upper end of the source, receptor_height_m: the
    receptor; heights in m above one level. All broadcast. Raises ValueError for a distance not positive or a top below
    the bottom.
    """
    bottom, top = numbers(bottom_m, "bottom_m"), numbers(top_m, "top_m")
    if (top < bottom).any():
        raise ValueError("top_m must not be below bottom_m")
    height = numbers(receptor_height_m, "receptor_height_m")
    beside = np.maximum(np.maximum(bottom - height, height - top), 0.0)
    return result(np.hypot(positive(distance_m, "distance_m"), beside))


def segments_needed(span_m: ArrayLike, nearest_m: ArrayLike) -> NDArray[np.int64]:
    """Return into how many equal parts a source is cut so that each is a point at this distance, 1 or more.

    span_m: largest size of the source in m, 0 or more. nearest_m: distance from its nearest part in m, positive. They
    broadcast. No part becomes shorter than 1 m: `is_point` tells where that is still too long.
    Raises ValueError for NaN, since a number of parts can't be unknown.

    >>> [int(n) for n in segments_needed(12.0, [100.0, 24.0, 10.0, 0.5])]
    [1, 1, 3, 12]
    """
    span, nearest = not_negative(span_m, "span_m"), positive(nearest_m, "nearest_m")
    if np.isnan(span).any() or np.isnan(nearest).any():
        raise ValueError("span_m and nearest_m must not be NaN")
    wanted = np.ceil(DISTANCE_OVER_SIZE * span / nearest)
    most = np.maximum(np.floor(span / LEAST_SEGMENT_M), 1.0)
    return np.asarray(np.clip(wanted, 1.0, most), dtype=np.int64)


def is_point(size_m: ArrayLike, nearest_m: ArrayLike) -> NDArray[np.bool_]:
    """Return whether a source of this size is a point at this distance; False means out of range, and for NaN."""
    return np.asarray(DISTANCE_OVER_SIZE * not_negative(size_m, "size_m") <= positive(nearest_m, "nearest_m"))


def segment_heights_m(bottom_m: float, top_m: float, count: int) -> Floats:
    """Return the heights in m of the middles of `count` equal parts, from the lowest: shape (count,).

    Each part carries 10 lg(count) dB less than the whole. Raises ValueError for a top below the bottom or no part.

    >>> segment_heights_m(0.0, 12.0, 3).tolist()
    [2.0, 6.0, 10.0]
    """
    if count < 1:
        raise ValueError(f"count must be 1 or more, not {count}")
    if top_m < bottom_m:
        raise ValueError("top_m must not be below bottom_m")
    part = (top_m - bottom_m) / count
    return result(bottom_m + part * (np.arange(count) + 0.5))
