"""Every shipped limit set, adopted on a small site and judged for every method: nothing raises or stays unsaid."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import lru_cache

import pandas as pd
import pytest
from limits_site import adopting, entries, judged, prepared, scenario

from envpredict.core.citation import BASES, VERIFY_MARK
from envpredict.core.quantities import QUANTITIES
from envpredict.engine.catalogue import load_catalogue
from envpredict.engine.results import FINDING_COLUMNS, LIKELIHOOD_MEANING
from envpredict.engine.run import MethodRun, Run
from envpredict.limits.schema import LimitSet

CATALOGUE = load_catalogue()
SETS = dict(CATALOGUE.limit_sets)
DESIGN = 0.05


@lru_cache(maxsize=1)
def run() -> tuple[Run, list[MethodRun]]:
    """The small site with every installation method as a candidate, prepared once."""
    return prepared(scenario(methods=entries(CATALOGUE.methods)))


@lru_cache(maxsize=128)
def findings(set_id: str) -> pd.DataFrame:
    """The findings of one set alone."""
    prepared_run, methods = run()
    adopted = replace(prepared_run, scenario=replace(prepared_run.scenario, limits=adopting([SETS[set_id]])))
    return judged(adopted, methods)


@pytest.mark.parametrize("set_id", sorted(SETS))
def test_a_set_can_be_adopted_and_judged_for_every_method(set_id: str) -> None:
    found, limit_set = findings(set_id), SETS[set_id]
    prepared_run, methods = run()
    assert list(found.columns) == list(FINDING_COLUMNS)
    receptors = len(prepared_run.scenario.receptors)
    assert set(found["rule"]) == {rule.id for rule in limit_set.rules}
    assert len(found) == receptors * len(methods) * sum(
        1 if rule.quantity is None else max(len(rule.periods), 1) for rule in limit_set.rules)
    assert found["likelihood"].isin(LIKELIHOOD_MEANING).all()
    assert found["reason"].str.strip().astype(bool).all()


@pytest.mark.parametrize("set_id", sorted(SETS))
def test_what_is_judged_agrees_with_itself(set_id: str) -> None:
    found = findings(set_id)
    seen = found[found["predicted_design"].notna() & found["p_exceed"].notna()]
    assert seen["p_exceed"].between(0.0, 1.0).all()
    assert ((seen["margin_db"] >= 0) == (seen["p_exceed"] <= DESIGN)).all()
    assert (seen["basis"].isin(BASES) & seen["median_basis"].isin(BASES)).all()
    unlikely = seen[seen["likelihood"] == "unlikely"]
    assert (unlikely["median_basis"] != "estimate").all()
    assert unlikely["in_range"].all()
    assert (seen[seen["likelihood"] == "likely"]["p_exceed"] >= 0.5).all()


@pytest.mark.parametrize("set_id", sorted(SETS))
def test_no_recalled_limit_is_judged_without_its_mark(set_id: str) -> None:
    found, limit_set = findings(set_id), SETS[set_id]
    said = found[found["limit"].notna() & found["likelihood"].isin(["unlikely", "possible", "likely"])]
    for rule_id, rows in said.groupby("rule"):
        rule = limit_set.rule(str(rule_id))
        value = rule.basis_of.get("value", rule.sources[0].basis)
        if value != "read" and all(row.basis is None and row.source is None
                                   for row in getattr(rule.value, "rows", ())):
            assert rows["reason"].str.contains("limit: verify", regex=False).all()
            if value == "memory":
                assert rows["reason"].str.contains(f"limit: {VERIFY_MARK['memory']}", regex=False).all()


def test_a_limit_for_pulses_never_judges_a_vibrator_nor_the_other_way_round() -> None:
    signal = {method.choice.id: method.choice.signal for method in run()[1]}
    checked = 0
    for set_id, limit_set in SETS.items():
        for rule in limit_set.rules:
            if not rule.vibration:
                continue
            rows = findings(set_id)[lambda frame, name=rule.id: frame["rule"] == name]
            kinds = rows["method"].map(signal).replace("quasi_static", "continuous")
            alien = rows[~kinds.isin(rule.vibration) & ~rows["method"].map(signal).isin(rule.vibration)]
            assert alien["likelihood"].isin(["not_applicable", "cannot_judge"]).all()
            assert alien["p_exceed"].isna().all()
            checked += len(alien)
    assert checked > 1000


def test_no_verdict_on_a_guide_value_is_worded_as_a_chance_of_damage() -> None:
    wrong = re.compile(r"(chance|probab\w+|risk|likelihood) of (cosmetic |structural )?damage", re.IGNORECASE)
    texts = [text for set_id in SETS for text in findings(set_id)["reason"].unique()]
    texts += [*LIKELIHOOD_MEANING.values(), *(meaning for _, meaning in FINDING_COLUMNS.values())]
    assert len(texts) > 100
    assert not [text for text in texts if wrong.search(text)]


def test_a_statutory_rule_prints_its_edition() -> None:
    checked = set()
    for limit_set in SETS.values():
        for rule in limit_set.rules:
            if (rule.status or limit_set.status) != "statutory" or not (
                    rule.quantity is None or QUANTITIES[rule.quantity].effect == "vibration"):
                continue
            found = findings(limit_set.id)
            told = found[(found["rule"] == rule.id)
                         & found["likelihood"].isin(["unlikely", "possible", "likely", "breach"])]
            edition = f"statutory: {limit_set.document}, {limit_set.edition}"
            assert told["reason"].str.contains(edition, regex=False).all()
            checked |= {limit_set.id} if len(told) else set()
    assert len(checked) >= 5


def test_what_is_missing_is_named() -> None:
    # the bare house tells neither its condition nor its foundation nor its area
    found = findings("din_4150_2_1999")
    bare = found[(found["receptor"] == "bare") & (found["likelihood"] == "cannot_judge")]
    assert len(bare)
    assert bare["reason"].str.contains("the set needs area").all()


def _limit_sets_with(effect: str) -> list[LimitSet]:
    return [limit_set for limit_set in SETS.values() if effect in limit_set.effects]


def test_every_effect_has_sets_that_judge_somebody() -> None:
    for effect in ("damage", "people", "noise", "equipment", "assets", "wildlife", "settlement"):
        frames = [findings(limit_set.id) for limit_set in _limit_sets_with(effect)]
        rows = pd.concat(frames)
        assert rows["likelihood"].isin(["unlikely", "possible", "likely"]).any(), effect
