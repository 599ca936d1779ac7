"""Every rule of the audit has a check, complete data, and three plans: one passes, one fails, one is silent on it."""

from __future__ import annotations

from pathlib import Path

import pytest
from audit_plans import CASES, PUBLISHED, PUBLISHED_OUTCOMES, plan_of, sound, tables

from envpredict.core.citation import BASES, VERIFY_MARK
from envpredict.core.registry import Registry
from envpredict.monitoring import checks
from envpredict.monitoring.audit import AuditReport, audit
from envpredict.monitoring.audit_checks import load_checks
from envpredict.monitoring.audit_rules import SEVERITIES, Rule, load_rules

RULES: Registry[Rule] = load_rules()


@pytest.fixture(scope="module")
def passing() -> AuditReport:
    return audit(sound())


def test_every_rule_has_one_check_and_every_check_a_rule() -> None:
    assert set(load_checks()) == set(RULES)


def test_the_list_of_rules_is_whole() -> None:
    # the list of 42 rules that a monitoring plan is held against; numbered without gaps
    assert list(RULES) == [f"M{number:02d}" for number in range(1, 43)]


def test_every_rule_has_its_three_plans() -> None:
    assert set(CASES) == set(RULES), "a new rule needs an edit that breaks it and one that leaves it unstated"


@pytest.mark.parametrize("name", RULES)
def test_rule_passes_on_the_sound_plan(name: str, passing: AuditReport) -> None:
    result = passing[name]
    assert result.outcome == "pass", [str(one) for one in result.evidence]
    assert result.applies, "the sound plan must give every rule something to check"


@pytest.mark.parametrize("name", RULES)
def test_rule_fails_when_it_is_broken(name: str) -> None:
    result = audit(sound(CASES[name][0]))[name]
    assert result.outcome == "fail", [str(one) for one in result.evidence]
    assert result.evidence[0].verdict == "broken"
    assert result.evidence[0].where


@pytest.mark.parametrize("name", RULES)
def test_rule_says_what_is_not_stated(name: str) -> None:
    result = audit(sound(CASES[name][1]))[name]
    assert result.outcome == "not_stated", [str(one) for one in result.evidence]
    assert "not stated" in result.evidence[0].said or "nothing is predicted" in result.evidence[0].said


@pytest.mark.parametrize("name", RULES)
def test_rule_says_where_it_comes_from(name: str) -> None:
    rule = RULES[name]
    assert rule.severity in SEVERITIES
    for source in rule.sources:
        assert source.basis in BASES
        assert source.document.strip()
        assert source.place.strip()
    marks = [VERIFY_MARK[source.basis] for source in rule.sources if source.basis != "read"]
    assert all(mark in rule.source for mark in marks), "what wasn't read is printed with its mark"
    for key, setting in rule.settings.items():
        assert setting.meaning.strip(), key
        assert isinstance(setting.value, tuple) or setting.unit, f"{key} has no unit"
        assert VERIFY_MARK[setting.basis] in str(setting)


@pytest.mark.parametrize("name", [name for name, rule in RULES.items() if rule.settings])
def test_settings_are_used(name: str) -> None:
    # a setting that no check reads would be an editable number without effect
    source = "".join(path.read_text(encoding="utf-8") for path in Path(checks.__file__).parent.glob("*.py"))
    assert [key for key in RULES[name].settings if f'"{key}"' not in source] == []


@pytest.mark.parametrize("rule", PUBLISHED_OUTCOMES)
def test_plan_after_published_examples(rule: str) -> None:
    assert audit(plan_of(tables(PUBLISHED)))[rule].outcome == PUBLISHED_OUTCOMES[rule]


def test_plan_after_published_examples_cannot_be_used() -> None:
    report = audit(plan_of(tables(PUBLISHED)))
    assert not report.passed, "neither its levels nor who lets the work go on are stated"
    assert report.rules("fail") == (), [one.rule.id for one in report.rules("fail")]
