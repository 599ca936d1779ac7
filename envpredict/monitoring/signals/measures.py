"""What is read from a trace: peaks, dominant frequencies, weighted strength KB, vibration dose."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from envpredict.monitoring.records.columns import AXES
from envpredict.monitoring.signals.trace import Trace
from envpredict.monitoring.signals.weightings import WEIGHTINGS

Floats = NDArray[np.float64]
KB_TIME_S: Final = 0.125
"""Time constant of the running rms of KB_F (DIN 45669-1; memory)."""
TAKT_S: Final = 30.0
"""Length of the clock intervals whose maxima KB_FTi are (DIN 4150-2; read from a maker's page)."""
RMS_S: Final = 1.0


def peaks_mm_s(trace: Trace) -> Floats:
    """Return the peak particle velocity of each axis (3,) in mm/s; NaN where it wasn't measured."""
    return np.asarray(np.abs(trace.velocity_mm_s).max(axis=1))


def resultant_mm_s(trace: Trace) -> float:
    """Return the peak of the vector sum in mm/s; NaN unless all three axes were measured.

    It isn't the vector of the axes' peaks, which needn't fall together.
    """
    return float(np.sqrt((trace.velocity_mm_s**2).sum(axis=0)).max())


def zero_crossing_hz(velocity: ArrayLike, sampling_hz: float) -> float:
    """Return the frequency of the half-cycle that holds the largest peak of a velocity (N,), in Hz.

    Crossings are placed between samples by a straight line. NaN where the peak has no crossing on both sides. Raises
    ValueError for a sampling rate that isn't positive.
    """
    v = np.asarray(velocity, dtype=float)
    if not sampling_hz > 0:
        raise ValueError("sampling_hz must be positive")
    if not np.isfinite(v).all() or not v.any():
        return float("nan")
    top = int(np.argmax(np.abs(v)))
    sign = np.sign(v[top])
    before = np.flatnonzero(v[:top] * sign <= 0.0)
    after = np.flatnonzero(v[top:] * sign <= 0.0)
    if not before.size or not after.size:
        return float("nan")
    left, right = int(before[-1]), top + int(after[0])
    start = left + v[left] / (v[left] - v[left + 1])
    end = right - 1 + v[right - 1] / (v[right - 1] - v[right])
    return float(sampling_hz / (2.0 * (end - start)))


def spectral_hz(velocity: ArrayLike, sampling_hz: float, low_hz: float = 1.0, high_hz: float | None = None) -> float:
    """Return the frequency of the largest spectral line of a velocity (N,) within a band, in Hz.

    The trace is shaped by a Hann window and padded to four times its length; the line is placed between its neighbours
    by a parabola through their logarithms. NaN where nothing moves. Raises ValueError for an empty band.
    """
    v = np.asarray(velocity, dtype=float)
    top = sampling_hz / 2.0 if high_hz is None else high_hz
    if not 0.0 < low_hz < top <= sampling_hz / 2.0:
        raise ValueError("low_hz must be positive and below high_hz, which mustn't exceed half the sampling rate")
    if not np.isfinite(v).all() or not v.any():
        return float("nan")
    size = 4 * len(v)
    lines = np.abs(np.fft.rfft(v * np.hanning(len(v)), size))
    frequency = np.fft.rfftfreq(size, 1.0 / sampling_hz)
    inside = np.flatnonzero((frequency >= low_hz) & (frequency <= top))
    at = int(inside[np.argmax(lines[inside])])
    if at in (0, len(lines) - 1) or not lines[at - 1: at + 2].all():
        return float(frequency[at])
    left, middle, right = np.log(lines[at - 1: at + 2])
    shift = 0.5 * (left - right) / (left - 2.0 * middle + right)
    return float(frequency[at] + shift * frequency[1])


def kb_running(trace: Trace) -> Floats:
    """Return KB_F of each axis over time (3, N): KB-weighted velocity, running rms with 0.125 s; NaN where unmeasured.

    Raises ValueError where the sampling is too slow for the weighting.
    """
    from scipy import signal

    found = np.full(trace.velocity_mm_s.shape, np.nan)
    share = 1.0 - np.exp(-1.0 / (KB_TIME_S * trace.sampling_hz))
    for axis in np.flatnonzero(trace.measured):
        weighted = WEIGHTINGS["kb"].apply(trace.velocity_mm_s[axis], trace.sampling_hz)
        found[axis] = np.sqrt(signal.lfilter([share], [1.0, share - 1.0], weighted**2))
    return found


def kb_fmax(trace: Trace) -> float:
    """Return KB_Fmax: the largest KB_F of the strongest axis."""
    return float(np.nanmax(kb_running(trace)))


def kb_takt(trace: Trace) -> Floats:
    """Return KB_FTi (K,): the largest KB_F of the strongest axis in each whole or begun clock interval of 30 s."""
    strongest = np.nanmax(kb_running(trace), axis=0)
    size = round(TAKT_S * trace.sampling_hz)
    return np.array([strongest[at: at + size].max() for at in range(0, len(strongest), size)])


def weighted_acceleration(trace: Trace, vertical: str = "z", upright: str = "wb", level: str = "wd") -> Floats:
    """Return the weighted acceleration of each axis over time (3, N) in m/s2; NaN where unmeasured.

    `upright` weights the vertical axis, `level` the others (BS 6472-1: Wb and Wd). Raises ValueError where the sampling
    is too slow.
    """
    found = np.full(trace.velocity_mm_s.shape, np.nan)
    for number in np.flatnonzero(trace.measured):
        weighting = WEIGHTINGS[upright if AXES[number] == vertical else level]
        found[number] = weighting.apply(trace.velocity_mm_s[number] / 1000.0, trace.sampling_hz, derive=True)
    return found


def dose(acceleration_m_s2: ArrayLike, sampling_hz: float) -> Floats:
    """Return the vibration dose value of weighted accelerations (..., N): (integral of a^4 dt)^(1/4), in m/s^1.75.

    NaN in, NaN out. Raises ValueError for a sampling rate that isn't positive.
    """
    if not sampling_hz > 0:
        raise ValueError("sampling_hz must be positive")
    a = np.asarray(acceleration_m_s2, dtype=float)
    return np.asarray(((a**4).sum(axis=-1) / sampling_hz) ** 0.25)


def running_rms(trace: Trace, seconds: float = RMS_S) -> Floats:
    """Return the largest rms velocity of any so many seconds, by axis (3,), in mm/s; NaN for a shorter trace."""
    size = round(seconds * trace.sampling_hz)
    total = np.cumsum(np.concatenate([np.zeros((3, 1)), trace.velocity_mm_s**2], axis=1), axis=1)
    if size < 1 or size >= total.shape[1]:
        return np.full(3, np.nan)
    return np.asarray(np.sqrt(np.maximum((total[:, size:] - total[:, :-size]).max(axis=1), 0.0) / size))


def row_of(trace: Trace, vertical: str = "z") -> dict[str, float]:
    """Return what the table `vibration` holds of a trace, by column; NaN where it can't be told.

    The dominant frequency is that of the half-cycle of the peak; where that can't be told, of the largest line.
    """
    peaks = peaks_mm_s(trace)
    rms = running_rms(trace)
    doses = dose(weighted_acceleration(trace, vertical), trace.sampling_hz)
    found: dict[str, float] = {}
    for number, axis in enumerate(AXES):
        velocity = trace.velocity_mm_s[number]
        by_cycle = zero_crossing_hz(velocity, trace.sampling_hz)
        found[f"ppv_{axis}_mm_s"] = float(peaks[number])
        found[f"fdom_{axis}_hz"] = by_cycle if np.isfinite(by_cycle) else spectral_hz(velocity, trace.sampling_hz)
        found[f"rms_{axis}_mm_s"] = float(rms[number])
        found[f"vdv_{axis}_m_s1_75"] = float(doses[number])
    return {**found, "pvs_mm_s": resultant_mm_s(trace), "kb_fmax": kb_fmax(trace)}
