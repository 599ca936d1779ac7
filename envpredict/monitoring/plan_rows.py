"""The lists of a monitoring plan: what stands several times, one row each."""

from __future__ import annotations

from datetime import date
from typing import ClassVar

from pydantic import Field

from envpredict.core.citation import Basis
from envpredict.monitoring.plan_fields import (
    Clock,
    Coupling,
    Day,
    InstrumentKind,
    Kind,
    Logged,
    Many,
    NotNegative,
    Position,
    Positive,
    Quantity,
    Row,
    Surface,
    Text,
    Tier,
    Waveform,
    Weighting,
    refers,
)


class Receptor(Row):
    """A neighbour that the plan protects."""

    unique: ClassVar[tuple[str, ...]] = ("id",)

    id: Text = Field(description="short name, unique")
    name: Text | None = Field(default=None, description="address or name for the reader")
    use: Text | None = Field(default=None, description="dwelling, school, railway, habitat, ...")
    x: float | None = Field(default=None, description="easting of its part nearest to the works, in the plan's crs")
    y: float | None = Field(default=None, description="northing of its part nearest to the works, in the plan's crs")
    fragile: bool | None = Field(default=None, description="true: historic, cracked or otherwise sensitive")


class Method(Row):
    """A method by which the piles are installed."""

    unique: ClassVar[tuple[str, ...]] = ("id",)

    id: Text = Field(description="short name, unique")
    title: Text | None = Field(default=None, description="name for the reader")
    condition: Text | None = Field(
        default=None, description="what must be met before this method may start; left out: nothing")


class Activity(Row):
    """Work and its hours."""

    unique: ClassVar[tuple[str, ...]] = ("id",)

    id: Text = Field(description="short name, unique")
    method: Text | None = Field(default=None, description="id of the method", json_schema_extra=refers("methods"))
    days: Many[Day] = Field(default=(), description="days on which it happens")
    starts: Clock | None = Field(default=None, description="clock time at which it starts, start-up included")
    ends: Clock | None = Field(default=None, description="clock time at which it ends; before `starts`: next morning")


class Hours(Row):
    """Hours in which the work is allowed."""

    days: Many[Day] = Field(description="days")
    starts: Clock = Field(description="clock time from which it's allowed")
    ends: Clock = Field(description="clock time until which it's allowed; before `starts`: next morning")
    allowed_by: Text | None = Field(default=None, description="the consent, or the limit set and its clause")


class LimitSetUse(Row):
    """A document whose limits the plan adopts."""

    unique: ClassVar[tuple[str, ...]] = ("id",)

    id: Text = Field(description="id of a limit set, as `envpredict list limits` prints it, or your own")
    title: Text | None = Field(default=None, description="title of the document")
    edition: Text | None = Field(default=None, description="edition, amendments included")
    checked_on: date | None = Field(
        default=None, description="date on which the values were compared with the document")
    checked_by: Text | None = Field(default=None, description="who compared them")
    own_document: Text | None = Field(
        default=None, description="for a set that isn't shipped: the consent or local document that it comes from")


class Criterion(Row):
    """A limit as the plan adopts it."""

    unique: ClassVar[tuple[str, ...]] = ("id",)

    id: Text = Field(description="short name, unique")
    limit_set: Text | None = Field(
        default=None, description="id of the limit set", json_schema_extra=refers("limit_sets"))
    rule: Text | None = Field(default=None, description="id of the rule in its set, or the clause")
    receptor_class: Text | None = Field(default=None, description="class of the receptors under the set")
    effect: Text | None = Field(
        default=None, description="damage, people, noise, equipment, assets, wildlife, settlement")
    quantity: Quantity | None = Field(default=None, description="quantity that the limit is stated in")
    weighting: Weighting | None = Field(default=None, description="frequency weighting; none where there is none")
    averaging_s: Positive | None = Field(
        default=None, description="averaging time T in s; left out for a peak or maximum")
    period: Text | None = Field(default=None, description="name of the period: day, evening, night, ...")
    days: Many[Day] = Field(default=(), description="days on which the limit holds")
    starts: Clock | None = Field(default=None, description="clock time from which the limit holds")
    ends: Clock | None = Field(default=None, description="clock time until which the limit holds")
    position: Position | None = Field(default=None, description="where the limit is judged")
    value: float | None = Field(default=None, description="the limit, in `unit`")
    unit: Text | None = Field(default=None, description="unit of the limit")
    consented_value: float | None = Field(
        default=None, description="the value that the authority agreed to, if another")
    counts_days: bool | None = Field(
        default=None, description="true: the rule counts days on which the limit is exceeded")
    receptors: Many[Text] = Field(
        default=(), description="ids of the receptors that it protects; empty: all",
        json_schema_extra=refers("receptors"))
    basis: Basis | None = Field(default=None, description="how the value is known: read, memory, practice, estimate")
    note: Text | None = Field(default=None, description="anything to know of the value")


class Prediction(Row):
    """What the prediction says of a receptor under a criterion."""

    unique: ClassVar[tuple[str, ...]] = ("receptor", "criterion", "method")

    receptor: Text = Field(description="id of the receptor", json_schema_extra=refers("receptors"))
    criterion: Text = Field(description="id of the criterion", json_schema_extra=refers("criteria"))
    method: Text = Field(description="id of the method", json_schema_extra=refers("methods"))
    median: float | None = Field(default=None, description="median prediction, in the criterion's unit")
    design: float | None = Field(
        default=None, description="level whose chance of being exceeded is the design exceedance")


class Station(Row):
    """A place where something is measured."""

    unique: ClassVar[tuple[str, ...]] = ("id",)

    id: Text = Field(description="short name, unique; the records carry it")
    kind: Kind = Field(description="noise, vibration or movement")
    receptor: Text | None = Field(
        default=None, description="id of the receptor at which it stands", json_schema_extra=refers("receptors"))
    x: float | None = Field(default=None, description="easting in the plan's crs; left out where a layer holds it")
    y: float | None = Field(default=None, description="northing in the plan's crs; left out where a layer holds it")
    position: Position | None = Field(
        default=None, description="what it measures: facade, free_field, boundary, foundation, floor, ...")
    height_m: NotNegative | None = Field(default=None, description="height of the microphone above ground or floor")
    floor: Text | None = Field(default=None, description="storey, for a microphone at a facade or a sensor inside")
    reflector_m: NotNegative | None = Field(
        default=None, description="distance from the microphone to the nearest reflecting surface")
    correction_db: float | None = Field(
        default=None,
        description="added to readings where the limit is judged at another position; kept apart from the raw value")
    photo: Text | None = Field(default=None, description="file or reference of the photograph of the position")
    coupling: Coupling | None = Field(default=None, description="how the vibration sensor is fixed")
    surface: Surface | None = Field(default=None, description="what it's fixed to")
    level_within_deg: NotNegative | None = Field(default=None, description="how level it must stand")
    axes: Many[Text] = Field(default=(), description="directions measured, as x; y; z or radial; transverse; vertical")
    quantities: Many[Logged] = Field(default=(), description="what is logged")
    per_axis: bool | None = Field(default=None, description="true: peaks are logged per axis, not only as a vector sum")
    interval_s: Positive | None = Field(
        default=None, description="logging interval in s; for movement the time between readings")
    waveform: Waveform | None = Field(default=None, description="whether the raw trace is kept")
    instrument: Text | None = Field(
        default=None, description="id of the instrument", json_schema_extra=refers("instruments"))
    indicative: bool | None = Field(default=None, description="true: not used to judge compliance")
    criteria: Many[Text] = Field(
        default=(), description="ids of the criteria that it judges", json_schema_extra=refers("criteria"))


class Proxy(Row):
    """A receptor without a station of its own, judged at another one's station."""

    unique: ClassVar[tuple[str, ...]] = ("receptor", "station")

    receptor: Text = Field(description="id of the receptor", json_schema_extra=refers("receptors"))
    station: Text = Field(description="id of the station that stands for it", json_schema_extra=refers("stations"))
    transfer_db: float | None = Field(
        default=None,
        description="level at the receptor less level at the station, in dB (20 lg of the ratio for velocities)")
    transfer_basis: Text | None = Field(default=None, description="how the transfer is known")
    agreed_on: date | None = Field(default=None, description="date on which the authority or owner agreed to the proxy")


class Instrument(Row):
    """A measuring instrument."""

    unique: ClassVar[tuple[str, ...]] = ("id",)

    id: Text = Field(description="short name, unique")
    kind: InstrumentKind = Field(description="what it is")
    standard: Text | None = Field(default=None, description="standard that it meets")
    accuracy_class: int | None = Field(default=None, ge=1, le=2, description="class under that standard: 1 or 2")
    low_hz: Positive | None = Field(default=None, description="lower end of its frequency range")
    high_hz: Positive | None = Field(default=None, description="upper end of its frequency range")
    sampling_hz: Positive | None = Field(default=None, description="samples per second and axis")
    source_content_hz: Positive | None = Field(
        default=None, description="highest frequency of interest in the source's vibration")
    certificate_date: date | None = Field(default=None, description="date of the laboratory's calibration certificate")
    certificate: Text | None = Field(default=None, description="number or file of the certificate")


class Baseline(Row):
    """A survey before the works, one row per station and period."""

    unique: ClassVar[tuple[str, ...]] = ("station", "period")

    station: Text = Field(
        description="id of the station at whose position it's measured", json_schema_extra=refers("stations"))
    period: Text | None = Field(default=None, description="name of the period, as the criteria name it")
    first: date | None = Field(default=None, description="first day")
    last: date | None = Field(default=None, description="last day")
    hours: Positive | None = Field(default=None, description="hours of valid measurement of the whole survey")
    done: bool | None = Field(default=None, description="true once it has been measured")
    laeq_db: float | None = Field(default=None, description="LAeq of the period")
    la90_db: float | None = Field(default=None, description="LA90 of the period")
    position: Position | None = Field(
        default=None, description="facade or free_field where these levels were measured; left out: the station's own")
    exclusions: Text | None = Field(
        default=None, description="what was left out, and why; 'nothing left out' is an answer")
    category: Text | None = Field(
        default=None, description="category or class claimed from the background, if the set has any")


class Levels(Row):
    """Alert, action and stop level of a criterion."""

    unique: ClassVar[tuple[str, ...]] = ("criterion", "station")

    criterion: Text = Field(description="id of the criterion", json_schema_extra=refers("criteria"))
    station: Text | None = Field(
        default=None,
        description="id of a station with levels of its own; left out: every station that judges the criterion",
        json_schema_extra=refers("stations"))
    alert: float | None = Field(default=None, description="look and prepare, in the criterion's unit")
    action: float | None = Field(default=None, description="change the work")
    stop: float | None = Field(default=None, description="stop the work: the limit or below")
    alarm_windows_s: Many[Positive] = Field(
        default=(), description="running averages that raise an alarm before the period ends, in s")
    basis: Basis | None = Field(default=None, description="how the shares of the limit are known")
    derived: Text | None = Field(default=None, description="how the levels follow from the limit")


class Person(Row):
    """Who is told; names are personal data and may stay with the site's own list."""

    unique: ClassVar[tuple[str, ...]] = ("role",)

    role: Text = Field(description="role, unique")
    name: Text | None = Field(default=None, description="name")
    contact: Text | None = Field(default=None, description="telephone or address that alarms go to")
    told_at: Many[Tier] = Field(default=(), description="levels at which this person is told")
    may_stop_work: bool | None = Field(default=None, description="true: may stop the work alone")
    reachable_24h: bool | None = Field(default=None, description="true: reachable round the clock")


class Response(Row):
    """What follows when a level is reached."""

    unique: ClassVar[tuple[str, ...]] = ("level",)

    level: Tier = Field(description="alert, action or stop")
    acknowledge_min: Positive | None = Field(default=None, description="minutes until it's acknowledged")
    act_min: Positive | None = Field(default=None, description="minutes until something is done at the rig")
    actions: Many[Text] = Field(default=(), description="what is done")


class Report(Row):
    """A regular report."""

    unique: ClassVar[tuple[str, ...]] = ("name",)

    name: Text = Field(description="name, unique")
    every: Text | None = Field(default=None, description="how often: day, week, month, ...")
    content: Many[Text] = Field(default=(), description="what it holds")
    sent_to: Many[Text] = Field(default=(), description="who gets it")
    within_days: Positive | None = Field(default=None, description="days after the period's end")


class Survey(Row):
    """A condition survey of a building or asset."""

    unique: ClassVar[tuple[str, ...]] = ("receptor",)

    receptor: Text = Field(description="id of the receptor", json_schema_extra=refers("receptors"))
    before: date | None = Field(default=None, description="date of the survey before piling starts, done or planned")
    after: date | None = Field(default=None, description="date of the survey after piling, done or planned")
    by: Text | None = Field(default=None, description="who surveys; photographs with scale included")


class Phase(Row):
    """A part of the works with its own nearest neighbour."""

    unique: ClassVar[tuple[str, ...]] = ("id",)

    id: Text = Field(description="short name, unique")
    sections: Many[Text] = Field(default=(), description="parts of the wall")
    first: date | None = Field(default=None, description="first day")
    last: date | None = Field(default=None, description="last day")
    nearest_receptor: Text | None = Field(
        default=None, description="id of the receptor nearest to this part", json_schema_extra=refers("receptors"))
    stations: Many[Text] = Field(
        default=(), description="ids of the stations that measure in this phase", json_schema_extra=refers("stations"))


class CountWindow(Row):
    """A window in which days above a limit are counted."""

    criterion: Text | None = Field(
        default=None, description="id of the criterion; left out: all that count days",
        json_schema_extra=refers("criteria"))
    more_than_days: float | None = Field(
        default=None, ge=0, description="days that may not be exceeded within the window")
    within: Text | None = Field(default=None, description="length of the window, as 15 days or 6 months")


class Default(Row):
    """A value that the draft filled in: edit it, and drop the row when it's agreed."""

    key: Text = Field(description="place in this plan")
    value: Text = Field(description="the value filled in")
    basis: Basis = Field(description="how it's known: read, memory, practice, estimate")
    source: Text = Field(description="where it comes from")


class OpenPoint(Row):
    """Something that a person must still settle before the plan can be used."""

    rule: Text | None = Field(default=None, description="id of the audit rule that asks for it")
    what: Text = Field(description="what is missing or must be decided")
