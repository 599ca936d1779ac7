"""From the incident level to the facade's and into the room."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from envpredict.core.citation import Citation
from envpredict.models.arguments import Floats, choose, not_negative, numbers, positive
from envpredict.models.noise.arguments import result

FACADE: Final = Citation("BS 5228-1:2009+A1:2014", 2009, "+3 dB at 1 m before a facade", "read",
                         via="the Hong Kong technical memorandum on noise from percussive piling")
ON_FACADE: Final = Citation("ISO 1996-2", 2017, "+6 dB for a microphone flush with the facade", "memory")
WINDOWS: Final = Citation("Locher et al., Int. J. Environ. Res. Public Health 15(1) 149", 2018,
                          "abstract: medians of 102 dwellings, road traffic", "read")
BAND_MODEL: Final = Citation("EN 12354-3", 2017, "formula (13)", "read",
                             via="the documentation of a library that implements it")

POSITION_DB: Final = MappingProxyType({"free_field": 0.0, "facade": 3.0, "on_facade": 6.0})
"""What the own facade adds to the incident level: away from it, 1 m before it, flush with it."""
WINDOW_DB: Final = MappingProxyType({"open": 10.0, "tilted": 16.0, "closed": 28.0})
"""Outside less inside in dB(A) by how the window stands; single dwellings differ by several dB."""
REFERENCE_TIME_S: Final = 0.5


def at_position_db(level_db: ArrayLike, taken: ArrayLike, wanted: ArrayLike) -> Floats:
    """Return a level as it is at another position before the same facade, in dB.

    level_db: dB, any shape. taken, wanted: `free_field` (incident), `facade` (1 m before it, +3 dB) or `on_facade`
    (flush, +6 dB); words or arrays of them. Raises ValueError for another word.

    >>> float(at_position_db(60.0, "free_field", "facade"))
    63.0
    """
    return result(numbers(level_db, "level_db") + choose(wanted, POSITION_DB, "wanted")
                  - choose(taken, POSITION_DB, "taken"))


def indoor_db(level_db: ArrayLike, window: ArrayLike) -> Floats:
    """Return the A-weighted level inside in dB: the level outside less a measured median difference.

    level_db: level outside in dB(A). The study's abstract doesn't say whether the facade's reflection is in it: the
    level with it gives the louder answer. window: `open`, `tilted` or `closed`, a word or an array. Low frequencies
    pass a closed window by 10 dB more than this, which was found for road traffic. Raises ValueError for another word.

    >>> float(indoor_db(60.0, "tilted"))
    44.0
    """
    return result(numbers(level_db, "level_db") - choose(window, WINDOW_DB, "window"))


def composite_reduction_db(reductions_db: ArrayLike, areas_m2: ArrayLike, *, axis: int = -1) -> Floats:
    """Return R' of a facade of several elements: -10 lg(sum (S_i / S) 10^(-R_i/10)), in dB, along one axis.

    reductions_db: sound reduction index of each element in dB. areas_m2: its area in m2, 0 or more; they broadcast.
    Raises ValueError where all areas are 0 or one is negative.
    """
    r, s = np.broadcast_arrays(numbers(reductions_db, "reductions_db"), not_negative(areas_m2, "areas_m2"))
    total = s.sum(axis=axis)
    if (total == 0.0).any():
        raise ValueError("areas_m2 must not all be 0")
    return result(-10.0 * np.log10((s * 10.0 ** (-r / 10.0)).sum(axis=axis) / total))


def standardised_difference_db(reduction_db: ArrayLike, volume_m3: ArrayLike, area_m2: ArrayLike, *,
                               shape_db: ArrayLike = 0.0) -> Floats:
    """Return D2m,nT = R' + dL_fs + 10 lg(V / (6 T0 S)) in dB, T0 = 0.5 s.

    reduction_db: R' of the facade in dB. volume_m3: V of the room. area_m2: S of the facade seen from the room.
    shape_db: dL_fs, effect of the facade's shape, in dB. They broadcast. Raises ValueError for a volume or area not
    positive. Source: `BAND_MODEL`.

    >>> round(float(standardised_difference_db(30.0, 30.0, 10.0)), 2)
    30.0
    """
    room = positive(volume_m3, "volume_m3") / (6.0 * REFERENCE_TIME_S * positive(area_m2, "area_m2"))
    return result(numbers(reduction_db, "reduction_db") + numbers(shape_db, "shape_db") + 10.0 * np.log10(room))
