"""ISO 9613-1:1993: absorption of sound by the air."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from envpredict.core.citation import Citation
from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, numbers, positive
from envpredict.models.noise.arguments import between, result
from envpredict.models.noise.weighting import MIDBAND_HZ
from envpredict.models.spec import DerivedRange, model

EDITION: Final = "ISO 9613-1:1993"
FORMULAS: Final = Citation(EDITION, 1993, "equations (3) to (5), (B.1) to (B.3)", "read",
                           via="two public web pages that restate the formulas",
                           note="the numbers of the equations are from memory")
SCOPE: Final = Citation(EDITION, 1993, "scope", "read", via="a standards shop's abstract")
ACCURACY: Final = Citation(EDITION, 1993, "clause 7", "read",
                           via="the documentation of a Python library that implements the standard")

REFERENCE_PRESSURE_KPA: Final = 101.325
REFERENCE_TEMPERATURE_K: Final = 293.15
TRIPLE_POINT_K: Final = 273.16
ABSOLUTE_ZERO_C: Final = -273.15


def _kelvin(temperature_c: ArrayLike) -> Floats:
    celsius = numbers(temperature_c, "temperature_c")
    if (celsius <= ABSOLUTE_ZERO_C).any():
        raise ValueError(f"temperature_c must be above absolute zero, not {np.nanmin(celsius):g}")
    return celsius - ABSOLUTE_ZERO_C


def water_vapour_percent(temperature_c: ArrayLike, humidity_percent: ArrayLike,
                         pressure_kpa: ArrayLike = REFERENCE_PRESSURE_KPA) -> Floats:
    """Return the molar concentration h of water vapour in %.

    temperature_c: degC. humidity_percent: relative humidity, 0 to 100. pressure_kpa: kPa. They broadcast.
    Raises ValueError for a humidity outside 0 to 100, a temperature at absolute zero or below, a pressure not positive.

    >>> round(float(water_vapour_percent(10.0, 70.0)), 6)
    0.847731
    """
    kelvin = _kelvin(temperature_c)
    humidity = between(humidity_percent, 0.0, 100.0, "humidity_percent")
    pressure = positive(pressure_kpa, "pressure_kpa") / REFERENCE_PRESSURE_KPA
    saturation = 10.0 ** (-6.8346 * (TRIPLE_POINT_K / kelvin) ** 1.261 + 4.6151)
    return result(humidity * saturation / pressure)


def relaxation_frequencies_hz(temperature_c: ArrayLike, water_percent: ArrayLike,
                              pressure_kpa: ArrayLike = REFERENCE_PRESSURE_KPA) -> tuple[Floats, Floats]:
    """Return the relaxation frequencies of oxygen and of nitrogen, f_rO and f_rN, in Hz.

    water_percent: molar concentration h of water vapour in %. All broadcast.

    >>> oxygen, nitrogen = relaxation_frequencies_hz(10.0, 0.847731)
    >>> round(float(oxygen)), round(float(nitrogen), 2)
    (24015, 239.24)
    """
    ratio = _kelvin(temperature_c) / REFERENCE_TEMPERATURE_K
    pressure = positive(pressure_kpa, "pressure_kpa") / REFERENCE_PRESSURE_KPA
    h = numbers(water_percent, "water_percent")
    oxygen = pressure * (24.0 + 4.04e4 * h * (0.02 + h) / (0.391 + h))
    nitrogen = pressure * ratio**-0.5 * (9.0 + 280.0 * h * np.exp(-4.170 * (ratio ** (-1.0 / 3.0) - 1.0)))
    return result(oxygen), result(nitrogen)


def _hz_per_pascal(frequency_hz: ArrayLike, pressure_kpa: ArrayLike) -> Floats:
    return result(numbers(frequency_hz, "frequency_hz") / (1000.0 * numbers(pressure_kpa, "pressure_kpa")))


_VALIDITY = {
    "temperature_c": Range(-20.0, 50.0, "ISO 9613-1, scope"),
    "humidity_percent": Range(10.0, 100.0, "ISO 9613-1, scope"),
    "pressure_kpa": Range(0.0, 200.0, "ISO 9613-1, clause 7"),
}
_WATER = DerivedRange("molar concentration of water vapour in %", ("temperature_c", "humidity_percent", "pressure_kpa"),
                      water_vapour_percent, Range(0.05, 5.0, "ISO 9613-1, clause 7: +/-10 %"))
_PER_PASCAL = DerivedRange("frequency over pressure in Hz/Pa", ("frequency_hz", "pressure_kpa"), _hz_per_pascal,
                           Range(4e-4, 10.0, "ISO 9613-1, clause 7: +/-10 %"))


@model("iso9613_air_tone", title="Air absorption of a pure tone", quantity="air_absorption_db_m",
       statistic="deterministic", position="free_field", distance="none", source=FORMULAS, sources=(SCOPE, ACCURACY),
       validity={"frequency_hz": Range(50.0, 10000.0, "ISO 9613-1, scope"), **_VALIDITY}, derived=(_WATER, _PER_PASCAL))
def tone_absorption_db_m(frequency_hz: ArrayLike, *, temperature_c: ArrayLike = 10.0,
                         humidity_percent: ArrayLike = 70.0,
                         pressure_kpa: ArrayLike = REFERENCE_PRESSURE_KPA) -> Floats:
    """Return the attenuation coefficient alpha of a pure tone in dB/m.

    frequency_hz: the exact frequency f in Hz (1995.3, not 2000), 50 to 10 000. temperature_c: degC, -20 to 50.
    humidity_percent: relative humidity, 10 to 100. pressure_kpa: kPa, below 200. They broadcast to the result's shape.
    Raises ValueError for a frequency or pressure not positive, a humidity outside 0 to 100, a temperature at absolute
    zero or below.

    >>> round(1000 * float(tone_absorption_db_m(1000.0, temperature_c=10.0, humidity_percent=70.0)), 2)
    3.66
    """
    frequency = positive(frequency_hz, "frequency_hz")
    h = water_vapour_percent(temperature_c, humidity_percent, pressure_kpa)
    oxygen, nitrogen = relaxation_frequencies_hz(temperature_c, h, pressure_kpa)
    kelvin = _kelvin(temperature_c)
    ratio = kelvin / REFERENCE_TEMPERATURE_K
    classical = 1.84e-11 * REFERENCE_PRESSURE_KPA / numbers(pressure_kpa, "pressure_kpa") * np.sqrt(ratio)
    relaxation = (0.01275 * np.exp(-2239.1 / kelvin) / (oxygen + frequency**2 / oxygen)
                  + 0.1068 * np.exp(-3352.0 / kelvin) / (nitrogen + frequency**2 / nitrogen))
    return result(8.686 * frequency**2 * (classical + ratio**-2.5 * relaxation))


@model("iso9613_air_absorption", title="Air absorption in octave bands", quantity="air_absorption_db_m",
       statistic="deterministic", position="free_field", distance="none", source=FORMULAS, sources=(SCOPE, ACCURACY),
       validity=_VALIDITY, derived=(_WATER,))
def octave_absorption_db_m(*, temperature_c: ArrayLike = 10.0, humidity_percent: ArrayLike = 70.0,
                           pressure_kpa: ArrayLike = REFERENCE_PRESSURE_KPA) -> Floats:
    """Return alpha at the exact midband frequencies of the octaves 63 Hz to 8 kHz, in dB/m: shape (..., 8).

    Arguments, ranges and errors as in `tone_absorption_db_m`; they broadcast to the leading axes. The defaults, 10 degC
    and 70 %, are the first row of ISO 9613-2 Table 2.

    >>> [round(1000 * float(alpha), 1) for alpha in octave_absorption_db_m()]
    [0.1, 0.4, 1.0, 1.9, 3.7, 9.7, 32.8, 116.9]
    """
    return tone_absorption_db_m(MIDBAND_HZ, temperature_c=numbers(temperature_c, "temperature_c")[..., None],
                                humidity_percent=numbers(humidity_percent, "humidity_percent")[..., None],
                                pressure_kpa=numbers(pressure_kpa, "pressure_kpa")[..., None])


def within_stated_accuracy(frequency_hz: ArrayLike, *, temperature_c: ArrayLike = 10.0,
                           humidity_percent: ArrayLike = 70.0,
                           pressure_kpa: ArrayLike = REFERENCE_PRESSURE_KPA) -> NDArray[np.bool_]:
    """Return whether the standard states its +/-10 % for these conditions; False for NaN. The arguments broadcast."""
    known = {"frequency_hz": frequency_hz, "temperature_c": temperature_c, "humidity_percent": humidity_percent,
             "pressure_kpa": pressure_kpa}
    return _WATER.holds(known) & _PER_PASCAL.holds(known) & _VALIDITY["pressure_kpa"].holds(pressure_kpa)
