"""Descriptions of strata, as engineers write them."""

from __future__ import annotations

import pytest

from envpredict.ground.describe import KINDS, describe


@pytest.mark.parametrize(
    ("text", "kind", "gravel", "cobbles", "boulders"),
    [
        ("stiff brown sandy gravelly CLAY with cobbles", "cohesive", False, True, False),
        ("Firm, grey, silty clay", "cohesive", False, False, False),
        ("CLAY. Sand lenses", "cohesive", False, False, False),
        ("soft clay over sand", "cohesive", False, False, False),
        ("medium dense sand", "coarse", False, False, False),
        ("Dense sandy GRAVEL with boulders up to 0.6 m", "coarse", True, False, True),
        ("dense sand and gravel", "coarse", True, False, False),
        ("SAND with gravel", "coarse", False, False, False),
        ("glacial till", "cohesive", False, False, False),
        ("boulder clay", "cohesive", False, False, False),
        ("Bouldery till", "cohesive", False, False, True),
        ("weak weathered MUDSTONE", "rock", False, False, False),
        ("granite", "rock", False, False, False),
        ("fibrous peat", "organic", False, False, False),
        ("made ground: brick and clay", "fill", False, False, False),
        ("sand fill", "fill", False, False, False),
        ("hard ground", "unknown", False, False, False),
        ("Ton, steif", "unknown", False, False, False),
        ("", "unknown", False, False, False),
    ],
)
def test_reading(text: str, kind: str, gravel: bool, cobbles: bool, boulders: bool) -> None:
    found = describe(text)
    assert (found.kind, found.gravel, found.cobbles, found.boulders) == (kind, gravel, cobbles, boulders)
    assert found.kind in KINDS
