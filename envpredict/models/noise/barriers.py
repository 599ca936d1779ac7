"""Thin screens in closed form: Maekawa's chart as a fit, and the formula of Kurze and Anderson."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from envpredict.core.citation import Citation
from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, numbers, positive
from envpredict.models.noise.arguments import result
from envpredict.models.spec import model

MAEKAWA: Final = Citation("Maekawa, Noise reduction by screens, Applied Acoustics 1", 1968,
                          "chart, as the fit 10 lg(3 + 20 N)", "memory")
KURZE_ANDERSON: Final = Citation("Kurze and Anderson, Sound attenuation by barriers, Applied Acoustics 4", 1971,
                                 "formula for a point source", "read",
                                 via="the text of an acoustics library that cites Bies, Hansen and Howard, 5th edition",
                                 note="the form for N below 0 is from memory")
CEILING: Final = Citation("Kurze and Anderson, Sound attenuation by barriers, Applied Acoustics 4", 1971,
                          "practical ceiling: 20 dB for one edge, 24 to 25 dB for two", "memory")
SINGLE_CEILING_DB: Final = 20.0
DOUBLE_CEILING_DB: Final = 25.0

_FRESNEL = {"fresnel_number": Range(-0.2, np.inf, "below it nothing is screened")}


def fresnel_number(path_difference_m: ArrayLike, frequency_hz: ArrayLike, *, sound_speed_m_s: float = 340.0) -> Floats:
    """Return N = 2 delta / lambda.

    path_difference_m: delta, the path over the edge less the straight path, in m; negative where the sight line is
    clear. frequency_hz: Hz, positive. They broadcast; put a band axis on both. Raises ValueError that names the
    argument.

    >>> round(float(fresnel_number(0.2451, 63.0)), 3)
    0.091
    """
    wavelength = sound_speed_m_s / positive(frequency_hz, "frequency_hz")
    return result(2.0 * numbers(path_difference_m, "path_difference_m") / wavelength)


@model("maekawa_screen", title="Thin screen, fit to Maekawa's chart", quantity="attenuation_db",
       statistic="deterministic", position="free_field", distance="none", validity=_FRESNEL, source=MAEKAWA)
def maekawa_db(fresnel_number: ArrayLike) -> Floats:
    """Return 10 lg(3 + 20 N) in dB, 0 or more; no ceiling is applied (see `SINGLE_CEILING_DB`).

    fresnel_number: N, any shape; 0 dB at N = -0.1 and below. ISO 9613-2 has 3 + 10 N in the bracket, about 3 dB less,
    because the ground's reflection behind the screen is in it.

    >>> round(float(maekawa_db(1.0)), 2)
    13.62
    """
    n = numbers(fresnel_number, "fresnel_number")
    return result(10.0 * np.log10(np.maximum(3.0 + 20.0 * n, 1.0)))


@model("kurze_anderson_screen", title="Thin screen after Kurze and Anderson", quantity="attenuation_db",
       statistic="deterministic", position="free_field", distance="none", validity=_FRESNEL, source=KURZE_ANDERSON)
def kurze_anderson_db(fresnel_number: ArrayLike) -> Floats:
    """Return 5 + 20 lg(sqrt(2 pi N) / tanh sqrt(2 pi N)) in dB, 0 or more; no ceiling is applied.

    fresnel_number: N, any shape. For N from -0.2 to 0 the tangent of sqrt(2 pi |N|) stands in place of tanh; below
    -0.2 nothing is screened.

    >>> [round(float(loss), 2) for loss in kurze_anderson_db([-0.1, 0.0, 1.0])]
    [2.86, 5.0, 13.1]
    """
    n = numbers(fresnel_number, "fresnel_number")
    root = np.sqrt(2.0 * np.pi * np.maximum(np.abs(n), 1e-12))
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.where(n >= 0.0, root / np.tanh(root), root / np.tan(np.minimum(root, 1.5)))
        loss = np.maximum(5.0 + 20.0 * np.log10(ratio), 0.0)
    return result(np.where(n < -0.2, 0.0, loss))
