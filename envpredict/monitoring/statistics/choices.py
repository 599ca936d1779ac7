"""Numbers that statistics rest on without a limit or a plan to take them from, each with how it's known."""

from __future__ import annotations

from dataclasses import dataclass

from envpredict.core.citation import VERIFY_MARK, Basis


@dataclass(frozen=True, slots=True)
class Choice:
    """A number, what it's for, and how it's known."""

    value: float
    unit: str
    meaning: str
    basis: Basis
    source: str

    def __str__(self) -> str:
        """Return value, meaning and verify mark."""
        mark = VERIFY_MARK[self.basis]
        return f"{self.value:g} {self.unit}: {self.meaning}; {self.source}" + (f" [{mark}]" if mark else "")


MIN_COVERAGE = Choice(0.75, "of the time", "share of an averaging time with valid data from which its mean is taken as "
                      "measured; below it only the part that is certain counts", "memory", "custom of monitoring plans")
CAPTURE = Choice(90.0, "%", "share of the working time with valid data, where the plan states none", "memory",
                 "custom of monitoring plans")
NOT_SEPARABLE = Choice(3.0, "dB", "a site's own level is told from the background only where the total lies so far "
                       "above it", "read", "Hong Kong monitoring tables write 'measured <= baseline' below")
CHOICES: tuple[Choice, ...] = (MIN_COVERAGE, CAPTURE, NOT_SEPARABLE)
