"""A monitoring plan as a whole: sections that stand once, lists of rows, and what each key means."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from typing import Any, get_args

from pydantic import Field, PrivateAttr

from envpredict.monitoring.plan_fields import Many, Part, Row, Text
from envpredict.monitoring.plan_rows import (
    Activity,
    Baseline,
    CountWindow,
    Criterion,
    Default,
    Hours,
    Instrument,
    Levels,
    LimitSetUse,
    Method,
    OpenPoint,
    Person,
    Phase,
    Prediction,
    Proxy,
    Receptor,
    Report,
    Response,
    Station,
    Survey,
)
from envpredict.monitoring.plan_sections import (
    Authority,
    Calibration,
    ClockRules,
    Community,
    Complaints,
    Data,
    DayCounting,
    Independence,
    Investigation,
    Layers,
    PredictionCheck,
    Review,
    StopWork,
    Trial,
    Weather,
    Works,
    WorksLog,
)


class Plan(Part):
    """A monitoring plan: frozen; what is left out is not stated. A plan that was read has every reference resolved."""

    title: Text = Field(description="title of the plan")
    revision: Text | None = Field(default=None, description="revision")
    issued_on: date | None = Field(default=None, description="date of this revision")
    prepared_by: Text | None = Field(default=None, description="who answers for it")
    invented: bool = Field(default=False, description="true: a demonstration at an invented site")
    crs: Text | None = Field(default=None, description="coordinate reference system of x and y, as EPSG:32631")

    layers: Layers = Field(default=Layers(), description="layers beside this file")
    works: Works = Field(default=Works(), description="the works")
    receptors: Many[Receptor] = Field(default=(), description="the neighbours")
    methods: Many[Method] = Field(default=(), description="the installation methods")
    activities: Many[Activity] = Field(default=(), description="work and its hours")
    permitted_hours: Many[Hours] = Field(default=(), description="hours in which the work is allowed")
    phases: Many[Phase] = Field(default=(), description="phases, and which stations measure in each")

    limit_sets: Many[LimitSetUse] = Field(default=(), description="documents whose limits are adopted")
    criteria: Many[Criterion] = Field(default=(), description="the limits")
    predictions: Many[Prediction] = Field(default=(), description="what is predicted")

    stations: Many[Station] = Field(default=(), description="where something is measured")
    proxies: Many[Proxy] = Field(default=(), description="receptors judged at another one's station")
    instruments: Many[Instrument] = Field(default=(), description="the instruments")
    calibration: Calibration = Field(default=Calibration(), description="how instruments are kept true")
    weather: Weather = Field(default=Weather(), description="weather, and when it voids readings")
    clock: ClockRules = Field(default=ClockRules(), description="how stations tell the time")
    data: Data = Field(default=Data(), description="completeness of the records")
    baseline: Many[Baseline] = Field(default=(), description="surveys before the works")

    levels: Many[Levels] = Field(default=(), description="alert, action and stop levels")
    people: Many[Person] = Field(default=(), description="who is told")
    responses: Many[Response] = Field(default=(), description="what follows when a level is reached")
    stop_work: StopWork = Field(default=StopWork(), description="when work stops and when it may go on")
    authority: Authority = Field(default=Authority(), description="who outside the site is told")
    investigation: Investigation = Field(default=Investigation(), description="how an exceedance is looked into")
    prediction_check: PredictionCheck = Field(
        default=PredictionCheck(), description="when measurements leave the prediction behind")
    day_counting: DayCounting = Field(default=DayCounting(), description="who counts days above a limit")
    count_windows: Many[CountWindow] = Field(default=(), description="windows in which those days are counted")

    works_log: WorksLog = Field(default=WorksLog(), description="the diary of the works")
    surveys: Many[Survey] = Field(default=(), description="condition surveys")
    trial: Trial = Field(default=Trial(), description="trial piles")
    reports: Many[Report] = Field(default=(), description="regular reports")
    community: Community = Field(default=Community(), description="how the neighbours are told")
    complaints: Complaints = Field(default=Complaints(), description="how complaints are taken")
    independence: Independence = Field(default=Independence(), description="who measures and who audits")
    review: Review = Field(default=Review(), description="when monitoring is relaxed, extended or ended")

    defaults: Many[Default] = Field(default=(), description="values that the draft filled in: edit them")
    open_points: Many[OpenPoint] = Field(default=(), description="what must still be settled")

    _places: Mapping[str, str] = PrivateAttr(default_factory=dict)

    def located(self, places: Mapping[str, str]) -> Plan:
        """Return the plan knowing where in its file each key stands (key to 'file, line' or 'sheet, cell')."""
        copy = self.model_copy()
        copy._places = dict(places)
        return copy

    def place(self, key: str) -> str:
        """Return where a key stands: its line or cell where the plan was read from a file, and the key itself."""
        found = next((self._places[name] for name in _upwards(key) if name in self._places), None)
        return f"{found}, {key}" if found else key

    def at(self, table: str, number: int, key: str = "") -> str:
        """Return where a list's row stands, counted from 0, with what tells it apart."""
        row = getattr(self, table)[number]
        said = " ".join(str(getattr(row, name)) for name in row.unique if getattr(row, name) is not None)
        return self.place(f"{table}[{number + 1}]" + (f".{key}" if key else "")) + (f" ({said})" if said else "")


def _upwards(key: str) -> list[str]:
    """Return a key and the ones that hold it, the nearest first."""
    names = [key]
    while match := re.fullmatch(r"(.+?)(?:\.[^.\[\]]+|\[\d+\])", key):
        key = match[1]
        names.append(key)
    return names


def _part(annotation: Any) -> type[Part] | None:
    return annotation if isinstance(annotation, type) and issubclass(annotation, Part) else None


def _row(annotation: Any) -> type[Row] | None:
    inner = get_args(annotation)
    return inner[0] if inner and isinstance(inner[0], type) and issubclass(inner[0], Row) else None


SECTIONS: dict[str, type[Part]] = {
    name: part for name, field in Plan.model_fields.items() if (part := _part(field.annotation)) is not None}
"""The tables that stand once, in the plan's order."""
LISTS: dict[str, type[Row]] = {
    name: row for name, field in Plan.model_fields.items() if (row := _row(field.annotation)) is not None}
"""The tables that may stand several times, in the plan's order."""
HEAD: tuple[str, ...] = tuple(name for name in Plan.model_fields if name not in SECTIONS and name not in LISTS)
"""The keys above the first table."""


def meaning(table: str) -> str:
    """Return what a table of the plan holds."""
    return Plan.model_fields[table].description or table


def refers_to(part: type[Part], key: str) -> str | None:
    """Return the list whose rows a key names, or None."""
    extra = part.model_fields[key].json_schema_extra
    return str(extra["refers"]) if isinstance(extra, dict) and "refers" in extra else None
