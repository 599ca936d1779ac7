"""Blows: from the exposure of one to means and maxima, and what rules add for impulses and tones."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from envpredict.core.citation import Citation
from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, choose, not_negative, numbers, positive
from envpredict.models.noise.arguments import result
from envpredict.models.noise.weighting import energy_mean, energy_sum
from envpredict.models.spec import model

EXPOSURE: Final = Citation("ISO 1996-1", 2016, "sound exposure level and equivalent continuous level", "memory",
                           note="follows from the definitions")
FAST: Final = Citation("IEC 61672-1", 2013, "time weighting F: exponential mean with 125 ms", "memory",
                       note="the maximum of a decaying blow is derived from it here")
SLOW: Final = Citation("IEC 61672-1", 2013, "time weighting S: exponential mean with 1 s", "memory",
                       note="the peak of a train of short blows is derived from it here")
ADJUSTMENTS: Final = Citation("ISO 1996-1", 2016, "Table A.1", "read", via="a public text that quotes the table")
PILE_DRIVING: Final = Citation("ISO 1996-1", 2016, "pile driving named among highly impulsive sources", "memory")
GRADED: Final = Citation("NT ACOU 112; ISO/PAS 1996-3", 2022, "prominence and graded adjustment", "read",
                         via="the documentation of a library that implements them")

FAST_S: Final = 0.125
SLOW_S: Final = 1.0
IMPULSE_DB: Final = MappingProxyType({"none": 0.0, "regular": 5.0, "highly": 12.0})
"""Adjustment by character: not impulsive, regular impulsive, highly impulsive (`ADJUSTMENTS`, `PILE_DRIVING`)."""
TONE_DB: Final = MappingProxyType({"none": 0.0, "audible": 3.0, "prominent": 6.0})
"""Adjustment for tones; the document gives +3 to +6 dB, the words for its two ends are ours (`ADJUSTMENTS`)."""
_E_60_DB: Final = 6.0 * np.log(10.0)


@model("sel_blows", title="Mean level from the exposure of one blow", quantity="laeq_db", statistic="deterministic",
       position="free_field", distance="none", source=EXPOSURE,
       validity=dict.fromkeys(("sel_db", "count", "period_s"), Range.unstated()))
def laeq_from_sel(sel_db: ArrayLike, count: ArrayLike, period_s: ArrayLike) -> Floats:
    """Return LAeq,T = SEL + 10 lg(N / T) in dB of N equal events within a period.

    sel_db: exposure level of one event in dB. count: N, 0 or more (0 gives -inf). period_s: T in s. They broadcast.
    Raises ValueError that names the argument.

    >>> round(float(laeq_from_sel(95.0, 1200.0, 3600.0)), 1)
    90.2
    """
    with np.errstate(divide="ignore"):
        return result(numbers(sel_db, "sel_db")
                      + 10.0 * np.log10(not_negative(count, "count") / positive(period_s, "period_s")))


def laeq_from_sels(sels_db: ArrayLike, period_s: ArrayLike, *, axis: int = -1) -> Floats:
    """Return LAeq,T = 10 lg(sum 10^(SEL/10) / T) in dB of unequal events along one axis; period_s: T in s."""
    return result(energy_sum(sels_db, axis=axis) - 10.0 * np.log10(positive(period_s, "period_s")))


def sel_of_drive(sel_db: ArrayLike, count: ArrayLike) -> Floats:
    """Return the exposure level of N equal blows: SEL + 10 lg N, in dB. Raises ValueError for a negative number."""
    return laeq_from_sel(sel_db, count, 1.0)


def sel_from_laeq(level_db: ArrayLike, blow_rate_per_min: ArrayLike) -> Floats:
    """Return the exposure level of one blow in dB from the mean level while driving at a steady rate.

    level_db: LAeq while driving. blow_rate_per_min: blows per minute, positive. They broadcast. Raises ValueError that
    names the argument.

    >>> round(float(sel_from_laeq(87.0, 40.0)), 1)
    88.8
    """
    rate = positive(blow_rate_per_min, "blow_rate_per_min")
    return result(numbers(level_db, "level_db") - 10.0 * np.log10(rate / 60.0))


def maximum_less_sel_db(decay_s: ArrayLike = 0.0) -> Floats:
    """Return LAFmax - SEL in dB of one blow whose sound decays exponentially; 9.0 at most, for a blow without decay.

    decay_s: time in which the sound falls by 60 dB, in s, 0 or more, any shape. The weighting F, an exponential mean
    with 125 ms, of a squared pressure that falls as exp(-t/tau) peaks at r^(r/(1-r)) / 125 ms of its exposure, with
    r = tau / 125 ms and tau = decay / (6 ln 10). Raises ValueError for a negative time.

    >>> [round(float(m), 1) for m in maximum_less_sel_db([0.0, 0.2, 0.5])]
    [9.0, 7.8, 6.8]
    """
    r = not_negative(decay_s, "decay_s") / _E_60_DB / FAST_S
    away = np.where(np.abs(r - 1.0) < 1e-6, 1.0 + 1e-6, r)
    with np.errstate(divide="ignore", invalid="ignore"):
        log_peak = np.where(away == 0.0, 0.0, away / (1.0 - away) * np.log(away))
    return result(10.0 * log_peak / np.log(10.0) - 10.0 * np.log10(FAST_S))


@model("sel_maximum", title="Maximum level, fast, from the exposure of one blow", quantity="lafmax_db",
       statistic="deterministic", position="free_field", distance="none", source=FAST,
       validity=dict.fromkeys(("sel_db", "decay_s"), Range.unstated()))
def lafmax_from_sel(sel_db: ArrayLike, *, decay_s: ArrayLike = 0.0) -> Floats:
    """Return LAFmax in dB of one blow; arguments as in `maximum_less_sel_db`. Without decay it is an upper bound.

    >>> round(float(lafmax_from_sel(90.0)), 1)
    99.0
    """
    return result(numbers(sel_db, "sel_db") + maximum_less_sel_db(decay_s))


def maximum_less_mean_db(blow_rate_per_min: ArrayLike, *, decay_s: ArrayLike = 0.0) -> Floats:
    """Return LAFmax - LAeq in dB while driving at a steady rate; a pause in the period adds to it.

    >>> [round(float(m), 1) for m in maximum_less_mean_db([20.0, 40.0, 60.0])]
    [13.8, 10.8, 9.0]
    """
    rate = positive(blow_rate_per_min, "blow_rate_per_min")
    return result(maximum_less_sel_db(decay_s) - 10.0 * np.log10(rate / 60.0))


def slow_maximum_less_mean_db(blow_rate_per_min: ArrayLike) -> Floats:
    """Return LASmax - LAeq in dB while driving at a steady rate, for blows much shorter than a second.

    blow_rate_per_min: blows per minute, positive, any shape. The weighting S is an exponential mean with 1 s: after
    many blows, T apart, its peak lies at (T / 1 s) / (1 - exp(-T / 1 s)) of the mean. Raises ValueError that names the
    argument. Source: `SLOW`.

    >>> [round(float(m), 1) for m in slow_maximum_less_mean_db([20.0, 40.0, 60.0])]
    [5.0, 2.9, 2.0]
    """
    apart = 60.0 / positive(blow_rate_per_min, "blow_rate_per_min") / SLOW_S
    return result(10.0 * np.log10(apart / -np.expm1(-apart)))


def energy_change_db(energy_j: ArrayLike, reference_energy_j: ArrayLike) -> Floats:
    """Return how the exposure of a blow changes with its energy: 10 lg(E2 / E1) in dB. An estimate, no source."""
    return result(10.0 * np.log10(positive(energy_j, "energy_j")
                                  / positive(reference_energy_j, "reference_energy_j")))


def character_adjustment_db(impulse: ArrayLike = "none", tone: ArrayLike = "none") -> Floats:
    """Return what ISO 1996-1 adds to a level for its character, in dB: impulse and tone adjustments together.

    impulse: `none`, `regular` or `highly`. tone: `none`, `audible` or `prominent`. Words or arrays of them.
    Raises ValueError for another word.
    """
    return result(choose(impulse, IMPULSE_DB, "impulse") + choose(tone, TONE_DB, "tone"))


def prominence(onset_rate_db_s: ArrayLike, level_rise_db: ArrayLike) -> Floats:
    """Return the predicted prominence P = 3 lg OR + 2 lg LD of an impulse.

    onset_rate_db_s: OR in dB/s. level_rise_db: LD, level difference of the onset, in dB. Positive; they broadcast.

    >>> round(float(prominence(100.0, 30.0)), 4)
    8.9542
    """
    return result(3.0 * np.log10(positive(onset_rate_db_s, "onset_rate_db_s"))
                  + 2.0 * np.log10(positive(level_rise_db, "level_rise_db")))


def graded_adjustment_db(onset_rate_db_s: ArrayLike, level_rise_db: ArrayLike) -> Floats:
    """Return K_I = 1.8 (P - 5) in dB for P above 5 and an onset rate above 10 dB/s, else 0.

    Up to 5 dB the sound is regular impulsive, above it highly impulsive. Arguments and errors as in `prominence`.

    >>> round(float(graded_adjustment_db(100.0, 30.0)), 4)
    7.1176
    """
    p = prominence(onset_rate_db_s, level_rise_db)
    impulsive = numbers(onset_rate_db_s, "onset_rate_db_s") > 10.0
    graded = np.where(impulsive, np.maximum(1.8 * (p - 5.0), 0.0), 0.0)
    return result(np.where(np.isnan(p), np.nan, graded))


def rating_level_db(levels_db: ArrayLike, adjustments_db: ArrayLike, durations_s: ArrayLike, *,
                    axis: int = -1) -> Floats:
    """Return LAr = 10 lg(sum d 10^((LAeq + K)/10) / sum d) in dB over intervals along one axis.

    >>> round(float(rating_level_db([72.0, 66.0], [7.6, 0.0], [1800.0, 1800.0])), 2)
    76.78
    """
    rated = numbers(levels_db, "levels_db") + numbers(adjustments_db, "adjustments_db")
    return energy_mean(rated, durations_s, axis=axis)
