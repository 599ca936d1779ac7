"""What a fit says against itself, and what laws can't be updated."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from site_law_site import PRESS, press_level

from envpredict.core.errors import InputProblems
from envpredict.engine.catalogue import load_catalogue
from envpredict.engine.own_laws import with_own_laws
from envpredict.engine.works.soil import Drives
from envpredict.monitoring.site_law.diagnostics import diagnostics
from envpredict.monitoring.site_law.fit import Stratum, fit_trial
from envpredict.monitoring.site_law.trial import Row, Trial

DISTANCES = (5.0, 8.0, 12.0, 20.0, 40.0)


def row(number: int, pile: str, distance: float, level: float, section: str = "A") -> Row:
    return Row(line=number, pile=pile, method=PRESS, phase="all", distance_m=distance, ppv_mm_s=level, reads="level",
               quantity="ppv_resultant", section=section, hard=True)


def stratum(rows: list[Row]) -> Stratum:
    return fit_trial(Trial("trial.csv", tuple(rows)), load_catalogue(), "auger_press_estimate")[0].strata[0]


def plain(seed: int = 3, piles: int = 3) -> list[Row]:
    rng = np.random.default_rng(seed)
    return [row(2 + n, f"P{pile}", distance, press_level(distance) * 10 ** rng.normal(0, 0.08))
            for n, (pile, distance) in enumerate((p, d) for p in range(piles) for d in DISTANCES)]


def test_sound_records_are_left_in_peace() -> None:
    assert diagnostics(stratum(plain())) == ()


def test_an_outlier_is_named_with_its_line() -> None:
    rows = [*plain(), row(99, "P9", 14.0, 10 * press_level(14.0))]
    assert any(text.startswith("line 99: more than 3 scatters") for text in diagnostics(stratum(rows)))


def test_curved_records_are_told() -> None:
    rows = [row(n, f"P{n}", distance, press_level(distance) * 10 ** (0.8 * np.log10(distance / 14.0) ** 2 + bump))
            for n, (distance, bump) in enumerate(zip(DISTANCES * 2, (0.01, -0.01) * 5, strict=True))]
    assert any("curve away from a straight line" in text for text in diagnostics(stratum(rows)))


def test_sections_that_differ_are_told() -> None:
    rows = [row(n, f"{section}{n}", distance, press_level(distance) * gain * (1.03 if n % 2 else 0.97), section)
            for n, (section, gain, distance) in enumerate((s, g, d) for s, g in (("A", 0.7), ("B", 1.5))
                                                          for d in DISTANCES)]
    assert any(text.startswith("sections differ") for text in diagnostics(stratum(rows)))


def test_a_pile_that_carries_the_fit_is_named() -> None:
    rows = [row(2, "P1", 10.0, 0.2), row(3, "P2", 20.0, 0.11), row(4, "LOUD", 14.0, 2.2), row(5, "P3", 30.0, 0.07)]
    assert any(text.startswith("pile LOUD carries the fit") for text in diagnostics(stratum(rows)))


def test_ground_far_from_the_published_law_is_marked() -> None:
    rows = [row(n, f"P{n}", distance, 12 * press_level(distance)) for n, distance in enumerate(DISTANCES * 3)]
    assert any("standard deviations from the published law" in mark for mark in stratum(rows).marks)


def test_records_that_scatter_widely_widen_the_law_and_say_so() -> None:
    rng = np.random.default_rng(8)
    rows = [row(n, f"P{n}", distance, press_level(distance) * 10 ** rng.normal(0, 0.5))
            for n, distance in enumerate(DISTANCES * 5)]
    found = stratum(rows)
    assert found.fit is not None
    assert found.fit.within_site > 0.35
    assert any("scatter more widely than the law says" in mark for mark in found.marks)


OWN = """
[laws.mine]
form = "power_law"
constants = { coefficient = 5.0, exponent = 1.1 }
source = { document = "an invented report", place = "table 1", basis = "estimate" }
scatter = { SCATTER }
"""


def own_catalogue(folder: Path, scatter: str) -> object:
    from dataclasses import replace

    path = folder / "own_laws.toml"
    path.write_text(OWN.replace("SCATTER", scatter), encoding="utf-8")
    return replace(load_catalogue(), models=with_own_laws([path]))


def test_a_law_of_the_users_own_can_be_updated(tmp_path: Path) -> None:
    catalogue = own_catalogue(tmp_path, "between_site = 0.3, within_site = 0.2")
    rows = [Row(line=n, pile=f"P{n}", method=PRESS, phase="all", distance_m=d, ppv_mm_s=2.5 * d**-1.1, reads="level",
                quantity="ppv_component", hard=True) for n, d in enumerate(DISTANCES * 2)]
    (found,) = fit_trial(Trial("trial.csv", tuple(rows)), catalogue, "mine")
    assert found.law is not None
    fit = found.law.of("hard")
    assert fit is not None
    assert -np.log10(2.0) < fit.level_shift < -0.2
    assert fit.exponent == pytest.approx(-1.1, abs=0.01)


def test_a_law_that_claims_to_hold_on_every_ground_alike_cant_be_updated(tmp_path: Path) -> None:
    catalogue = own_catalogue(tmp_path, "total = 0.15")
    with pytest.raises(InputProblems, match="claims no scatter between sites"):
        fit_trial(Trial("trial.csv", tuple(plain())), catalogue, "mine")


def test_where_the_ground_isnt_known_a_pile_may_enter_the_hard_stratum() -> None:
    from envpredict.engine.learned.use import pile_ground

    drive = Drives(np.array([0.5, 1.0]), np.ones((2, 2), dtype=bool), np.array([1.0, 1.0]),
                   np.array([-1, -1]), None, "loose_sand", np.zeros(2, dtype=bool))
    assert pile_ground(drive).tolist() == ["hard", "hard"]
