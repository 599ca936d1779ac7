"""What records show of themselves: certificates, checks, weather, completeness, gaps, clocks, diary."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

import numpy as np

from envpredict.monitoring.audit_checks import Evidence, broken, idle, met, missing
from envpredict.monitoring.statistics.choices import CAPTURE
from envpredict.monitoring.statistics.evidence import Seen, months_after, shows


@shows("M10")
def certificates(seen: Seen) -> Iterator[Evidence]:
    """Yield whether each station's certificate held from its first to its last reading."""
    instruments = {one.id: one for one in seen.plan.instruments}
    installed = {row["station_id"]: row for row in seen.found.whole.records.stations.rows}
    stations = {station.id: station for station in seen.plan.stations}
    months = seen.setting("M10", "meter_months")
    clock = seen.found.whole.clock
    for one in seen.found.kept:
        if one.table == "movement":
            continue
        row, meter = installed.get(one.station), instruments.get(str(stations[one.station].instrument))
        certified: date | None = row["certificate_date"] if row is not None else None
        where = (seen.found.whole.records.stations.where(row) if row is not None and certified is not None
                 else f"station {one.station}")
        certified = certified if certified is not None else meter.certificate_date if meter is not None else None
        first, last = (day.astype(object) for day in clock.dates(_moments(one.first, one.last - 1)))
        if certified is None:
            yield missing(where, "date of the certificate: stated neither in the plan nor in stations.csv")
        elif certified > first:
            yield broken(where, f"certified on {certified}, after the first reading on {first}")
        elif months_after(certified, months) < last:
            yield broken(where, f"certified on {certified}: older than {months:g} months on {last}, when it measured")
        else:
            yield met(where, f"certified on {certified}, held for the readings from {first} to {last}")


def _moments(*values: int) -> np.ndarray:
    return np.array(values, dtype=np.int64)


@shows("M11")
def field_checks(seen: Seen) -> Iterator[Evidence]:
    """Yield whether each noise station was checked before and after its readings, and by how much it drifted."""
    tolerance = seen.plan.calibration.tolerance_db or seen.setting("M11", "tolerance_db")
    noise = [one for one in seen.found.kept if one.table == "noise"]
    if not noise:
        yield idle("noise", "no noise reading")
    for one in noise:
        checks = [row for row in seen.log("field_check") if row["station_id"] == one.station]
        where = f"log.csv, station {one.station}"
        if not checks:
            yield missing(where, "no field check is noted")
            continue
        wide = [row for row in checks if abs(row["value"]) > tolerance]
        for row in wide:
            yield broken(seen.found.whole.records.log.where(row),
                         f"drift of {row['value']:g} dB, at most {tolerance:g} dB allowed: the readings since the "
                         "check before are left out")
        if checks[0]["t"] > one.first or checks[-1]["t"] < one.last:
            yield broken(where, f"checked from {seen.at(checks[0]['t'])} to {seen.at(checks[-1]['t'])}, but measured "
                                f"from {seen.at(one.first)} to {seen.at(one.last)}")
        elif not wide:
            most = max(abs(row["value"]) for row in checks)
            yield met(where, f"{len(checks)} checks, before and after; largest drift {most:g} dB")


@shows("M12")
def weather(seen: Seen) -> Iterator[Evidence]:
    """Yield how many noise readings were left out for wind or rain, or that neither was recorded."""
    noise = [one for one in seen.found.kept if one.table == "noise"]
    if not noise:
        yield idle("noise", "no noise reading")
        return
    if seen.found.whole.weather is None:
        yield missing("noise", "no wind and no rain are recorded, so that nothing could be left out for them")
        return
    for one in noise:
        out = one.flags.get("wind", 0) + one.flags.get("rain", 0)
        kept = f", {one.flags['rain_noted']} flagged for rain but kept" if "rain_noted" in one.flags else ""
        yield met(f"station {one.station}", f"{out} of {one.rows} readings left out for wind or rain{kept}")


@shows("M30")
def completeness(seen: Seen) -> Iterator[Evidence]:
    """Yield the share of the working time with valid data, by station and month."""
    target = seen.plan.data.capture_target_percent or CAPTURE.value
    for one in seen.found.capture:
        if not one.month or one.working_h <= 0 or _is_movement(seen, one.station):
            continue
        lost = ", ".join(f"{word} {hours:.2g} h" for word, hours in one.lost_h.items())
        said = f"valid in {one.percent:.1f} % of {one.working_h:.1f} h of work" + (f" (lost: {lost})" if lost else "")
        where = f"station {one.station}, {one.month}"
        yield met(where, said) if one.percent >= target else broken(where, f"{said}; {target:g} % asked")


def _is_movement(seen: Seen, station: str) -> bool:
    return any(one.id == station and one.kind == "movement" for one in seen.plan.stations)


@shows("M31")
def gaps(seen: Seen) -> Iterator[Evidence]:
    """Yield each time that a monitor was down for too long during work, and what was done."""
    down = [event for event in seen.events("monitor_down") if "/clock" not in event.rule]
    for event in down:
        notes = [row for row in seen.log("down") if row["event_id"] == event.id]
        done = f"; done: {notes[0]['remark'] or 'noted'}, by {notes[0]['by']}" if notes else "; nothing is noted of it"
        whole = next((gap for gap in seen.found.gaps if (gap.station, gap.start) == (event.station, event.slot[0])),
                     None)
        lasted = "" if whole is None else (f"; it lasted {(whole.end - whole.start) / 60_000:.4g} min, "
                                           f"{whole.working_s / 60.0:.4g} min of them working time")
        yield broken(seen.place(event), f"{event.reason}, known at {seen.at(event.t or event.slot[1])}{lasted}{done}")
    small = [gap.working_s / 60.0 for gap in seen.found.gaps if gap.working_s > 0]
    if not down:
        said = f"{len(small)} short gaps, the longest {max(small):.3g} min of work" if small else "no gap during work"
        yield met("records", said)


@shows("M32")
def clocks(seen: Seen) -> Iterator[Evidence]:
    """Yield the steps of clocks that the records show, and the errors that were noted."""
    tolerance = seen.plan.clock.tolerance_s or seen.setting("M32", "tolerance_s")
    wrong = False
    for station, one in seen.found.disorder:
        if one.what == "clock_back" and one.size_s > tolerance:
            wrong = True
            yield broken(one.where, f"the clock of {station} stepped back by {one.size_s:g} s at {seen.at(one.at)}: it "
                                    f"had been fast by more than {tolerance:g} s, nobody knows since when")
        elif one.what == "two_loggers":
            wrong = True
            yield broken(one.where, f"two loggers write under {station}: {one.rows} records contradict one another")
    checks = seen.log("clock_check")
    for row in checks:
        if abs(row["value"]) > tolerance:
            wrong = True
            yield broken(seen.found.whole.records.log.where(row),
                         f"the clock of {row['station_id']} was wrong by {row['value']:g} s, at most {tolerance:g} s "
                         "allowed")
    if not checks:
        yield missing("log.csv", "no comparison of clocks is noted")
    elif not wrong:
        most = max(abs(row["value"]) for row in checks)
        yield met("log.csv", f"{len(checks)} comparisons of clocks, largest error {most:g} s")


@shows("M33")
def works_log(seen: Seen) -> Iterator[Evidence]:
    """Yield the alarms that no entry of the diary explains."""
    if not len(seen.found.whole.records.works):
        yield missing("works.csv", "no diary: no reading can be attributed")
        return
    strange = [one for one in seen.found.exceedances if one.explained is False]
    for one in strange:
        yield broken(seen.place(one.event), f"{one.event.event} at {one.event.station} at {seen.at(one.start)}: "
                                            f"{one.event.reason}; no entry of the diary explains it")
    if not strange:
        yield met("works.csv", f"{len(seen.found.exceedances)} alarms, each explained by the diary")
