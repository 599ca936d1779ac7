"""Standard frequency weightings: each a chain of analogue sections as its standard gives them, applied to samples."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from envpredict.core.citation import Citation
from envpredict.core.registry import Registry

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
BUTTERWORTH_Q: Final = 1.0 / math.sqrt(2.0)
RING_S: Final = 10.0
"""Seconds for which a filter may ring on; the slowest corner, 0.4 Hz, has faded to nothing by then."""


@dataclass(frozen=True, slots=True)
class Section:
    """One section of a filter by its kind and corners.

    high_pass, low_pass: second order with corner `f1` and quality `q1`; high_pass_1: first order at `f1`; low_pass_1:
    first order at `f1`; transition: zero at `f1`, two poles at `f2` with `q2`; step: two zeros at `f1` with `q1`, two
    poles at `f2` with `q2`, so that the gain rises by (f2/f1)^2.
    """

    kind: Literal["high_pass", "low_pass", "high_pass_1", "low_pass_1", "transition", "step"]
    f1: float
    q1: float = BUTTERWORTH_Q
    f2: float = 0.0
    q2: float = BUTTERWORTH_Q

    def response(self, s: Complexes) -> Complexes:
        """Return the section's response at points s of the complex frequency, in rad/s."""
        w, q = 2.0 * np.pi * self.f1, self.q1
        if self.kind == "high_pass":
            return np.asarray(s * s / (s * s + s * w / q + w * w))
        if self.kind == "low_pass":
            return np.asarray(w * w / (s * s + s * w / q + w * w))
        if self.kind == "high_pass_1":
            return np.asarray(s / (s + w))
        if self.kind == "low_pass_1":
            return np.asarray(w / (s + w))
        w2, q2 = 2.0 * np.pi * self.f2, self.q2
        lower = s * s / (w2 * w2) + s / (q2 * w2) + 1.0
        upper = s / w + 1.0 if self.kind == "transition" else s * s / (w * w) + s / (q * w) + 1.0
        return np.asarray(upper / lower)


@dataclass(frozen=True, slots=True)
class Weighting:
    """A frequency weighting: of velocity or of acceleration, its sections, its gain, its source."""

    id: str
    title: str
    of: Literal["velocity", "acceleration"]
    sections: tuple[Section, ...]
    gain: float
    citation: Citation

    def response(self, frequency_hz: ArrayLike) -> Complexes:
        """Return the filter's response at frequencies (any shape, Hz >= 0), a complex number each."""
        s = 2j * np.pi * np.asarray(frequency_hz, dtype=float)
        total = np.full(s.shape, complex(self.gain))
        for section in self.sections:
            total = total * section.response(s)
        return total

    def apply(self, samples: ArrayLike, sampling_hz: float, *, derive: bool = False) -> Floats:
        """Return filtered samples (..., N), as the analogue filter at rest would answer the band-limited signal.

        `derive`: the samples are the integral of what the weighting is for, a velocity where it weights an
        acceleration; the derivative is taken on the way. The filter's own response is used up to half the sampling
        rate, so that nothing is bent near it. Raises ValueError where the sampling rate isn't above twice the highest
        corner.
        """
        highest = max(max(section.f1, section.f2) for section in self.sections)
        if not sampling_hz > 2.0 * highest:
            raise ValueError(f"sampling_hz must be above {2.0 * highest:g} for the weighting {self.id}")
        x = np.asarray(samples, dtype=float)
        count = x.shape[-1]
        # what rings on after the end must not come round to the beginning
        size = 1 << (count + max(count, round(RING_S * sampling_hz)) - 1).bit_length()
        frequency = np.fft.rfftfreq(size, 1.0 / sampling_hz)
        response = self.response(frequency) * (2j * np.pi * frequency if derive else 1.0)
        return np.fft.irfft(np.fft.rfft(x, size) * response, size)[..., :count]


WEIGHTINGS: Registry[Weighting] = Registry("frequency weighting")


def _declare(name: str, title: str, of: Literal["velocity", "acceleration"], sections: tuple[Section, ...],
             gain: float, citation: Citation) -> None:
    WEIGHTINGS.add(name, Weighting(name, title, of, sections, gain, citation))


_BAND = (Section("high_pass", 0.4), Section("low_pass", 100.0))
_ISO = Citation("ISO 2631-1", 1997, "Annex A, Table A.1: parameters of the transfer functions", "memory")
_BS = Citation("BS 6841", 1987, "Table 3: parameters of the weightings; used by BS 6472-1:2008", "memory")

_declare("kb", "KB weighting of velocity (DIN 4150-2, DIN 45669-1), 1 to 80 Hz", "velocity",
         (Section("high_pass", 0.8), Section("low_pass", 100.0), Section("high_pass_1", 5.6)), 1.0,
         Citation("DIN 45669-1 and DIN 4150-2", 1999, "high-pass of first order at 5.6 Hz within 1 to 80 Hz, whose "
                  "edges lie at 0.8 and 100 Hz", "memory"))
_declare("wb", "Wb, vertical, of acceleration (BS 6841)", "acceleration",
         (*_BAND, Section("transition", 16.0, f2=16.0, q2=0.55), Section("step", 2.5, 0.9, 4.0, 0.95)), 0.4, _BS)
_declare("wd", "Wd, horizontal, of acceleration (ISO 2631-1, BS 6841)", "acceleration",
         (*_BAND, Section("transition", 2.0, f2=2.0, q2=0.63)), 1.0, _ISO)
_declare("wk", "Wk, vertical, of acceleration (ISO 2631-1)", "acceleration",
         (*_BAND, Section("transition", 12.5, f2=12.5, q2=0.63), Section("step", 2.37, 0.91, 3.35, 0.91)),
         (2.37 / 3.35) ** 2, _ISO)
_declare("wm", "Wm, any direction, of acceleration (ISO 2631-2)", "acceleration",
         (Section("high_pass", 0.7943), Section("low_pass", 100.0), Section("low_pass_1", 5.684)), 1.0,
         Citation("ISO 2631-2", 2003, "Annex A: band limits 10^-0.1 and 100 Hz, pole at 1/(0.028 s)", "memory"))
