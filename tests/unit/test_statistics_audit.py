"""What records show of the audit's rules; the invented river wall's four planted faults, and nothing else."""

from __future__ import annotations

import importlib.util
import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from records_folder import (
    LOG,
    MONDAY,
    NOISE,
    RIVER_WALL,
    VIBRATION,
    WORKS,
    noise_rows,
    plan,
    vibration_rows,
    write,
)

from envpredict.cli import main
from envpredict.monitoring.audit import audit
from envpredict.monitoring.audit_checks import Evidence
from envpredict.monitoring.audit_rules import load_rules
from envpredict.monitoring.plan_file import read_plan
from envpredict.monitoring.records.read import read_records
from envpredict.monitoring.replay.batch import replay
from envpredict.monitoring.statistics.collect import collect
from envpredict.monitoring.statistics.evidence import CHECKS, evidence

NINE = MONDAY.replace(hour=9)
PLANTED = {"M20": "vibration.csv, line 24189", "M31": "station N1", "M32": "vibration.csv, line 6484",
           "M33": "vibration.csv, line 15542"}


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


def broken(found: dict[str, list[Evidence]]) -> dict[str, list[str]]:
    return {rule: [one.where for one in seen if one.verdict == "broken"] for rule, seen in found.items()
            if any(one.verdict == "broken" for one in seen)}


def shown(folder: Path, **tables: object) -> dict[str, list[Evidence]]:
    write(folder, **tables)  # type: ignore[arg-type]
    return {rule: list(seen) for rule, seen in evidence(collect(plan(), read_records(folder)), load_rules()).items()}


def said(seen: list[Evidence], verdict: str) -> str:
    return "\n".join(one.said for one in seen if one.verdict == verdict)


def test_the_audit_finds_the_four_planted_faults_and_nothing_else() -> None:
    read = read_plan(RIVER_WALL / "plan")
    assert audit(read).passed, "the plan itself is sound"
    found = evidence(collect(read, read_records(RIVER_WALL / "records")), load_rules())
    report = audit(read, None, found)
    fails = {one.rule.id: [seen for seen in one.evidence if seen.verdict == "broken"] for one in report.rules("fail")}
    assert {rule: [seen.where for seen in held] for rule, held in fails.items()} == {
        rule: [where] for rule, where in PLANTED.items()}
    assert not report.rules("not_stated")
    assert "3.4 mm/s reaches the stop level of 3 mm/s" in fails["M20"][0].said
    assert "it lasted 75 min" in fails["M31"][0].said
    assert "stepped back by 95 s" in fails["M32"][0].said
    assert "no entry of the diary explains it" in fails["M33"][0].said


def test_the_replay_finds_the_four_planted_faults_and_nothing_else() -> None:
    found = replay(read_plan(RIVER_WALL / "plan"), read_records(RIVER_WALL / "records"))
    told = [(event.event, event.station, event.rule) for event in found.events]
    assert told == [
        ("monitor_down", "V3", "monitor_down/clock"),
        ("alert", "V1", "cottages/alert"),
        ("alert", "V2", "mill/alert"), ("action", "V2", "mill/action"), ("stop", "V2", "mill/stop"),
        ("restart", "V2", "restart"),
        ("monitor_down", "N1", "monitor_down/silent"), ("stop", "N1", "monitor_down/silent/stop"),
        ("restart", "N1", "restart")]
    assert [event.works for event in found.events if event.quantity] == [(), ("A13",), ("A13",), ("A13",)]
    assert found.held == ()
    assert found.notes == ()


def test_the_records_are_made_again_by_their_script(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    spec = importlib.util.spec_from_file_location("make_river_records", RIVER_WALL / "make_records.py")
    assert spec is not None
    assert spec.loader is not None
    make = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(make)
    shutil.copytree(RIVER_WALL / "plan", tmp_path / "plan")
    monkeypatch.setattr(make, "HERE", tmp_path)
    make.main()
    for path in sorted((RIVER_WALL / "records").rglob("*.*")):
        assert (tmp_path / "records" / path.relative_to(RIVER_WALL / "records")).read_bytes() == path.read_bytes()
    size = sum(path.stat().st_size for path in (RIVER_WALL / "records").rglob("*.*"))
    assert size < 4_000_000


def test_the_command_line_audits_and_replays_records(tmp_path: Path) -> None:
    done = run("audit", RIVER_WALL / "plan", "--records", RIVER_WALL / "records")
    assert done.exit_code == 1
    for rule in PLANTED:
        assert f"FAILS  {rule}" in done.output
    assert "NOT CHECKED" not in done.output
    done = run("replay", RIVER_WALL / "plan", RIVER_WALL / "records")
    assert done.exit_code == 0
    lines = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(lines) == 9
    assert "2 monitor_down, 2 alert, 1 action, 2 stop, 2 restart; no stop holds" in done.stderr
    assert "no safety system" in done.stderr
    out = tmp_path / "events.jsonl"
    assert run("replay", RIVER_WALL / "plan", RIVER_WALL / "records", "--out", out).exit_code == 0
    assert [json.loads(line) for line in out.read_text(encoding="utf-8").splitlines()] == lines
    again = run("replay", RIVER_WALL / "plan", RIVER_WALL / "records", "--out", out)
    assert again.exit_code == 3
    assert "exists" in again.output


def test_broken_records_end_with_exit_code_2_and_a_list(tmp_path: Path) -> None:
    write(tmp_path / "r", vibration=[VIBRATION, "V2,2027-11-01T09:00:00,60,1,1,1,,,,,", "V2,x,60,1,1,1,,,,,"])
    for words in (("audit", RIVER_WALL / "plan", "--records", tmp_path / "r"),
                  ("replay", RIVER_WALL / "plan", tmp_path / "r")):
        done = run(*words)
        assert done.exit_code == 2
        assert "2 problems" in done.output
        assert "vibration.csv, line 2" in done.output
        assert "Traceback" not in done.output
    done = run("replay", RIVER_WALL / "plan", RIVER_WALL / "records", "--follow")
    assert done.exit_code == 2
    assert "--out" in done.output


def test_every_rule_that_names_records_has_something_to_show() -> None:
    named = {name for name, rule in load_rules().items() if rule.records}
    shown_of = evidence(collect(read_plan(RIVER_WALL / "plan"), read_records(RIVER_WALL / "records")), load_rules())
    assert named == set(CHECKS) == set(shown_of)
    assert all(shown_of.values()), "each check gives some evidence"


def test_answers_in_time_late_and_missing(tmp_path: Path) -> None:
    rows = vibration_rows(NINE, [0.1] * 5 + [8.0] + [0.1] * 2000)
    first = shown(tmp_path / "a", vibration=[VIBRATION, *rows])
    assert "wasn't seen" in said(first["M24"], "broken")
    found = replay(plan(), read_records(tmp_path / "a"))
    action = next(event for event in found.events if event.event == "action")
    log = [LOG, f"2027-03-01T09:05:00Z,acknowledged,V1,{action.id},someone,,,,",
           f"2027-03-01T09:30:00Z,acted,V1,{action.id},someone,,,,"]
    second = shown(tmp_path / "b", vibration=[VIBRATION, *rows], log=log)
    mine = [one for one in second["M24"] if "V1" in one.said and "action" in one.said]
    assert [one.verdict for one in mine] == ["met", "broken"]
    assert "acted on after 29 min by someone; 15 min asked" in mine[1].said


def test_work_that_goes_on_through_a_stop_is_found(tmp_path: Path) -> None:
    rows = vibration_rows(NINE, [0.1] * 5 + [12.0] + [0.1] * 1000)
    kept = shown(tmp_path / "a", vibration=[VIBRATION, *rows], works=[
        WORKS, "2027-03-01T08:30:00Z,2027-03-01T09:04:00Z,pressing,press,P1"])
    assert not [one for one in kept["M25"] if one.verdict == "broken"]
    ignored = shown(tmp_path / "b", vibration=[VIBRATION, *rows], works=[
        WORKS, "2027-03-01T08:30:00Z,2027-03-01T09:40:00Z,pressing,press,P1"])
    assert any(one.where == "works.csv, line 2" and "P1 went on" in one.said for one in ignored["M25"])
    assert "told to the authority" in said(kept["M26"], "broken") or kept["M26"][0].verdict == "idle"


def test_certificates_checks_and_clocks(tmp_path: Path) -> None:
    rows = noise_rows(NINE, [50.0 + n % 4 for n in range(30)])
    log = [LOG, "2027-03-01T08:00:00Z,field_check,N1,,someone,0.1,,,",
           "2027-03-01T12:00:00Z,field_check,N1,,someone,0.7,,,", "2027-03-01T12:00:00Z,clock_check,N1,,someone,-12,,,"]
    seen = shown(tmp_path, noise=[NOISE, *rows], log=log,
                 stations=["station_id,kind,certificate_date", "N1,noise,2024-12-01"])
    assert "older than 24 months on 2027-03-01" in said(seen["M10"], "broken")
    assert seen["M10"][0].where == "stations.csv, line 2"
    assert "drift of 0.7 dB" in said(seen["M11"], "broken")
    assert "was wrong by -12 s" in said(seen["M32"], "broken")
    assert "no wind and no rain are recorded" in said(seen["M12"], "missing")
    assert "no diary" in said(seen["M33"], "missing")


def test_measurements_far_above_the_prediction_ask_for_a_review(tmp_path: Path) -> None:
    rows = noise_rows(MONDAY.replace(hour=7), [60.0 + n % 3 for n in range(144)])
    seen = shown(tmp_path, noise=[NOISE, *rows], works=[
        WORKS, "2027-03-01T08:00:00Z,2027-03-01T17:00:00Z,pressing,press,P1"])
    # the plan states a median of 56 dB and a gap of 3 dB
    assert "more than 3 dB asks for a review" in said(seen["M28"], "broken")
