"""The main job on the demo scenario: what every finding must hold, whatever the numbers are."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from demo_assessment import assessment as demo

from envpredict.core.citation import BASES
from envpredict.core.quantities import QUANTITIES
from envpredict.engine.applied import classed, receptor_facts
from envpredict.engine.catalogue import load_catalogue
from envpredict.engine.results import FINDING_COLUMNS, LIKELIHOOD_MEANING, Assessment
from envpredict.engine.works.programme import EVENT_COLUMNS

DESIGN = 0.05


@pytest.fixture(scope="module")
def assessed() -> Assessment:
    return demo()


@pytest.fixture(scope="module")
def findings(assessed: Assessment) -> pd.DataFrame:
    return assessed.findings


@pytest.fixture(scope="module")
def judged(findings: pd.DataFrame) -> pd.DataFrame:
    return findings[findings["predicted_design"].notna() & findings["p_exceed"].notna()]


def test_the_schema_is_the_declared_one(findings: pd.DataFrame) -> None:
    assert list(findings.columns) == list(FINDING_COLUMNS)
    assert set(findings["likelihood"]) <= set(LIKELIHOOD_MEANING)
    assert not findings.duplicated(["receptor", "method", "limit_set", "rule", "period"]).any()


def test_every_receptor_has_three_verdicts_for_every_method(assessed: Assessment) -> None:
    table = assessed.governing().groupby(["receptor", "method"])["effect"].agg(set)
    assert len(table) == len(assessed.receptors) * len(assessed.methods)
    assert table.map({"damage", "people", "noise"}.issubset).all()


def test_the_margin_is_positive_just_where_the_chance_is_at_most_the_design_exceedance(judged: pd.DataFrame) -> None:
    assert len(judged) > 1000
    assert ((judged["margin_db"] >= 0) == (judged["p_exceed"] <= DESIGN)).all()


def test_the_margin_is_what_its_definition_says(judged: pd.DataFrame) -> None:
    decibel = judged["quantity"].map(lambda name: QUANTITIES[name].scale == "decibel")
    by_hand = np.where(decibel, judged["limit"] - judged["predicted_design"],
                       20.0 * np.log10(judged["limit"] / judged["predicted_design"]))
    assert judged["margin_db"].to_numpy() == pytest.approx(by_hand, abs=2e-3)


def test_one_pile_is_never_surer_to_exceed_than_all_of_them(judged: pd.DataFrame) -> None:
    plain = judged[~judged["reason"].str.contains("day rule")]
    assert (plain["p_one_pile"] <= plain["p_exceed"] + 1e-6).all()
    # and the expected number of days is at least the chance of a single one
    assert (plain["days_above"] >= plain["p_exceed"] - 1e-3).all()
    assert (plain["days_above_low"] <= plain["days_above"] + 0.5).all()
    assert (plain["days_above"] <= plain["days_above_high"] + 0.5).all()


def test_the_word_follows_the_chance(judged: pd.DataFrame) -> None:
    words = judged[judged["likelihood"].isin(["unlikely", "possible", "likely"])]
    expected = np.select([words["p_exceed"] >= 0.5, words["p_exceed"] >= DESIGN], ["likely", "possible"], "unlikely")
    assert (words["likelihood"] == expected).all()
    assert (judged[judged["likelihood"] == "cannot_judge"]["p_exceed"] < DESIGN).all()


def test_unlikely_never_rests_on_an_estimate_or_on_a_law_out_of_range(findings: pd.DataFrame) -> None:
    unlikely = findings[findings["likelihood"] == "unlikely"]
    assert (unlikely["median_basis"] != "estimate").all()
    assert unlikely["in_range"].all()
    pressing = findings[(findings["method"] == "press_in") & findings["p_exceed"].notna()
                        & findings["effect"].isin(["damage", "people"])]
    assert len(pressing) > 100
    assert (pressing["median_basis"] == "estimate").all()
    assert pressing["reason"].str.contains("verify by trial").all()


def test_a_transient_limit_never_judges_a_continuous_method(findings: pd.DataFrame, assessed: Assessment) -> None:
    sets = load_catalogue().limit_sets
    signal = {choice.id: choice.signal for choice in assessed.methods}
    seen = set()
    for (name, rule_id, method), rows in findings.groupby(["limit_set", "rule", "method"]):
        kinds = sets[name].rule(rule_id).vibration
        if kinds and "transient" in kinds and "continuous" not in kinds and signal[method] == "continuous":
            assert rows["likelihood"].isin(["not_applicable", "cannot_judge"]).all()
            assert rows["p_exceed"].isna().all()
            seen.add(rule_id)
    assert len(seen) >= 2


def test_a_receptor_without_baseline_cannot_be_judged_for_noise(findings: pd.DataFrame, assessed: Assessment) -> None:
    known = set(assessed.scenario.baseline["receptor"])
    homes = assessed.receptors[assessed.receptors["use"] == "dwelling"]["id"]
    bare = [name for name in homes if name not in known]
    assert bare
    rows = findings[findings["receptor"].isin(bare) & (findings["effect"] == "noise")
                    & (findings["likelihood"] != "not_applicable")]
    assert (rows["likelihood"] == "cannot_judge").all()
    assert rows["reason"].str.contains("background").all()


def test_every_number_says_how_it_is_known(judged: pd.DataFrame) -> None:
    assert judged["basis"].isin(BASES).all()
    assert judged["median_basis"].isin(BASES).all()
    weaker = judged["median_basis"].map(BASES.index) <= judged["basis"].map(BASES.index)
    assert weaker.all()
    recalled = judged[judged["median_basis"] == "memory"]
    assert recalled["reason"].str.contains("verify against the document").all()


def test_chances_are_written_with_six_significant_digits(judged: pd.DataFrame) -> None:
    shown = judged["p_exceed"].map(lambda chance: float(f"{chance:.6g}"))
    assert (shown == judged["p_exceed"]).all()


def test_the_programme_drives_every_pile_once_and_inside_the_shift(assessed: Assessment) -> None:
    calendar = assessed.scenario.programme
    for events in assessed.programme.values():
        assert list(events.columns) == list(EVENT_COLUMNS)
        assert set(events["pile"]) == set(assessed.scenario.piles["id"])
        assert (events["start"].dt.time >= calendar.shift_from).all()
        assert (events["end"].dt.time <= calendar.shift_to).all()
        assert all(calendar.works_on(day) for day in events["start"].dt.date.unique())
        one = events[events["plant"] == events["plant"].iloc[0]].sort_values("start")
        assert (one["start"].to_numpy()[1:] >= one["end"].to_numpy()[:-1]).all()
        driven = one.groupby("pile")["toe_to_m"].max()
        wanted = assessed.scenario.piles.set_index("id")["length_m"]
        assert driven.to_numpy() == pytest.approx(wanted[driven.index].to_numpy(), abs=2e-3)


def test_the_days_of_the_map_agree_with_the_findings(assessed: Assessment) -> None:
    days, daily = assessed.detail["days"], assessed.detail["daily"]
    assert len(daily) == 3 * len(assessed.methods)
    for (method, effect), chances in daily.items():
        assert chances.shape == (len(assessed.receptors), len(days))
        rows = assessed.findings[(assessed.findings["method"] == method) & (assessed.findings["effect"] == effect)
                                 & ~assessed.findings["reason"].str.contains("day rule")]
        highest = rows.groupby("receptor")["p_exceed"].max().reindex(assessed.receptors["id"]).to_numpy()
        best = np.nanmax(np.where(np.isnan(chances), -1, chances), axis=1)
        both = (best >= 0) & ~np.isnan(highest)
        assert both.any()
        assert (best[both] <= highest[both] + 0.02).all()


def test_receptors_with_the_same_facts_share_a_class(assessed: Assessment) -> None:
    facts = receptor_facts(assessed.scenario)
    classes = classed(load_catalogue().limit_sets["din_4150_3_1999"], facts)
    seen: dict[object, str] = {}
    for key, name in zip(facts, classes.class_id, strict=True):
        assert seen.setdefault(key, name) == name
    assert {"line_2", "line_3"} <= set(classes.class_id)
