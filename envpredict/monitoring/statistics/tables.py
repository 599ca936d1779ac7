"""The statistics as tables, one CSV file each, and as a short text."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envpredict.core.cautions import INVENTED, LOCAL_RULES, NOT_A_SAFETY_SYSTEM
from envpredict.monitoring.records.stamps import iso
from envpredict.monitoring.replay.events import KINDS
from envpredict.monitoring.replay.run import held
from envpredict.monitoring.statistics.choices import CHOICES
from envpredict.monitoring.statistics.collect import Statistics
from envpredict.monitoring.statistics.judged import Judged
from envpredict.monitoring.statistics.means import site_only_db

if TYPE_CHECKING:
    import pandas as pd

Rows = Iterator[tuple[Any, ...]]
Floats = NDArray[np.float64]


def _number(value: float, digits: int = 5) -> float | None:
    return float(f"{value:.{digits}g}") if np.isfinite(value) else None


def _kept(found: Statistics) -> Rows:
    zone = found.whole.clock.time_zone
    for one in found.kept:
        flags = "; ".join(f"{word} {count}" for word, count in one.flags.items())
        yield one.station, one.table, one.rows, iso(one.first, zone), iso(one.last, zone), flags


def _compliance(found: Statistics) -> Rows:
    for one in found.judged:
        measured, criterion, slot = one.measured, one.measured.asked.criterion, one.slot
        series, none = measured.series, slot < 0
        at = "" if none else iso(int(measured.rows.start[measured.row[slot]]), found.whole.clock.time_zone)
        yield (measured.asked.station.id, measured.points[one.point], criterion.id, criterion.quantity, criterion.unit,
               _number(one.limit), len(series.slots), int(measured.short.sum()),
               None if none else _number(float(series.median[one.point, slot])), at,
               "" if none else str(series.slots.day[slot]), None if none else _number(float(series.coverage[slot]), 3),
               "" if none else measured.rows.where(int(measured.row[slot])), len(one.days), int(one.above.sum()),
               one.exceeded, one.measured.asked.defers or ("the document's rule" if one.whole_rule
                                                           else "the plan's number alone"))


def _levels(found: Statistics) -> Rows:
    zone = found.whole.clock.time_zone
    for one in found.judged:
        measured, series = one.measured, one.measured.series
        site = _site_only(found, one)
        for slot in range(len(series.slots)):
            yield (measured.asked.station.id, measured.points[one.point], measured.asked.criterion.id,
                   str(series.slots.day[slot]), iso(int(measured.start[slot]), zone),
                   iso(int(measured.end[slot]), zone),
                   _number(float(series.median[one.point, slot])), _number(float(measured.lower[slot])),
                   _number(float(series.coverage[slot]), 3), bool(measured.short[slot]), _number(one.limit),
                   _number(float(site[slot])))


def _site_only(found: Statistics, one: Judged) -> Floats:
    """Return the site's own level of each slot, where a baseline was measured at its station and period; else NaN."""
    measured, criterion = one.measured, one.measured.asked.criterion
    level, station = measured.series.median[one.point], measured.asked.station
    base = next((row.laeq_db for row in found.whole.plan.baseline if row.station == station.id
                 and row.period == criterion.period and row.laeq_db is not None
                 and row.position in (None, station.position)), None)
    if base is None or criterion.quantity != "laeq_db" or one.point != 0:
        return np.full(len(level), np.nan)
    return site_only_db(np.where(np.isfinite(level), level, base), base)


def _budget(found: Statistics) -> Rows:
    zone = found.whole.clock.time_zone
    for one in found.budgets:
        yield (one.station, one.receptor, one.criterion, iso(one.start, zone), iso(one.end, zone),
               round(one.elapsed_s, 3), _number(one.so_far_db), _number(one.limit_db), _number(one.left_db))


def _exceedances(found: Statistics) -> Rows:
    zone = found.whole.clock.time_zone
    for one in found.exceedances:
        event = one.event
        yield (event.id, event.event, event.station, event.receptor, event.rule, iso(one.start, zone),
               iso(one.end, zone), round((one.end - one.start) / 1000.0, 3), one.readings, _number(one.highest),
               event.threshold, event.unit, "; ".join(event.works or ()),
               "no diary" if one.explained is None else one.explained, event.file)


def _windows(found: Statistics) -> Rows:
    for one, count in found.windows:
        measured = one.measured
        yield (measured.asked.station.id, measured.points[one.point], measured.asked.criterion.id, count.window,
               count.allowed, count.most, "" if count.first is None else str(count.first),
               "" if count.last is None else str(count.last), count.now, count.left, count.broken)


def _steps(found: Statistics) -> Rows:
    for one, level, allowed, above in found.steps:
        measured = one.measured
        yield (measured.asked.station.id, measured.points[one.point], measured.asked.criterion.id, level, allowed,
               above, allowed - above)


def _axes(found: Statistics) -> Rows:
    zone = found.whole.clock.time_zone
    for one in found.axes:
        yield (one.station, one.criterion, one.axis, _number(one.highest_mm_s), _number(one.highest_hz),
               _number(one.worst_mm_s), _number(one.worst_hz), _number(one.limit_mm_s), _number(one.used),
               _number(one.margin_db, 4), iso(one.at, zone), one.where, one.peaks, one.above, one.fallback)


def _capture(found: Statistics) -> Rows:
    for one in found.capture:
        lost = "; ".join(f"{word} {hours:.2f} h" for word, hours in one.lost_h.items())
        yield (one.station, one.month or "all", round(one.working_h, 3), round(one.working_valid_h, 3),
               _number(one.percent, 4), round(one.total_h, 3), round(one.total_valid_h, 3),
               _number(one.total_percent, 4), lost)


def _gaps(found: Statistics) -> Rows:
    zone = found.whole.clock.time_zone
    for one in found.gaps:
        yield (one.station, iso(one.start, zone), iso(one.end, zone), round((one.end - one.start) / 1000.0, 3),
               round(one.working_s, 3))


def _disorder(found: Statistics) -> Rows:
    zone = found.whole.clock.time_zone
    words = {"shuffled": "records out of order", "clock_back": "the clock stepped back",
             "two_loggers": "two loggers write under one id"}
    for station, one in found.disorder:
        yield station, words[one.what], iso(one.at, zone), round(one.size_s, 3), one.rows, one.where


def _agreement(found: Statistics) -> Rows:
    for one in found.agreement:
        yield (one.station, one.receptor, one.criterion, one.method, _number(one.predicted), one.unit, one.count,
               round(one.mean_db, 2), round(one.p95_db, 2))


def _unanswered(found: Statistics) -> Rows:
    yield from found.unanswered


TABLES: dict[str, tuple[Callable[[Statistics], Rows], dict[str, str]]] = {
    "readings": (_kept, {
        "station": "station", "table": "table", "rows": "rows", "first": "start of the first reading",
        "last": "end of the last one", "flags": "flags and how many rows carry each"}),
    "compliance": (_compliance, {
        "station": "station", "receptor": "receptor judged", "criterion": "criterion", "quantity": "quantity",
        "unit": "unit", "limit": "limit", "periods": "averaging times, or days for maxima, with readings",
        "short_periods": "those with too little valid time", "highest": "highest level", "highest_at": "its reading",
        "day": "the day it belongs to", "coverage": "share of its time that is valid", "where": "file and line",
        "days": "days with a level", "days_above": "days above the limit",
        "exceeded": "limit exceeded, or rule triggered", "judged_by": "what was applied"}),
    "levels": (_levels, {
        "station": "station", "receptor": "receptor judged", "criterion": "criterion", "day": "local date",
        "start": "start of the slot", "end": "its end", "level": "level over the valid time; the certain part where "
        "that is too short", "level_if_silent": "level if all that is missing was silent", "coverage": "valid share",
        "short": "too little valid time", "limit": "limit",
        "site_only": "the site's own level by energy subtraction of the plan's baseline; empty where the total isn't "
        "3 dB above it"}),
    "budget": (_budget, {
        "station": "station", "receptor": "receptor", "criterion": "criterion",
        "start": "start of the running averaging time", "end": "its end",
        "elapsed_s": "seconds gone when the records end", "so_far": "level so far",
        "limit": "limit", "left": "level that the rest may have so that the whole meets the limit; empty: used up"}),
    "exceedances": (_exceedances, {
        "id": "id of the event", "tier": "level", "station": "station", "receptor": "receptor", "rule": "criterion and "
        "level", "start": "start", "end": "end", "duration_s": "duration in s", "readings": "readings that reach it",
        "highest": "highest level", "threshold": "the plan's level", "unit": "unit", "works": "piles or activities at "
        "that time", "explained": "the diary has an entry", "where": "file and line"}),
    "day_windows": (_windows, {
        "station": "station", "receptor": "receptor", "criterion": "criterion", "window": "window", "allowed": "days "
        "allowed above the limit", "most": "most days above in any such window", "first": "first day of that window",
        "last": "its last day", "now": "days above in the window that ends with the records", "left": "days left in it",
        "broken": "too many days in a window"}),
    "day_steps": (_steps, {
        "station": "station", "receptor": "receptor", "criterion": "criterion", "level": "step in dB",
        "allowed": "days allowed", "above": "days above", "left": "days left"}),
    "axes": (_axes, {
        "station": "station", "criterion": "criterion", "axis": "axis", "highest_mm_s": "highest peak",
        "highest_hz": "its frequency", "worst_mm_s": "peak that uses its limit up most", "worst_hz": "its frequency",
        "limit_mm_s": "limit there", "used": "share of the limit", "margin_db": "margin in dB", "at": "when",
        "where": "file and line", "peaks": "peaks looked at", "above": "peaks above their limit",
        "plan_value": "peaks judged by the plan's own value, for want of a frequency or a limit at it"}),
    "capture": (_capture, {
        "station": "station", "month": "local month", "working_h": "hours of work",
        "working_valid_h": "with valid data", "working_percent": "share in percent", "total_h": "all hours",
        "total_valid_h": "with valid data",
        "total_percent": "share in percent", "lost": "working hours lost, by flag"}),
    "gaps": (_gaps, {"station": "station", "start": "start", "end": "end", "duration_s": "duration in s",
                     "working_s": "of it in hours of work"}),
    "disorder": (_disorder, {"station": "station", "what": "what", "at": "stamp of the record", "size_s": "size in s",
                             "rows": "rows", "where": "file and line"}),
    "agreement": (_agreement, {
        "station": "station", "receptor": "receptor", "criterion": "criterion", "method": "method",
        "predicted": "predicted median", "unit": "unit", "count": "periods or piles", "mean_db": "measured less "
        "predicted in dB, mean", "p95_db": "its 95 % point"}),
    "not_judged": (_unanswered, {"station": "station", "criterion": "criterion", "why": "why"}),
}
"""Table to its rows and its columns with their meanings."""


def frames(found: Statistics) -> dict[str, pd.DataFrame]:
    """Return every table by name, columns as in `TABLES`; empty ones too."""
    import pandas as pd

    return {name: pd.DataFrame(list(rows(found)), columns=list(columns)) for name, (rows, columns) in TABLES.items()}


def csv_files(found: Statistics) -> dict[str, str]:
    """Return every table as CSV text by file name; empty ones are left out."""
    return {f"{name}.csv": str(frame.to_csv(index=False, lineterminator="\n"))
            for name, frame in frames(found).items() if len(frame)}


def text(found: Statistics) -> str:
    """Return what matters most in a few lines, for people."""
    plan, zone = found.whole.plan, found.whole.clock.time_zone
    invented = plan.invented or found.whole.records.settings.invented
    rows = sum(one.rows for one in found.kept)
    lines = [f"Records of: {plan.title}", *([INVENTED] if invented else [])]
    if rows:
        lines.append(f"{rows:,} readings of {len(found.kept)} stations, {iso(found.first, zone)} to "
                     f"{iso(found.last, zone)}")
    lines += [f"  {one.station}: valid in {one.percent:.1f} % of {one.working_h:.1f} h of work, "
              f"{one.total_percent:.1f} % of all time" for one in found.capture if not one.month]
    counts = Counter(event.event for event in found.replayed.events)
    lines.append("Events: " + (", ".join(f"{counts[kind]} {kind}" for kind in KINDS if counts[kind]) or "none")
                 + f"; {held(found.replayed.held)}")
    broken = [one for one in found.judged if one.exceeded]
    lines.append(f"Limits: {len(found.judged) - len(broken)} of {len(found.judged)} judged are kept")
    lines += [f"  EXCEEDED {exceeded(one)}" for one in broken]
    lines += [f"  not judged: {criterion} at {station}, {why}" for station, criterion, why in found.unanswered]
    lines += [f"Unexplained by the diary: {one.event.event} at {one.event.station}, {one.event.reason}"
              for one in found.exceedances if one.explained is False]
    lines += [f"Disorder: {station}, {what} at {at}, {size:g} s ({where})" for station, what, at, size, _, where in
              _disorder(found)]
    lines += [f"note: {note}" for note in dict.fromkeys([*map(str, found.whole.records.notes), *found.notes])]
    lines += [f"taken: {choice}" for choice in CHOICES[:1]]
    return "\n".join([*lines, f"{NOT_A_SAFETY_SYSTEM} {LOCAL_RULES}"]) + "\n"


def exceeded(one: Judged) -> str:
    """Say by how much a limit was exceeded."""
    measured = one.measured
    unit = measured.asked.criterion.unit
    level = float(measured.series.median[one.point, one.slot])
    return (f"{measured.asked.criterion.id} at {measured.points[one.point]} ({measured.asked.station.id}): {level:.4g} "
            f"{unit}, limit {one.limit:.4g} {unit}, {int(one.above.sum())} of {len(one.days)} days above")
