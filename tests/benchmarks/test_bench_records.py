"""Speed on a year of records: six noise stations at 1 minute and six sensors at 10 seconds, about 22 million rows.

Run by hand: `pytest tests/benchmarks/test_bench_records.py -s`. ENVPREDICT_BENCH_DAYS shortens the year for a quick
look. Each part runs in a process of its own, so that its memory can be told.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from records_folder import plan

from envpredict.monitoring.plan_schema import Plan
from envpredict.monitoring.plan_toml import to_toml
from envpredict.monitoring.replay.events import plan_id
from envpredict.monitoring.replay.follow import Follower
from envpredict.monitoring.replay.journal import Journal

DAYS = int(os.environ.get("ENVPREDICT_BENCH_DAYS", "365"))
STATIONS = 6
CONVERT_S, AUDIT_S, AUDIT_GIB, FOLLOW_S = 240.0, 60.0, 4.0, 1.0


def year_plan() -> Plan:
    """Return a plan with six noise stations and six sensors that work through a year."""
    base = plan(works={"first_piling": None, "last_piling": None}, data={"max_gap_min": 15.0})
    noise, vibration, _ = base.stations
    stations = [noise.model_copy(update={"id": f"N{n}", "interval_s": 60.0}) for n in range(STATIONS)]
    stations += [vibration.model_copy(update={"id": f"V{n}"}) for n in range(STATIONS)]
    return base.model_copy(update={"stations": tuple(stations), "proxies": (), "phases": (), "baseline": ()})


def write_days(folder: Path, count_days: int) -> int:
    """Write noise.csv and vibration.csv, rows of all stations in order of time, and return the number of rows."""
    random = np.random.default_rng(1)
    days = pd.date_range("2027-01-01", periods=count_days, freq="D", tz="UTC")
    count = 0
    with (folder / "noise.csv").open("w") as noise, (folder / "vibration.csv").open("w") as vibration:
        noise.write("station_id,t_start,duration_s,laeq_db,lafmax_db,la90_db,wind_m_s,rain_mm,overload,status\n")
        vibration.write("station_id,t_start,duration_s,ppv_x_mm_s,ppv_y_mm_s,ppv_z_mm_s,fdom_x_hz,fdom_y_hz,fdom_z_hz,"
                        "overload,status\n")
        for day in days:
            for file, seconds, prefix in ((noise, 60, "N"), (vibration, 10, "V")):
                at = pd.date_range(day, day + pd.Timedelta(days=1), freq=f"{seconds}s", inclusive="left")
                local = at.tz_convert("Europe/London")
                stamp = local.strftime("%Y-%m-%dT%H:%M:%S%z").str.replace(r"(\d\d)$", r":\1", regex=True)
                busy = np.asarray((local.hour >= 8) & (local.hour < 17) & (local.day_of_week < 5))
                names = np.tile([f"{prefix}{n}" for n in range(STATIONS)], len(at))
                rows = {"station_id": names, "t": np.repeat(stamp.to_numpy(), STATIONS), "d": seconds}
                work = np.repeat(busy, STATIONS)
                if prefix == "N":
                    level = np.where(work, random.normal(57, 2, len(work)), random.normal(45, 3, len(work)))
                    rows |= {"l": level.round(1), "m": (level + 8).round(1), "b": (level - 4).round(1),
                             "w": np.abs(random.normal(2.5, 1.2, len(work))).round(1), "r": 0, "o": 0, "s": ""}
                else:
                    peak = np.exp(random.normal(0, 0.5, (3, len(work)))) * np.where(work, 0.8, 0.04)
                    rows |= {axis: peak[n].round(3) for n, axis in enumerate("xyz")}
                    rows |= {f"f{axis}": random.uniform(8, 40, len(work)).round(1) for axis in "xyz"}
                    rows |= {"o": 0, "s": ""}
                frame = pd.DataFrame(rows)
                count += len(frame)
                frame.to_csv(file, index=False, header=False)
    (folder / "works.csv").write_text("t_start,t_end,activity,method,pile_id\n")
    return count


def measured(code: str) -> dict[str, float]:
    """Run code in a new process; return its seconds, its largest memory in GiB, and what it printed as JSON."""
    tail = textwrap.dedent("""
        import resource
        found["gib"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
        found["seconds"] = time.perf_counter() - begin
        print(json.dumps(found))
    """)
    head = "import json, time\nbegin = time.perf_counter()\nfound = {}\n"
    path = os.pathsep.join([str(Path(__file__).resolve().parents[1]), os.environ.get("PYTHONPATH", "")])
    run = subprocess.run([sys.executable, "-c", head + textwrap.dedent(code) + tail], capture_output=True, text=True,
                         env={**os.environ, "PYTHONPATH": path}, check=False)
    assert run.returncode == 0, run.stderr
    found: dict[str, float] = json.loads(run.stdout.splitlines()[-1])
    return found


def test_following_adds_under_a_second(tmp_path: Path) -> None:
    """A month of twelve stations is taken up; then each adds a row: time from the step's begin to the saved state."""
    folder, plan_ = tmp_path / "records", year_plan()
    folder.mkdir()
    write_days(folder, min(DAYS, 30))
    with Journal(tmp_path / "events.jsonl", plan_id(plan_)) as journal:
        follower = Follower(plan_, folder, journal, lambda text: None, "records")
        follower.begin()
        begin = time.perf_counter()
        while follower.step() is not None:
            pass
        print(f"\ntaken up in {time.perf_counter() - begin:.1f} s")
        taken = []
        for number in range(20):
            at = (pd.Timestamp("2027-03-01", tz="UTC") + pd.Timedelta(seconds=10 * number)).isoformat()
            with (folder / "vibration.csv").open("a") as file:
                file.writelines(f"V{n},{at},10,1.0,1.0,{5.0 + number},20,20,20,0,\n" for n in range(STATIONS))
            begin = time.perf_counter()
            assert follower.step() is not None
            taken.append(time.perf_counter() - begin)
    print(f"a row of each of {STATIONS} sensors added in {np.median(taken):.3f} s, at most {max(taken):.3f} s")
    assert max(taken) < FOLLOW_S


def test_a_year_of_records(tmp_path: Path) -> None:
    pytest.importorskip("pyarrow")
    raw, store, plan_file = tmp_path / "raw", tmp_path / "store", tmp_path / "plan.toml"
    raw.mkdir()
    store.mkdir()
    plan_file.write_text(to_toml(year_plan()), encoding="utf-8")
    begin = time.perf_counter()
    rows = write_days(raw, DAYS)
    size = sum(path.stat().st_size for path in raw.iterdir()) / 1e9
    print(f"\n{rows:,} rows, {size:.2f} GB of CSV, made in {time.perf_counter() - begin:.0f} s")
    converted = measured(f"""
        from pathlib import Path
        from envpredict.monitoring.records.read import convert
        found["rows"] = convert({str(raw)!r}, Path({str(store)!r}))
    """)
    kept = sum(path.stat().st_size for path in store.rglob("*")) / 1e9
    print(f"CSV to Parquet: {converted['seconds']:.1f} s, {converted['gib']:.2f} GiB; {kept:.2f} GB of Parquet")
    audited = measured(f"""
        from envpredict.monitoring.audit import audit
        from envpredict.monitoring.plan_file import read_plan
        from envpredict.monitoring.statistics.shown import shown
        plan = read_plan({str(plan_file)!r})
        statistics, seen = shown(plan, {str(store)!r})
        report = audit(plan, None, seen)
        found["events"] = len(statistics.replayed.events)
        found["judged"] = len(statistics.judged)
    """)
    print(f"audit with statistics and replay from Parquet: {audited['seconds']:.1f} s, {audited['gib']:.2f} GiB, "
          f"{audited['events']} events, {audited['judged']} judgements")
    assert converted["rows"] == rows
    assert audited["judged"] == 2 * STATIONS
    assert converted["seconds"] < CONVERT_S
    assert audited["seconds"] < AUDIT_S
    assert audited["gib"] < AUDIT_GIB
