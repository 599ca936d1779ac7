"""What a limit set answers: a limit, a fact that is missing, or that it doesn't govern."""

from __future__ import annotations

from dataclasses import dataclass

from envpredict.core.citation import Basis, Citation


@dataclass(frozen=True, slots=True)
class Missing:
    """The set cannot answer: `fact` names what is missing, `why` tells what it's wanted for. Falsy."""

    fact: str
    why: str

    def __bool__(self) -> bool:
        return False

    def __str__(self) -> str:
        return f"missing: {self.fact} ({self.why})"


@dataclass(frozen=True, slots=True)
class NotGoverned:
    """The set or the rule doesn't speak of this receptor, method, hour or place, and why. Falsy; never a pass."""

    reason: str

    def __bool__(self) -> bool:
        return False

    def __str__(self) -> str:
        return f"not governed: {self.reason}"


@dataclass(frozen=True, slots=True)
class LimitValue:
    """A limit to compare with.

    `value` in `unit`; `frequency_hz` is the least favourable frequency of the band (None where the value doesn't depend
    on frequency); `at_likely` is the value at the likely frequency, for information; `basis` is the weakest of all that
    went into it; `note` tells what to know beside the number.
    """

    value: float
    unit: str
    basis: Basis
    citations: tuple[Citation, ...]
    frequency_hz: float | None = None
    at_likely: float | None = None
    note: str = ""
