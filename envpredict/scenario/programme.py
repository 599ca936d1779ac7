"""From the [programme] table to the days and hours on which work may happen."""

from __future__ import annotations

from datetime import date, time, timedelta
from zoneinfo import available_timezones

from envpredict.core.words import nearest
from envpredict.scenario.problems import Findings
from envpredict.scenario.schema import DAY_S, ProgrammeTable
from envpredict.scenario.types import WEEKDAYS, Programme

YEARS_AHEAD = 10
"""For how many years from the start a country's holidays are looked up."""


def read_programme(table: ProgrammeTable, found: Findings) -> Programme | None:
    """Return the programme, or None after telling what is wrong with it."""
    before = len(found.problems)
    zones = available_timezones()
    if table.time_zone not in zones:
        near = nearest(table.time_zone, zones)
        found.key(["programme", "time_zone"], f"unknown time zone '{table.time_zone}'",
                  (f"did you mean '{near}'? " if near else "") + "write it as Europe/London or Etc/UTC")
    holidays = _holidays(table, found)
    days = tuple(day for day in WEEKDAYS if day in table.working_days)
    programme = Programme(table.start, days, _time(table.shift.start), _time(table.shift.end), table.shift.length_s,
                          table.time_zone, table.rigs, holidays, _holidays_from(table), table.direction == "reverse")
    _check_start(programme, found)
    _say_defaults(table, found)
    return programme if len(found.problems) == before else None


def _time(seconds: int) -> time:
    """Return a clock time; the end of the day is midnight."""
    return time(seconds % DAY_S // 3600, seconds % 3600 // 60)


def _holidays_from(table: ProgrammeTable) -> str:
    if table.holidays is None:
        return "not stated"
    return table.holidays if isinstance(table.holidays, str) else "listed"


def _holidays(table: ProgrammeTable, found: Findings) -> frozenset[date]:
    """Return the dates without work."""
    if not isinstance(table.holidays, str):
        return frozenset(table.holidays or ())
    import holidays as library

    country, _, part = table.holidays.partition("-")
    known = library.list_supported_countries()
    place = ["programme", "holidays"]
    if country not in known:
        near = nearest(country.upper(), known)
        found.key(place, f"unknown country '{country}'", (f"did you mean '{near}'? " if near else "")
                  + "write the two letters of ISO 3166 (GB, or GB-SCT for a part), or a list of dates")
        return frozenset()
    if part and part not in known[country]:
        found.key(place, f"unknown part '{part}' of {country}", f"known: {', '.join(known[country]) or 'none'}")
        return frozenset()
    years = range(table.start.year, table.start.year + YEARS_AHEAD + 1)
    return frozenset(library.country_holidays(country, subdiv=part or None, years=years))


def _check_start(programme: Programme, found: Findings) -> None:
    """Tell of a start on which nobody works."""
    start = programme.start
    if programme.works_on(start):
        return
    day = WEEKDAYS[start.weekday()]
    reason = "a holiday" if start in programme.holidays else f"a day ({day}) that isn't among the working days"
    ahead = (start + timedelta(days=n) for n in range(1, 370))
    following = next((later for later in ahead if programme.works_on(later)), None)
    found.key(["programme", "start"], f"the start {start} is {reason}",
              f"the next working day is {following}" if following else "no working day follows within a year")


def _say_defaults(table: ProgrammeTable, found: Findings) -> None:
    """Say what was assumed where the table is silent."""
    stated = table.model_fields_set
    if "working_days" not in stated:
        found.note("programme: working_days not stated; Monday to Friday assumed")
    if "rigs" not in stated:
        found.note("programme: rigs not stated; one rig assumed")
    if "holidays" not in stated:
        found.note("programme: holidays not stated; no day counts as a public holiday")
    if "direction" not in stated:
        found.note("programme: direction not stated; piles are driven in the order of the layer")
