"""Octave bands, the frequency weightings A and C, and sums of levels on energy."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from envpredict.core.citation import Citation
from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, not_negative, numbers, positive
from envpredict.models.noise.arguments import octaves, result
from envpredict.models.spec import model

NOMINAL_HZ: Final[Floats] = np.array([63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0])
"""The bands' names, and the frequencies that ISO 9613-2 puts into the wavelength."""
MIDBAND_HZ: Final[Floats] = np.array([1000.0 * 10.0 ** (0.3 * step) for step in range(-4, 4)])
"""The exact midband frequencies, base ten: 63.096 to 7943.3 Hz."""

A_WEIGHTING_DB: Final[Floats] = np.array([-26.2, -16.1, -8.6, -3.2, 0.0, 1.2, 1.0, -1.1])
C_WEIGHTING_DB: Final[Floats] = np.array([-0.8, -0.2, 0.0, 0.0, 0.0, -0.2, -0.8, -3.0])
for _constant in (NOMINAL_HZ, MIDBAND_HZ, A_WEIGHTING_DB, C_WEIGHTING_DB):
    _constant.flags.writeable = False

TABLE_SOURCE: Final = Citation("IEC 61672-1", 2013, "table of the weightings at nominal frequencies", "read",
                               via="the reference data of the Python library pyfar 0.8")
POLES_SOURCE: Final = Citation("IEC 61672-1", 2013, "analytical expressions of the weightings", "memory",
                               note="they give the printed table to its last digit")

_POLES_HZ = (20.598997, 107.65265, 737.86223, 12194.217)
_AUDIBLE = {"frequency_hz": Range(10.0, 20000.0, "IEC 61672-1, frequencies of the table")}


def _c_curve(frequency_hz: Floats) -> Floats:
    f = frequency_hz**2
    f1, _, _, f4 = (pole**2 for pole in _POLES_HZ)
    return result(f4 * f / ((f + f1) * (f + f4)))


def _a_curve(frequency_hz: Floats) -> Floats:
    f = frequency_hz**2
    _, f2, f3, _ = (pole**2 for pole in _POLES_HZ)
    return result(_c_curve(frequency_hz) * f / np.sqrt((f + f2) * (f + f3)))


_A_1000, _C_1000 = (20.0 * np.log10(curve(np.asarray(1000.0))) for curve in (_a_curve, _c_curve))


@model("a_weighting", title="Frequency weighting A", quantity="level_correction_db", statistic="deterministic",
       position="free_field", distance="none", validity=_AUDIBLE, source=POLES_SOURCE)
def a_weighting(frequency_hz: ArrayLike) -> Floats:
    """Return the frequency weighting A in dB at any frequency; for octave levels use the table `A_WEIGHTING_DB`.

    frequency_hz: Hz, 10 to 20 000, any shape; the result has the same shape.
    Raises ValueError for a frequency that isn't positive.

    >>> round(float(a_weighting(125.89)), 1)
    -16.1
    """
    return result(20.0 * np.log10(_a_curve(positive(frequency_hz, "frequency_hz"))) - _A_1000)


@model("c_weighting", title="Frequency weighting C", quantity="level_correction_db", statistic="deterministic",
       position="free_field", distance="none", validity=_AUDIBLE, source=POLES_SOURCE)
def c_weighting(frequency_hz: ArrayLike) -> Floats:
    """Return the frequency weighting C in dB at any frequency; arguments and errors as in `a_weighting`.

    >>> round(float(c_weighting(7943.3)), 1)
    -3.0
    """
    return result(20.0 * np.log10(_c_curve(positive(frequency_hz, "frequency_hz"))) - _C_1000)


def energy_sum(levels_db: ArrayLike, *, axis: int = -1) -> Floats:
    """Return the level of several incoherent sounds at once: 10 lg(sum 10^(L/10)) along one axis.

    levels_db: dB, any shape; silence is -inf and stays so, NaN passes. The result lacks the summed axis.

    >>> round(float(energy_sum([60.0, 60.0])), 2)
    63.01
    """
    with np.errstate(divide="ignore"):
        return result(10.0 * np.log10(np.sum(10.0 ** (numbers(levels_db, "levels_db") / 10.0), axis=axis)))


def energy_mean(levels_db: ArrayLike, durations_s: ArrayLike = 1.0, *, axis: int = -1) -> Floats:
    """Return the equivalent continuous level of intervals: 10 lg(sum(d 10^(L/10)) / sum(d)) along one axis.

    levels_db: level of each interval in dB, -inf where silent. durations_s: length of each interval in s, broadcast
    against the levels; an interval of length 0 counts for nothing. The result lacks the axis of the intervals.
    Raises ValueError for a negative duration, or where all durations of a mean are zero.

    >>> round(float(energy_mean([70.0, 60.0], [1800.0, 1800.0])), 2)
    67.4
    """
    levels, durations = np.broadcast_arrays(numbers(levels_db, "levels_db"), not_negative(durations_s, "durations_s"))
    total = np.sum(durations, axis=axis)
    if np.any(total == 0.0):
        raise ValueError("durations_s must not all be 0")
    energy = np.where(durations == 0.0, 0.0, durations * 10.0 ** (levels / 10.0))
    with np.errstate(divide="ignore"):
        return result(10.0 * np.log10(np.sum(energy, axis=axis) / total))


def a_weighted_level(octaves_db: ArrayLike) -> Floats:
    """Return the A-weighted level of unweighted octave levels (..., 8), in dB: shape (...).

    Raises ValueError unless the last axis holds the eight octaves 63 Hz to 8 kHz.

    >>> round(float(a_weighted_level([75, 84, 78, 74, 70, 68, 64, 61])), 1)
    76.9
    """
    return energy_sum(octaves(octaves_db, "octaves_db") + A_WEIGHTING_DB)


def c_weighted_level(octaves_db: ArrayLike) -> Floats:
    """Return the C-weighted level of unweighted octave levels (..., 8), in dB: shape (...)."""
    return energy_sum(octaves(octaves_db, "octaves_db") + C_WEIGHTING_DB)
