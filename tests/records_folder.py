"""Small records folders and a small plan for tests; `from records_folder import ...` by bare name."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from audit_plans import sound

from envpredict.monitoring.plan_schema import Plan

ZONE = ZoneInfo("Europe/London")
MONDAY = datetime(2027, 3, 1, tzinfo=ZONE)
"""The first day of piling of the plan below."""
ROOT = Path(__file__).resolve().parents[1]
RIVER_WALL = ROOT / "scenarios" / "river_wall"


def plan(**sections: Mapping[str, Any]) -> Plan:
    """Return the sound plan of `audit_plans` (N1, V1, V1f) in British time, with keys of some sections changed."""
    base = sound()
    held: dict[str, Any] = {"clock": {"time_zone": "Europe/London"}, "data": {"late_after_s": 900.0}}
    for name, values in sections.items():
        held[name] = {**held.get(name, {}), **values}
    changed = {name: getattr(base, name).model_copy(update=dict(values)) for name, values in held.items()}
    return base.model_copy(update=changed)


def stamps(start: datetime, count: int, seconds: int) -> list[str]:
    """Return the starts of intervals that follow one another in elapsed time, as local time with offsets."""
    utc = ZoneInfo("UTC")
    return [(start.astimezone(utc) + timedelta(seconds=n * seconds)).astimezone(start.tzinfo).isoformat()
            for n in range(count)]


def noise_rows(start: datetime, levels: Iterable[float | str], seconds: int = 300, station: str = "N1") -> list[str]:
    """Return lines of noise.csv, one per level."""
    levels = list(levels)
    return [f"{station},{at},{seconds},{level}" for at, level in zip(stamps(start, len(levels), seconds), levels,
                                                                    strict=True)]


def vibration_rows(start: datetime, peaks: Iterable[float | str], seconds: int = 10, station: str = "V1",
                   hertz: float = 20.0) -> list[str]:
    """Return lines of vibration.csv, one per peak of axis z; the other axes are half of it."""
    peaks = list(peaks)
    return [f"{station},{at},{seconds},{_half(peak)},{_half(peak)},{peak},{hertz},{hertz},{hertz},0,"
            for at, peak in zip(stamps(start, len(peaks), seconds), peaks, strict=True)]


def _half(peak: float | str) -> float | str:
    return round(float(peak) / 2, 4) if isinstance(peak, int | float) else peak


NOISE = "station_id,t_start,duration_s,laeq_db"
VIBRATION = ("station_id,t_start,duration_s,ppv_x_mm_s,ppv_y_mm_s,ppv_z_mm_s,fdom_x_hz,fdom_y_hz,fdom_z_hz,overload,"
             "status")
WORKS = "t_start,t_end,activity,method,pile_id"
LOG = "t,kind,station_id,event_id,by,value,t_from,t_to,remark"


def write(folder: Path, **tables: str | Iterable[str]) -> Path:
    """Write tables given as lines, headings first, and return the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, lines in tables.items():
        text = lines if isinstance(lines, str) else "\n".join(lines) + "\n"
        suffix = "toml" if name == "records" else "csv"
        (folder / f"{name}.{suffix}").write_text(text, encoding="utf-8")
    return folder
