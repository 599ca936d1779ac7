"""Sound by the clock: on-times, blocks, the loudest interval, maxima, long-term means, and how sure they are."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from noise_site import folder
from shapely.geometry import Point

from envpredict.engine.blocks import stretches
from envpredict.engine.catalogue import load_catalogue
from envpredict.engine.intake import read_scenario
from envpredict.engine.noise.longterm import LONG_TERM, long_term
from envpredict.engine.noise.slots import maxima, mean_levels
from envpredict.engine.run import MethodRun, Run, prepare, run_method
from envpredict.engine.sound.times import OnTime, StageTimes
from envpredict.engine.works.choices import choices
from envpredict.limits.periods import Period
from envpredict.models.noise.impulse import laeq_from_sel, sel_from_laeq

HOUR = 3600.0


def period(start: str, end: str, averaging_s: int | None = None, averaging: str = "block") -> Period:
    return Period.model_validate({"id": "p", "label": "p", "from": start, "to": end, "averaging_s": averaging_s,
                                  "averaging": averaging})


def run_of(path: Path, **more: Any) -> tuple[Run, MethodRun]:
    site = {"piles": [(0, 0)], "receptors": [{"id": "H1", "geometry": Point(60, 0)}], **more}
    scenario = read_scenario(folder(path, **site))
    catalogue = load_catalogue(scenario.own)
    run = prepare(scenario, catalogue, choices(scenario, catalogue))
    return run, run_method(run, run.choices[0])


@pytest.fixture(scope="module")
def one(tmp_path_factory: pytest.TempPathFactory) -> tuple[Run, MethodRun]:
    """Return a run of a single pile whose cycle takes exactly three hours."""
    return run_of(tmp_path_factory.mktemp("one") / "site",
                  stated="rate_m_h = { slow = 4, likely = 4, fast = 4 }")


def stage(cycle_s: float) -> StageTimes:
    return StageTimes(np.zeros(1), np.array([cycle_s]), np.array([cycle_s]))


def drive(span_s: float, from_s: float = 0.0, parts: int = 4) -> OnTime:
    return OnTime(np.ones(1, dtype=bool), np.array([from_s]), np.array([span_s]), np.ones(1), parts)


def test_what_drives_works_without_a_break_after_pitching(one: tuple[Run, MethodRun]) -> None:
    _, method = one
    hammer = next(item for item in method.sound.items if item.use.part == "drive")
    times = StageTimes.of(method.passes)
    on = hammer.on_time(method.passes, times)
    # 35 % of three hours; half of the rest goes before it
    assert on.span_s[0] == pytest.approx(0.35 * 3 * HOUR)
    assert on.from_s[0] == pytest.approx(0.325 * 3 * HOUR)
    whole = on.between(np.zeros(1), np.array([3 * HOUR]))
    assert whole.shape == (4, 1)
    assert whole[:, 0] == pytest.approx(np.full(4, 0.35 * 3 * HOUR / 4))
    half = on.between(np.zeros(1), np.array([1.5 * HOUR]))
    assert half.sum() == pytest.approx(0.5 * 0.35 * 3 * HOUR)
    assert half[2:].sum() == 0.0


def test_a_share_counts_for_every_second_and_a_cycle_for_its_own(one: tuple[Run, MethodRun]) -> None:
    _, method = one
    pack = next(item for item in method.sound.items if item.use.part == "cycle")
    times = StageTimes.of(method.passes)
    bare = pack.on_time(method.passes, times)
    share = pack.use.on_time_fraction
    assert bare.between(np.array([600.0]), np.array([1600.0]))[0, 0] == pytest.approx(1000.0 * share)
    timed = OnTime.of(pack.use, method.passes, times, 1, cycle=(60.0, 300.0))
    assert timed.between(np.zeros(1), np.array([3 * HOUR]))[0, 0] == pytest.approx(36 * 60.0)
    assert timed.between(np.array([30.0]), np.array([330.0]))[0, 0] == pytest.approx(60.0)
    # a window of 400 s holds a whole cycle and the 60 s of the next one
    assert timed.loudest(np.ones((1, 1, 1)), np.zeros(1), np.array([9000.0]), np.array([400.0]))[0, 0] == 120.0


def test_the_loudest_interval_is_found_against_brute_force() -> None:
    rng = np.random.default_rng(4)
    for _ in range(40):
        span, begin, window = rng.uniform(100, 900), rng.uniform(0, 300), rng.uniform(20, 1500)
        on = drive(span, begin)
        energy = rng.uniform(0.1, 10.0, (4, 1, 1))
        edges = begin + span * np.arange(5) / 4

        def worth(t: float, energy: np.ndarray = energy, edges: np.ndarray = edges, window: float = window) -> float:
            cut = np.clip([t, t + window], 0.0, 1300.0)
            return float(sum(e * max(min(cut[1], b) - max(cut[0], a), 0.0)
                             for e, a, b in zip(energy[:, 0, 0], edges[:-1], edges[1:], strict=True)))

        length = min(window, 1300.0)
        best = max(worth(float(t)) for t in np.linspace(0.0, max(1300.0 - length, 0.0), 4001))
        found = on.loudest(energy, np.zeros(1), np.array([1300.0]), np.array([window]))[0, 0]
        assert found == pytest.approx(best, rel=2e-3)
        assert found >= best - 1e-9


def test_a_mean_over_a_clock_period_uses_the_on_seconds_inside_it(one: tuple[Run, MethodRun]) -> None:
    _, method = one
    heard = mean_levels(method.sound, method.passes, period("07:00", "19:00"), ())
    by_hand = sum(item.field.energy[:, 0, 0].mean(dtype=float) * item.use.on_time_fraction * 3.0 / 12.0
                  for item in method.sound.items)
    assert heard.level_db()[0, 0] == pytest.approx(10.0 * np.log10(by_hand), abs=1e-6)
    # the pile's cycle runs from 08:00 to 11:00: a period that begins at 09:30 holds the second half of the drive
    late = mean_levels(method.sound, method.passes, period("09:30", "19:00"), ())
    hammer = next(n for n, item in enumerate(method.sound.items) if item.use.part == "drive")
    seconds = 0.5 * 0.35 * 3 * HOUR
    energy = method.sound.items[hammer].field.energy[2:, 0, 0].mean(dtype=float) * seconds / (9.5 * HOUR)
    assert late.energy[hammer, 0, 0] == pytest.approx(energy, rel=1e-6)
    assert late.on_s[hammer, 0] == pytest.approx(seconds)


def test_a_short_mean_is_that_of_the_loudest_interval(one: tuple[Run, MethodRun]) -> None:
    _, method = one
    quarter = mean_levels(method.sound, method.passes, period("07:00", "19:00", 300), ())
    at_work = sum(float(item.field.energy[:, 0, 0].max()) for item in method.sound.items)
    assert quarter.level_db().max() == pytest.approx(10.0 * np.log10(at_work), abs=1e-6)
    # an averaging time as long as the cycle: the two routes meet
    just_under = mean_levels(method.sound, method.passes, period("07:00", "19:00", int(3 * HOUR) - 1), ())
    just = mean_levels(method.sound, method.passes, period("08:00", "11:00", int(3 * HOUR)), ())
    assert just_under.level_db().max() == pytest.approx(just.level_db()[0, 0], abs=0.01)


def test_any_window_is_at_least_as_loud_as_the_blocks(one: tuple[Run, MethodRun]) -> None:
    _, method = one
    blocks = mean_levels(method.sound, method.passes, period("07:00", "19:00", int(4 * HOUR)), ())
    windows = mean_levels(method.sound, method.passes, period("07:00", "19:00", int(4 * HOUR), "rolling"), ())
    assert windows.level_db().max() >= blocks.level_db().max() - 1e-9
    # 4 h hold the whole cycle, wherever they begin: 10 lg(3/4) below the mean over the cycle
    cycle = mean_levels(method.sound, method.passes, period("08:00", "11:00"), ())
    assert windows.level_db().max() == pytest.approx(cycle.level_db()[0, 0] + 10.0 * np.log10(0.75), abs=1e-6)


def test_means_over_the_time_of_work_leave_the_rest_of_the_day_out(one: tuple[Run, MethodRun]) -> None:
    _, method = one
    whole = mean_levels(method.sound, method.passes, period("07:00", "19:00"), ())
    work = mean_levels(method.sound, method.passes, period("07:00", "19:00", None, "operation"), ())
    assert work.of_s[0] == pytest.approx(3 * HOUR)
    assert work.level_db()[0, 0] - whole.level_db()[0, 0] == pytest.approx(10.0 * np.log10(4.0), abs=1e-6)


def test_blows_and_on_time_are_two_routes_to_one_number(tmp_path: Path) -> None:
    # 12 m at 105 blows a metre and 20 a minute: 63 minutes of driving, which is 35 % of three hours
    rate = "rate_m_h = { slow = 4, likely = 4, fast = 4 }"
    run, blows = run_of(tmp_path / "blows", stated=f"{rate}\nblows_per_m = 105\nblow_rate_per_min = 20")
    hammer = blows.sound.items[0]
    assert hammer.driven_s is not None
    assert hammer.driven_s[0] == pytest.approx(0.35 * 3 * HOUR)
    heard = mean_levels(blows.sound, blows.passes, period("07:00", "19:00"), ())
    engine = 10.0 * np.log10(heard.energy[0, 0, 0])
    # the exposure of one blow at the point, by its catalogued 40 a minute; then N of them in twelve hours
    at_work = 10.0 * np.log10(hammer.field.energy[:, 0, 0].mean(dtype=float))
    by_blows = float(laeq_from_sel(sel_from_laeq(at_work, 40.0), 12 * 105, 12 * HOUR))
    assert engine == pytest.approx(by_blows, abs=0.1)
    # the other route: the level at work at this rate of blows, and the on-time
    _, fraction = run_of(tmp_path / "time", stated=rate)
    slower = 10.0 * np.log10(mean_levels(fraction.sound, fraction.passes, period("07:00", "19:00"), ()).energy[0, 0, 0])
    assert engine == pytest.approx(slower + 10.0 * np.log10(20.0 / 40.0), abs=0.1)
    assert run.choices[0].method.blow_rate_per_min is not None


def test_maxima_know_no_on_time_and_combine_by_maximum(one: tuple[Run, MethodRun]) -> None:
    _, method = one
    some = stretches(method.passes, None, ())
    loud = maxima(method.sound, method.passes, some)
    slow = maxima(method.sound, method.passes, some, slow=True)
    each = [10.0 * np.log10(float(item.field.energy[:, 0, 0].max())) + item.above_db
            for item in method.sound.items]
    assert loud.level_db().max() == pytest.approx(max(each), abs=1e-6)
    assert (loud.energy > 0.0).sum(axis=0).max() == 1
    # LASmax of blows at 40 a minute lies 2.9 dB above the mean while driving: 10 lg(1.5 / (1 - exp(-1.5)))
    assert slow.level_db().max() == pytest.approx(each[0] - method.sound.items[0].above_db + 2.86, abs=0.01)
    brief = replace(method.sound, items=tuple(
        replace(item, use=item.use.model_copy(update={"on_time_fraction": 0.01, "on_time_low": 0.01}))
        for item in method.sound.items))
    again = maxima(brief, method.passes, some)
    assert again.level_db() == pytest.approx(loud.level_db())


def test_single_blows_are_told_with_their_number(tmp_path: Path) -> None:
    from envpredict.engine.assess import assess
    from envpredict.engine.noise.blows import blows_heard
    from envpredict.engine.traced.explain import explain

    stated = "rate_m_h = { slow = 4, likely = 4, fast = 4 }\nblows_per_m = 105\nblow_rate_per_min = 20"
    site = {"piles": [(0, 0), (30, 0)], "receptors": [{"id": "H1", "geometry": Point(60, 0)}], "stated": stated}
    run, method = run_of(tmp_path / "blows", **site)
    blows = blows_heard(run, method)
    assert blows is not None
    # the plant's own row: SEL of one blow at 10 m, hard ground by hand 20 lg(r / 10); pile 2 stands 30 m away
    at_10 = blows.item.plant.sel_10m_db
    assert at_10 is not None
    assert blows.sel_db[0] == pytest.approx(at_10 - 20.0 * np.log10(30.0 / 10.0), abs=0.6)
    assert blows.most[0] == 12 * 105
    # N equal blows: SEL + 10 lg N, less what the lower heights lose; and LAeq over 12 h by SEL and blows of both piles
    # is the engine's mean of the hammer by its on-time: two routes to one number
    assert blows.drive_sel_db[0] == pytest.approx(blows.sel_db[0] + 10.0 * np.log10(1260.0), abs=0.5)
    heard = mean_levels(method.sound, method.passes, period("07:00", "19:00"), ())
    each = blows.item.field.energy[:, 0].mean(axis=0, dtype=float) * 10.0 ** (blows.item.blow_above_db / 10.0) * 1260.0
    assert 10.0 * np.log10(heard.energy[0, 0, 0]) == pytest.approx(
        10.0 * np.log10(each.sum() / (12 * HOUR)), abs=0.1)
    # the rate of blows changes the mean, not the blow
    _, faster = run_of(tmp_path / "fast", **{**site, "stated": stated.replace("= 20", "= 60")})
    again = blows_heard(run, faster)
    assert again is not None
    assert again.sel_db[0] == pytest.approx(blows.sel_db[0])
    assert again.lafmax_db[0] == pytest.approx(blows.lafmax_db[0])
    # nothing falls on a pressed pile
    run, pressed = run_of(tmp_path / "press", piles=[(0, 0)], method="press_in")
    assert blows_heard(run, pressed) is None
    # they stand in the table and in the trace
    found = assess(read_scenario(folder(tmp_path / "told", **site)), grids=False)
    row = found.detail["noise_needs"].iloc[0]
    assert row["blow_sel_db"] == pytest.approx(blows.sel_db[0], abs=2e-3)
    assert (row["pile_blows"], row["blow_lafmax_db"] > row["blow_sel_db"]) == (1260, True)
    text = " ".join(explain(found, "H1").split())
    assert "Loudest single blow here" in text
    assert "1260 blows" in text


def test_a_limit_on_the_exposure_of_a_blow_is_judged(tmp_path: Path) -> None:
    _, method = run_of(tmp_path / "a")
    some = stretches(method.passes, None, ())
    heard = maxima(method.sound, method.passes, some, blow=True)
    hammer = method.sound.items[0]
    assert hammer.blow_above_db == pytest.approx(-10.0 * np.log10(40.0 / 60.0))
    assert heard.level_db().max() == pytest.approx(
        10.0 * np.log10(float(hammer.field.energy[:, 0, 0].max())) + hammer.blow_above_db, abs=1e-6)
    assert (heard.energy > 0.0).sum(axis=0).max() == 1


def test_two_rigs_at_once_are_heard_together(tmp_path: Path) -> None:
    _, method = run_of(tmp_path / "site", piles=[(0, 0), (0, 1)], rigs=2)
    assert set(method.passes.rig) == {1, 2}
    both = mean_levels(method.sound, method.passes, period("07:00", "19:00", 300), ()).level_db()
    alone = [sum(float(item.field.energy[:, 0, pile].max()) for item in method.sound.items) for pile in (0, 1)]
    assert both.max() == pytest.approx(10.0 * np.log10(sum(alone)), abs=1e-6)


def test_a_years_nights_and_thirty_days_are_energy_means(tmp_path: Path) -> None:
    _, method = run_of(tmp_path / "site", more='[[reductions]]\nid = "restricted_hours"\n'
                       'shift = { from = "23:00", to = "07:00" }')
    night = mean_levels(method.sound, method.passes, period("23:00", "07:00"), ())
    year = long_term(method.sound, method.passes, LONG_TERM["lnight_db"], ())
    month = long_term(method.sound, method.passes, LONG_TERM["ldn_db"], ())
    assert year is not None
    assert month is not None
    energy = night.energy.sum(axis=0)[0].sum()
    assert year.level_db()[0, 0] == pytest.approx(10.0 * np.log10(energy / 365.0), abs=1e-6)
    # nights from 22:00 are raised by 10 dB: 8 h of work in 30 days of 24 h
    assert month.level_db()[0, 0] == pytest.approx(10.0 * np.log10(10.0 * energy * 8.0 / (30.0 * 24.0)), abs=1e-6)
    pile = year.by_pile(np.array([0]), np.array([0]))
    assert pile.shape == (1, 1)
    assert pile[0, 0] > 0.0


def test_a_line_of_equal_positions_is_no_surer_than_one(tmp_path: Path) -> None:
    one_u, many_u = (
        mean_levels(method.sound, method.passes, period("07:00", "19:00"), ())
        for _, method in (run_of(tmp_path / f"n{n}", piles=[(0, 0.1 * k) for k in range(n)]) for n in (1, 12)))
    for heard in (one_u, many_u):
        loudest = heard.energy[:, 0, 0].argmax()
        assert heard.median_db()[1][0, 0] > 0.5 * heard.u_db[loudest]
    assert many_u.median_db()[1][0].min() == pytest.approx(one_u.median_db()[1][0, 0], abs=0.02)
    assert many_u.way_u_db[0].min() == pytest.approx(one_u.way_u_db[0, 0], abs=0.02)


def test_a_line_of_equal_positions_is_judged_no_surer_than_one(tmp_path: Path) -> None:
    from envpredict.engine.assess import assess

    found = []
    for n in (1, 12):
        site = folder(tmp_path / f"j{n}", piles=[(0, 0.1 * k) for k in range(n)],
                      receptors=[{"id": "H1", "geometry": Point(45, 0)}])
        findings = assess(read_scenario(site), grids=False).findings
        found.append(findings[(findings["effect"] == "noise") & findings["predicted_median"].notna()].iloc[0])
    assert found[1]["scatter"] >= found[0]["scatter"] - 0.02
    # more piles, more chances: never fewer than those of one, whatever their number
    assert found[1]["p_exceed"] >= found[0]["p_exceed"] - 1e-6
