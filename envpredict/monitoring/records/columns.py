"""The tables of measured records and their columns: names with units, meanings, and what can't be a reading."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from envpredict.core.registry import Registry

Kind = Literal["text", "number", "time", "truth", "date"]
Timing = Literal["interval", "instant", "span", "none"]
"""How rows lie in time: an interval by one stamp and its duration, one moment, a span by two stamps, or not at all."""

AXES: tuple[str, ...] = ("x", "y", "z")
OCTAVES_HZ: tuple[int, ...] = (63, 125, 250, 500, 1000, 2000, 4000, 8000)


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table: numbers outside [`low`, `high`] can't be readings and are flagged, not dropped."""

    name: str
    kind: Kind
    meaning: str
    unit: str = ""
    low: float = -math.inf
    high: float = math.inf


@dataclass(frozen=True, slots=True)
class Table:
    """A table: `needs` lists alternatives, of each of which at least one column must be there."""

    name: str
    meaning: str
    timing: Timing
    columns: tuple[Column, ...]
    needs: tuple[tuple[str, ...], ...]
    streamed: bool

    def __getitem__(self, name: str) -> Column:
        """Return a column by its name. Raises KeyError."""
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(name)

    def __contains__(self, name: object) -> bool:
        return any(column.name == name for column in self.columns)

    @property
    def names(self) -> tuple[str, ...]:
        """Return the names of the columns."""
        return tuple(column.name for column in self.columns)

    def of_kind(self, *kinds: Kind) -> tuple[str, ...]:
        """Return the names of the columns of some kinds."""
        return tuple(column.name for column in self.columns if column.kind in kinds)


TABLES: Registry[Table] = Registry("table of records")

_STATION = Column("station_id", "text", "id of the station, as in the plan")
_STAMPS = (Column("t_start", "time", "start of the interval, ISO 8601 with its offset from UTC"),
           Column("t_end", "time", "end of the interval, where the logger stamps ends; one of the two, never both"),
           Column("duration_s", "number", "length of the interval", "s"))
_STATUS = Column("status", "text", "what the logger says of itself; blank: nothing to say")
_OVERLOAD = Column("overload", "truth", "the instrument was overloaded: the level was at least the value given")


def _level(name: str, meaning: str) -> Column:
    return Column(name, "number", meaning, "dB", 15.0, 140.0)


def _per_axis(pattern: str, meaning: str, unit: str, low: float = -math.inf,
              high: float = math.inf) -> tuple[Column, ...]:
    return tuple(Column(pattern.format(axis), "number", f"{meaning}, axis {axis}", unit, low, high) for axis in AXES)


def _declare(name: str, meaning: str, timing: Timing, columns: Iterable[Column], needs: Iterable[tuple[str, ...]], *,
             streamed: bool = False) -> None:
    TABLES.add(name, Table(name, meaning, timing, tuple(columns), tuple(needs), streamed))


_declare("noise", "levels of sound, one row per station and interval", "interval", (
    _STATION, *_STAMPS,
    _level("laeq_db", "LAeq of the interval"), _level("lafmax_db", "LAFmax"), _level("lasmax_db", "LASmax"),
    _level("la10_db", "level exceeded 10 % of the time"), _level("la90_db", "level exceeded 90 % of the time"),
    Column("lceq_db", "number", "LCeq of the interval", "dB"),
    *(Column(f"leq_{centre}_hz_db", "number", f"unweighted level of the octave band at {centre} Hz", "dB")
      for centre in OCTAVES_HZ),
    _OVERLOAD, Column("wind_m_s", "number", "mean wind", "m/s", 0.0, 75.0),
    Column("gust_m_s", "number", "strongest gust", "m/s", 0.0, 110.0), Column("rain_mm", "number", "rain", "mm", 0.0),
    Column("battery_v", "number", "voltage of the battery", "V"), _STATUS),
    [("station_id",), ("t_start", "t_end"), ("laeq_db", "lafmax_db", "lasmax_db", "la90_db")], streamed=True)

_declare("vibration", "vibration, one row per station and interval", "interval", (
    _STATION, *_STAMPS, *_per_axis("ppv_{}_mm_s", "peak particle velocity", "mm/s", 0.0, 200.0),
    *_per_axis("fdom_{}_hz", "dominant frequency of that peak", "Hz", 0.0, 2000.0),
    Column("pvs_mm_s", "number", "peak of the vector sum; not the largest axis", "mm/s", 0.0, 350.0),
    *_per_axis("rms_{}_mm_s", "largest running rms of 1 s", "mm/s", 0.0, 200.0),
    *_per_axis("vdv_{}_m_s1_75", "vibration dose of the interval, weighted", "m/s^1.75", 0.0),
    Column("kb_fmax", "number", "largest weighted running value, strongest axis", "1", 0.0, 200.0),
    Column("trigger", "truth", "a raw trace was stored"), _OVERLOAD,
    Column("battery_v", "number", "voltage of the battery", "V"), _STATUS),
    [("station_id",), ("t_start", "t_end"),
     (*(f"ppv_{axis}_mm_s" for axis in AXES), "pvs_mm_s", "kb_fmax", *(f"vdv_{axis}_m_s1_75" for axis in AXES))],
    streamed=True)

_declare("movement", "readings of movement points since their first reading; thresholds are the user's", "instant", (
    _STATION, Column("t", "time", "moment of the reading, ISO 8601 with its offset from UTC"),
    Column("settlement_mm", "number", "vertical movement, down positive", "mm"),
    Column("tilt_mm_per_m", "number", "change of tilt", "mm/m"),
    Column("crack_width_mm", "number", "change of a crack's width", "mm"),
    Column("track_level_mm", "number", "change of a rail's level", "mm"),
    Column("track_twist_mm_per_m", "number", "change of a track's twist", "mm/m"),
    Column("displacement_mm", "number", "horizontal movement", "mm"),
    Column("temperature_c", "number", "temperature at the point", "degC"), _STATUS),
    [("station_id",), ("t",), ("settlement_mm", "tilt_mm_per_m", "crack_width_mm", "track_level_mm",
                               "track_twist_mm_per_m", "displacement_mm")], streamed=True)

_declare("works", "diary of the works, one row per pass of a pile, or per depth step of a pass", "span", (
    Column("t_start", "time", "start, ISO 8601 with its offset from UTC"), Column("t_end", "time", "end"),
    Column("activity", "text", "what was done, as the plan's activities name it"),
    Column("method", "text", "id of the method"), Column("pile_id", "text", "id of the pile"),
    Column("rig", "text", "which rig"), Column("x", "number", "easting in the plan's crs", "m"),
    Column("y", "number", "northing", "m"), Column("energy_kj", "number", "energy per blow or cycle", "kJ", 0.0),
    Column("setting", "text", "setting, where it isn't an energy"),
    Column("depth_from_m", "number", "depth of the toe at the start", "m", 0.0),
    Column("depth_to_m", "number", "depth of the toe at the end", "m", 0.0),
    Column("press_force_kn", "number", "press force", "kN", 0.0),
    Column("torque_kn_m", "number", "torque", "kN m", 0.0),
    Column("penetration_m_min", "number", "rate of penetration", "m/min", 0.0),
    Column("remark", "text", "refusals, obstructions, pauses")),
    [("t_start",), ("t_end",), ("activity", "method")])

_declare("log", "what people did: answers to alarms, restarts, checks, readings left out and why", "instant", (
    Column("t", "time", "when, ISO 8601 with its offset from UTC"),
    Column("kind", "text", "acknowledged, acted, restart, told, closed, excluded, field_check, clock_check, ..."),
    Column("station_id", "text", "id of the station that it's about"),
    Column("event_id", "text", "id of the event that it answers"), Column("by", "text", "name of the person"),
    Column("value", "number", "drift in dB of a field check, error in s of a clock check (fast is positive)"),
    Column("t_from", "time", "start of the readings that are left out"), Column("t_to", "time", "their end"),
    Column("remark", "text", "reason, evidence, finding")),
    [("t",), ("kind",), ("by",)])

_declare("stations", "the stations as they were installed", "none", (
    _STATION, Column("kind", "text", "noise, vibration or movement"),
    Column("instrument", "text", "id of the instrument"),
    Column("serial", "text", "serial number"), Column("x", "number", "easting", "m"),
    Column("y", "number", "northing", "m"), Column("crs", "text", "coordinate reference system of x and y"),
    Column("height_m", "number", "height of the microphone", "m"), Column("position", "text", "as in the plan"),
    Column("receptor_id", "text", "receptor at which it stands"),
    Column("limit_set_id", "text", "limit set that it judges"),
    Column("interval_s", "number", "logging interval", "s", 0.0),
    Column("trigger_mm_s", "number", "peak velocity from which the logger stores anything; empty: it stores all",
           "mm/s", 0.0, 200.0),
    Column("certificate_date", "date", "date of the laboratory's certificate"),
    Column("first", "date", "first day of measurement"), Column("last", "date", "last day of measurement"),
    Column("remark", "text", "anything to know of it")),
    [("station_id",), ("kind",)])

STREAMED: tuple[str, ...] = ("noise", "vibration", "movement")
"""Tables that may hold millions of rows; they're read in blocks."""
SMALL: tuple[str, ...] = ("works", "log", "stations")

LOG_KINDS: dict[str, str] = {
    "acknowledged": "an alarm was seen", "acted": "something was done at the rig", "told": "the authority was told",
    "closed": "an investigation was closed", "restart": "work may go on",
    "excluded": "readings from t_from to t_to are left out, for the reason in `remark`",
    "field_check": "sound calibrator applied; value: drift in dB since the last one",
    "clock_check": "clock compared; value: error in s, fast is positive",
    "down": "a monitor was found down, and what was done", "complaint": "a complaint", "note": "anything else",
}

UNITS: dict[str, dict[str, float]] = {
    "mm/s": {"mm/s": 1.0, "m/s": 1000.0, "cm/s": 10.0, "um/s": 0.001, "in/s": 25.4},
    "m/s": {"m/s": 1.0, "km/h": 1.0 / 3.6, "mph": 0.44704, "kn": 1852.0 / 3600.0},
    "s": {"s": 1.0, "ms": 0.001, "min": 60.0, "h": 3600.0},
    "mm": {"mm": 1.0, "m": 1000.0, "cm": 10.0, "um": 0.001, "in": 25.4},
    "m": {"m": 1.0, "mm": 0.001, "cm": 0.01, "ft": 0.3048},
    "V": {"V": 1.0, "mV": 0.001}, "kN": {"kN": 1.0, "N": 0.001, "MN": 1000.0},
    "kJ": {"kJ": 1.0, "J": 0.001}, "Hz": {"Hz": 1.0, "kHz": 1000.0}, "kN m": {"kN m": 1.0, "N m": 0.001},
    "m/min": {"m/min": 1.0, "mm/s": 0.06, "m/s": 60.0},
}
"""Unit of a column to the units in which an export may give it, each with its exact factor."""
