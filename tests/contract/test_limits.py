"""Every shipped limit set keeps the promises that others rely on; a new file is held to them without being named."""

from __future__ import annotations

import itertools
import json
from importlib import resources
from pathlib import Path

import numpy as np
import pytest

from envpredict.core.citation import BASES, VERIFY_MARK
from envpredict.core.quantities import QUANTITIES
from envpredict.limits import page
from envpredict.limits.base import SIGNAL_MEANING, STATUS_MEANING
from envpredict.limits.describe import describe
from envpredict.limits.facts import FACTS
from envpredict.limits.find import matching
from envpredict.limits.load import load_limit_sets
from envpredict.limits.outcome import LimitValue, Missing, NotGoverned
from envpredict.limits.rule import Rule
from envpredict.limits.schema import LimitSet
from envpredict.limits.values import BackgroundCategory, BackgroundPlus, DayAllowance, Fixed, HoursOnly, Product

SETS = load_limit_sets()
RULES = [(found, rule) for found in SETS.values() for rule in found.rules]
every_set = pytest.mark.parametrize("found", SETS.values(), ids=list(SETS))
every_rule = pytest.mark.parametrize(("found", "rule"), RULES, ids=[f"{a.id}.{b.id}" for a, b in RULES])
BAND = (15.0, 40.0, 25.0)


def class_ids(found: LimitSet) -> list[str]:
    return ["+".join(names) for names in itertools.product(*(axis.classes for axis in found.all_axes))]


def test_there_are_enough_sets_of_every_kind() -> None:
    noise = [found for found in SETS.values() if "noise" in found.effects]
    vibration = [found for found in SETS.values() if set(found.effects) - {"noise"}]
    assert len(noise) >= 20
    assert len(vibration) >= 25
    assert {effect for found in SETS.values() for effect in found.effects} == {
        "damage", "people", "noise", "equipment", "assets", "wildlife", "settlement"}
    # Europe, North America, Asia, Oceania
    assert {"GB", "DE", "CH", "SE", "FR", "NL", "US", "CA", "JP", "HK", "SG", "CN", "IN", "AU", "NZ"} <= {
        found.country for found in SETS.values()}


@every_set
def test_a_set_reads_back_what_it_dumps(found: LimitSet) -> None:
    again = LimitSet.model_validate_json(json.dumps(found.dump()))
    assert again == found


@every_set
def test_a_set_is_named_as_its_file_and_says_what_it_is(found: LimitSet) -> None:
    assert resources.files("envpredict.limits").joinpath(f"sets/{found.id}.toml").is_file()
    assert found.note, "say what a reader must know"
    assert found.status in STATUS_MEANING
    if found.status == "statutory":
        assert found.dated, "a law is printed with its date"
    used = {name for rule in found.rules for name in rule.covered} - {"any"}
    known = {name for axis in found.all_axes for name in axis.classes}
    assert used <= known
    reached = {row.class_id for axis in found.all_axes for row in axis.class_map} - {"none"}
    assert reached == known, "a class that no receptor can have, or a row without a class"


@every_set
def test_every_receptor_gets_an_answer(found: LimitSet) -> None:
    for use in FACTS["use"].words:
        full = {name: next(iter(fact.words), None) for name, fact in FACTS.items()} | {"use": use}
        for facts in ({"use": use}, full):
            answer = found.classify(facts)
            if isinstance(answer, Missing):
                assert answer.fact in found.facts
                assert answer.why
            elif isinstance(answer, NotGoverned):
                assert answer.reason
            else:
                assert answer in class_ids(found)
    unknown = found.classify({})
    assert isinstance(unknown, Missing)


@every_set
def test_a_neighbour_is_not_asked_about_what_only_others_have(found: LimitSet) -> None:
    plain = {"use": "dwelling", "structure": "masonry", "condition": "sound", "foundation": "spread",
             "area": "residential", "wall_material": "brick", "age": "old", "finish": "plaster", "engineered": "no",
             "owner": "other", "windows": "openable", "main_road": "no", "piling_ground": "soil",
             "site_within_150_m": "yes", "zone": next(iter(found.facts.get("zone", ("any",))))}
    answer = found.classify(plain)
    assert not isinstance(answer, Missing), f"a fully described dwelling is asked for {answer}"


@every_rule
def test_every_value_has_a_source_and_a_basis(found: LimitSet, rule: Rule) -> None:
    assert rule.citations
    assert rule.citation == rule.citations[0]
    for citation in rule.citations:
        assert citation.document.strip()
        assert citation.place.strip()
        assert citation.basis in BASES
        if citation.basis != "read":
            assert VERIFY_MARK[citation.basis] in str(citation)
    assert rule.basis in BASES
    ranks = [BASES.index(citation.basis) for citation in rule.citations[:1]]
    assert BASES.index(rule.basis) >= max(ranks)


@every_rule
def test_a_rule_fits_its_quantity_place_and_clock(found: LimitSet, rule: Rule) -> None:
    if rule.quantity is None:
        assert isinstance(rule.value, HoursOnly)
        assert rule.periods or rule.value.max_hours_per_day
        return
    quantity = QUANTITIES[rule.quantity]
    assert rule.unit == quantity.unit
    assert (quantity.effect == "noise") == (rule.effect == "noise" or (
        quantity.scale == "decibel" and rule.effect == "wildlife"))
    if rule.quantity in ("laeq_db", "lar_db"):
        assert rule.periods, "an average needs a period"
        assert all(period.averaging_s or period.averaging == "operation" for period in rule.periods)
        assert rule.place in ("facade", "free_field", "boundary", "habitat", "indoors")
    if quantity.effect == "noise":
        assert rule.periods, "a rule on sound says when it holds, if only 00:00 to 24:00"
    for period in rule.periods:
        assert (period.averaging_s or 0) <= period.length_s
        assert rule.period(period.id) is period
    for signal in SIGNAL_MEANING:
        assert rule.governs(signal) is True or isinstance(rule.governs(signal), NotGoverned)


@every_rule
def test_every_class_that_a_rule_covers_has_a_limit(found: LimitSet, rule: Rule) -> None:
    covered = [name for name in class_ids(found) if rule.governs(class_id=name) is True]
    assert covered, "a rule that speaks of no class"
    periods = [period.id for period in rule.periods] or [None]
    signals = rule.vibration or ("continuous",)
    for name in covered:
        answers = [_limit(rule, name, period, signal, days) for period in periods for signal in signals
                   for days in (1.0, 100.0, 1000.0)]
        assert not any(isinstance(answer, Missing) for answer in answers)
        values = [answer for answer in answers if isinstance(answer, LimitValue)]
        assert values or isinstance(rule.value, HoursOnly | DayAllowance)
        for value in values:
            assert np.isfinite(value.value)
            assert value.unit == rule.unit
            assert BASES.index(value.basis) <= BASES.index(rule.basis)
            assert value.citations
    for name in set(class_ids(found)) - set(covered):
        assert isinstance(_limit(rule, name, periods[0], signals[0], 10.0), NotGoverned)


def _limit(rule: Rule, class_id: str, period: str | None, signal: str,
           days: float) -> LimitValue | Missing | NotGoverned | None:
    if isinstance(rule.value, HoursOnly | DayAllowance):
        return rule.governs(class_id=class_id) if rule.governs(class_id=class_id) is not True else None
    if isinstance(rule.value, BackgroundCategory | BackgroundPlus):
        return rule.limit_from_background(class_id, period, 50.0, 45.0, "free_field", signal=signal, days=days)
    return rule.limit(class_id, *BAND, period_id=period, signal=signal, days=days)


@every_rule
def test_what_is_not_read_is_marked_in_words(found: LimitSet, rule: Rule) -> None:
    text = describe(found)
    start = text.index(f"### {found.id}: {rule.id}\n")
    section = text[start : text.find("\n### ", start + 4) if "\n### " in text[start + 4 :] else len(text)]
    if rule.basis != "read":
        assert VERIFY_MARK[rule.basis] in section
    assert rule.clause in section
    for citation in rule.citations:
        assert citation.document in section
    if isinstance(rule.value, Fixed | Product):
        assert any(character.isdigit() for character in section)


def test_a_higher_sensitivity_never_gets_a_milder_limit() -> None:
    # in each of these sets the document orders its classes from robust to sensitive
    orders = {("din_4150_3_1999", "foundation"): ("line_1", "line_2", "line_3"),
              ("sn_640312a_1992", "frequent"): ("very_little", "little", "normal", "raised"),
              ("fr_circular_1986", "continuous"): ("resistant", "sensitive", "very_sensitive"),
              ("caltrans_2013", "continuous"): ("modern", "new_home", "old_home", "historic", "fragile", "ruin"),
              ("fta_2006", "structure"): ("category_1", "category_2", "category_3", "category_4"),
              ("equipment_vc_curves", "floor"): ("workshop", "office", "day", "theatre", "vc_a", "vc_b", "vc_c", "vc_d",
                                                 "vc_e", "vc_f", "vc_g")}
    for (set_id, rule_id), names in orders.items():
        for band in ((8.0, 8.0), (25.0, 25.0), (10.0, 60.0)):
            values = [found.value for name in names
                      if isinstance(found := SETS[set_id].rule(rule_id).limit(name, *band), LimitValue)]
            assert len(values) == len(names)
            assert values == sorted(values, reverse=True)


def test_the_page_is_current_and_holds_every_set() -> None:
    there = page.PAGE.read_text(encoding="utf-8")
    assert there == page.page(), "run: python -m envpredict.limits.page"
    assert all(f"\n## {name}\n" in there for name in SETS)
    assert all(f"| {name} |" in there for name in FACTS)


def test_the_page_is_written_by_its_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(page, "PAGE", tmp_path / "limits.md")
    page.main()
    assert (tmp_path / "limits.md").read_text(encoding="utf-8") == page.page()


def test_sets_are_found_by_country_quantity_use_and_effect() -> None:
    german = [found.id for found in matching(SETS, country="de")]
    assert "din_4150_3_1999" in german
    assert "iso_2631_2_1989" in german, "international sets fit every country"
    assert "bs_7385_2_1993" not in german
    assert [found.id for found in matching(SETS, quantity="shear_strain")] == ["settlement_strain_bands"]
    pipes = {found.id for found in matching(SETS, use="buried_pipe", effect="assets")}
    assert {"din_4150_3_1999", "gas_pipeline_uk", "bs_5228_2_2009_assets"} <= pipes
    assert "sg_railway_protection_2004" not in pipes
    with pytest.raises(ValueError, match="unknown use 'house'"):
        matching(SETS, use="house")


def test_no_address_stands_in_the_data() -> None:
    folder = resources.files("envpredict.limits").joinpath("sets")
    for entry in folder.iterdir():
        text = entry.read_text(encoding="utf-8")
        assert "http" not in text
        assert "www." not in text
