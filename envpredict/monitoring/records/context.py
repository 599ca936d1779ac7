"""Readings in the light of their plan: weather that voids them, spans left out by decision, drift between checks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from zoneinfo import available_timezones

import numpy as np
from numpy.typing import NDArray

from envpredict.core.errors import InputProblems, Problem
from envpredict.core.words import suggestion
from envpredict.monitoring.records import flags as flag
from envpredict.monitoring.records.civil import Clock
from envpredict.monitoring.records.columns import STREAMED
from envpredict.monitoring.records.order import Ordered, in_order
from envpredict.monitoring.records.rows import Rows

if TYPE_CHECKING:
    from envpredict.monitoring.plan_schema import Plan
    from envpredict.monitoring.plan_sections import Weather
    from envpredict.monitoring.records.read import Records

Floats = NDArray[np.float64]
WEATHER = ("wind_m_s", "gust_m_s", "rain_mm")


@dataclass(frozen=True, slots=True, eq=False)
class Context:
    """A plan with its records: hands out each station's readings in order, flagged by plan and log."""

    plan: Plan
    records: Records
    clock: Clock
    weather: Rows | None

    def readings(self, table: str, station: str) -> Ordered:
        """Return a station's readings in order of time, with every flag."""
        return self.ordered(self.records.rows(table, station), table, station)

    def ordered(self, arrived: Rows, table: str, station: str) -> Ordered:
        """Return a station's rows, given in the order in which they arrived, in order of time with every flag."""
        found = in_order(arrived)
        rows = found.rows
        if not len(rows):
            return found
        flags = rows.flags.copy()
        if table == "noise":
            flags |= self._weather(rows) | self._drift(rows, station)
        flags |= self._excluded(rows, station)
        return Ordered(rows.flagged(flags), found.disorder, found.gap_start, found.gap_end)

    def _excluded(self, rows: Rows, station: str) -> flag.Flags:
        flags = np.zeros(len(rows), dtype=np.int32)
        for row in self.records.log.rows:
            if row["kind"] == "excluded" and row["station_id"] in (None, station):
                flags |= np.where((rows.end > row["t_from"]) & (rows.start < row["t_to"]), flag.EXCLUDED, 0).astype(
                    np.int32)
        return flags

    def _drift(self, rows: Rows, station: str) -> flag.Flags:
        """Return the flag of readings between two field checks of which the later found too large a drift."""
        flags, tolerance = np.zeros(len(rows), dtype=np.int32), self.plan.calibration.tolerance_db
        checks = sorted((row["t"], row["value"]) for row in self.records.log.rows
                        if row["kind"] == "field_check" and row["station_id"] == station)
        for number, (moment, drift) in enumerate(checks):
            if tolerance is not None and abs(drift) > tolerance:
                since = checks[number - 1][0] if number else -np.inf
                flags |= np.where((rows.end > since) & (rows.start < moment), flag.DRIFT, 0).astype(np.int32)
        return flags

    def _weather(self, rows: Rows) -> flag.Flags:
        """Return the flags of wind and rain; a station without a sensor takes the weather of one that has."""
        stated: Weather = self.plan.weather
        found = {name: self._measured(rows, name) for name in WEATHER}
        windy = np.zeros(len(rows), dtype=bool)
        for name, bound in (("wind_m_s", stated.max_wind_m_s), ("gust_m_s", stated.max_gust_m_s)):
            if bound is not None:
                windy |= found[name] > bound
        wet = found["rain_mm"] > 0.0
        rain = {"excluded": flag.RAIN, "flagged": flag.RAIN_NOTED}.get(str(stated.rain), 0)
        return np.where(windy, flag.WIND, 0).astype(np.int32) | np.where(wet, rain, 0).astype(np.int32)

    def _measured(self, rows: Rows, name: str) -> Floats:
        own = rows.values.get(name)
        if own is not None and not np.isnan(own).all():
            return own
        if self.weather is None or name not in self.weather.values:
            return np.full(len(rows), np.nan)
        index = np.searchsorted(self.weather.start, rows.start, side="right") - 1
        hit = (index >= 0) & (rows.start < self.weather.end[np.maximum(index, 0)])
        return np.where(hit, self.weather.values[name][np.maximum(index, 0)], np.nan)


def context(plan: Plan, records: Records) -> Context:
    """Return a plan with its records.

    Raises InputProblems for stations that the plan doesn't know, or knows as another kind, and where it states no time
    zone.
    """
    problems: list[Problem] = []
    kinds = {station.id: station.kind for station in plan.stations}
    for table in STREAMED:
        for name in records.station_ids(table):
            if name not in kinds:
                problems.append(Problem(f"{table}, station '{name}'", "isn't among the plan's stations",
                                        f"{suggestion(name, kinds, limit=30)}; map the logger's name in records.toml"))
            elif kinds[name] != table:
                problems.append(Problem(f"{table}, station '{name}'", f"is a {kinds[name]} station in the plan",
                                        "give its readings under its own id"))
    for small in (records.stations, records.log):
        for row in small.rows:
            name = row["station_id"]
            if name is not None and name not in kinds:
                problems.append(Problem(small.where(row), f"'{name}' isn't among the plan's stations",
                                        suggestion(str(name), kinds, limit=30)))
    zone = time_zone(plan, problems)
    if problems:
        raise InputProblems(problems, "plan and records")
    return Context(plan, records, Clock(zone, records.settings.holidays), _weather(records))


def time_zone(plan: Plan, problems: list[Problem]) -> str:
    """Return the plan's time zone; without one the periods of the clock can't be told, which is a problem."""
    name, where = plan.clock.time_zone, plan.place("clock.time_zone")
    if name is None:
        problems.append(Problem(where, "the plan states no time zone", "add it as the IANA database names it"))
    elif name not in available_timezones():
        problems.append(Problem(where, f"unknown time zone '{name}'", "write it as Etc/UTC or Europe/London"))
    return str(name)


def _weather(records: Records) -> Rows | None:
    """Return the readings of the first noise station that measures wind or rain, in order of time."""
    for name in records.station_ids("noise"):
        rows = records.rows("noise", name)
        if any(one in rows.values and not np.isnan(rows.values[one]).all() for one in WEATHER):
            return in_order(rows).rows
    return None
