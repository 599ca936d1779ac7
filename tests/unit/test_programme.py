"""The arithmetic of shifts by hand, and clock blocks."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scenario_folder import CRS, EAST, NORTH, Folder

from envpredict.engine.blocks import clock_blocks, inside
from envpredict.engine.catalogue import load_catalogue
from envpredict.engine.intake import read_scenario
from envpredict.engine.run import prepare, run_method
from envpredict.engine.sound.times import StageTimes
from envpredict.engine.works.choices import MethodChoice, choices
from envpredict.engine.works.programme import SPEEDS, Passes, Speed, events, plan_work
from envpredict.engine.works.shifts import Shifts, Window
from envpredict.engine.works.shifts import fill_shifts as fill
from envpredict.engine.works.site import read_site
from envpredict.engine.works.soil import drives, read_ground
from envpredict.limits.periods import Period
from envpredict.scenario.types import Scenario

HOUR = 3600.0


def fill_shifts(durations_s: np.ndarray, from_s: float, length_s: float) -> Shifts:
    """Lay jobs into shifts of the same hours."""
    return fill(durations_s, [Window(((from_s, from_s + length_s),))] * len(durations_s))


def passes(days: list[str], starts_h: list[float], ends_h: list[float]) -> Passes:
    count = len(days)
    return Passes(np.arange(count), np.ones(count, dtype=int), np.zeros(count, dtype=int),
                  np.array(days, dtype="datetime64[D]"), np.array(starts_h) * HOUR, np.array(ends_h) * HOUR,
                  np.ones(count), np.zeros(count, dtype=bool), np.zeros(count, dtype=bool), ())


def test_ten_piles_of_two_and_a_half_hours_in_ten_hour_shifts() -> None:
    # by hand: four piles fill a shift of 10 h; the fifth starts the next day: 4 + 4 + 2
    laid = fill_shifts(np.full(10, 2.5 * HOUR), 8 * HOUR, 10 * HOUR)
    assert laid.shift.tolist() == [0, 0, 0, 0, 1, 1, 1, 1, 2, 2]
    assert (laid.start_s / HOUR).tolist() == [8.0, 10.5, 13.0, 15.5] * 2 + [8.0, 10.5]


def test_a_pile_that_would_overrun_waits_for_the_next_shift() -> None:
    laid = fill_shifts(np.array([6.0, 6.0, 3.0]) * HOUR, 8 * HOUR, 10 * HOUR)
    assert laid.shift.tolist() == [0, 1, 1]
    assert (laid.end_s / HOUR).tolist() == [14.0, 14.0, 17.0]


def test_a_pile_longer_than_a_shift_goes_on_the_next_day() -> None:
    laid = fill_shifts(np.array([2.0, 25.0, 1.0]) * HOUR, 8 * HOUR, 10 * HOUR)
    assert laid.job.tolist() == [0, 1, 1, 1, 2]
    assert laid.part.tolist() == [0, 0, 1, 2, 0]
    assert laid.shift.tolist() == [0, 1, 2, 3, 3]
    assert (laid.end_s[3] - laid.start_s[3]) / HOUR == pytest.approx(5.0)


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(60.0, 90_000.0), min_size=1, max_size=40))
def test_no_time_is_lost_or_worked_twice(durations: list[float]) -> None:
    laid = fill_shifts(np.array(durations), 8 * HOUR, 10 * HOUR)
    worked = np.bincount(laid.job, weights=laid.end_s - laid.start_s)
    assert worked == pytest.approx(durations)
    assert (laid.start_s >= 8 * HOUR - 1e-6).all()
    assert (laid.end_s <= 18 * HOUR + 1e-6).all()
    order = laid.shift * 86_400 + laid.start_s
    assert (order[1:] >= (laid.shift * 86_400 + laid.end_s)[:-1] - 1e-6).all()


def test_a_duration_that_is_no_time_is_refused() -> None:
    with pytest.raises(ValueError, match="positive, finite"):
        fill_shifts(np.array([1.0, np.nan]), 0.0, 100.0)


def period(start: str, end: str, days: list[str] | str = "all", averaging_s: int | None = None) -> Period:
    return Period.model_validate({"id": "p", "label": "p", "days": days if isinstance(days, list) else [days],
                                  "from": start, "to": end, "averaging_s": averaging_s})


def test_a_block_holds_the_seconds_of_the_passes_inside_it() -> None:
    # 2027-03-01 is a Monday
    work = passes(["2027-03-01", "2027-03-01"], [6.5, 12.0], [7.5, 13.0])
    blocks = clock_blocks(work, period("07:00", "19:00", "weekdays"), ())
    assert len(blocks) == 1
    assert (blocks.overlap_s[:, 0] / HOUR).tolist() == [0.5, 1.0]
    assert blocks.length_s.tolist() == [12 * HOUR]


def test_hourly_blocks_hold_only_the_hours_that_are_worked() -> None:
    work = passes(["2027-03-01"], [9.5], [11.25])
    blocks = clock_blocks(work, period("07:00", "19:00", averaging_s=3600), ())
    assert (blocks.slots.start / HOUR).tolist() == [9.0, 10.0, 11.0]
    assert (blocks.overlap_s[0] / HOUR).tolist() == pytest.approx([0.5, 1.0, 0.25])


def test_a_night_period_belongs_to_the_day_on_which_it_starts() -> None:
    # work from 01:00 to 02:00 on Tuesday (as a shift of Monday that started at 22:00) belongs to Monday's night
    work = passes(["2027-03-01"], [25.0], [26.0])
    blocks = clock_blocks(work, period("23:00", "07:00", ["mon"]), ())
    assert blocks.slots.day.astype(str).tolist() == ["2027-03-01"]
    assert blocks.overlap_s[0, 0] == pytest.approx(HOUR)
    assert not inside(work, period("23:00", "07:00", ["tue"]), ()).any()


def test_a_holiday_counts_as_a_holiday_alone() -> None:
    work = passes(["2027-03-29"], [9.0], [10.0])       # a Monday
    assert inside(work, period("07:00", "19:00", ["mon"]), ()).all()
    assert not inside(work, period("07:00", "19:00", ["mon"]), ["2027-03-29"]).any()
    assert inside(work, period("07:00", "19:00", ["holiday"]), ["2027-03-29"]).all()


def test_a_shift_with_other_hours_waits_for_the_next_day() -> None:
    day, night = Window.between(8 * HOUR, 18 * HOUR), Window.between(23.5 * HOUR, 5 * HOUR)
    laid = fill(np.array([4.0, 4.0, 3.0, 3.0, 2.0]) * HOUR, [day, day, night, night, day])
    # by hand: two day piles fill 8 of 10 h; the night pile starts on the next date, its fellow would overrun 05:00
    assert laid.shift.tolist() == [0, 0, 1, 2, 3]
    assert (laid.start_s / HOUR).tolist() == [8.0, 12.0, 23.5, 23.5, 8.0]
    assert (laid.end_s / HOUR).tolist() == [12.0, 16.0, 26.5, 26.5, 10.0]


def test_a_pause_splits_what_runs_across_it() -> None:
    window = Window.between(8 * HOUR, 18 * HOUR).without(12 * HOUR, 13 * HOUR)
    assert window.length_s == 9 * HOUR
    laid = fill(np.array([3.0, 3.0, 3.0]) * HOUR, [window] * 3)
    assert (laid.start_s / HOUR).tolist() == [8.0, 11.0, 13.0, 15.0]
    assert (laid.end_s / HOUR).tolist() == [11.0, 12.0, 15.0, 18.0]
    assert laid.job.tolist() == [0, 1, 1, 2]


@pytest.mark.parametrize(
    ("hours", "pause", "spans"),
    [
        ((22, 6), (2, 3), [(22, 26), (27, 30)]), ((22, 6), (21, 23), [(23, 30)]), ((8, 18), (17, 19), [(8, 17)]),
        ((8, 18), (20, 21), [(8, 18)]), ((22, 6), (23, 1), [(22, 23), (25, 30)]),
    ],
)
def test_pauses_round_the_clock(hours: tuple[float, float], pause: tuple[float, float],
                                spans: list[tuple[float, float]]) -> None:
    found = Window.between(hours[0] * HOUR, hours[1] * HOUR).without(pause[0] * HOUR, pause[1] * HOUR)
    assert [(start / HOUR, to / HOUR) for start, to in found.spans] == spans


def test_windows_share_what_lies_in_both() -> None:
    night, early = Window.between(23.5 * HOUR, 5 * HOUR), Window.between(0.5 * HOUR, 4.5 * HOUR)
    common = night.shared(early)
    assert common is not None
    assert [(start / HOUR, to / HOUR) for start, to in common.spans] == [(24.5, 28.5)]
    assert Window.between(8 * HOUR, 12 * HOUR).shared(Window.between(13 * HOUR, 15 * HOUR)) is None
    with pytest.raises(ValueError, match="spans of time"):
        Window(((5.0, 4.0),))


# --- a wall of ten piles, worked out by hand --------------------------------------------------------------------------
# Ten piles of 12.8 m in dense sand, pressed with an auger: the catalogue's rates there are 2, 3.2 and 5 m/h, so a pile
# takes 6.4, 4 or 2.56 h; a shift has 10 h; work starts on Monday 1 March 2027, Wednesday is a holiday.


@pytest.fixture
def wall(tmp_path: Path) -> Folder:
    folder = Folder(tmp_path / "site")
    folder.toml('strata = "boreholes.csv" ', '#strata = "boreholes.csv" ').toml('# class = "dense_sand"',
                                                                               'class = "dense_sand"')
    folder.toml("holidays = [] ", "holidays = [2027-03-03] ")

    def ten(features: list[dict]) -> None:
        shape = gpd.GeoSeries([shapely.LineString([(EAST, NORTH), (EAST + 11.0, NORTH)])], crs=CRS).to_crs(4326)
        features[0]["geometry"] = {"type": "LineString", "coordinates": [list(at) for at in shape[0].coords]}
        features[0]["properties"] |= {"length_m": 12.8, "spacing_m": 1.2}

    folder.features("piles.geojson", ten)
    return folder


def plan(folder: Folder, method: str = "press_in_auger", speed: Speed = "likely"
         ) -> tuple[Passes, Scenario, MethodChoice]:
    scenario = read_scenario(folder.path)
    choice = next(one for one in choices(scenario, load_catalogue()) if one.id == method)
    ground = drives(scenario, read_ground(scenario))
    return plan_work(scenario, choice, ground, read_site(scenario), speed), scenario, choice


def test_ten_piles_at_three_rates(wall: Folder) -> None:
    days = {speed: plan(wall, speed=speed)[0].days.astype(str).tolist() for speed in SPEEDS}
    # slow: one pile a day, ten working days; likely: two a day; fast: three a day, 3 + 3 + 3 + 1
    assert days["likely"] == ["2027-03-01", "2027-03-02", "2027-03-04", "2027-03-05", "2027-03-08"]
    assert days["fast"] == ["2027-03-01", "2027-03-02", "2027-03-04", "2027-03-05"]
    assert len(days["slow"]) == 10
    assert days["slow"][-1] == "2027-03-15"
    work, _, _ = plan(wall)
    assert work.pile.tolist() == list(range(10))
    assert (work.start_s / HOUR).tolist() == pytest.approx([8.0, 12.0] * 5)
    assert (work.end_s / HOUR).tolist() == pytest.approx([12.0, 16.0] * 5)
    assert work.share.tolist() == pytest.approx([1.0] * 10)
    assert work.calendar_days == 8


def test_two_rigs_share_the_wall(wall: Folder) -> None:
    wall.toml("rigs = 1", "rigs = 2")
    work, _, _ = plan(wall)
    # each rig five piles of 4 h: 2 + 2 + 1, three days
    assert len(work.days) == 3
    assert sorted(work.pile[work.rig == 1].tolist()) == [0, 1, 2, 3, 4]
    assert sorted(work.pile[work.rig == 2].tolist()) == [5, 6, 7, 8, 9]
    assert (work.start_s[:2] / HOUR).tolist() == [8.0, 8.0]


def test_the_other_direction_starts_from_the_other_end(wall: Folder) -> None:
    first = plan(wall)[1].piles.geometry.iloc[0]
    wall.toml('# direction = "reverse"', 'direction = "reverse"')
    work, scenario, _ = plan(wall)
    assert work.pile.tolist() == list(range(10)), "the piles come in driving order"
    assert scenario.piles.geometry.iloc[-1].distance(first) < 0.01


def test_stages_follow_one_another_with_their_own_plant(wall: Folder) -> None:
    wall.toml('id = "press_in_auger"', 'id = "preauger_press"')
    work, scenario, choice = plan(wall, "preauger_press")
    # 4.9 m/h in dense sand: 2.612 h a pile, half of it augering; seven passes of 1.306 h fit into 10 h
    assert work.stages == ("preauger", "drive")
    assert work.stage_of.tolist() == [0, 1] * 10
    assert (work.end_s - work.start_s)[0] / HOUR == pytest.approx(12.8 / 4.9 / 2)
    assert (work.day == np.datetime64("2027-03-01")).sum() == 7
    table = events(scenario, choice, work, drives(scenario, None))
    assert set(table[table["pass"] == "preauger"]["plant"]) == {"cfa_rig", "excavator"}
    assert set(table[table["pass"] == "drive"]["plant"]) == {"press_unit", "press_power_pack", "service_crane"}
    # the auger rig works 40 % of the cycle, all of it in the first half: 80 % of the pass
    auger = table[(table["plant"] == "cfa_rig")].iloc[0]
    assert auger["on_time_s"] == pytest.approx(0.8 * 12.8 / 4.9 / 2 * HOUR, abs=0.1)
    assert (auger["toe_from_m"], auger["toe_to_m"]) == (0.0, 12.8)
    driven = table[(table["pass"] == "drive") & (table["plant"] == "press_unit")]
    assert (driven["toe_to_m"] == 12.8).all()


def test_a_pile_that_is_drawn_comes_up_from_its_full_depth(wall: Folder) -> None:
    wall.toml('id = "press_in_auger"', 'id = "extract_vibratory"')
    work, scenario, choice = plan(wall, "extract_vibratory")
    table = events(scenario, choice, work, drives(scenario, None))
    one = table[table["plant"] == "vibrator"]
    assert (one["toe_from_m"] == 12.8).all()
    assert (one["toe_to_m"] == 0.0).all()


def test_piles_in_a_possession_are_worked_at_night(wall: Folder) -> None:
    box = gpd.GeoDataFrame({"kind": ["possession"], "value_m": [None], "from": ["23:30"], "to": ["05:00"]},
                           geometry=[shapely.box(EAST + 5.5, NORTH - 2, EAST + 20, NORTH + 2)], crs=CRS)
    box.to_file(wall / "limits.gpkg")
    wall.toml('# constraints = "limits.gpkg"', 'constraints = "limits.gpkg"')
    work, scenario, choice = plan(wall)
    night = work.pile >= 5
    # piles 0 to 4 at 0 to 4.8 m by day: 2 + 2 + 1; the other five at night, one of 4 h in each night of 5.5 h
    assert (work.start_s[~night] / HOUR).tolist() == pytest.approx([8.0, 12.0, 8.0, 12.0, 8.0])
    assert (work.start_s[night] / HOUR).tolist() == pytest.approx([23.5] * 5)
    assert (work.end_s[night] / HOUR).tolist() == pytest.approx([27.5] * 5)
    assert work.day[night].astype(str).tolist() == ["2027-03-05", "2027-03-08", "2027-03-09", "2027-03-10",
                                                    "2027-03-11"]
    table = events(scenario, choice, work, drives(scenario, None))
    last = table.iloc[-1]
    # the shift belongs to the date on which it starts; the pass itself ends after midnight
    assert last["day"] == "2027-03-11"
    assert last["end"].date() == dt.date(2027, 3, 12)
    blocks = clock_blocks(work, period("23:00", "07:00"), ())
    assert blocks.overlap_s.sum() == pytest.approx(5 * 4 * HOUR)


def test_the_programme_tells_the_on_times_that_the_sound_is_predicted_with(wall: Folder) -> None:
    wall.toml("energy_kj = 40", "energy_kj = 40\nblows_per_m = 120\nblow_rate_per_min = 45")
    scenario = read_scenario(wall.path)
    catalogue = load_catalogue(scenario.own)
    run = prepare(scenario, catalogue, choices(scenario, catalogue))
    method = run_method(run, next(one for one in run.choices if one.id == "impact_hydraulic"))
    table = events(scenario, method.choice, method.passes, run.drive)
    # by hand: 120 blows a metre at 45 a minute, whatever fraction of the cycle the catalogue states
    length = scenario.piles.set_index("id")["length_m"]
    hammer = table[table["blows"] > 0].groupby("pile")["on_time_s"].sum()
    assert hammer.to_numpy() == pytest.approx(length[hammer.index].to_numpy() * 120 / 45 * 60, rel=1e-3)
    times = StageTimes.of(method.passes)
    until = times.begun_s + method.passes.end_s - method.passes.start_s
    heard = {item.use.plant: float(item.on_time(method.passes, times).between(times.begun_s, until).sum())
             for item in method.sound.items}
    assert table.groupby("plant")["on_time_s"].sum().to_dict() == pytest.approx(heard, rel=1e-3)


def test_blows_are_those_of_the_metres_driven(wall: Folder) -> None:
    work, scenario, choice = plan(wall, "impact_hydraulic")
    table = events(scenario, choice, work, drives(scenario, None))
    # 150 blows/m in dense sand (an estimate of the catalogue): 12.8 x 150 = 1920 a pile
    hammer = table[table["plant"] == "hydraulic_hammer_light"]
    assert hammer.groupby("pile")["blows"].sum().tolist() == [1920.0] * 10
    # 6.3 m/h: 2.03 h, 35 % of it at work
    assert hammer["on_time_s"].iloc[0] == pytest.approx(12.8 / 6.3 * 0.35 * HOUR, abs=0.1)


def test_a_start_on_a_holiday_and_an_empty_shift_are_told(wall: Folder) -> None:
    wall.toml("start = 2027-03-01", "start = 2027-03-03").toml('from = "08:00", to = "18:00"',
                                                               'from = "08:00", to = "08:00"')
    told = "\n".join(wall.problems())
    assert "zero length" in told
    wall.toml('from = "08:00", to = "08:00"', 'from = "08:00", to = "18:00"')
    assert "is a holiday" in "\n".join(wall.problems())
