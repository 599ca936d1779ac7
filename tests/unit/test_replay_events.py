"""Replay of complete records: when a trigger fires, when it's silent, what stops work and what lets it go on."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import pytest
from records_folder import (
    LOG,
    MONDAY,
    NOISE,
    VIBRATION,
    WORKS,
    noise_rows,
    plan,
    vibration_rows,
    write,
)

from envpredict.core.errors import InputProblems
from envpredict.monitoring.plan_schema import Plan
from envpredict.monitoring.records.read import read_records
from envpredict.monitoring.records.stamps import iso
from envpredict.monitoring.replay.batch import Replayed, replay
from envpredict.monitoring.replay.events import KINDS, Event, event_id, plan_id
from envpredict.monitoring.replay.triggers import rolling_criteria, triggers_of

NINE = MONDAY.replace(hour=9)


def noise_alone(**sections: object) -> Plan:
    """Return the plan with its noise station alone, so that silent sensors don't fill the page."""
    base = plan(**sections)  # type: ignore[arg-type]
    return base.model_copy(update={"stations": tuple(one for one in base.stations if one.id == "N1"), "proxies": (),
                                   "phases": ()})


def vibration_alone(**sections: object) -> Plan:
    base = plan(**sections)  # type: ignore[arg-type]
    return base.model_copy(update={"stations": tuple(one for one in base.stations if one.id == "V1"), "proxies": (),
                                   "phases": ()})


def told(folder: Path, plan_: Plan, **tables: Iterable[str]) -> Replayed:
    write(folder, **tables)
    return replay(plan_, read_records(folder))


def said(events: Iterable[Event]) -> list[tuple[str, str, str]]:
    return [(event.event, event.rule, iso(event.t or 0)[11:19]) for event in events]


def test_a_peak_is_told_at_each_level_it_reaches(tmp_path: Path) -> None:
    # levels of V1: alert 5, action 7.5, stop 10; a level that is reached exactly counts
    rows = vibration_rows(NINE, [1, 4.99, 5.0, 1, 7.4, 10.0])
    found = told(tmp_path, vibration_alone(), vibration=[VIBRATION, *rows])
    assert said(found.events) == [("alert", "damage/alert", "09:00:30"), ("action", "damage/action", "09:01:00"),
                                  ("stop", "damage/stop", "09:01:00")]
    first = found.events[0]
    assert (first.level, first.threshold, first.unit) == (5.0, 5.0, "mm/s")
    assert first.file == "vibration.csv, line 4"
    assert first.tell == ("foreman",)
    assert found.held == (found.events[2].id,)


def test_a_level_reached_over_and_over_is_told_once_per_run(tmp_path: Path) -> None:
    quiet = [0.1] * 95
    found = told(tmp_path, vibration_alone(), vibration=[
        VIBRATION, *vibration_rows(NINE, [6, 1, 6, 6, *quiet[:80], 6, *quiet, 6])])
    # 80 quiet rows are 13 minutes, 95 are nearly 16: only then is it another run
    assert [event.event for event in found.events] == ["alert", "alert"]
    assert said(found.events)[1][2] == "09:30:10"


def test_averages_are_told_when_they_are_sure(tmp_path: Path) -> None:
    # levels of N1: alert 60, action 63, stop 65 over the 12 hours from 07:00; running 15 min and 1 h warn before
    block = [50.0] * 24 + [78.0] * 12 + [50.0] * 108
    found = told(tmp_path, noise_alone(), noise=[NOISE, *noise_rows(MONDAY.replace(hour=7), block)])
    whole = [event for event in found.events if event.rule == "noise/stop"]
    # 78 dB have 65 dB over 12 h after 12 h / 10^1.3 = 36.1 min: in the eighth interval, long before the period's end
    assert [iso(event.t or 0)[11:16] for event in whole] == ["09:40"]
    # eight intervals of 144: 78 + 10 lg(8/144) = 65.45 dB, and a little from the 50 dB before
    assert whole[0].level == pytest.approx(65.47, abs=0.01)
    assert "whatever follows" in whole[0].reason
    assert {event.rule for event in found.events} == {
        "noise/alert", "noise/action", "noise/stop", "noise/running 900 s/alert", "noise/running 900 s/action",
        "noise/running 3600 s/alert", "noise/running 3600 s/action"}
    # a running average never stops work by itself
    assert not any("running" in event.rule for event in found.events if event.event == "stop")


def test_a_running_average_is_that_of_a_whole_window(tmp_path: Path) -> None:
    found = told(tmp_path, noise_alone(), noise=[
        NOISE, *noise_rows(MONDAY.replace(hour=10), [50.0, 50.0, 64.6, 50.0, 50.0])])
    # one interval of 64.6 dB in three: 64.6 - 4.77 + a little = 60.0 dB in 15 minutes
    assert [event.rule for event in found.events] == ["noise/running 900 s/alert"]
    assert found.events[0].level == pytest.approx(60.11, abs=0.01)
    below = told(tmp_path / "b", noise_alone(), noise=[
        NOISE, *noise_rows(MONDAY.replace(hour=10), [50.0, 50.0, 64.4, 50.0, 50.0])])
    assert below.events == ()


def test_readings_outside_the_hours_of_a_limit_dont_count(tmp_path: Path) -> None:
    sunday = MONDAY.replace(day=7)
    found = told(tmp_path, noise_alone(), noise=[
        NOISE, *noise_rows(MONDAY.replace(hour=5), [80.0] * 24), *noise_rows(sunday.replace(hour=9), [80.0] * 24)])
    assert [event.event for event in found.events if event.quantity] == []


def test_weather_keeps_a_reading_from_raising_an_alarm(tmp_path: Path) -> None:
    head = NOISE + ",wind_m_s"
    rows = noise_rows(MONDAY.replace(hour=10), [80.0] * 6)
    assert told(tmp_path / "w", noise_alone(), noise=[head, *(f"{row},6.0" for row in rows)]).events == ()
    assert told(tmp_path / "c", noise_alone(), noise=[head, *(f"{row},4.0" for row in rows)]).events != ()


def test_silence_in_working_hours_is_an_event_and_stops_work(tmp_path: Path) -> None:
    rows = noise_rows(MONDAY.replace(hour=8), [50.0] * 100)
    found = told(tmp_path, noise_alone(), noise=[NOISE, *rows[:12], *rows[15:]])
    # the plan tolerates 10 minutes, two intervals: known at 09:10 although readings come again at 09:15
    assert said(found.events) == [("monitor_down", "monitor_down/silent", "09:10:00"),
                                  ("stop", "monitor_down/silent/stop", "09:10:00")]
    assert found.held == (found.events[1].id,)
    mild = told(tmp_path / "m", noise_alone(data={"down_stops_work": False}), noise=[NOISE, *rows[:12], *rows[15:]])
    assert [event.event for event in mild.events] == ["monitor_down"]
    # two intervals missing are just tolerated
    assert told(tmp_path / "t", noise_alone(), noise=[NOISE, *rows[:12], *rows[14:]]).events == ()


def test_silence_at_night_and_at_weekends_is_none(tmp_path: Path) -> None:
    friday = MONDAY.replace(day=5, hour=16)
    rows = noise_rows(friday, [50.0] * 12)
    after = noise_rows(MONDAY.replace(day=8, hour=8), [50.0] * 12)
    assert told(tmp_path, noise_alone(), noise=[NOISE, *rows, *after]).events == ()
    # from 16:55 to 08:05 there are 5 and 5 minutes of work: just tolerated; without the next row it's too much
    assert told(tmp_path / "a", noise_alone(), noise=[NOISE, *rows[:11], *after[1:]]).events == ()
    found = told(tmp_path / "b", noise_alone(), noise=[NOISE, *rows[:11], *after[2:]])
    assert said(found.events)[0] == ("monitor_down", "monitor_down/silent", "08:05:00")


@pytest.mark.parametrize(("overload", "status", "rule"), [
    (1, "", "monitor_down/clipped"), (0, "overload", "monitor_down/clipped")])
def test_a_clipped_reading_is_an_event_at_once(tmp_path: Path, overload: int, status: str, rule: str) -> None:
    rows = vibration_rows(NINE, [0.1, 3.0, 0.1])
    rows[1] = rows[1].rsplit(",", 2)[0] + f",{overload},{status}"
    found = told(tmp_path, vibration_alone(), vibration=[VIBRATION, *rows])
    assert said(found.events) == [("monitor_down", rule, "09:00:20"), ("stop", f"{rule}/stop", "09:00:20")]


def test_a_clipped_reading_still_raises_the_alarm_it_reaches(tmp_path: Path) -> None:
    rows = vibration_rows(NINE, [0.1, 11.0, 0.1])
    rows[1] = rows[1].rsplit(",", 2)[0] + ",1,"
    found = told(tmp_path, vibration_alone(), vibration=[VIBRATION, *rows])
    assert {event.rule for event in found.events} >= {"damage/stop", "monitor_down/clipped"}


@pytest.mark.parametrize(("status", "rule"), [
    ("under_range", "monitor_down/under_range"), ("fault", "monitor_down/fault")])
def test_a_logger_that_doesnt_measure_is_as_good_as_silent(tmp_path: Path, status: str, rule: str) -> None:
    rows = [row + status if 6 <= number < 80 else row
            for number, row in enumerate(vibration_rows(NINE, [0.1] * 90))]
    found = told(tmp_path, vibration_alone(), vibration=[VIBRATION, *rows])
    # since 09:01:00, too long after 10 minutes of work
    assert said(found.events)[0] == ("monitor_down", rule, "09:11:00")
    short = [row + status if 6 <= number < 60 else row
             for number, row in enumerate(vibration_rows(NINE, [0.1] * 90))]
    assert told(tmp_path / "s", vibration_alone(), vibration=[VIBRATION, *short]).events == ()


def test_a_late_record_is_an_event_and_rewrites_nothing(tmp_path: Path) -> None:
    rows = vibration_rows(NINE, [0.1] * 200)
    late = vibration_rows(MONDAY.replace(hour=8, minute=50), [0.1, 11.0, 0.1])
    found = told(tmp_path, vibration_alone(), vibration=[VIBRATION, *rows, *late, *vibration_rows(
        MONDAY.replace(hour=9, minute=33, second=20), [0.1] * 3)])
    # the first of the run, and the one that would have reached a level
    assert [(event.event, "reaches" in event.reason) for event in found.events] == [("late", False), ("late", True)]
    assert not [event for event in found.events if event.event == "stop"]
    # within the lateness the plan states, it's judged as any other
    near = vibration_rows(MONDAY.replace(hour=9, minute=20, second=5), [11.0], seconds=4)
    rows = [row for row in rows if "09:20:" not in row]
    found = told(tmp_path / "n", vibration_alone(), vibration=[VIBRATION, *rows, *near])
    assert [event.event for event in found.events] == ["alert", "action", "stop"]


def test_a_stop_holds_until_a_named_person_lets_work_go_on(tmp_path: Path) -> None:
    rows = vibration_rows(NINE, [11.0, *[0.1] * 5, 11.0, *[0.1] * 5])
    first = told(tmp_path, vibration_alone(), vibration=[VIBRATION, *rows])
    stop = next(event for event in first.events if event.event == "stop")
    assert first.held == (stop.id,)
    log = [LOG, f"2027-03-01T09:00:30Z,restart,V1,{stop.id},A. Engineer,,,,cause found"]
    found = told(tmp_path, vibration_alone(), vibration=[VIBRATION, *rows], log=log)
    restart = next(event for event in found.events if event.event == "restart")
    assert (restart.by, restart.stops, restart.reason) == ("A. Engineer", stop.id, "cause found")
    # after a restart a level that is reached again is told again at once
    assert [event.event for event in found.events] == ["alert", "action", "stop", "restart", "alert", "action", "stop"]
    assert found.held == (found.events[-1].id,)


@pytest.mark.parametrize(("row", "why"), [
    ("2027-03-01T08:59:00Z,restart,V1,,A. Engineer,,,,before the stop", "no stop holds"),
    ("2027-03-01T09:05:00Z,restart,N1,,A. Engineer,,,,another station", "no stop holds"),
    ("2027-03-01T09:05:00Z,restart,V1,0123,A. Engineer,,,,another event", "no stop holds")])
def test_a_restart_that_answers_no_stop_counts_for_nothing(tmp_path: Path, row: str, why: str) -> None:
    found = told(tmp_path, plan(), vibration=[VIBRATION, *vibration_rows(NINE, [11.0, 0.1])], log=[LOG, row])
    assert any(event.event == "stop" for event in found.events)
    assert len(found.held) == len([event for event in found.events if event.event == "stop"])
    assert any(why in note for note in found.notes)


def test_a_restart_without_a_name_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputProblems, match="nobody is named"):
        told(tmp_path, plan(), vibration=[VIBRATION, *vibration_rows(NINE, [11.0])],
             log=[LOG, "2027-03-01T09:05:00Z,restart,V1,,,,,,"])


def test_the_diary_explains_an_alarm_or_doesnt(tmp_path: Path) -> None:
    rows = vibration_rows(NINE, [6.0, *[0.1] * 200, 6.0])
    found = told(tmp_path, vibration_alone(), vibration=[VIBRATION, *rows], works=[
        WORKS, "2027-03-01T08:50:00Z,2027-03-01T08:59:00Z,pressing,press,P1"])
    # the diary's step of 5 minutes and the clocks' tolerance are allowed for
    assert [event.works for event in found.events] == [("P1",), ()]
    assert told(tmp_path / "n", vibration_alone(), vibration=[VIBRATION, *rows]).events[0].works is None


def test_ids_depend_on_plan_station_rule_and_slot_alone(tmp_path: Path) -> None:
    rows = vibration_rows(NINE, [0.1] * 50 + [11.0])
    first = told(tmp_path / "a", vibration_alone(), vibration=[VIBRATION, *rows]).events
    # fewer rows before, other columns, another file: the same event
    second = told(tmp_path / "b", vibration_alone(), vibration=[VIBRATION, *rows[40:]]).events
    assert [event.id for event in first] == [event.id for event in second]
    event = first[0]
    assert event.id == event_id(plan_id(vibration_alone()), "V1", "damage/alert", event.slot)
    other = told(tmp_path / "c", vibration_alone(data={"max_gap_min": 9.0}), vibration=[VIBRATION, *rows]).events
    assert {event.id for event in first}.isdisjoint({event.id for event in other})


def test_events_come_the_oldest_first(tmp_path: Path) -> None:
    found = told(tmp_path, plan(), noise=[NOISE, *noise_rows(MONDAY.replace(hour=7), [66.0] * 100)],
                 vibration=[VIBRATION, *vibration_rows(NINE, [11.0] * 4),
                            *vibration_rows(NINE, [2.5] * 4, station="V1f")])
    order = [event.order for event in found.events]
    assert order == sorted(order)
    assert {event.event for event in found.events} <= set(KINDS)


def test_a_correction_to_another_position_is_added(tmp_path: Path) -> None:
    base = noise_alone()
    moved = base.model_copy(update={"stations": tuple(one.model_copy(update={"correction_db": 3.0})
                                                      for one in base.stations)})
    rows = noise_rows(MONDAY.replace(hour=10), [58.0] * 4)
    assert told(tmp_path / "a", base, noise=[NOISE, *rows]).events == ()
    found = told(tmp_path / "b", moved, noise=[NOISE, *rows])
    assert found.events[0].level == 61.0


def test_every_level_of_the_plan_becomes_a_trigger() -> None:
    base = plan()
    found = {station.id: [(one.form, one.criterion, dict(one.tiers)) for one in triggers_of(base, station)]
             for station in base.stations}
    assert found["V1"] == [("peak", "damage", {"alert": 5.0, "action": 7.5, "stop": 10.0})]
    assert [one[0] for one in found["N1"]] == ["block", "window", "window"]
    assert found["N1"][1][2] == {"alert": 60.0, "action": 63.0}


def changed(base: Plan, **values: object) -> Plan:
    """Return a plan with its first criterion changed."""
    return base.model_copy(update={"criteria": (base.criteria[0].model_copy(update=values), *base.criteria[1:])})


def test_an_averaging_time_that_may_start_at_any_moment_is_judged_at_any_moment(tmp_path: Path) -> None:
    # Hong Kong, restricted hours: LAeq of any 5 minutes from 19:00 to 23:00, as the set says; readings of 1 minute
    base = changed(noise_alone(), limit_set="hk_restricted_hours_noise", rule="evening", averaging_s=300.0,
                   period="Monday to Saturday 19-23", starts="19:00", ends="23:00")
    moving = base.model_copy(update={"stations": (base.stations[0].model_copy(update={"interval_s": 60.0}),)})
    assert rolling_criteria(moving) == {"noise"}
    # five loud minutes that lie across two blocks of the clock, from 19:03 to 19:08
    rows = noise_rows(MONDAY.replace(hour=19), [40.0] * 3 + [66.0] * 5 + [40.0] * 20, seconds=60)
    stops = [event for event in told(tmp_path / "a", moving, noise=[NOISE, *rows]).events if event.event == "stop"]
    # four of five minutes already reach it: 66 + 10 lg(4/5) = 65.03 dB
    assert [(iso(event.slot[0])[11:16], iso(event.slot[1])[11:16]) for event in stops] == [("19:02", "19:07")]
    assert stops[0].level == pytest.approx(65.04, abs=0.01)
    # blocks of the clock, three minutes and two, would never reach it
    fixed = changed(moving, rule="none")
    assert rolling_criteria(fixed) == frozenset()
    assert not [event for event in told(tmp_path / "b", fixed, noise=[NOISE, *rows]).events if event.event == "stop"]


def test_movement_is_told_whichever_way_it_goes(tmp_path: Path) -> None:
    base = plan()
    station = base.stations[1].model_copy(update={
        "id": "M1", "kind": "movement", "criteria": ("crack",), "quantities": ("crack_width_mm",),
        "interval_s": 86400.0})
    criterion = base.criteria[1].model_copy(update={
        "id": "crack", "quantity": "crack_width_mm", "unit": "mm", "value": 0.5, "consented_value": None})
    levels = base.levels[1].model_copy(update={"criterion": "crack", "alert": 0.2, "action": 0.35, "stop": 0.5})
    moving = base.model_copy(update={"stations": (station,), "criteria": (criterion,), "levels": (levels,),
                                     "proxies": (), "phases": ()})
    found = told(tmp_path, moving, movement=["station_id,t,crack_width_mm", "M1,2027-03-01T07:00:00Z,0.02",
                                             "M1,2027-03-02T07:00:00Z,-0.4", "M1,2027-03-06T07:00:00Z,0.1"])
    assert [(event.event, event.rule.split("/")[0]) for event in found.events] == [
        ("alert", "crack"), ("action", "crack"), ("monitor_down", "monitor_down"), ("stop", "monitor_down")]
