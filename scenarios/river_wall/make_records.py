"""Makes up the records of the invented river wall; run it to write the folder `records` again.

Eight days with the change from summer time in them, seeded: the same content on every run. Four things are planted, and
nothing else is wrong:

- an exceedance: on Monday the hammer that seats a sheet takes the mill's foundation (V2) above its stop level;
- a gap: on Tuesday the noise meter at the cottages (N1) is silent for 75 minutes of work;
- a clock fault: the clock of the sensor on the cottage's floor (V3) is 95 s fast until it's set on Thursday at noon;
- an alarm that the diary doesn't explain: on Saturday, when nobody works, the cottage's foundation (V1) is shaken.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from envpredict.monitoring.plan_file import read_plan
from envpredict.monitoring.records.read import read_records
from envpredict.monitoring.replay.batch import replay
from envpredict.monitoring.replay.events import Event

HERE = Path(__file__).resolve().parent
ZONE = ZoneInfo("CET")
SEED = 20271101
FIRST, LAST = datetime(2027, 10, 27, tzinfo=ZONE), datetime(2027, 11, 4, tzinfo=ZONE)
EXCEEDANCE = datetime(2027, 11, 1, 13, 22, tzinfo=ZONE)
STRANGE = datetime(2027, 10, 30, 14, 20, tzinfo=ZONE)
SILENT = (datetime(2027, 11, 2, 10, 10, tzinfo=ZONE), datetime(2027, 11, 2, 11, 25, tzinfo=ZONE))
CLOCK_SET, FAST = datetime(2027, 10, 28, 12, 0, tzinfo=ZONE), timedelta(seconds=95)
STORM = (datetime(2027, 10, 29, 18, 0, tzinfo=ZONE), datetime(2027, 10, 29, 23, 0, tzinfo=ZONE))
SHOWER = (datetime(2027, 11, 3, 15, 30, tzinfo=ZONE), datetime(2027, 11, 3, 16, 0, tzinfo=ZONE))
HALTS = ((EXCEEDANCE + timedelta(minutes=1), datetime(2027, 11, 1, 15, 5, tzinfo=ZONE)),
         (SILENT[0] + timedelta(minutes=15), datetime(2027, 11, 2, 11, 40, tzinfo=ZONE)))
"""Times in which work stands still: from a stop until a named person lets it go on."""

Row = dict[str, Any]
Span = tuple[datetime, datetime]


def stamp(moment: datetime) -> str:
    """Return a moment as local time with its offset."""
    return moment.astimezone(ZONE).isoformat(timespec="seconds")


def steps(seconds: int) -> Iterator[datetime]:
    """Yield the starts of intervals from the first to the last day; elapsed time, whatever clocks do."""
    moment, last = FIRST.astimezone(UTC), LAST.astimezone(UTC)
    while moment < last:
        yield moment
        moment += timedelta(seconds=seconds)


def shifts() -> Iterator[datetime]:
    """Yield the working days' midnights."""
    for day in range((LAST.date() - FIRST.date()).days):
        midnight = datetime.combine(FIRST.date() + timedelta(days=day), datetime.min.time(), ZONE)
        if midnight.weekday() < 5:
            yield midnight


def diary(random: np.random.Generator) -> list[Row]:
    """Return what was done: each pair pressed in steps of depth, one sheet seated with the hammer on Monday."""
    rows: list[Row] = []
    number = 0
    for midnight in shifts():
        clock, end = midnight + timedelta(hours=8, minutes=5), midnight + timedelta(hours=16, minutes=50)
        while clock < end - timedelta(minutes=70):
            number += 1
            length = 9.0 if number <= 21 else 11.0
            clock = _pressed(rows, number, length, clock, random) + timedelta(minutes=int(random.integers(14, 26)))
    seat = EXCEEDANCE - timedelta(minutes=7)
    rows = [row for row in rows if not (row["t_start"] < EXCEEDANCE + timedelta(minutes=1) and row["t_end"] > seat)]
    rows.append({"t_start": seat, "t_end": EXCEEDANCE + timedelta(minutes=1, seconds=30), "activity": "seating",
                 "method": "impact_hydraulic", "pile_id": "A13", "energy_kj": 2, "depth_from_m": 8.6, "depth_to_m": 8.9,
                 "remark": "stopped by the alarm at the mill"})
    return sorted(rows, key=lambda row: row["t_start"])


def _pressed(rows: list[Row], number: int, length: float, clock: datetime, random: np.random.Generator) -> datetime:
    """Add the steps of one pair, with pauses where work stands still; return when it's done."""
    name = f"{'A' if number <= 21 else 'B'}{number:02d}"
    depth = 0.0
    while depth < length:
        hard = 4.2 <= depth < 8.4
        step = min(1.0, length - depth)
        rate = float(random.normal(0.16 if hard else 0.3, 0.015))
        following = clock + timedelta(seconds=round(60.0 * step / rate))
        for begin, end in HALTS:
            if clock < end and following > begin:
                following = end + timedelta(minutes=3) + (following - clock)
                clock = end + timedelta(minutes=3)
        rows.append({
            "t_start": clock, "t_end": following, "activity": "pressing", "method": "press_in_auger", "pile_id": name,
            "depth_from_m": depth, "depth_to_m": depth + step,
            "press_force_kn": round(random.normal(640 if hard else 310, 30)),
            "torque_kn_m": round(float(random.normal(46 if hard else 21, 3)), 1), "penetration_m_min": round(rate, 3)})
        clock, depth = following, depth + step
    return clock


def inside(moment: datetime, spans: Sequence[Span]) -> bool:
    """Tell whether a minute that starts here lies in any span."""
    return any(begin <= moment + timedelta(seconds=59) and moment < end for begin, end in spans)


def vibration(works: list[Row], random: np.random.Generator) -> Iterator[Row]:
    """Yield one row per minute and sensor: quiet, with the pressing and the seating on it."""
    pressed = _merged(works, "press_in_auger")
    seated = [(row["t_start"], row["t_end"]) for row in works if row["method"] == "impact_hydraulic"]
    scale = {"V1": 0.33, "V2": 0.30, "V3": 0.52}
    for moment in steps(60):
        working, hammering = inside(moment, pressed), inside(moment, seated)
        for station, level in scale.items():
            peaks = 0.03 * np.exp(random.normal(0.0, 0.3, 3))
            if working:
                peaks = level * np.exp(random.normal(0.0, 0.3, 3)) * (0.7, 0.6, 1.0)
            if hammering:
                blow = {"V1": 0.9, "V2": 1.0, "V3": 1.3}[station]
                peaks = blow * np.exp(random.normal(0.0, 0.08, 3)) * (0.7, 0.5, 1.0)
            hertz = random.normal(12.0 if hammering else 24.0 if working else 9.0, 1.5, 3)
            if station == "V2" and moment == EXCEEDANCE:
                peaks, hertz = np.array([1.9, 1.2, 3.4]), np.array([9.1, 9.4, 8.5])
            if station == "V1" and moment == STRANGE:
                peaks, hertz = np.array([1.1, 0.8, 2.9]), np.array([21.0, 22.5, 22.0])
            shown = moment + FAST if station == "V3" and moment < CLOCK_SET else moment
            yield {"station_id": station, "t_start": stamp(shown), "duration_s": 60,
                   **{f"ppv_{axis}_mm_s": f"{peak:.2f}" for axis, peak in zip("xyz", peaks, strict=True)},
                   **{f"fdom_{axis}_hz": f"{one:.1f}" for axis, one in zip("xyz", hertz, strict=True)}, "status": ""}


def _merged(works: list[Row], method: str) -> list[Span]:
    spans: list[Span] = []
    for row in works:
        if row["method"] == method:
            if spans and row["t_start"] <= spans[-1][1]:
                spans[-1] = (spans[-1][0], row["t_end"])
            else:
                spans.append((row["t_start"], row["t_end"]))
    return spans


def noise(works: list[Row], random: np.random.Generator) -> Iterator[Row]:
    """Yield one row per five minutes and meter; the first meter measures wind and rain too, and falls silent once."""
    pressed, seated = _merged(works, "press_in_auger"), _merged(works, "impact_hydraulic")
    for moment in steps(300):
        middle = moment + timedelta(seconds=150)
        hour = middle.astimezone(ZONE).hour
        quiet = 46.0 if 7 <= hour < 19 else 40.0
        stormy, wet = STORM[0] <= moment < STORM[1], SHOWER[0] <= moment < SHOWER[1]
        wind = float(abs(random.normal(7.0 if stormy else 2.4, 0.6)))
        for station, pressing, hammering in (("N1", 70.0, 71.0), ("N2", 54.0, 57.0)):
            level = quiet + float(random.normal(0.0, 1.2)) + (9.0 if stormy else 0.0)
            if inside(middle, pressed):
                level = max(level, pressing + float(random.normal(0.0, 0.7)))
            if inside(middle, seated):
                level = max(level, hammering + float(random.normal(0.0, 0.3)))
            row: Row = {"station_id": station, "t_start": stamp(moment), "duration_s": 300, "laeq_db": f"{level:.1f}",
                        "lafmax_db": f"{level + float(random.uniform(4.0, 6.5)):.1f}",
                        "la90_db": f"{level - float(random.uniform(2.5, 4.5)):.1f}", "overload": 0, "status": ""}
            if station == "N1":
                row |= {"wind_m_s": f"{wind:.1f}", "gust_m_s": f"{1.6 * wind:.1f}",
                        "rain_mm": "0.2" if wet or (stormy and 20 <= hour < 22) else "0"}
            if station != "N1" or not SILENT[0] <= moment < SILENT[1]:
                yield row


def movement(random: np.random.Generator) -> Iterator[Row]:
    """Yield a reading of the crack gauge each morning."""
    for day in range((LAST.date() - FIRST.date()).days):
        at = datetime.combine(FIRST.date() + timedelta(days=day), datetime.min.time(), ZONE) + timedelta(hours=7.5)
        yield {"station_id": "M1", "t": stamp(at), "crack_width_mm": f"{abs(random.normal(0.02, 0.01)):.2f}",
               "temperature_c": f"{random.normal(9.0, 1.5):.1f}"}


def answers(events: Sequence[Event]) -> Iterator[Row]:
    """Yield what people did about each alarm: all of it in time."""
    for event in events:
        told = datetime.fromtimestamp((event.t or 0) / 1000.0, UTC)
        row = {"station_id": event.station, "event_id": event.id}
        if event.event == "monitor_down":
            if "clock" not in event.rule:
                yield {"t": told + timedelta(minutes=6), "kind": "down", "by": "invented monitoring engineer", **row,
                       "remark": "battery changed; the work stood still meanwhile"}
            continue
        yield {"t": told + timedelta(minutes=1), "kind": "acknowledged", "by": "invented supervisor", **row}
        yield {"t": told + timedelta(minutes=3), "kind": "acted", "by": "invented supervisor", **row,
               "remark": "work stopped" if event.event == "stop" else "looked at the diary and at the building"}
        if event.event == "stop":
            until = next(end for begin, end in HALTS if begin <= told < end)
            yield {"t": until, "kind": "restart", "by": "invented engineer", **row, "remark":
                   "the meter measures again" if event.quantity is None else
                   "hammer too strong for the cobbles: seating given up; mill looked at, no new crack"}
            if event.quantity is not None:
                yield {"t": told + timedelta(hours=2), "kind": "told", "by": "invented engineer", **row}
                yield {"t": told + timedelta(days=2), "kind": "closed", "by": "invented engineer", **row}


def checks(random: np.random.Generator) -> Iterator[Row]:
    """Yield the field checks of the noise meters, and the comparisons of clocks."""
    for at in (FIRST - timedelta(hours=8), FIRST + timedelta(days=5, hours=7), LAST + timedelta(hours=9)):
        for station in ("N1", "N2"):
            yield {"t": at, "kind": "field_check", "by": "invented monitoring engineer", "station_id": station,
                   "value": f"{random.uniform(-0.2, 0.2):.1f}"}
    for day in range(1, 8):
        for station in ("N1", "N2", "V1", "V2", *(("V3",) if day > 1 else ())):
            yield {"t": FIRST + timedelta(days=day, hours=6.5), "kind": "clock_check", "station_id": station,
                   "by": "invented monitoring engineer", "value": f"{random.uniform(-1.5, 1.5):.1f}"}


def write(name: str, columns: Sequence[str], rows: Iterator[Row] | Sequence[Row]) -> None:
    """Write a table as CSV; times with their offsets."""
    with (HERE / "records" / name).open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, lineterminator="\n")
        writer.writeheader()
        for row in rows:
            writer.writerow({key: stamp(value) if isinstance(value, datetime) else value for key, value in row.items()})


def waveform(random: np.random.Generator) -> Iterator[Row]:
    """Yield the raw trace of the strongest blow at the mill: three axes in mm/s, 500 samples per second."""
    seconds = np.arange(0.0, 3.0, 0.002)
    after = seconds - 0.8
    swing = np.where(after >= 0, np.exp(-3.0 * after) * np.sin(2 * np.pi * 8.5 * after), 0.0)
    swing /= np.abs(swing).max()
    for at, value in zip(seconds, swing, strict=True):
        x, y, z = (peak * value + float(random.normal(0.0, 0.004)) for peak in (1.9, 1.2, 3.4))
        yield {"t_s": f"{at:.3f}", "x_mm_s": f"{x:.3f}", "y_mm_s": f"{y:.3f}", "z_mm_s": f"{z:.3f}"}


def main() -> None:
    """Write every record."""
    folder = HERE / "records"
    (folder / "waveforms").mkdir(parents=True, exist_ok=True)
    random = np.random.default_rng(SEED)
    works = diary(random)
    (folder / "log.csv").unlink(missing_ok=True)
    (folder / "records.toml").write_text('title = "Invented records of the invented river wall"\ninvented = true\n')
    write("works.csv", ["t_start", "t_end", "activity", "method", "pile_id", "energy_kj", "depth_from_m", "depth_to_m",
                        "press_force_kn", "torque_kn_m", "penetration_m_min", "remark"], works)
    write("vibration.csv", ["station_id", "t_start", "duration_s", "ppv_x_mm_s", "ppv_y_mm_s", "ppv_z_mm_s",
                            "fdom_x_hz", "fdom_y_hz", "fdom_z_hz", "status"], vibration(works, random))
    write("noise.csv", ["station_id", "t_start", "duration_s", "laeq_db", "lafmax_db", "la90_db", "overload",
                        "wind_m_s", "gust_m_s", "rain_mm", "status"], noise(works, random))
    write("movement.csv", ["station_id", "t", "crack_width_mm", "temperature_c"], movement(random))
    write("stations.csv", ["station_id", "kind", "instrument", "x", "y", "crs", "certificate_date"], [
        {"station_id": one.id, "kind": one.kind, "instrument": one.instrument, "x": one.x, "y": one.y,
         "crs": "EPSG:32631", "certificate_date": {"noise": "2027-03-02", "vibration": "2027-05-11"}.get(one.kind, "")}
        for one in read_plan(HERE / "plan").stations])
    events = replay(read_plan(HERE / "plan"), read_records(folder)).events
    rows = sorted([*checks(random), *answers(events)], key=lambda row: (row["t"], row["kind"], row["station_id"]))
    write("log.csv", ["t", "kind", "station_id", "event_id", "by", "value", "remark"], rows)
    write("waveforms/V2_2027-11-01.csv", ["t_s", "x_mm_s", "y_mm_s", "z_mm_s"], waveform(random))


if __name__ == "__main__":
    main()
