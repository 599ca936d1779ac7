"""The sections of a monitoring plan that stand once."""

from __future__ import annotations

from datetime import date

from pydantic import Field

from envpredict.monitoring.plan_fields import (
    Count,
    DaylightSaving,
    FieldCheck,
    Many,
    NotNegative,
    Part,
    Percent,
    Positive,
    Rain,
    Recorded,
    Stamp,
    Text,
    refers,
)


class Layers(Part):
    """Layers that stand beside the plan's file."""

    stations: Text | None = Field(
        default=None,
        description="file with the positions of the stations by `id`: any layer with a CRS, in which they may be moved")


class Works(Part):
    """What is built and when."""

    description: Text | None = Field(default=None, description="what is installed, where and how")
    first_piling: date | None = Field(default=None, description="first day of piling")
    last_piling: date | None = Field(default=None, description="last day of piling")
    line: Text | None = Field(default=None, description="line of the works in the plan's crs, as well-known text")


class Calibration(Part):
    """How the instruments are kept true."""

    field_check: FieldCheck | None = Field(default=None, description="when the sound calibrator is applied")
    tolerance_db: Positive | None = Field(
        default=None, description="largest drift between checks; beyond it the data are void")
    meter_months: Positive | None = Field(
        default=None, description="longest age of a meter's certificate at any measurement")
    calibrator_months: Positive | None = Field(default=None, description="longest age of a calibrator's certificate")
    drift_rule: Text | None = Field(
        default=None, description="what happens to data between checks that drifted too far")


class Weather(Part):
    """Weather, and when it voids noise readings."""

    recorded: Recorded | None = Field(default=None, description="where wind and rain are recorded")
    max_wind_m_s: Positive | None = Field(default=None, description="mean wind above which readings are left out")
    max_gust_m_s: Positive | None = Field(default=None, description="gusts above which readings are left out")
    rain: Rain | None = Field(default=None, description="what happens to readings in rain")


class StopWork(Part):
    """When work stops, who orders it, and when it may go on."""

    works: Many[Text] = Field(default=(), description="which work stops")
    ordered_by: Text | None = Field(
        default=None, description="role that orders the stop", json_schema_extra=refers("people"))
    also_when: Many[Text] = Field(
        default=(),
        description="what stops the work beside a stop level: cracks, movement, refusal, a monitor that is down")
    restarted_by: Text | None = Field(
        default=None, description="role that lets the work go on", json_schema_extra=refers("people"))
    restart_evidence: Many[Text] = Field(default=(), description="what must be shown before the work goes on")


class Authority(Part):
    """Who outside the site is told of an exceedance."""

    name: Text | None = Field(default=None, description="authority, or owner of the asset")
    told_within_h: Positive | None = Field(default=None, description="hours within which an exceedance is reported")
    told_by: Text | None = Field(default=None, description="role that reports it", json_schema_extra=refers("people"))


class Investigation(Part):
    """How an exceedance is looked into."""

    fields: Many[Text] = Field(default=(), description="what the form asks for")
    close_within_days: Positive | None = Field(default=None, description="days until it's closed")


class PredictionCheck(Part):
    """What happens when the measurements leave the prediction behind."""

    noise_gap_db: Positive | None = Field(
        default=None, description="measured less predicted, in dB, that asks for a review")
    vibration_ratio: Positive | None = Field(
        default=None, description="measured over predicted median that asks for a review")
    action: Text | None = Field(default=None, description="what is done then")


class Data(Part):
    """How complete the records must be, and what happens when a monitor is down."""

    capture_target_percent: Percent | None = Field(
        default=None, description="share of the working time with valid data, per station and month")
    max_gap_min: Positive | None = Field(default=None, description="longest gap during work that is tolerated")
    when_down: Text | None = Field(default=None, description="what happens to the works when a monitor is down")
    down_stops_work: bool | None = Field(
        default=None, description="true: a monitor that is down stops the work near it")
    late_after_s: Positive | None = Field(default=None, description="seconds after which a record counts as late")
    archive_years: Positive | None = Field(default=None, description="years for which raw data are kept")


class ClockRules(Part):
    """How the stations tell the time."""

    time_zone: Text | None = Field(default=None, description="time zone as the IANA database names it")
    daylight_saving: DaylightSaving | None = Field(default=None, description="how the change of clocks is told apart")
    stamps: Stamp | None = Field(default=None, description="whether a time stamp is an interval's start or its end")
    synchronised_by: Text | None = Field(default=None, description="how the clocks are set")
    tolerance_s: Positive | None = Field(default=None, description="largest error of a clock")


class WorksLog(Part):
    """The diary of the works, without which no reading can be attributed."""

    fields: Many[Text] = Field(default=(), description="what is noted: start, stop, pile, method, energy, depth")
    resolution_min: Positive | None = Field(default=None, description="finest time step in minutes")
    kept_by: Text | None = Field(default=None, description="who keeps it")


class Trial(Part):
    """Trial piles, measured before production near the neighbours."""

    piles: Many[Text] = Field(default=(), description="ids or places of the trial piles")
    on: date | None = Field(default=None, description="first day of the trial")
    stations: Many[Text] = Field(
        default=(), description="ids of the stations that measure it", json_schema_extra=refers("stations"))
    distances_m: Many[Positive] = Field(default=(), description="distances of the measuring line from the trial pile")
    accepted_when: Text | None = Field(default=None, description="what must be shown before production starts")


class Community(Part):
    """How the neighbours are told."""

    letters_to: Many[Text] = Field(
        default=(), description="ids of the receptors that get a letter", json_schema_extra=refers("receptors"))
    notice_days: Positive | None = Field(default=None, description="days before the work starts")
    content: Text | None = Field(default=None, description="what the letter says")


class Complaints(Part):
    """How complaints are taken and answered."""

    hotline: Text | None = Field(default=None, description="telephone number or address, and its hours")
    log_fields: Many[Text] = Field(default=(), description="what is noted of a complaint")
    respond_within_h: Positive | None = Field(default=None, description="hours until the answer")
    linked_to_data: bool | None = Field(default=None, description="true: looked at beside the data of the same time")
    triggers_review: bool | None = Field(default=None, description="true: a complaint asks for a review of the work")


class Independence(Part):
    """Who measures and who audits."""

    measured_by: Text | None = Field(default=None, description="party that measures")
    audited_by: Text | None = Field(default=None, description="party that audits")


class Review(Part):
    """When monitoring is relaxed, extended or ended."""

    relax_when: Text | None = Field(default=None, description="when less may be measured")
    extend_when: Text | None = Field(default=None, description="when more must be measured")
    end_when: Text | None = Field(default=None, description="when it ends")


class DayCounting(Part):
    """Who counts the days above a limit."""

    counted_by: Text | None = Field(default=None, description="role that counts", json_schema_extra=refers("people"))
    reported_every: Text | None = Field(default=None, description="how often the count is reported")
    months_kept: Count | None = Field(default=None, description="months of counts that are kept")
    tolerance_days: NotNegative | None = Field(default=None, description="days left in a window at which work changes")
