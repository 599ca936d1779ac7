"""Printed values of the vibration laws: one CSV per model, read as text so that the printed digits are kept.

Columns: the model's arguments (a number, a number with a unit, or a word; empty for the document's default), then
`printed`, `unit`, `source`, `place`, `basis`, `note`. The tolerance is half a unit of the last printed digit.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from envpredict.core.quantities import QUANTITIES
from envpredict.models.spec import MODELS, ModelSpec, load_models

FOLDER = Path(__file__).parent / "vibration"
ABOUT = ("printed", "unit", "source", "place", "basis", "note")
UNITS = {
    "m": 1.0, "ft": 0.3048, "J": 1.0, "kJ": 1000.0, "ft-lb": 1.3558179483314, "mm/s": 1.0, "in/s": 25.4,
    "um/s": 1e-3, "uin/s": 25.4e-6, "%": 0.01, "1": 1.0, "1/m": 1.0, "dB": 1.0, "m/s^1.75": 1.0,
}
"""Size of a unit in the unit that the package uses for that kind of quantity."""


@dataclass(frozen=True)
class Case:
    """One printed value."""

    model: str
    line: int
    cells: Mapping[str, str]
    printed: str
    unit: str
    source: str
    place: str
    basis: str
    note: str

    @property
    def spec(self) -> ModelSpec:
        return load_models()[self.model]

    @property
    def arguments(self) -> dict[str, Any]:
        return {name: self._value(name, cell) for name, cell in self.cells.items() if cell}

    def _value(self, name: str, cell: str) -> Any:
        if name in self.spec.options:
            return cell
        number, _, unit = cell.partition(" ")
        return float(number) * UNITS[unit or "1"]

    @property
    def tolerance(self) -> float:
        """Half of the last printed digit, in the printed unit."""
        digits, _, power = self.printed.lower().partition("e")
        decimals = len(digits.partition(".")[2])
        return 0.5 * 10.0 ** (int(power or 0) - decimals) * (1.0 + 1e-6)

    @cached_property
    def ours(self) -> float:
        """Our value in the printed unit."""
        value = float(self.spec(**self.arguments))
        ours = QUANTITIES[self.spec.quantity].unit
        return value if ours == self.unit or ours.startswith("dB") else value * _size(ours) / _size(self.unit)

    @property
    def deviation(self) -> float:
        return self.ours - float(self.printed)


def _size(unit: str) -> float:
    return UNITS[unit]


def read_cases(path: Path) -> list[Case]:
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file, strict=True))
    return [Case(path.stem, line, {name: cell for name, cell in row.items() if name not in ABOUT},
                 *(row[name] for name in ABOUT)) for line, row in enumerate(rows, 2)]


def all_cases() -> list[Case]:
    return [case for path in sorted(FOLDER.glob("*.csv")) for case in read_cases(path)]


def vibration_models() -> list[str]:
    load_models()
    return [name for name, spec in MODELS.items() if spec.function.__module__.startswith("envpredict.models.vibration")]
