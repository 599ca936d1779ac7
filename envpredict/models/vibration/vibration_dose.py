"""Vibration dose values from peak particle velocity: steady vibration and series of blows.

A dose estimated from root mean square values holds only for crest factors below 6 and is never used for hammer blows:
they have their own equation, the fourth-power integral of damped sines.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from envpredict.core.citation import Citation
from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, choose, not_negative, positive
from envpredict.models.spec import model
from envpredict.models.vibration.people_measures import SINE_CREST_FACTOR

BS_6472: Final = Citation("BS 6472-1", 2008, "estimated dose 1.4 a t^0.25 for crest factors below 6", "read",
                          via="an online acoustics glossary")
BS_6841: Final = Citation("BS 6841", 1987, "asymptotes of the weightings W_b and W_d", "memory")
BLOWS: Final = Citation("our judgement", None, "each blow taken as a damped sine, whose fourth-power integral is "
                        "3 A^4 / (32 zeta omega) for small damping", "estimate")

ESTIMATED_DOSE_FACTOR: Final = 1.4
SINE_DOSE_FACTOR: Final = 1.5**0.25
"""What an exact integral gives for a pure sine: 1.107; the estimate's 1.4 is 26 % higher."""
CREST_FACTOR_LIMIT: Final = 6.0
DIRECTIONS: Final = {"vertical": 0.0, "horizontal": 1.0}
FREQUENCY: Final = Range(0.5, 80.0, "weightings defined for 0.5 to 80 Hz")
FREE: Final = Range.unstated("no range stated")


def weighting_b(frequency_hz: ArrayLike) -> Floats:
    """Return the asymptotes of W_b (vertical): 0.4 to 2 Hz, f / 5 to 5 Hz, 1 to 16 Hz, 16 / f above; f in Hz."""
    f = positive(frequency_hz, "frequency_hz")
    return np.minimum(np.maximum(0.4, np.minimum(f / 5.0, 1.0)), 16.0 / f)


def weighting_d(frequency_hz: ArrayLike) -> Floats:
    """Return the asymptotes of W_d (horizontal): 1 to 2 Hz, 2 / f above; f in Hz."""
    return np.minimum(1.0, 2.0 / positive(frequency_hz, "frequency_hz"))


def weighted_peak_acceleration(frequency_hz: ArrayLike, direction: ArrayLike) -> Floats:
    """Return the weighted peak acceleration in m/s2 of a sine with a PPV of 1 mm/s; f in Hz; arrays broadcast."""
    f = positive(frequency_hz, "frequency_hz")
    horizontal = choose(direction, DIRECTIONS, "direction")
    return 2.0 * np.pi * f * 1e-3 * np.where(horizontal > 0.0, weighting_d(f), weighting_b(f))


def _steady_factor(frequency_hz: ArrayLike, duration_s: ArrayLike, crest_factor: ArrayLike, coefficient: ArrayLike,
                   direction: ArrayLike) -> Floats:
    crest = positive(crest_factor, "crest_factor")
    if (crest >= CREST_FACTOR_LIMIT).any():
        raise ValueError(f"crest_factor must be below {CREST_FACTOR_LIMIT:g} for a dose estimated from rms values, "
                         f"not {np.nanmax(crest):g}: hammer blows have their own equation")
    rms = weighted_peak_acceleration(frequency_hz, direction) / crest
    return positive(coefficient, "coefficient") * rms * positive(duration_s, "duration_s") ** 0.25


def _blows_factor(frequency_hz: ArrayLike, count: ArrayLike, damping_ratio: ArrayLike, direction: ArrayLike) -> Floats:
    decay = positive(damping_ratio, "damping_ratio") * 2.0 * np.pi * positive(frequency_hz, "frequency_hz")
    shape = (3.0 * not_negative(count, "count") / (32.0 * decay)) ** 0.25
    return weighted_peak_acceleration(frequency_hz, direction) * shape


STEADY_VALIDITY: Final = {
    "frequency_hz": FREQUENCY, "duration_s": FREE,
    "crest_factor": Range(1.0, 6.0, "estimate only for crest factors below 6"),
    "coefficient": Range(1.1, 1.4, "1.107 for a pure sine, 1.4 in the standard"),
}
BLOWS_VALIDITY: Final = {
    "frequency_hz": FREQUENCY, "count": FREE, "damping_ratio": Range(0.005, 0.2, "small damping; each blow dies away"),
}
DIRECTION_WORDS: Final = {"direction": tuple(DIRECTIONS)}


@model(
    "vdv_steady_from_ppv",
    title="Vibration dose of steady vibration, estimated from peak particle velocity", position="floor",
    quantity="vdv", statistic="deterministic", distance="none", validity={"ppv_mm_s": FREE, **STEADY_VALIDITY},
    source=BS_6472, sources=(BS_6841,), options=DIRECTION_WORDS,
)
def vdv_steady_from_ppv(ppv_mm_s: ArrayLike, frequency_hz: ArrayLike, duration_s: ArrayLike, *,
                        crest_factor: ArrayLike = SINE_CREST_FACTOR, coefficient: ArrayLike = ESTIMATED_DOSE_FACTOR,
                        direction: ArrayLike = "vertical") -> Floats:
    """Return the estimated dose in m/s^1.75: 1.4 a_w,rms t^0.25 with a_w,rms = W(f) 2 pi f PPV / crest factor.

    ppv_mm_s: mm/s at the point of entry to the body; frequency_hz: f, 0.5 to 80 Hz; duration_s: t, time at work in
    the period, s; crest_factor: below 6; coefficient: 1.4 (26 % high for a pure sine); direction: vertical (W_b) or
    horizontal (W_d). Arrays broadcast. Raises ValueError for arguments that aren't positive, a crest factor of 6 or
    more and an unknown word. Source: BS 6472-1:2008; weightings BS 6841 (from memory: verify).

    >>> round(float(vdv_steady_from_ppv(1.0, 30.0, 1800.0)), 2)
    0.65
    """
    factor = _steady_factor(frequency_hz, duration_s, crest_factor, coefficient, direction)
    return positive(ppv_mm_s, "ppv_mm_s") * factor


@model(
    "ppv_from_vdv_steady",
    title="Peak particle velocity from the vibration dose of steady vibration", position="floor",
    quantity="ppv_component", statistic="deterministic", distance="none",
    validity={"vdv_m_s175": FREE, **STEADY_VALIDITY}, source=BS_6472, sources=(BS_6841,), options=DIRECTION_WORDS,
)
def ppv_from_vdv_steady(vdv_m_s175: ArrayLike, frequency_hz: ArrayLike, duration_s: ArrayLike, *,
                        crest_factor: ArrayLike = SINE_CREST_FACTOR, coefficient: ArrayLike = ESTIMATED_DOSE_FACTOR,
                        direction: ArrayLike = "vertical") -> Floats:
    """Return the PPV in mm/s of a dose in m/s^1.75. The inverse of `vdv_steady_from_ppv`, with the same arguments.

    Arrays broadcast. Raises ValueError as there. Source: BS 6472-1:2008; weightings BS 6841 (from memory: verify).

    >>> round(float(ppv_from_vdv_steady(0.648, 30.0, 1800.0)), 2)
    1.0
    """
    factor = _steady_factor(frequency_hz, duration_s, crest_factor, coefficient, direction)
    return positive(vdv_m_s175, "vdv_m_s175") / factor


@model(
    "vdv_blows_from_ppv",
    title="Vibration dose of a series of blows from peak particle velocity", position="floor",
    quantity="vdv", statistic="deterministic", distance="none", validity={"ppv_mm_s": FREE, **BLOWS_VALIDITY},
    source=BLOWS, sources=(BS_6841,), options=DIRECTION_WORDS,
)
def vdv_blows_from_ppv(ppv_mm_s: ArrayLike, frequency_hz: ArrayLike, count: ArrayLike, *,
                       damping_ratio: ArrayLike = 0.05, direction: ArrayLike = "vertical") -> Floats:
    """Return the dose in m/s^1.75 of equal blows, each a damped sine: A_w (3 N / (32 zeta omega))^0.25.

    ppv_mm_s: mm/s at the point of entry to the body; frequency_hz: f of the ringing, 0.5 to 80 Hz; count: number N of
    blows in the period; damping_ratio: zeta, small (what is neglected is 1.2 % at 0.1); direction: vertical (W_b) or
    horizontal (W_d). A_w = W(f) omega PPV. Arrays broadcast. Raises ValueError for arguments that aren't positive
    (count: negative) and an unknown word. Source: integral of the damped sine; weightings BS 6841 (from memory:
    verify).

    >>> round(float(vdv_blows_from_ppv(1.0, 15.0, 1000.0)), 3)
    0.199
    """
    return positive(ppv_mm_s, "ppv_mm_s") * _blows_factor(frequency_hz, count, damping_ratio, direction)


@model(
    "ppv_from_vdv_blows",
    title="Peak particle velocity from the vibration dose of a series of blows", position="floor",
    quantity="ppv_component", statistic="deterministic", distance="none",
    validity={"vdv_m_s175": FREE, **BLOWS_VALIDITY}, source=BLOWS, sources=(BS_6841,), options=DIRECTION_WORDS,
)
def ppv_from_vdv_blows(vdv_m_s175: ArrayLike, frequency_hz: ArrayLike, count: ArrayLike, *,
                       damping_ratio: ArrayLike = 0.05, direction: ArrayLike = "vertical") -> Floats:
    """Return the PPV in mm/s of a dose in m/s^1.75. The inverse of `vdv_blows_from_ppv`; count must be positive here.

    Arrays broadcast. Raises ValueError as there. Source: integral of the damped sine; weightings BS 6841 (from memory:
    verify).

    >>> round(float(ppv_from_vdv_blows(0.1989, 15.0, 1000.0)), 2)
    1.0
    """
    positive(count, "count")
    return positive(vdv_m_s175, "vdv_m_s175") / _blows_factor(frequency_hz, count, damping_ratio, direction)


def vdv_total(doses: ArrayLike, axis: int = -1) -> Floats:
    """Return the dose of several doses together, m/s^1.75: the fourth root of the sum of fourth powers along `axis`.

    >>> round(float(vdv_total([0.2, 0.2])), 3)
    0.238
    """
    return np.asarray(np.sum(not_negative(doses, "doses") ** 4, axis=axis) ** 0.25)[()]
