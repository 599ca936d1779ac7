"""What people and instruments are judged by, from peak particle velocity, and back: levels, weighted strength.

Every conversion takes one frequency and one crest factor for granted; both belong to the source of the velocity and
travel with it. Turned into a level and back with the same two numbers, a velocity returns itself.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from envpredict.core.citation import Citation
from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, numbers, positive
from envpredict.models.spec import model

SINE_CREST_FACTOR: Final = math.sqrt(2.0)
CREST_FACTORS: Final[dict[str, tuple[float, Citation]]] = {
    "sine": (SINE_CREST_FACTOR, Citation("definition of a sine", None, "peak over root mean square", "read")),
    "construction": (4.0, Citation("US FTA, Transit Noise and Vibration Impact Assessment", 2006,
                                   "text of Table 12-2: 4 throughout, 1.7 to 6 observed", "read")),
    "vibrator_low": (1.4, Citation("our judgement", None, "lower end for vibrators", "estimate")),
    "vibrator_high": (2.5, Citation("our judgement", None, "upper end for vibrators", "estimate")),
}
"""Peak over root mean square by kind of signal, with its source; a low one gives the higher level from a velocity."""

DEFINITION: Final = Citation("definition of the root mean square", None, "peak = crest factor times rms", "read")
FTA: Final = Citation("US FTA, Transit Noise and Vibration Impact Assessment", 2006,
                      "text of Table 12-2: levels re 1e-6 in/s, crest factor 4", "read")
DIN_4150_2: Final = Citation("DIN 4150-2", 1999, "weighting with a corner at 5.6 Hz, quick estimate of KB_Fmax",
                             "memory")
JIS: Final = Citation("Japanese industrial standard for vibration level meters", None,
                      "reference acceleration by frequency for the vertical vibration level", "read",
                      via="Japanese glossaries of vibration terms")
GB: Final = Citation("GB 10070", 1988, "vertical Z level re 1e-6 m/s2 with the z weighting of ISO 2631-1:1985",
                     "memory")

MICRO_INCH_MM: Final = 25.4e-6
KB_CORNER_HZ: Final = 5.6
KB_COEFFICIENT: Final = 0.8
CREST: Final = Range(1.0, 6.0, "1 by definition; 6 the largest observed by FTA")
PPV: Final = Range.unstated("a conversion holds for any amplitude")


def _rms(ppv_mm_s: ArrayLike, crest_factor: ArrayLike) -> Floats:
    return positive(ppv_mm_s, "ppv_mm_s") / positive(crest_factor, "crest_factor")


@model(
    "velocity_rms",
    title="Root mean square velocity from peak particle velocity", position="floor",
    quantity="velocity_rms", statistic="deterministic", distance="none",
    validity={"ppv_mm_s": PPV, "crest_factor": CREST}, source=DEFINITION,
)
def velocity_rms(ppv_mm_s: ArrayLike, *, crest_factor: ArrayLike) -> Floats:
    """Return the root mean square velocity in mm/s: PPV / crest factor.

    ppv_mm_s: mm/s; crest_factor: peak over rms of this signal, 1.41 for a sine. Arrays broadcast. Raises ValueError for
    arguments that aren't positive. Source: definition.

    >>> round(float(velocity_rms(1.0, crest_factor=4.0)), 2)
    0.25
    """
    return _rms(ppv_mm_s, crest_factor)


@model(
    "ppv_from_velocity_rms",
    title="Peak particle velocity from root mean square velocity", position="floor",
    quantity="ppv_component", statistic="deterministic", distance="none",
    validity={"velocity_rms_mm_s": PPV, "crest_factor": CREST}, source=DEFINITION,
)
def ppv_from_velocity_rms(velocity_rms_mm_s: ArrayLike, *, crest_factor: ArrayLike) -> Floats:
    """Return the PPV in mm/s: rms velocity times crest factor. The inverse of `velocity_rms`.

    velocity_rms_mm_s: mm/s; crest_factor: as there. Arrays broadcast. Raises ValueError for arguments that aren't
    positive. Source: definition.

    >>> float(ppv_from_velocity_rms(0.25, crest_factor=4.0))
    1.0
    """
    return positive(velocity_rms_mm_s, "velocity_rms_mm_s") * positive(crest_factor, "crest_factor")


@model(
    "third_octave_from_ppv",
    title="Velocity in the strongest third-octave band from peak particle velocity", position="instrument",
    quantity="velocity_rms_third_octave", statistic="deterministic", distance="none",
    validity={"ppv_mm_s": PPV, "crest_factor": CREST}, source=DEFINITION,
    sources=(Citation("our judgement", None, "all of the signal in one band: an upper value", "estimate"),),
)
def third_octave_from_ppv(ppv_mm_s: ArrayLike, *, crest_factor: ArrayLike = SINE_CREST_FACTOR) -> Floats:
    """Return the rms velocity in um/s with all of the signal in one third-octave band: an upper value.

    ppv_mm_s: mm/s; crest_factor: 1.41 (a sine) gives the highest rms. Arrays broadcast. Raises ValueError for arguments
    that aren't positive. Source: definition; our judgement.

    >>> round(float(third_octave_from_ppv(0.1)), 1)
    70.7
    """
    return 1000.0 * _rms(ppv_mm_s, crest_factor)


@model(
    "velocity_level_us",
    title="Velocity level from root mean square velocity (US transit guidance)", position="floor",
    quantity="velocity_level_us_db", statistic="deterministic", distance="none",
    validity={"velocity_rms_mm_s": PPV}, source=FTA,
)
def velocity_level_us(velocity_rms_mm_s: ArrayLike) -> Floats:
    """Return the velocity level in dB re 1e-6 in/s: 20 log(v / 25.4e-6 mm/s).

    velocity_rms_mm_s: rms velocity, mm/s, any shape. Raises ValueError for a velocity that isn't positive. Source: FTA
    2006.

    >>> round(float(velocity_level_us(0.0508)), 1)
    66.0
    """
    return 20.0 * np.log10(positive(velocity_rms_mm_s, "velocity_rms_mm_s") / MICRO_INCH_MM)


@model(
    "velocity_rms_from_level_us",
    title="Root mean square velocity from velocity level (US transit guidance)", position="floor",
    quantity="velocity_rms", statistic="deterministic", distance="none",
    validity={"level_db": PPV}, source=FTA,
)
def velocity_rms_from_level_us(level_db: ArrayLike) -> Floats:
    """Return the rms velocity in mm/s from a velocity level in dB re 1e-6 in/s. The inverse of `velocity_level_us`.

    level_db: any shape. Raises ValueError for what isn't a number. Source: FTA 2006.

    >>> round(float(velocity_rms_from_level_us(72.0)), 3)
    0.101
    """
    return MICRO_INCH_MM * 10.0 ** (numbers(level_db, "level_db") / 20.0)


@model(
    "velocity_level_us_from_ppv",
    title="Velocity level from peak particle velocity (US transit guidance)", position="floor",
    quantity="velocity_level_us_db", statistic="deterministic", distance="none",
    validity={"ppv_mm_s": PPV, "crest_factor": CREST}, source=FTA,
)
def velocity_level_us_from_ppv(ppv_mm_s: ArrayLike, *, crest_factor: ArrayLike = 4.0) -> Floats:
    """Return the velocity level in dB re 1e-6 in/s of a PPV in mm/s.

    ppv_mm_s: mm/s; crest_factor: 4 in the manual; a low one gives the higher level. Arrays broadcast. Accuracy: real
    crest factors of 1.7 to 6 shift the level by +7 to -4 dB. Raises ValueError for arguments that aren't positive.
    Source: FTA 2006.

    >>> round(float(velocity_level_us_from_ppv(0.644 * 25.4)))
    104
    """
    return velocity_level_us(_rms(ppv_mm_s, crest_factor))


@model(
    "ppv_from_velocity_level_us",
    title="Peak particle velocity from velocity level (US transit guidance)", position="floor",
    quantity="ppv_vertical", statistic="deterministic", distance="none",
    validity={"level_db": PPV, "crest_factor": CREST}, source=FTA,
)
def ppv_from_velocity_level_us(level_db: ArrayLike, *, crest_factor: ArrayLike = 4.0) -> Floats:
    """Return the PPV in mm/s of a velocity level in dB re 1e-6 in/s. The inverse of `velocity_level_us_from_ppv`.

    level_db: dB; crest_factor: as there. Arrays broadcast. Raises ValueError for a crest factor that isn't positive.
    Source: FTA 2006.

    >>> round(float(ppv_from_velocity_level_us(104.0)) / 25.4, 2)
    0.63
    """
    return velocity_rms_from_level_us(level_db) * positive(crest_factor, "crest_factor")


def kb_weighting(frequency_hz: ArrayLike) -> Floats:
    """Return the weighting 1 / sqrt(1 + (5.6 / f)^2) of DIN 4150-2, any shape; f in Hz, 1 to 80 Hz."""
    return 1.0 / np.sqrt(1.0 + (KB_CORNER_HZ / positive(frequency_hz, "frequency_hz")) ** 2)


@model(
    "kb_fmax_from_ppv",
    title="Weighted vibration strength from peak particle velocity (DIN 4150-2)", position="floor",
    quantity="kb_fmax", statistic="deterministic", distance="none",
    validity={"ppv_mm_s": PPV, "frequency_hz": Range(1.0, 80.0, "weighting defined for 1 to 80 Hz"),
              "coefficient": Range(0.6, 1.0, "0.6 to 0.9 for events, 1 for steady vibration")},
    source=DIN_4150_2,
)
def kb_fmax_from_ppv(ppv_mm_s: ArrayLike, frequency_hz: ArrayLike, *,
                     coefficient: ArrayLike = KB_COEFFICIENT) -> Floats:
    """Return KB_Fmax: c_F PPV / sqrt(2) / sqrt(1 + (5.6 / f)^2).

    ppv_mm_s: largest component, mm/s; frequency_hz: Hz, 1 to 80; coefficient: c_F, 0.8 for single events, 0.9 near
    resonance, 1 for a steady vibrator. Arrays broadcast. Accuracy: the choice of c_F alone is worth 25 %. Raises
    ValueError for arguments that aren't positive. Source: DIN 4150-2:1999 (from memory: verify).

    >>> round(float(kb_fmax_from_ppv(1.0, 15.0, coefficient=1.0)), 3)
    0.662
    """
    c_F = positive(coefficient, "coefficient")
    return c_F * positive(ppv_mm_s, "ppv_mm_s") / SINE_CREST_FACTOR * kb_weighting(frequency_hz)


@model(
    "ppv_from_kb_fmax",
    title="Peak particle velocity from weighted vibration strength (DIN 4150-2)", position="floor",
    quantity="ppv_component", statistic="deterministic", distance="none",
    validity={"kb_fmax": PPV, "frequency_hz": Range(1.0, 80.0, "weighting defined for 1 to 80 Hz"),
              "coefficient": Range(0.6, 1.0, "0.6 to 0.9 for events, 1 for steady vibration")},
    source=DIN_4150_2,
)
def ppv_from_kb_fmax(kb_fmax: ArrayLike, frequency_hz: ArrayLike, *, coefficient: ArrayLike = KB_COEFFICIENT) -> Floats:
    """Return the PPV in mm/s of a KB_Fmax. The inverse of `kb_fmax_from_ppv`.

    kb_fmax: unit-less, in mm/s as its source writes; frequency_hz: Hz; coefficient: as there. Arrays broadcast. Raises
    ValueError for arguments that aren't positive. Source: DIN 4150-2:1999 (from memory: verify).

    >>> round(float(ppv_from_kb_fmax(0.662, 15.0, coefficient=1.0)), 2)
    1.0
    """
    c_F = positive(coefficient, "coefficient")
    return positive(kb_fmax, "kb_fmax") * SINE_CREST_FACTOR / kb_weighting(frequency_hz) / c_F


def reference_acceleration_jp(frequency_hz: ArrayLike) -> Floats:
    """Return the vertical reference acceleration in m/s2: 2e-5 f^-0.5 to 4 Hz, 1e-5 to 8 Hz, 0.125e-5 f above.

    frequency_hz: f, Hz, any shape; defined for 1 to 90 Hz.
    """
    f = positive(frequency_hz, "frequency_hz")
    return np.where(f < 4.0, 2e-5 / np.sqrt(f), np.where(f < 8.0, 1e-5, 0.125e-5 * f))


def _level_jp_per_rms(frequency_hz: ArrayLike) -> Floats:
    """Return the vibration level of an rms velocity of 1 mm/s, dB re 1e-5 m/s2."""
    f = positive(frequency_hz, "frequency_hz")
    return 20.0 * np.log10(2.0 * np.pi * f * 1e-3 / reference_acceleration_jp(f))


JP_VALIDITY: Final = {"frequency_hz": Range(1.0, 90.0, "reference acceleration defined for 1 to 90 Hz"),
                      "crest_factor": CREST}


@model(
    "vibration_level_jp_from_ppv",
    title="Vertical vibration level used in Japan from peak particle velocity", position="ground",
    quantity="vibration_level_jp_db", statistic="deterministic", distance="none",
    validity={"ppv_mm_s": PPV, **JP_VALIDITY}, source=JIS,
)
def vibration_level_jp_from_ppv(ppv_mm_s: ArrayLike, frequency_hz: ArrayLike, *, crest_factor: ArrayLike) -> Floats:
    """Return the vertical vibration level in dB re 1e-5 m/s2: 74.0 + 20 log(PPV / crest factor) from 8 Hz on.

    ppv_mm_s: vertical, mm/s; frequency_hz: Hz, 1 to 90; crest_factor: 1.41 for a sine, about 4 for hammers, whose
    peaks the detector's 0.63 s smooths. Arrays broadcast. Raises ValueError for arguments that aren't positive.
    Source: the Japanese standard for vibration level meters.

    >>> round(float(vibration_level_jp_from_ppv(1.0, 10.0, crest_factor=2 ** 0.5)), 1)
    71.0
    """
    return _level_jp_per_rms(frequency_hz) + 20.0 * np.log10(_rms(ppv_mm_s, crest_factor))


@model(
    "ppv_from_vibration_level_jp",
    title="Peak particle velocity from the vertical vibration level used in Japan", position="ground",
    quantity="ppv_vertical", statistic="deterministic", distance="none",
    validity={"level_db": PPV, **JP_VALIDITY}, source=JIS,
)
def ppv_from_vibration_level_jp(level_db: ArrayLike, frequency_hz: ArrayLike, *, crest_factor: ArrayLike) -> Floats:
    """Return the vertical PPV in mm/s of a vibration level. The inverse of `vibration_level_jp_from_ppv`.

    level_db: dB re 1e-5 m/s2; frequency_hz: Hz; crest_factor: as there. Arrays broadcast. Raises ValueError for a
    frequency or crest factor that isn't positive. Source: the Japanese standard for vibration level meters.

    >>> round(float(ppv_from_vibration_level_jp(62.0, 10.0, crest_factor=2 ** 0.5)), 3)
    0.354
    """
    exponent = (numbers(level_db, "level_db") - _level_jp_per_rms(frequency_hz)) / 20.0
    return positive(crest_factor, "crest_factor") * 10.0**exponent


@model(
    "vibration_level_cn_from_ppv",
    title="Vertical Z level used in China from peak particle velocity", position="ground",
    quantity="vibration_level_cn_db", statistic="deterministic", distance="none",
    validity={"ppv_mm_s": PPV, **JP_VALIDITY}, source=GB,
)
def vibration_level_cn_from_ppv(ppv_mm_s: ArrayLike, frequency_hz: ArrayLike, *, crest_factor: ArrayLike) -> Floats:
    """Return the vertical Z level in dB re 1e-6 m/s2: 20 dB above the Japanese level, weighted with the same shape.

    ppv_mm_s: vertical, mm/s; frequency_hz: Hz, 1 to 80; crest_factor: 1.41 for a sine. Arrays broadcast. Raises
    ValueError for arguments that aren't positive. Source: GB 10070-88 and the weighting of ISO 2631-1:1985 (from
    memory: verify).

    >>> round(float(vibration_level_cn_from_ppv(1.0, 10.0, crest_factor=2 ** 0.5)), 1)
    91.0
    """
    return 20.0 + vibration_level_jp_from_ppv(ppv_mm_s, frequency_hz, crest_factor=crest_factor)


@model(
    "ppv_from_vibration_level_cn",
    title="Peak particle velocity from the vertical Z level used in China", position="ground",
    quantity="ppv_vertical", statistic="deterministic", distance="none",
    validity={"level_db": PPV, **JP_VALIDITY}, source=GB,
)
def ppv_from_vibration_level_cn(level_db: ArrayLike, frequency_hz: ArrayLike, *, crest_factor: ArrayLike) -> Floats:
    """Return the vertical PPV in mm/s of a Z level. The inverse of `vibration_level_cn_from_ppv`.

    level_db: dB re 1e-6 m/s2; frequency_hz: Hz; crest_factor: as there. Arrays broadcast. Raises ValueError for a
    frequency or crest factor that isn't positive. Source: GB 10070-88 (from memory: verify).

    >>> round(float(ppv_from_vibration_level_cn(91.0, 10.0, crest_factor=2 ** 0.5)), 2)
    1.0
    """
    return ppv_from_vibration_level_jp(numbers(level_db, "level_db") - 20.0, frequency_hz, crest_factor=crest_factor)
