"""Plans to audit: a sound one at an invented site, one after published examples, and one edit per rule and outcome."""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Callable
from datetime import date
from typing import Any

from envpredict.monitoring.plan_build import Source, build
from envpredict.monitoring.plan_schema import Plan

Tables = dict[str, Any]
Edit = Callable[[Tables], None]

SOUND = """
title = "Sound plan of an invented site"
invented = true
crs = "EPSG:32631"

[works]
first_piling = 2027-03-01
last_piling = 2027-05-28

[[receptors]]
id = "H1"
use = "dwelling"
x = 524010.0
y = 6150010.0
[[receptors]]
id = "H2"
use = "dwelling"
x = 524060.0
y = 6150012.0

[[methods]]
id = "press"

[[activities]]
id = "pressing"
method = "press"
days = ["mon", "tue", "wed", "thu", "fri"]
starts = "08:00"
ends = "17:00"

[[permitted_hours]]
days = ["mon", "tue", "wed", "thu", "fri"]
starts = "08:00"
ends = "18:00"
allowed_by = "invented consent, condition 4"

[[phases]]
id = "west"
nearest_receptor = "H1"
stations = ["N1", "V1", "V1f"]
[[phases]]
id = "east"
nearest_receptor = "H2"
stations = ["N1", "V1"]

[[limit_sets]]
id = "bs_5228_1_2009"
edition = "2009+A1:2014"
checked_on = 2026-11-02
[[limit_sets]]
id = "site_consent"
edition = "first issue"
checked_on = 2026-11-02
own_document = "consent of an invented authority"

[[criteria]]
id = "noise"
limit_set = "bs_5228_1_2009"
rule = "abc"
receptor_class = "dwelling"
effect = "noise"
quantity = "laeq_db"
weighting = "A"
averaging_s = 43200.0
period = "weekdays 07-19"
days = ["mon", "tue", "wed", "thu", "fri"]
starts = "07:00"
ends = "19:00"
position = "facade"
value = 65.0
unit = "dB"
counts_days = true
[[criteria]]
id = "damage"
limit_set = "site_consent"
effect = "damage"
quantity = "ppv_component"
weighting = "none"
period = "always"
days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun", "holiday"]
starts = "00:00"
ends = "24:00"
position = "foundation"
value = 10.0
unit = "mm/s"
consented_value = 10.0
[[criteria]]
id = "people"
limit_set = "site_consent"
effect = "people"
quantity = "ppv_vertical"
weighting = "none"
period = "always"
days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun", "holiday"]
starts = "00:00"
ends = "24:00"
position = "floor"
value = 2.0
unit = "mm/s"
receptors = ["H1"]

[[predictions]]
receptor = "H1"
criterion = "noise"
method = "press"
median = 56.0
design = 63.0
[[predictions]]
receptor = "H2"
criterion = "noise"
method = "press"
median = 52.0
design = 59.0
[[predictions]]
receptor = "H1"
criterion = "damage"
method = "press"
median = 1.5
design = 8.0
[[predictions]]
receptor = "H2"
criterion = "damage"
method = "press"
median = 0.9
design = 7.5

[[stations]]
id = "N1"
kind = "noise"
receptor = "H1"
x = 524010.0
y = 6150009.0
position = "facade"
height_m = 1.5
reflector_m = 1.0
photo = "photographs/N1.jpg"
quantities = ["laeq_db", "la90_db", "lafmax_db"]
interval_s = 300.0
instrument = "meter"
criteria = ["noise"]
[[stations]]
id = "V1"
kind = "vibration"
receptor = "H1"
x = 524010.0
y = 6150010.0
position = "foundation"
coupling = "bolt"
surface = "foundation_wall"
level_within_deg = 5.0
axes = ["x", "y", "z"]
quantities = ["ppv_component", "dominant_frequency_hz"]
per_axis = true
interval_s = 10.0
waveform = "on_trigger"
instrument = "geophone"
criteria = ["damage"]
[[stations]]
id = "V1f"
kind = "vibration"
receptor = "H1"
x = 524010.0
y = 6150010.0
position = "floor"
coupling = "plaster"
surface = "floor"
level_within_deg = 5.0
axes = ["x", "y", "z"]
quantities = ["ppv_vertical", "dominant_frequency_hz"]
per_axis = true
interval_s = 10.0
waveform = "on_trigger"
instrument = "geophone"
criteria = ["people"]

[[proxies]]
receptor = "H2"
station = "V1"
transfer_db = -4.4
transfer_basis = "ratio of the predicted medians, measured at both in the trial"
agreed_on = 2026-12-01

[[instruments]]
id = "meter"
kind = "sound_level_meter"
standard = "IEC 61672-1"
accuracy_class = 1
certificate_date = 2026-02-01
[[instruments]]
id = "cal"
kind = "sound_calibrator"
certificate_date = 2026-09-01
[[instruments]]
id = "geophone"
kind = "vibration_meter"
standard = "DIN 45669-1"
low_hz = 1.0
high_hz = 100.0
source_content_hz = 40.0
sampling_hz = 1000.0
certificate_date = 2026-05-01

[calibration]
field_check = "before_and_after"
tolerance_db = 0.5
drift_rule = "data between the checks are void"

[weather]
recorded = "on_site"
max_wind_m_s = 5.0
max_gust_m_s = 10.0
rain = "excluded"

[clock]
time_zone = "Etc/UTC"
daylight_saving = "none_here"
synchronised_by = "network time"
tolerance_s = 5.0

[data]
capture_target_percent = 95.0
max_gap_min = 10.0
when_down = "piling near the station stops"
down_stops_work = true
archive_years = 6.0

[[baseline]]
station = "N1"
period = "weekdays 07-19"
first = 2026-10-05
last = 2026-10-11
hours = 168.0
done = true
laeq_db = 62.4
la90_db = 51.0
category = "A"
exclusions = "two hours of rain"

[[levels]]
criterion = "noise"
alert = 60.0
action = 63.0
stop = 65.0
alarm_windows_s = [900.0, 3600.0]
[[levels]]
criterion = "damage"
alert = 5.0
action = 7.5
stop = 10.0
[[levels]]
criterion = "people"
alert = 1.0
action = 1.5
stop = 2.0

[[people]]
role = "foreman"
told_at = ["alert", "action", "stop"]
may_stop_work = true
[[people]]
role = "engineer"
told_at = ["action", "stop"]

[[responses]]
level = "action"
acknowledge_min = 10.0
act_min = 15.0
[[responses]]
level = "stop"
acknowledge_min = 2.0
act_min = 5.0

[stop_work]
works = ["the pile being pressed"]
ordered_by = "foreman"
restarted_by = "engineer"
restart_evidence = ["cause found", "building looked at"]

[authority]
name = "invented authority"
told_within_h = 24.0

[investigation]
fields = ["cause", "other work at the same time", "wind", "sound recording", "measures", "date of closing"]

[prediction_check]
noise_gap_db = 3.0
action = "predict anew"

[day_counting]
counted_by = "engineer"
[[count_windows]]
criterion = "noise"
more_than_days = 9.0
within = "15 days"

[works_log]
fields = ["start and stop", "pile", "method", "press force setting"]
resolution_min = 5.0

[[surveys]]
receptor = "H1"
before = 2027-02-01
after = 2027-06-10
[[surveys]]
receptor = "H2"
before = 2027-02-02
after = 2027-06-10

[trial]
piles = ["P1"]
on = 2027-03-01
stations = ["V1"]
accepted_when = "levels at three distances fitted and below action"

[[reports]]
name = "weekly"
every = "week"
content = ["levels", "alarms"]
sent_to = ["engineer"]
within_days = 3.0

[community]
letters_to = ["H1", "H2"]
notice_days = 14.0

[complaints]
hotline = "invented number, working hours"
log_fields = ["date and time", "place", "what was noticed"]
respond_within_h = 24.0
linked_to_data = true
triggers_review = true

[independence]
measured_by = "party one"
audited_by = "party two"

[review]
relax_when = "four weeks without an alert"
extend_when = "an action level is reached"
end_when = "four weeks after the last pile"
"""

PUBLISHED = """
# After published examples: Hong Kong environmental monitoring manuals (30 minutes as six 5-minute levels, type 1
# meters, calibrator before and after within 1.0 dB, wind 5 m/s and gusts 10 m/s, an action level of one complaint and
# a limit of 75 dB, four roles, the authority told of an exceedance, proposals in 3 working days, the responsible work
# stopped), an English water utility's mounting rules (bolt, epoxy or sandbag, level within 10 degrees, stop at 1.5
# mm/s) and the positions of the North Rhine-Westphalia State Agency (foundation, two horizontal directions, vertical).
title = "Plan after published examples"

[[receptors]]
id = "flats"
[[receptors]]
id = "main"

[[limit_sets]]
id = "daytime_works"
edition = "manual of the project"
own_document = "environmental permit"
[[limit_sets]]
id = "utility"
own_document = "requirements of the water utility"

[[criteria]]
id = "noise day"
limit_set = "daytime_works"
quantity = "laeq_db"
weighting = "A"
averaging_s = 1800.0
period = "day"
days = ["mon", "tue", "wed", "thu", "fri", "sat"]
starts = "07:00"
ends = "19:00"
position = "facade"
value = 75.0
unit = "dB"
[[criteria]]
id = "pipe"
limit_set = "utility"
effect = "assets"
quantity = "ppv_component"
weighting = "none"
position = "pipe"
value = 1.5
unit = "mm/s"

[[stations]]
id = "N1"
kind = "noise"
receptor = "flats"
position = "facade"
height_m = 1.2
reflector_m = 1.0
quantities = ["laeq_db", "la10_db", "la90_db"]
interval_s = 300.0
instrument = "meter"
criteria = ["noise day"]
[[stations]]
id = "V1"
kind = "vibration"
receptor = "main"
position = "pipe"
coupling = "sandbag"
surface = "pipe"
level_within_deg = 10.0
axes = ["horizontal", "horizontal across", "vertical"]
quantities = ["ppv_component", "dominant_frequency_hz"]
per_axis = true
waveform = "on_trigger"
instrument = "vibrometer"
criteria = ["pipe"]

[[instruments]]
id = "meter"
kind = "sound_level_meter"
standard = "IEC 61672 class 1, formerly IEC 651 type 1"
accuracy_class = 1
[[instruments]]
id = "calibrator"
kind = "sound_calibrator"
[[instruments]]
id = "vibrometer"
kind = "vibration_meter"
standard = "DIN 45669-1"

[calibration]
field_check = "before_and_after"
tolerance_db = 1.0
drift_rule = "measure again"

[weather]
recorded = "on_site"
max_wind_m_s = 5.0
max_gust_m_s = 10.0
rain = "excluded"

[[levels]]
criterion = "noise day"
stop = 75.0
[[levels]]
criterion = "pipe"
stop = 1.5

[[people]]
role = "environmental team"
told_at = ["action", "stop"]
[[people]]
role = "independent checker"
told_at = ["action", "stop"]
[[people]]
role = "engineer's representative"
told_at = ["action", "stop"]
may_stop_work = true
[[people]]
role = "contractor"
told_at = ["action", "stop"]

[stop_work]
works = ["the part of the work that is responsible"]
ordered_by = "engineer's representative"

[authority]
name = "environmental authority"

[investigation]
fields = ["cause", "concurrent works", "wind", "photograph", "mitigation measures", "date closed"]
close_within_days = 3.0

[complaints]
hotline = "project line"
log_fields = ["time", "address", "nature of the complaint"]
respond_within_h = 24.0
linked_to_data = true
triggers_review = true

[independence]
measured_by = "environmental team"
audited_by = "independent checker"
"""
PUBLISHED_OUTCOMES = {
    "M01": "not_stated",   # nobody says when the values were compared with their document
    "M02": "not_stated",   # the utility's level has no period and no hours
    "M03": "pass",         # six 5-minute levels make 30 minutes
    "M06": "pass", "M09": "pass", "M11": "pass", "M12": "pass",
    "M07": "not_stated", "M08": "not_stated",   # no coordinates
    "M10": "not_stated",
    "M15": "pass", "M18": "pass", "M19": "pass",
    "M16": "not_stated",   # range and sampling aren't in the examples
    "M20": "not_stated",   # an action level of one complaint is no number
    "M23": "pass", "M24": "not_stated",
    "M25": "not_stated",   # who restarts, and on what evidence, isn't said
    "M26": "not_stated",   # the authority is told, but no time is given
    "M27": "pass", "M37": "pass", "M40": "pass",
    "M30": "not_stated", "M31": "not_stated", "M32": "not_stated", "M33": "not_stated",
}
"""What the published examples say and leave out, read rule by rule."""


def tables(text: str = SOUND) -> Tables:
    """Return a plan's tables, to be edited."""
    return tomllib.loads(text)


def plan_of(data: Tables) -> Plan:
    """Return the plan that tables describe."""
    return build(Source("plan.toml", data))


def sound(*edits: Edit) -> Plan:
    """Return the sound plan after some edits."""
    data = copy.deepcopy(tables())
    for edit in edits:
        edit(data)
    return plan_of(data)


def put(table: str, key: str, value: Any, row: int | None = 0) -> Edit:
    """Return an edit that sets a key of a section (row None) or of a list's row."""
    def edit(data: Tables) -> None:
        (data[table] if row is None else data[table][row])[key] = value
    return edit


def drop(table: str, key: str | None = None, row: int | None = 0) -> Edit:
    """Return an edit that takes away a key of a section (row None) or of a row, or a whole table."""
    def edit(data: Tables) -> None:
        if key is None:
            del data[table]
        else:
            del (data[table] if row is None else data[table][row])[key]
    return edit


def take_row(table: str, row: int) -> Edit:
    """Return an edit that takes a row away."""
    def edit(data: Tables) -> None:
        del data[table][row]
    return edit


def both(*edits: Edit) -> Edit:
    """Return several edits as one."""
    def edit(data: Tables) -> None:
        for one in edits:
            one(data)
    return edit


CASES: dict[str, tuple[Edit, Edit]] = {
    "M01": (drop("limit_sets", "own_document", 1), drop("limit_sets", "edition")),
    "M02": (put("criteria", "weighting", "C"), drop("criteria", "position")),
    "M03": (put("stations", "interval_s", 7.0), drop("stations", "interval_s")),
    "M04": (drop("proxies"), drop("proxies", "agreed_on")),
    "M05": (put("predictions", "median", 60.0, 1), drop("predictions")),
    "M06": (put("stations", "position", "free_field"), drop("stations", "reflector_m")),
    "M07": (put("stations", "x", 524100.0), drop("proxies", "transfer_basis")),
    "M08": (put("stations", "height_m", 4.0), drop("stations", "photo")),
    "M09": (put("instruments", "accuracy_class", 2), drop("instruments", "accuracy_class")),
    "M10": (put("instruments", "certificate_date", date(2024, 1, 1)),
            drop("instruments", "certificate_date")),
    "M11": (put("calibration", "tolerance_db", 1.5, None), drop("calibration", "tolerance_db", None)),
    "M12": (put("weather", "rain", "kept", None), drop("weather", "max_gust_m_s", None)),
    "M13": (put("baseline", "hours", 24.0), drop("baseline", "hours")),
    "M14": (put("baseline", "category", "B"), drop("baseline", "la90_db")),
    "M15": (put("stations", "axes", ["vertical"], 1), drop("stations", "axes", 1)),
    "M16": (put("instruments", "high_hz", 70.0, 2), drop("instruments", "sampling_hz", 2)),
    "M17": (put("stations", "position", "ground", 1), drop("stations", "position", 1)),
    "M18": (put("stations", "surface", "loose_slab", 1), drop("stations", "coupling", 1)),
    "M19": (put("stations", "waveform", "none", 1), drop("stations", "waveform", 1)),
    "M20": (put("levels", "alert", 64.0), drop("levels", "action")),
    "M21": (put("predictions", "median", 62.0), drop("predictions")),
    "M22": (put("levels", "alarm_windows_s", [7200.0]), drop("levels", "alarm_windows_s")),
    "M23": (put("people", "told_at", [], 1), drop("people", "may_stop_work")),
    "M24": (put("responses", "act_min", 1.0, 1), drop("responses", "act_min", 1)),
    "M25": (put("people", "may_stop_work", False), drop("stop_work")),
    "M26": (put("authority", "told_within_h", 72.0, None), drop("authority", "name", None)),
    "M27": (put("investigation", "fields", ["cause"], None), drop("investigation")),
    "M28": (put("prediction_check", "noise_gap_db", 6.0, None), drop("prediction_check", "action", None)),
    "M29": (put("reports", "every", "quarter"), drop("reports", "within_days")),
    "M30": (put("data", "capture_target_percent", 80.0, None), drop("data", "capture_target_percent", None)),
    "M31": (put("data", "max_gap_min", 600.0, None), drop("data", "when_down", None)),
    "M32": (put("clock", "tolerance_s", 60.0, None), drop("clock", "time_zone", None)),
    "M33": (put("works_log", "resolution_min", 60.0, None), drop("works_log", "fields", None)),
    "M34": (take_row("surveys", 0), drop("surveys", "before")),
    "M35": (put("trial", "on", date(2027, 4, 1), None), drop("trial", "piles", None)),
    "M36": (put("community", "letters_to", ["H2"], None), drop("community", "notice_days", None)),
    "M37": (put("complaints", "linked_to_data", False, None), drop("complaints", "hotline", None)),
    "M38": (put("activities", "ends", "19:00"), drop("permitted_hours")),
    "M39": (put("phases", "stations", ["V1f"], 1), drop("phases", "nearest_receptor")),
    "M40": (put("independence", "audited_by", "Party one", None), drop("independence", "audited_by", None)),
    "M41": (put("data", "archive_years", 0.5, None), drop("review", "end_when", None)),
    "M42": (drop("count_windows"), drop("day_counting")),
}
"""By rule: an edit of the sound plan that breaks it, and one after which the plan doesn't state it."""
