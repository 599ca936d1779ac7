"""The audit's report: what counts as passing, its table and text, settings of the user's own, records, a prediction."""

from __future__ import annotations

import io
import math
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from audit_plans import both, drop, put, sound, take_row

from envpredict.core.errors import InputProblems, UnknownName
from envpredict.monitoring.audit import AUDIT_COLUMNS, AuditReport, RuleResult, audit
from envpredict.monitoring.audit_checks import broken, idle, met, missing
from envpredict.monitoring.audit_rules import load_rules
from envpredict.monitoring.hours import first_outside, minutes
from envpredict.monitoring.plan_schema import Plan
from envpredict.monitoring.predicted import margin_db


def outcome(plan: Plan, rule: str) -> str:
    return audit(plan)[rule].outcome


def test_sound_plan_passes() -> None:
    report = audit(sound())
    assert report.passed
    assert report.verdict() == "42 rules: 0 fails, 0 not stated, 42 passes. No rule fails."


@pytest.mark.parametrize(("edit", "records", "said"), [
    (None, ["M20"], "The plan itself fails no rule. The records fail M20: explain and close each before work goes on."),
    ("stop_work", [], "The plan must not be used as it stands: M25 must be stated."),
    ("stop_work", ["M31", "M20"], "The plan must not be used as it stands: M25 must be stated. The records fail M20, "
                                  "M31: explain and close each before work goes on."),
    ("capture", [], "The plan must not be used as it stands."),
    ("capture", ["M30"], "The plan must not be used as it stands."),
])
def test_verdict_tells_a_plan_that_fails_from_records_that_do(edit: str | None, records: list[str], said: str) -> None:
    edits = {"stop_work": drop("stop_work"), "capture": put("data", "capture_target_percent", 50.0, None)}
    plan = sound() if edit is None else sound(edits[edit])
    report = audit(plan, None, {name: [broken("vibration.csv, line 7", "reached")] for name in records})
    assert not report.passed
    assert report.verdict().endswith(said)
    if not records or edit is not None:
        assert "fails no rule" not in report.verdict()


def test_gravest_evidence_decides() -> None:
    rule = load_rules()["M30"]
    assert RuleResult.of(rule, [met("a", "x"), missing("b", "y"), broken("c", "z")]).outcome == "fail"
    assert RuleResult.of(rule, [met("a", "x"), missing("b", "y")]).outcome == "not_stated"
    assert RuleResult.of(rule, [idle("a", "x"), met("b", "y")]).outcome == "pass"
    nothing = RuleResult.of(rule, [idle("a", "x")])
    assert (nothing.outcome, nothing.applies) == ("pass", False)
    with pytest.raises(ValueError, match="no evidence"):
        RuleResult.of(rule, [])


@pytest.mark.parametrize(("edit", "passed"), [
    (drop("review", "end_when", None), True),       # open, but not essential
    (drop("stop_work"), False),                     # a plan without stop-work can't be used
    (drop("levels"), False),                        # nor one without levels
    (put("data", "capture_target_percent", 50.0, None), False),
])
def test_what_may_stay_open(edit: object, passed: bool) -> None:
    assert callable(edit)
    assert audit(sound(edit)).passed is passed


def test_plan_without_stop_work_is_named() -> None:
    report = audit(sound(drop("stop_work")))
    assert {evidence.where for evidence in report["M25"].evidence} == {
        "stop_work.works", "stop_work.ordered_by", "stop_work.restarted_by", "stop_work.restart_evidence"}
    assert report.verdict().endswith("The plan must not be used as it stands: M25 must be stated.")


@pytest.mark.parametrize(("edit", "key", "what"), [
    (put("levels", "alert", 64.0), "levels[1].alert", "alert 64 isn't below action 63"),
    (put("levels", "action", 66.0), "levels[1].action", "action 66 isn't below stop 65"),
    (put("levels", "stop", 70.0), "levels[1].stop", "stop 70 lies above the limit, 65"),
    (put("levels", "alert", 61.0), "levels[1].alert", "too near the limit"),
    (put("levels", "alert", 8.1, 1), "levels[2].alert", "alert 8.1 isn't below action 7.5"),
])
def test_levels_out_of_order_are_named_by_key(edit: object, key: str, what: str) -> None:
    assert callable(edit)
    first = audit(sound(edit))["M20"].evidence[0]
    assert first.verdict == "broken"
    assert first.where.startswith(key)
    assert what in first.said


def test_station_nowhere_near_its_receptor_is_named_by_key() -> None:
    first = audit(sound(put("stations", "x", 6150010.0), put("stations", "y", 524010.0)))["M07"].evidence[0]
    assert first.where == "stations[1].x (N1)"
    assert "m from H1" in first.said


# BS 5228-1:2009+A1:2014, E.3.2, Table E.1, recalled from memory: baselines rounded to 5 dB, exact halves down
@pytest.mark.parametrize(("baseline", "category", "limit"), [
    (62.4, "A", 65.0), (62.5, "A", 65.0), (63.0, "B", 70.0), (67.4, "B", 70.0), (68.0, "C", 75.0),
])
def test_category_is_derived_as_the_document_does(baseline: float, category: str, limit: float) -> None:
    for claimed in "ABC":
        adopted = {"A": 65.0, "B": 70.0, "C": 75.0}[claimed]
        edit = both(put("baseline", "laeq_db", baseline), put("baseline", "category", claimed),
                    put("criteria", "value", adopted))
        assert outcome(sound(edit), "M14") == ("pass" if claimed == category else "fail"), claimed
    assert {"A": 65.0, "B": 70.0, "C": 75.0}[category] == limit


def test_baseline_of_another_position_is_moved_to_the_limits() -> None:
    # 3 dB at a facade (Hong Kong technical memorandum; BS 5228-1 likewise from memory): 60.0 free field, 63.0 facade
    at_facade = both(put("baseline", "laeq_db", 60.0), put("baseline", "category", "A"))
    assert outcome(sound(at_facade), "M14") == "pass"
    free = both(at_facade, put("baseline", "position", "free_field"))
    assert outcome(sound(free), "M14") == "fail"


def test_weekend_work_needs_weekend_hours_and_a_weekend_in_the_baseline() -> None:
    assert outcome(sound(put("activities", "days", ["sat"])), "M38") == "fail"
    assert outcome(sound(put("baseline", "last", date(2026, 10, 9))), "M13") == "fail"


def test_hours_past_midnight_belong_to_the_day_they_start_on() -> None:
    allowed = minutes(["fri"], "20:00", "06:00")
    assert first_outside(minutes(["fri"], "22:00", "05:00"), allowed) is None
    assert first_outside(minutes(["sat"], "00:00", "06:00"), allowed) is None
    assert first_outside(minutes(["sat"], "22:00", "23:00"), allowed) == "sat 22:00"
    assert first_outside(minutes(["fri"], "22:00", "07:00"), allowed) == "sat 06:00"
    assert allowed.sum() == 600


def test_night_work_needs_somebody_who_can_be_reached() -> None:
    night = both(put("activities", "starts", "20:00"), put("activities", "ends", "04:00"))
    assert outcome(sound(night), "M23") == "fail"
    assert outcome(sound(night, put("people", "reachable_24h", True)), "M23") == "pass"


def test_second_class_meter_may_only_indicate() -> None:
    plan = sound(put("instruments", "accuracy_class", 2), put("stations", "indicative", True))
    assert outcome(plan, "M09") == "pass"


def test_certificate_may_run_out_only_where_renewal_is_stated() -> None:
    # 24 months after 2025-04-01 is 2027-04-01, in the middle of the works
    old = put("instruments", "certificate_date", date(2025, 4, 1))
    assert outcome(sound(old), "M10") == "fail"
    assert outcome(sound(old, put("calibration", "meter_months", 24.0, None)), "M10") == "pass"
    assert outcome(sound(old, put("calibration", "meter_months", 36.0, None)), "M10") == "fail"
    assert outcome(sound(put("instruments", "certificate_date", date(2027, 4, 1))), "M10") == "fail"


def test_facade_reading_may_be_corrected_for_a_free_field_limit() -> None:
    free = put("criteria", "position", "free_field")
    assert outcome(sound(free), "M06") == "fail"
    assert outcome(sound(free, put("stations", "correction_db", -3.0)), "M06") == "pass"


def test_method_that_may_not_start_needs_no_alert_above_its_median() -> None:
    loud = put("predictions", "median", 62.0)
    assert outcome(sound(loud), "M21") == "fail"
    held = audit(sound(loud, put("methods", "condition", "a screen is up")))["M21"]
    assert held.outcome == "pass"
    assert any("not to start before: a screen is up" in evidence.said for evidence in held.evidence)


def test_proxy_that_nobody_agreed_to_leaves_the_receptor_open() -> None:
    assert outcome(sound(drop("proxies", "agreed_on")), "M04") == "not_stated"
    assert outcome(sound(take_row("proxies", 0)), "M04") == "fail"


def test_margin_follows_its_definition() -> None:
    # 20 lg of the ratio for velocities, the difference for levels in decibels
    assert margin_db("ppv_component", 10.0, 5.0) == pytest.approx(6.0206, abs=1e-4)
    assert margin_db("laeq_db", 65.0, 60.0) == 5.0
    assert math.isnan(margin_db("laeq_db", math.nan, 60.0))
    assert margin_db("ppv_component", 10.0, 0.0) == math.inf


def test_table_has_one_row_per_piece_of_evidence() -> None:
    report = audit(sound(drop("stop_work")))
    frame = pd.read_csv(io.StringIO(report.csv()), keep_default_na=False)
    assert list(frame.columns) == list(AUDIT_COLUMNS)
    assert len(frame) == sum(len(result.evidence) for result in report.results)
    assert set(frame["rule"]) == set(load_rules())
    assert set(frame.loc[frame["rule"] == "M25", "verdict"]) == {"missing"}
    assert (frame["source"] != "").all()


def test_text_tells_what_fails_with_evidence_and_source() -> None:
    text = audit(sound(put("data", "capture_target_percent", 50.0, None), drop("stop_work"))).text()
    flat = " ".join(text.split())
    assert "FAILS M30 Completeness of the records (medium)" in flat
    assert "data.capture_target_percent: valid data: 50 %, at least 90 % asked" in flat
    assert "NOT STATED M25 Stop-work (high)" in flat
    assert "no safety system" in flat
    assert "Invented demonstration" in flat
    assert max(map(len, text.splitlines())) <= 100


def test_what_only_records_can_show_is_said() -> None:
    alone = audit(sound())
    assert {"M10", "M11", "M30", "M31", "M32"} <= {rule for rule, _ in alone.unchecked}
    assert "no records" in alone.against
    assert "NOT CHECKED, since no records were given" in alone.text()


def test_records_add_their_evidence() -> None:
    report = audit(sound(), records={"M30": [broken("N1 2027-03", "valid data: 71 %, at least 90 % asked")]})
    assert report["M30"].outcome == "fail"
    assert report["M30"].evidence[0].where == "N1 2027-03"
    assert report.unchecked == ()
    assert "records" in report.against
    with pytest.raises(UnknownName, match="M99"):
        audit(sound(), records={"M99": []})


def test_settings_of_the_users_own_are_compared_with_and_marked(tmp_path: Path) -> None:
    file = tmp_path / "own.toml"
    file.write_text("[M30]\ncapture_percent = 98\n[M27]\nfields = [\"cause\"]\n", encoding="utf-8")
    rules = load_rules([file])
    report: AuditReport = audit(sound(put("investigation", "fields", ["cause"], None)), rules=rules)
    assert report["M30"].outcome == "fail"
    assert report["M27"].outcome == "pass"
    assert rules["M30"].settings["capture_percent"].basis == "practice"
    assert load_rules()["M30"].settings["capture_percent"].value == 90.0


def test_faulty_settings_are_told_in_one_pass(tmp_path: Path) -> None:
    file = tmp_path / "own.toml"
    file.write_text('M99 = 1\n[M30]\ncapture = 98\ncapture_percent = "all"\n[M27]\nfields = 3\n', encoding="utf-8")
    with pytest.raises(InputProblems) as caught:
        load_rules([file, tmp_path / "missing.toml"])
    where = [problem.where for problem in caught.value.problems]
    assert where == ["own.toml, key 'M99'", "own.toml, key 'M30.capture'", "own.toml, key 'M30.capture_percent'",
                     "own.toml, key 'M27.fields'", "missing.toml"]


def test_unknown_rule_is_named() -> None:
    with pytest.raises(UnknownName, match="M77"):
        audit(sound())["M77"]
