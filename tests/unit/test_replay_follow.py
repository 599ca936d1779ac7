"""Following growing records: killed at any moment, cut at any byte, the events are those of an undisturbed run."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import textwrap
import threading
import time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from records_folder import MONDAY, RIVER_WALL, VIBRATION, plan, vibration_rows, write

from envpredict.core.errors import EnvpredictError
from envpredict.monitoring.plan_file import read_plan
from envpredict.monitoring.plan_schema import Plan
from envpredict.monitoring.records.read import read_records
from envpredict.monitoring.replay.batch import replay
from envpredict.monitoring.replay.events import plan_id
from envpredict.monitoring.replay.follow import Follower
from envpredict.monitoring.replay.journal import Journal
from envpredict.monitoring.replay.run import follow

KILLS = int(os.environ.get("ENVPREDICT_KILLS", "5"))
"""How often each killed run is killed; 100 for a thorough run."""
CUTS = int(os.environ.get("ENVPREDICT_CUTS", "25"))
"""How many ways of growing are tried; thousands for a thorough run."""
ROOM = 40_000
"""Bytes between two states: small, so that there are many moments at which to be killed."""


def started(folder: Path, events: Path, plan_folder: Path) -> subprocess.Popen[bytes]:
    code = textwrap.dedent(f"""
        from pathlib import Path
        from envpredict.monitoring.plan_file import read_plan
        from envpredict.monitoring.replay.run import follow
        follow(read_plan({str(plan_folder)!r}), Path({str(folder)!r}), Path({str(events)!r}), lambda text: None,
               silent_by="records", idle_s=0.8, room={ROOM})
    """)
    return subprocess.Popen([sys.executable, "-c", code], stderr=subprocess.PIPE)


def state_of(events: Path, run: subprocess.Popen[bytes]) -> bool:
    """Wait until a run has written a state of its own, or has ended; tell whether it has one."""
    state = events.with_name(events.name + ".state")
    before = state.stat().st_mtime_ns if state.exists() else 0
    while run.poll() is None:
        if state.exists() and state.stat().st_mtime_ns != before:
            return True
        time.sleep(0.01)
    return False


def undisturbed(folder: Path, events: Path, plan_folder: Path) -> bytes:
    follow(read_plan(plan_folder), folder, events, lambda text: None, silent_by="records", idle_s=0.0, room=ROOM)
    return events.read_bytes()


def killed(folder: Path, events: Path, plan_folder: Path, chance: random.Random) -> bytes:
    """Follow a folder, killed over and over at random moments, then to the end."""
    for _ in range(KILLS):
        run = started(folder, events, plan_folder)
        # the first state is there: the program has started
        _ = state_of(events, run)
        time.sleep(chance.uniform(0.0, 0.5))
        run.send_signal(signal.SIGKILL)
        run.wait()
    run = started(folder, events, plan_folder)
    assert run.wait(timeout=120) == 0, run.stderr.read().decode() if run.stderr else ""
    return events.read_bytes()


def test_killed_at_random_the_events_are_the_same(tmp_path: Path) -> None:
    records, plan_folder = RIVER_WALL / "records", RIVER_WALL / "plan"
    whole = undisturbed(records, tmp_path / "whole.jsonl", plan_folder)
    assert whole.count(b"\n") > 5
    assert killed(records, tmp_path / "killed.jsonl", plan_folder, random.Random(11)) == whole


def test_killed_while_the_file_grows_the_events_are_the_same(tmp_path: Path) -> None:
    plan_folder = RIVER_WALL / "plan"
    data = (RIVER_WALL / "records" / "vibration.csv").read_bytes()
    static, growing = tmp_path / "static", tmp_path / "growing"
    for folder in (static, growing):
        folder.mkdir()
        for name in ("works.csv", "log.csv"):
            (folder / name).write_bytes((RIVER_WALL / "records" / name).read_bytes())
    (static / "vibration.csv").write_bytes(data)
    whole = undisturbed(static, tmp_path / "whole.jsonl", plan_folder)
    chance = random.Random(12)

    def grow() -> None:
        # pieces end anywhere, also inside a line
        with (growing / "vibration.csv").open("wb") as file:
            at = 0
            while at < len(data):
                step = chance.randint(1, 90_000)
                file.write(data[at:at + step])
                file.flush()
                at += step
                time.sleep(0.05)

    writer = threading.Thread(target=grow)
    writer.start()
    found = killed(growing, tmp_path / "killed.jsonl", plan_folder, random.Random(13))
    writer.join()
    # restarts come when the log is read, which here lies before its stops: the alarms are compared
    assert [line for line in found.splitlines() if b'"restart"' not in line] == [
        line for line in whole.splitlines() if b'"restart"' not in line]


def steps_of(plan_: Plan, folder: Path, events: Path, data: bytes, cuts: list[int], *, again: bool) -> list[str]:
    """Let a file grow to each of some sizes; with `again` the follower is begun anew at each of them."""
    target = folder / "vibration.csv"
    target.write_bytes(b"")
    with Journal(events, plan_id(plan_)) as journal:
        follower = Follower(plan_, folder, journal, lambda text: None, "records")
        follower.begin()
        for cut in [*cuts, len(data)]:
            target.write_bytes(data[:cut])
            if again:
                follower = Follower(plan_, folder, journal, lambda text: None, "records")
                follower.begin()
            while follower.step() is not None:
                pass
    return events.read_text(encoding="utf-8").splitlines()


def lively(seed: int) -> list[str]:
    """Return rows with everything in them: alarms, gaps, clipping, faults, late and shuffled rows, a clock stepping."""
    chance = random.Random(seed)
    rows: list[str] = []
    for station in ("V1", "V1f"):
        peaks: list[float | str] = [round(chance.lognormvariate(0.0, 1.2), 2) for _ in range(400)]
        mine = vibration_rows(MONDAY.replace(hour=8, minute=chance.randint(0, 50)), peaks, station=station)
        for _ in range(4):
            begin = chance.randint(0, 300)
            del mine[begin:begin + chance.choice((5, 70, 90))]
        mine = [row.rsplit(",", 2)[0] + chance.choice((",0,", ",0,", ",0,", ",1,", ",0,under_range")) for row in mine]
        rows += mine
    rows.sort(key=lambda row: row.split(",")[1])
    for _ in range(6):
        at, to = chance.randrange(len(rows)), chance.randrange(len(rows))
        rows.insert(to, rows.pop(at))
    rows.insert(chance.randrange(len(rows)), "V1,not a time,10,1,1,1,1,1,1,0,")
    rows.insert(chance.randrange(len(rows)), rows[chance.randrange(len(rows))])
    step = chance.randrange(len(rows) // 2)
    rows[step:step] = [row.replace(",20.0,", ",21.0,", 1) for row in rows[step + 5:step + 9]]
    return rows


@settings(max_examples=CUTS, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 10_000), fractions=st.lists(st.floats(0.0, 1.0), max_size=6), again=st.booleans())
def test_events_dont_depend_on_how_the_file_grows(tmp_path_factory: pytest.TempPathFactory, seed: int,
                                                  fractions: list[float], again: bool) -> None:
    folder = tmp_path_factory.mktemp("grow")
    data = "\n".join([VIBRATION, *lively(seed)]).encode() + b"\n"
    cuts = sorted(int(part * len(data)) for part in fractions)
    whole = steps_of(plan(), folder, folder / "whole.jsonl", data, [], again=False)
    cut = steps_of(plan(), folder, folder / "cut.jsonl", data, cuts, again=again)
    assert cut == whole
    assert len({json.loads(line)["id"] for line in whole}) == len(whole), "an id was told twice"


@pytest.mark.parametrize(("seed", "cuts"), [
    (1636, [20_000]), (67_806, [19_016]), (2560, [7458, 12_813, 23_983, 25_255]), (77_506, [65, 3552, 10_230, 31_181])])
def test_a_deadline_among_rows_that_dont_measure_is_told_alike(tmp_path: Path, seed: int, cuts: list[int]) -> None:
    # found by random search: what a logger said after the deadline must not colour what was told at it
    data = "\n".join([VIBRATION, *lively(seed)]).encode() + b"\n"
    whole = steps_of(plan(), tmp_path, tmp_path / "whole.jsonl", data, [], again=False)
    every = sorted({*cuts, *range(0, len(data), 2500)})
    for number, again in enumerate((False, True)):
        assert steps_of(plan(), tmp_path, tmp_path / f"{number}.jsonl", data, every, again=again) == whole


@pytest.mark.parametrize("seed", range(6))
def test_batch_and_follow_tell_the_same(tmp_path: Path, seed: int) -> None:
    rows = [row for row in lively(seed) if "not a time" not in row]
    write(tmp_path, vibration=[VIBRATION, *rows])
    follow(plan(), tmp_path, tmp_path / "events.jsonl", lambda text: None, silent_by="records", idle_s=0.0)
    followed = set((tmp_path / "events.jsonl").read_text().splitlines())
    batch = {event.line("Europe/London") for event in replay(plan(), read_records(tmp_path)).events}
    # at once, nobody knows how far other stations were ahead when a row came: those that lag behind are told by follow
    down = {line for line in followed ^ batch if '"monitor_down/' in line}
    assert followed - down == batch - down


def test_a_torn_last_event_is_cut_and_written_anew(tmp_path: Path) -> None:
    write(tmp_path, vibration=[VIBRATION, *vibration_rows(MONDAY.replace(hour=9), [0.1, 6.0, 0.1, 11.0])])
    events = tmp_path / "events.jsonl"
    follow(plan(), tmp_path, events, lambda text: None, silent_by="records", idle_s=0.0)
    whole = events.read_bytes()
    state = tmp_path / "events.jsonl.state"
    assert state.is_file()
    # as if killed in the middle of writing: the state is older than the lines, the last line is torn
    state.unlink()
    for cut in (1, 40, len(whole) // 2, len(whole) - 3, len(whole)):
        events.write_bytes(whole[:cut])
        state.unlink(missing_ok=True)
        follow(plan(), tmp_path, events, lambda text: None, silent_by="records", idle_s=0.0)
        assert events.read_bytes() == whole


def test_what_the_state_vouches_for_must_be_there(tmp_path: Path) -> None:
    write(tmp_path, vibration=[VIBRATION, *vibration_rows(MONDAY.replace(hour=9), [6.0])])
    events = tmp_path / "events.jsonl"
    follow(plan(), tmp_path, events, lambda text: None, silent_by="records", idle_s=0.0)
    whole = events.read_bytes()
    events.write_bytes(whole[:10])
    with pytest.raises(EnvpredictError, match="lines were taken out"):
        follow(plan(), tmp_path, events, lambda text: None, silent_by="records", idle_s=0.0)
    events.write_bytes(whole)
    with pytest.raises(EnvpredictError, match="plan has changed"):
        follow(plan(data={"max_gap_min": 9.0}), tmp_path, events, lambda text: None, idle_s=0.0)
    (tmp_path / "vibration.csv").write_text("x" * 400, encoding="utf-8")
    with pytest.raises(EnvpredictError, match="isn't what it was"):
        follow(plan(), tmp_path, events, lambda text: None, silent_by="records", idle_s=0.0)
    (tmp_path / "torn.jsonl").write_text("no event\n", encoding="utf-8")
    with pytest.raises(EnvpredictError, match="isn't an event"):
        follow(plan(), tmp_path, tmp_path / "torn.jsonl", lambda text: None, idle_s=0.0)


def test_two_replays_dont_write_one_file(tmp_path: Path) -> None:
    write(tmp_path, vibration=[VIBRATION])
    with (Journal(tmp_path / "events.jsonl", "x"), pytest.raises(EnvpredictError, match="another replay"),
          Journal(tmp_path / "events.jsonl", "x")):
        pass


def test_an_event_is_told_within_a_second(tmp_path: Path) -> None:
    write(tmp_path, vibration=[VIBRATION, *vibration_rows(MONDAY.replace(hour=9), [0.1] * 10)])
    events, vibration = tmp_path / "events.jsonl", tmp_path / "vibration.csv"
    thread = threading.Thread(target=follow, args=(plan(), tmp_path, events, lambda text: None),
                              kwargs={"silent_by": "records", "idle_s": 2.5})
    thread.start()
    deadline = time.monotonic() + 20.0
    while not (tmp_path / "events.jsonl.state").exists() and time.monotonic() < deadline:
        time.sleep(0.02)
    waits = []
    for number in range(3):
        before = events.stat().st_size
        # each an hour after the one before, so that it isn't the same run of alarms
        row = vibration_rows(MONDAY.replace(hour=10 + number), [12.0])[0]
        with vibration.open("a", encoding="utf-8") as file:
            file.write(row + "\n")
        begin = time.monotonic()
        while events.stat().st_size == before and time.monotonic() < begin + 5.0:
            time.sleep(0.005)
        waits.append(time.monotonic() - begin)
    thread.join()
    assert max(waits) < 1.0, waits


def test_a_silent_logger_is_told_by_the_clock_on_the_wall(tmp_path: Path) -> None:
    write(tmp_path, vibration=[VIBRATION, *vibration_rows(MONDAY.replace(hour=9), [0.1] * 10)])
    said: list[str] = []
    works = {"works": {"first_piling": None, "last_piling": None}}
    base = plan(**works)  # type: ignore[arg-type]
    past = base.model_copy(update={"phases": ()})
    shifted = (tmp_path / "vibration.csv").read_text(encoding="utf-8").replace("2027-03-01", "2021-03-01")
    (tmp_path / "vibration.csv").write_text(shifted, encoding="utf-8")
    follow(past, tmp_path, tmp_path / "events.jsonl", said.append, silent_by="wall", idle_s=0.0)
    told = [json.loads(line) for line in (tmp_path / "events.jsonl").read_text(encoding="utf-8").splitlines()]
    down = [one for one in told if one["event"] == "monitor_down"]
    assert {one["station"] for one in down} == {"N1", "V1", "V1f"}
    assert any("WORK IS STOPPED" in text for text in said)
    follow(past, tmp_path, tmp_path / "events.jsonl", said.append, silent_by="wall", idle_s=0.0)
    assert len((tmp_path / "events.jsonl").read_text(encoding="utf-8").splitlines()) == len(told), "told twice"


def test_unreadable_lines_and_strange_stations_are_events(tmp_path: Path) -> None:
    rows = vibration_rows(MONDAY.replace(hour=9), [0.1] * 4)
    write(tmp_path, vibration=[VIBRATION, rows[0], "rubbish", "more rubbish", rows[1], rows[2].replace("V1", "V9"),
                               rows[3]])
    said: list[str] = []
    follow(plan(), tmp_path, tmp_path / "events.jsonl", said.append, silent_by="records", idle_s=0.0)
    told = [json.loads(line) for line in (tmp_path / "events.jsonl").read_text(encoding="utf-8").splitlines()]
    assert [(one["event"], one["file"]) for one in told] == [("monitor_down", "vibration.csv, line 3"),
                                                            ("monitor_down", "vibration.csv, line 6")]
    assert any("vibration.csv, lines 3, 4" in text for text in said)
