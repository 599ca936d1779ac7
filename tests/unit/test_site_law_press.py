"""Press records beside the strata: harder ground is found and flagged, correlations are screened, faults are named."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from site_law_site import PRESS, press_level, scenario

from envpredict.core.errors import InputProblems
from envpredict.engine.catalogue import load_catalogue
from envpredict.engine.intake import read_scenario
from envpredict.monitoring.site_law.fit import Fitted, fit_trial
from envpredict.monitoring.site_law.press_records import by_stratum, press_of, read_works
from envpredict.monitoring.site_law.press_screen import correlations, rank_correlation, screened
from envpredict.monitoring.site_law.trial import Row, Trial
from envpredict.scenario.types import Scenario

HEAD = "t_start,t_end,activity,method,pile_id,depth_from_m,depth_to_m,press_force_kn,torque_kn_m,penetration_m_min"
PILES = tuple(f"A-{number:03d}" for number in range(1, 9))


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    # the starter's borehole: sand to 6 m, then gravel at refusal and very dense sand
    return read_scenario(scenario(tmp_path_factory.mktemp("press") / "site", None))


def steps(pile: str, force: dict[float, float] | None = None, rate: dict[float, float] | None = None,
          to_m: float = 9.0, factor: float = 1.0) -> list[str]:
    """Return depth steps of half a metre: 200 kN in the sand, 800 kN below 6 m, but for what is given."""
    lines = []
    for number, top in enumerate(np.arange(0.0, to_m, 0.5)):
        usual = 200.0 if top < 6.0 else 800.0
        kn, metres = (force or {}).get(float(top), factor * usual), (rate or {}).get(float(top), 1.0)
        stamp = f"2027-03-01T08:{number:02d}:00Z,2027-03-01T08:{number + 1:02d}:00Z"
        lines.append(f"{stamp},piling,{PRESS},{pile},{top:g},{top + 0.5:g},{kn:g},{kn / 10:g},{metres:g}")
    return lines


def written(folder: Path, lines: list[str], head: str = HEAD) -> Path:
    path = folder / "works.csv"
    path.write_text("\n".join([head, *lines]) + "\n", encoding="utf-8")
    return path


def trial(gain: dict[str, float]) -> tuple[Fitted, ...]:
    some = [Row(line=number, pile=pile, method=PRESS, phase="all", distance_m=distance,
                ppv_mm_s=press_level(distance) * 10.0 ** gain[pile], reads="level", quantity="ppv_resultant", hard=True)
            for number, (pile, distance) in enumerate((p, d) for p in PILES for d in (5.0, 10.0, 20.0))]
    return fit_trial(Trial("trial.csv", tuple(some)), load_catalogue(), "auger_press_estimate")


def test_records_stand_beside_what_the_borehole_shows(tmp_path: Path, site: Scenario) -> None:
    table, _ = read_works(written(tmp_path, [*steps("A-001"), *steps("A-002")]))
    press = press_of(table, site)
    assert press is not None
    assert press.piles == ["A-001", "A-002"]
    assert set(press.word[press.to_m <= 6.0]) == {"other"}
    assert set(press.word[press.from_m >= 6.0]) == {"hard"}
    lines = by_stratum(press)
    assert lines[1] == ("borehole BH1, 1.5 to 6 m, medium dense sand (other): 18 steps; press force 200 (200 to 200) "
                        "kN; torque 20 (20 to 20) kN m; rate of penetration 1 (1 to 1) m/min")


def test_ground_as_hard_as_the_hard_stratum_above_it_is_flagged(tmp_path: Path, site: Scenario) -> None:
    early = {4.0: 820.0, 4.5: 850.0, 5.0: 830.0}
    found = screened(written(tmp_path, [*steps("A-001"), *steps("A-010", early), *steps("A-020")]), site, ())
    (one,) = found.harder
    assert (one.from_m, one.to_m) == (4.0, 5.5)
    assert one.why == ("pile A-010: press force 850 kN from 4 to 5.5 m (as in the hard stratum), where borehole BH1 "
                       "shows medium dense sand")
    # the pile itself, and piles to which it is the nearest pressed one and nearer than the borehole
    assert "A-010" in one.piles
    assert "A-011" in one.piles
    assert not {"A-001", "A-020"} & set(one.piles)
    assert "HARDER THAN THE BOREHOLES" in found.text


def test_a_single_hard_step_is_no_ground(tmp_path: Path, site: Scenario) -> None:
    lines = [*steps("A-001"), *steps("A-010", {4.0: 900.0}, to_m=9.0)]
    lines = [line.replace(",4,4.5,", ",4,4.3,").replace(",4.5,5,", ",4.3,5,") if "A-010" in line else line
             for line in lines]
    found = screened(written(tmp_path, lines), site, ())
    assert found.harder == ()
    assert "nowhere harder than the boreholes show" in found.text


def test_without_steps_in_the_hard_stratum_twice_the_median_decides(tmp_path: Path, site: Scenario) -> None:
    soft = [*steps("A-001", to_m=6.0), *steps("A-002", to_m=6.0), *steps("A-003", {3.0: 410.0, 3.5: 450.0}, to_m=6.0)]
    (one,) = screened(written(tmp_path, soft), site, ()).harder
    assert "(at least 2 times the median of all steps)" in one.why
    just_below = [*steps("A-001", to_m=6.0), *steps("A-003", {3.0: 390.0, 3.5: 399.0}, to_m=6.0)]
    assert screened(written(tmp_path, just_below), site, ()).harder == ()


def test_a_pile_that_hardly_goes_down_is_flagged(tmp_path: Path, site: Scenario) -> None:
    slow = [*steps("A-001"), *steps("A-002", rate={5.0: 0.2, 5.5: 0.1})]
    (one,) = screened(written(tmp_path, slow), site, ()).harder
    assert "rate of penetration 0.1 m/min from 5 to 6 m (at most 0.25 times the median of all steps)" in one.why


def test_a_correlation_is_shown_where_chance_would_rarely_give_it(tmp_path: Path, site: Scenario) -> None:
    order = np.linspace(-0.15, 0.15, len(PILES))
    found = trial(dict(zip(PILES, order, strict=True)))
    lines = [line for number, pile in enumerate(PILES) for line in steps(pile, factor=1.0 + 0.1 * number)]
    table, _ = read_works(written(tmp_path, lines))
    press = press_of(table, site)
    assert press is not None
    said = correlations(press, found)
    assert "with vibration: press force goes with the level on this site (rank correlation 1.00, 8 piles" in said[0]
    assert "not used in any prediction" in said[0]
    mixed = trial(dict(zip(PILES, order[[3, 0, 6, 1, 7, 4, 2, 5]], strict=True)))
    assert all("no correlation that chance wouldn't give" in text for text in correlations(press, mixed))


def test_few_piles_tell_nothing_of_a_correlation(tmp_path: Path, site: Scenario) -> None:
    table, _ = read_works(written(tmp_path, [*steps("A-001"), *steps("A-002")]))
    press = press_of(table, site)
    assert press is not None
    assert correlations(press, trial(dict.fromkeys(PILES, 0.0))) == [
        "with vibration: 2 piles have both records; 6 are needed to tell anything"]


def test_what_never_changes_has_no_correlation() -> None:
    assert rank_correlation(np.ones(7), np.arange(7.0)) == (0.0, 1.0)


def test_a_diary_without_press_records_says_so(tmp_path: Path, site: Scenario) -> None:
    bare = "2027-03-01T08:00:00Z,2027-03-01T09:00:00Z,piling,press_in_auger,A-001,,,,,"
    found = screened(written(tmp_path, [bare]), site, ())
    assert found.harder == ()
    assert "holds no force, torque or rate" in found.text


@pytest.mark.parametrize(("old", "new", "said"), [
    ("A-001", "A-999", "works.csv, line 2: no pile 'A-999' in the scenario"),
    (",0,0.5,", ",,0.5,", "works.csv, line 2: press records without the depths"),
    (",0,0.5,", ",0.5,0.5,", "works.csv, line 2: press records without the depths"),
    ("2027-03-01T08:00:00Z,", "2027-03-01T08:00:00,", "works.csv, line 2: '2027-03-01T08:00:00' under t_start has no"),
    (",200,", ",much,", "works.csv, line 2: 'much' under press_force_kn is no number")])
def test_faulty_press_records_are_named_with_their_line(tmp_path: Path, site: Scenario, old: str, new: str,
                                                        said: str) -> None:
    lines = steps("A-001")
    lines[0] = lines[0].replace(old, new, 1)
    with pytest.raises(InputProblems) as caught:
        screened(written(tmp_path, lines), site, ())
    assert any(str(problem).startswith(said) for problem in caught.value.problems), caught.value
