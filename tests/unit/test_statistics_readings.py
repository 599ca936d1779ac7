"""Readings in order: copies, contradictions, clocks that step back, gaps; and what plan and log say of them."""

from __future__ import annotations

import random
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from records_folder import LOG, MONDAY, NOISE, VIBRATION, noise_rows, plan, vibration_rows, write

from envpredict.monitoring.records import flags as flag
from envpredict.monitoring.records.context import context
from envpredict.monitoring.records.order import Ordered, in_order
from envpredict.monitoring.records.read import read_records

NINE = MONDAY.replace(hour=9)
RISING = [50.0 + n / 10 for n in range(40)]


def ordered(folder: Path, rows: list[str], table: str = "noise") -> Ordered:
    write(folder, **{table: [NOISE if table == "noise" else VIBRATION, *rows]})
    return in_order(read_records(folder).rows(table, "N1" if table == "noise" else "V1"))


def words(found: Ordered) -> list[list[str]]:
    return [flag.words(int(one)) for one in found.rows.flags]


def test_rows_in_order_are_left_alone(tmp_path: Path) -> None:
    found = ordered(tmp_path, noise_rows(NINE, RISING))
    assert not found.rows.flags.any()
    assert not found.disorder
    assert not len(found.gap_start)


def test_shuffled_rows_are_put_in_order_and_named(tmp_path: Path) -> None:
    rows = noise_rows(NINE, RISING)
    mixed = [*rows]
    random.Random(3).shuffle(mixed)
    found = ordered(tmp_path, mixed)
    assert found.rows.values["laeq_db"].tolist() == RISING
    assert [one.what for one in found.disorder] == ["shuffled"]
    late = next(number for number in range(1, 40) if rows.index(mixed[number]) < rows.index(mixed[number - 1]))
    assert found.disorder[0].where == f"noise.csv, line {late + 2}"
    assert not found.rows.flags.any()


def test_a_copy_is_used_once(tmp_path: Path) -> None:
    rows = noise_rows(NINE, RISING[:4])
    found = ordered(tmp_path, [*rows[:2], rows[1], *rows[2:]])
    assert words(found) == [[], [], ["duplicate"], [], []]
    assert not found.disorder


def test_rows_that_contradict_one_another_are_lower_bounds(tmp_path: Path) -> None:
    rows = noise_rows(NINE, RISING[:4])
    found = ordered(tmp_path, [*rows, rows[1].replace("50.1", "66.0")])
    held = {float(level): said for level, said in zip(found.rows.values["laeq_db"], words(found), strict=True)}
    assert "conflict" in held[50.1]
    assert "conflict" in held[66.0]
    assert flag.usable(found.rows.flags).all()
    assert flag.complete(found.rows.flags).sum() == 3


@pytest.mark.parametrize("back_s", [40, 95, 60, 600])
def test_a_clock_that_steps_back_is_told_with_its_size(tmp_path: Path, back_s: int) -> None:
    first = vibration_rows(NINE, [0.1 + n / 100 for n in range(90)])
    then = vibration_rows(NINE + timedelta(seconds=900 - back_s), [0.5 + n / 100 for n in range(90)])
    found = ordered(tmp_path, [*first, *then], "vibration")
    assert [(one.what, one.size_s) for one in found.disorder] == [("clock_back", float(back_s))]
    assert found.disorder[0].where == "vibration.csv, line 92"


def test_two_loggers_under_one_id_are_told(tmp_path: Path) -> None:
    first, second = vibration_rows(NINE, RISING), vibration_rows(NINE, [one + 0.3 for one in RISING])
    mixed = [row for pair in zip(first, second, strict=True) for row in pair]
    found = ordered(tmp_path, mixed, "vibration")
    assert [one.what for one in found.disorder] == ["two_loggers"]


def test_gaps_are_listed_and_not_filled(tmp_path: Path) -> None:
    rows = noise_rows(NINE, RISING)
    found = ordered(tmp_path, [*rows[:5], *rows[8:20], *rows[21:]])
    assert ((found.gap_end - found.gap_start) / 300_000).tolist() == [3.0, 1.0]
    assert len(found.rows) == 36


def test_a_stuck_instrument_is_flagged_but_a_quiet_one_isnt(tmp_path: Path) -> None:
    found = ordered(tmp_path / "a", noise_rows(NINE, [*RISING, *[55.5] * 30, *RISING]))
    stuck = (found.rows.flags & flag.STUCK) != 0
    assert stuck.tolist() == [False] * 40 + [True] * 30 + [False] * 40
    found = ordered(tmp_path / "b", noise_rows(NINE, [55.5] * 19))
    assert not found.rows.flags.any()
    loud = vibration_rows(NINE, [0.4] * 700, hertz=12.0)
    assert ((ordered(tmp_path / "c", loud, "vibration").rows.flags & flag.STUCK) != 0).all()
    quiet = vibration_rows(NINE, [0.02] * 700)
    assert not ordered(tmp_path / "d", quiet, "vibration").rows.flags.any()


WEATHER = "station_id,t_start,duration_s,laeq_db,wind_m_s,gust_m_s,rain_mm"


def test_weather_voids_readings_of_every_noise_station(tmp_path: Path) -> None:
    sky = ["2,4,0", "5.5,8,0", "5,10,0", "3,10.5,0", "2,3,0.2", ",,"]
    rows = [f"{row},{now}" for row, now in zip(noise_rows(NINE, RISING[:6]), sky, strict=True)]
    write(tmp_path, noise=[WEATHER, *rows])
    whole = context(plan(), read_records(tmp_path))
    said = [flag.words(int(one)) for one in whole.readings("noise", "N1").rows.flags]
    assert said == [[], ["wind"], [], ["wind"], ["rain"], []]
    kept = context(plan(weather={"rain": "flagged", "max_gust_m_s": None}), read_records(tmp_path))
    said = [flag.words(int(one)) for one in kept.readings("noise", "N1").rows.flags]
    assert said == [[], ["wind"], [], [], ["rain_noted"], []]


def test_spans_are_left_out_by_a_logged_decision_alone(tmp_path: Path) -> None:
    write(tmp_path, noise=[NOISE, *noise_rows(NINE, RISING[:6])], log=[
        LOG, "2027-03-02T08:00:00Z,excluded,N1,,reviewer,,2027-03-01T09:07:00Z,2027-03-01T09:12:00Z,brass band"])
    found = context(plan(), read_records(tmp_path)).readings("noise", "N1")
    assert words(found) == [[], ["excluded"], ["excluded"], [], [], []]
    assert found.rows.values["laeq_db"].tolist() == RISING[:6], "the raw values stay"


def test_drift_voids_what_lies_between_two_checks(tmp_path: Path) -> None:
    write(tmp_path, noise=[NOISE, *noise_rows(NINE, RISING[:6])], log=[
        LOG, "2027-03-01T09:10:00Z,field_check,N1,,someone,0.2,,,",
        "2027-03-01T09:20:00Z,field_check,N1,,someone,0.6,,,", "2027-03-01T10:00:00Z,field_check,N1,,someone,-0.1,,,"])
    found = context(plan(), read_records(tmp_path)).readings("noise", "N1")
    assert words(found) == [[], [], ["drift"], ["drift"], [], []]


def test_flags_say_what_may_be_used() -> None:
    flags = np.array([0, flag.OVERLOAD, flag.CONFLICT, flag.BATTERY, flag.FILLER, flag.WIND, flag.DUPLICATE,
                      flag.OVERLAP, flag.OVERLOAD | flag.WIND], dtype=np.int32)
    assert flag.usable(flags).tolist() == [True, True, True, True, False, False, False, True, False]
    assert flag.complete(flags).tolist() == [True, False, False, True, False, False, False, True, False]
    assert all(flag.words(bit) == [word] for bit, (word, _) in flag.MEANING.items())
