"""The vocabulary ties names to units: the end of a name and the declared unit can't drift apart."""

from __future__ import annotations

import re

import pytest

from envpredict.core.cautions import BEFORE, CAUTIONS, LOCAL_RULES, SCREENING, STOP_WORK
from envpredict.core.quantities import POSITIONS, QUANTITIES
from envpredict.core.vocabulary import INPUTS

UNIT_OF_ENDING = {
    "_m_s175": "m/s^1.75",
    "_db_m": "dB/m",
    "_mm_s": "mm/s",
    "_m_s": "m/s",
    "_per_m": "1/m",
    "_per_min": "1/min",
    "_per_hour": "1/h",
    "_km_h": "km/h",
    "_deg": "deg",
    "_percent": "%",
    "_kpa": "kPa",
    "_mpa": "MPa",
    "_hz": "Hz",
    "_kj": "kJ",
    "_db": "dB",
    "_mm": "mm",
    "_m": "m",
    "_j": "J",
    "_s": "s",
    "_c": "degC",
}
"""The longest ending that fits decides."""


def unit_by_name(name: str) -> str | None:
    fits = [ending for ending in UNIT_OF_ENDING if name.endswith(ending)]
    return UNIT_OF_ENDING[max(fits, key=len)] if fits else None


@pytest.mark.parametrize("name", sorted(INPUTS))
def test_the_name_of_an_input_says_its_unit(name: str) -> None:
    declared = INPUTS[name]
    expected = unit_by_name(name)
    assert declared.name == name
    assert declared.meaning
    if expected is None:
        assert declared.unit in {"1", "blows per 300 mm"}
    elif expected == "dB":
        assert declared.unit.split()[0] == "dB"
    else:
        assert declared.unit == expected


@pytest.mark.parametrize("id", sorted(QUANTITIES))
def test_a_quantity_is_in_decibels_exactly_where_its_name_and_unit_say_so(id: str) -> None:
    quantity = QUANTITIES[id]
    assert quantity.id == id
    assert quantity.meaning
    decibels = quantity.scale == "decibel"
    assert id.endswith(("_db", "_db_m")) == decibels
    assert quantity.unit.startswith("dB") == decibels


def test_quantities_do_not_share_a_declaration() -> None:
    described = [(q.unit, q.component, q.metric, q.meaning) for q in QUANTITIES.values()]
    assert len(set(described)) == len(described)


def test_positions_are_plain_words_with_a_meaning() -> None:
    for word, meaning in POSITIONS.items():
        assert re.fullmatch(r"[a-z_]+", word)
        assert meaning


def test_the_cautions_say_what_they_must() -> None:
    said = " ".join(CAUTIONS)
    for part in (SCREENING, LOCAL_RULES, BEFORE, STOP_WORK):
        assert part in CAUTIONS
    for word in ("empirical", "scatter", "Local codes", "condition survey", "trial", "measurements", "Stop work"):
        assert word in said
