"""How sure a predicted level is: standard uncertainties in dB and how they combine. Chances are computed elsewhere."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from envpredict.core.citation import Citation
from envpredict.models.arguments import Floats, choose, not_negative, numbers, positive
from envpredict.models.noise.arguments import result

SOURCE: Final = Citation("Estimate", None, "sound power by how it is known: 2, 3 or 5 dB", "estimate",
                         note="databases show 3 to 5 dB between machines of one kind (recalled)")
PROPAGATION: Final = Citation(
    "ISO 9613-2", 1996, "9: +/-3 dB read as 95 % within 100 m, as one standard deviation beyond", "estimate",
    note="the span of +/-1 to +/-3 dB up to 1000 m was read")
SCREENING: Final = Citation("Estimate", None, "2 dB where an obstacle takes off more than 5 dB", "estimate")
ON_TIME: Final = Citation("ISO/IEC Guide 98-3 (GUM)", 2008, "propagation of uncertainty through 10 lg t", "memory",
                          note="10 / ln 10 = 4.34 dB per unit of relative standard deviation")
SUM_OF_SOURCES: Final = Citation(
    "Fenton, The sum of log-normal probability distributions in scatter transmission systems", 1960,
    "IRE Transactions on Communications Systems 8: mean and variance of the sum matched", "memory",
    note="checked against simulated sums; about 0.4 dB high at 5 % exceedance where sources are known unlike well")
COMBINATION: Final = Citation("ISO/IEC Guide 98-3 (GUM)", 2008, "5.1.2, law of propagation of uncertainty", "memory")

SOURCE_U_DB: Final = MappingProxyType({"measured_here": 2.0, "same_class": 3.0, "generic": 5.0})
"""By how the sound power is known: measured on this rig and soil; measured on this class; a generic table."""
NEAR_M: Final = 100.0
NEAR_U_DB: Final = 1.5
FAR_U_DB: Final = 3.0
SCREENED_ABOVE_DB: Final = 5.0
SCREENED_U_DB: Final = 2.0
_DB_PER_RELATIVE: Final = 10.0 / np.log(10.0)


def source_u_db(known: ArrayLike) -> Floats:
    """Return the standard uncertainty of a sound power in dB by how it is known.

    known: `measured_here`, `same_class` or `generic`, a word or an array. Raises ValueError for another word. It is one
    error per item of plant, shared by all positions, days and receptors.
    """
    return result(choose(known, SOURCE_U_DB, "known"))


def propagation_u_db(distance_m: ArrayLike) -> Floats:
    """Return the standard uncertainty of unscreened propagation by ISO 9613-2 in dB.

    distance_m: m, positive, any shape: 1.5 dB up to 100 m, 3 dB from there. Beyond 1000 m the standard states no
    accuracy; the 3 dB are given all the same, and the law's declared range tells that the result lies outside.
    Raises ValueError that names the argument.
    """
    d = positive(distance_m, "distance_m")
    return result(np.where(np.isnan(d), np.nan, np.where(d <= NEAR_M, NEAR_U_DB, FAR_U_DB)))


def screening_u_db(screening_db: ArrayLike) -> Floats:
    """Return the standard uncertainty that an obstacle adds in dB: 2 where it takes off more than 5 dB(A), else 0."""
    loss = numbers(screening_db, "screening_db")
    return result(np.where(np.isnan(loss), np.nan, np.where(loss > SCREENED_ABOVE_DB, SCREENED_U_DB, 0.0)))


def on_time_u_db(relative_sd: ArrayLike) -> Floats:
    """Return the standard uncertainty of 10 lg(on-time) in dB: 4.34 times the relative standard deviation.

    >>> round(float(on_time_u_db(0.3)), 1)
    1.3
    """
    return result(_DB_PER_RELATIVE * not_negative(relative_sd, "relative_sd"))


def combined_u_db(*terms_db: ArrayLike) -> Floats:
    """Return the root of the sum of squares of independent standard uncertainties in dB; they broadcast.

    Products of sensitivity and uncertainty may be given too. Raises ValueError for a negative term or none at all.

    >>> round(float(combined_u_db(0.59, 0.3, 2.0, 0.40, 0.38)), 2)
    2.18
    """
    if not terms_db:
        raise ValueError("terms_db: at least one uncertainty is needed")
    squares = [not_negative(term, "terms_db") ** 2 for term in terms_db]
    return result(np.sqrt(sum(squares[1:], start=squares[0])))


def energy_shares(levels_db: ArrayLike, *, axis: int = -1) -> Floats:
    """Return each source's share of the energy of their sum, 0 to 1: the same shape; all 0 where all are silent.

    These are also the sensitivities of the summed level to the level of each source, to first order.
    """
    levels = numbers(levels_db, "levels_db")
    loudest = np.max(levels, axis=axis, keepdims=True)
    energy = 10.0 ** ((levels - np.where(np.isneginf(loudest), 0.0, loudest)) / 10.0)
    total = energy.sum(axis=axis, keepdims=True)
    return result(energy / np.where(total == 0.0, 1.0, total))


def summed_u_db(levels_db: ArrayLike, u_db: ArrayLike, *, axis: int = -1) -> Floats:
    """Return the standard uncertainty of the sum of independent sources in dB, to first order, along one axis.

    levels_db: level of each source in dB, -inf where silent. u_db: its standard uncertainty in dB, 0 or more; they
    broadcast. Sources that share an error (the same item of plant at several places) are to be summed on energy first
    and enter as one: otherwise many of them would look surer than one. Raises ValueError for a negative uncertainty.

    >>> round(float(summed_u_db([60.0, 60.0], [4.0, 4.0])), 2)
    2.83
    """
    levels, u = np.broadcast_arrays(numbers(levels_db, "levels_db"), not_negative(u_db, "u_db"))
    return result(np.sqrt(((energy_shares(levels, axis=axis) * u) ** 2).sum(axis=axis)))


def sum_of_sources(energy: ArrayLike, u_db: ArrayLike, *, axis: int = 0) -> tuple[Floats, Floats]:
    """Return the median of the sum of independent sources, as an energy, and its standard uncertainty in dB.

    energy: each source's median 10^(L/10), 0 or more, 0 where silent; u_db: the standard uncertainty of its level in
    dB, 0 or more; they broadcast and are summed along one axis, which the results lack. A sum of uncertain sources lies
    above the sum of their medians: now one, now another of them is louder than thought. Mean and variance of the sum
    are those of one log-normal (`SUM_OF_SOURCES`); a single source comes back as it was. Uncertainties to about 7 dB.
    Raises ValueError for a negative energy or uncertainty.

    >>> median, u = sum_of_sources([1e6, 1e6], [3.0, 3.0])
    >>> round(10.0 * float(np.log10(median)), 2), round(float(u), 2)
    (63.47, 2.24)
    """
    medians, spread = np.broadcast_arrays(not_negative(energy, "energy"), not_negative(u_db, "u_db"))
    variance = (spread / _DB_PER_RELATIVE) ** 2
    means = medians * np.exp(0.5 * variance)
    total = means.sum(axis=axis)
    safe = np.where(total > 0.0, total, 1.0)
    of_log = np.log1p((means**2 * np.expm1(variance)).sum(axis=axis) / safe**2)
    return result(total * np.exp(-0.5 * of_log)), result(_DB_PER_RELATIVE * np.sqrt(of_log))


def updated_level_db(level_db: ArrayLike, u_db: ArrayLike, measured_db: ArrayLike, measured_sd_db: ArrayLike,
                     count: ArrayLike) -> tuple[Floats, Floats]:
    """Return level and standard uncertainty in dB once measurements are known: normal prior, normal errors.

    level_db, u_db: what was believed before. measured_db: mean of `count` measurements whose standard deviation is
    measured_sd_db. They broadcast. Raises ValueError for an uncertainty or deviation not positive, or a negative count.

    >>> level, u = updated_level_db(116.0, 4.0, 120.0, 2.0, 4.0)
    >>> round(float(level), 2), round(float(u), 2)
    (119.76, 0.97)
    """
    prior = 1.0 / positive(u_db, "u_db") ** 2
    data = not_negative(count, "count") / positive(measured_sd_db, "measured_sd_db") ** 2
    mean = (prior * numbers(level_db, "level_db") + data * numbers(measured_db, "measured_db")) / (prior + data)
    return result(mean), result(np.sqrt(1.0 / (prior + data)))
