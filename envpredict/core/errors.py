"""What can go wrong, said so that a user can mend it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


class EnvpredictWarning(UserWarning):
    """Something worth knowing that doesn't stop the work."""


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """One thing that is wrong with an input.

    `where` names the file and the row or key, `what` what is wrong there, `hint` how to mend it.
    """

    where: str
    what: str
    hint: str = ""

    def __str__(self) -> str:
        """Return the problem as one line: place, fault, remedy."""
        return f"{self.where}: {self.what}" + (f" -> {self.hint}" if self.hint else "")


class EnvpredictError(Exception):
    """The parent of every error that a user is meant to read; carries the exit code of the command line."""

    exit_code = 2

    def __init__(self, message: str, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint

    def __str__(self) -> str:
        """Return message and remedy."""
        return f"{self.message}" + (f" -> {self.hint}" if self.hint else "")


class InputProblems(EnvpredictError):
    """Every problem of an input, found in one pass."""

    def __init__(self, problems: Iterable[Problem], subject: str = "input") -> None:
        self.problems: tuple[Problem, ...] = tuple(dict.fromkeys(problems))
        self.subject = subject
        count = len(self.problems)
        lines = "\n".join(f"  {n}. {problem}" for n, problem in enumerate(self.problems, 1))
        super().__init__(f"{count} problem{'s' if count != 1 else ''} in {subject}:\n{lines}")


class ScenarioProblems(InputProblems):
    """Every problem of a scenario folder."""


class UnknownName(EnvpredictError, KeyError):
    """A name that no registry holds; the nearest known ones are offered."""

    __str__ = EnvpredictError.__str__


class Incommensurable(EnvpredictError):
    """Two quantities that no declared conversion connects were about to be compared."""


class OutsideRange(EnvpredictError):
    """A result outside a law's valid range, under `--strict`."""

    exit_code = 1


class OutputFailure(EnvpredictError):
    """An output could not be written; nothing half-written is left and an earlier result is untouched."""

    exit_code = 3
