"""Methods side by side: the chance that one is lower in closed form, the set that no other beats, before and after."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner, Result
from demo_assessment import assessment as demo
from scenario_folder import Folder

from envpredict.cli import main
from envpredict.core.errors import InputProblems
from envpredict.engine.assess import assess
from envpredict.engine.compared.compare import EFFECT_COLUMNS, EVIDENCE, METHOD_COLUMNS, Comparison, compare
from envpredict.engine.compared.pairs import CHANCE, PAIR_COLUMNS, chance_lower, dominates, pairs, standing
from envpredict.engine.compared.with_reductions import read_reduction, side_by_side
from envpredict.engine.intake import read_scenario
from envpredict.engine.results import SEVERITY
from envpredict.outputs.comparison import frames
from envpredict.outputs.comparison_chart import drawn


@pytest.fixture(scope="module")
def quay() -> Comparison:
    return compare(demo())


def test_the_chance_in_closed_form() -> None:
    # two normals with equal medians: even odds; 5 dB apart with 3 and 4 dB: z = 5 / 5 = 1, 0.841345 (normal table)
    assert chance_lower(1.0, 3.0, 1.0, 4.0) == 0.5
    assert chance_lower(-2.0, 3.0, 3.0, 4.0) == pytest.approx(0.841345, abs=1e-6)
    assert chance_lower(3.0, 3.0, -2.0, 4.0) == pytest.approx(1 - 0.841345, abs=1e-6)
    assert (chance_lower(1.0, 0.0, 2.0, 0.0), chance_lower(2.0, 0.0, 1.0, 0.0)) == (1.0, 0.0)
    assert np.isnan(chance_lower(np.nan, 1.0, 0.0, 1.0))
    # 0.8 needs 0.8416 of the joint scatter: 4.208 dB where that is 5 dB
    assert chance_lower(0.0, 3.0, 4.21, 4.0) > CHANCE > chance_lower(0.0, 3.0, 4.20, 4.0)


def test_an_error_that_both_share_moves_both_and_is_left_out() -> None:
    # 5 and 5 dB of which 4 dB are one error: 3 and 3 dB are left; by simulation of the three errors
    rng = np.random.default_rng(3)
    law, one, other = rng.standard_normal((3, 1_000_000))
    lower = (0.0 + 4.0 * law + 3.0 * one < 3.0 + 4.0 * law + 3.0 * other).mean()
    assert chance_lower(0.0, 5.0, 3.0, 5.0, 4.0, 4.0) == pytest.approx(lower, abs=2e-3)
    # another share of it: what is left of the common error counts too
    lower = (0.0 + 4.0 * law + 3.0 * one < 3.0 + 2.0 * law + 3.0 * other).mean()
    assert chance_lower(0.0, 5.0, 3.0, float(np.hypot(2.0, 3.0)), 4.0, 2.0) == pytest.approx(lower, abs=2e-3)
    assert chance_lower(0.0, 5.0, 3.0, 5.0, 5.0, 5.0) == 1.0


def test_only_candidates_on_one_law_or_plant_share_its_error(tmp_path: Path) -> None:
    small = '[[methods]]\nid = "small_hammer"\nmethod = "impact_hydraulic"\nenergy_kj = 15\n'
    found = compare(assess(read_scenario(Folder(tmp_path / "site").add(small).path), grids=False))
    whole = found.whole[found.whole["stands_on"] != ""]
    assert {"damage", "people", "noise"} <= set(whole["effect"])
    assert (whole["shared_db"] <= whole["scatter_db"] * (1 + 1e-9)).all()
    same = other = 0
    for effect, level in whole.set_index("method").groupby("effect"):
        rows = found.pairs[(found.pairs["respect"] == effect)].set_index(["method", "other"])
        for name in level.index:
            for beside in level.index.drop(name):
                a, b = level.loc[name], level.loc[beside]
                apart = chance_lower(a["over_limit_db"], a["scatter_db"], b["over_limit_db"], b["scatter_db"])
                told = rows.at[(name, beside), "p_lower"]
                if a["stands_on"] == b["stands_on"]:
                    same += 1
                    assert abs(told - 0.5) >= abs(apart - 0.5) - 1e-9
                else:
                    other += 1
                    assert told == pytest.approx(apart)
    assert same
    assert other


def two(over: dict[str, tuple[float, float, str]], days: dict[str, tuple[int, int, int]],
        verdict: dict[str, str] | None = None, share: dict[str, float] | None = None) -> tuple[pd.DataFrame,
                                                                                               pd.DataFrame]:
    """Return methods and pairs from levels (dB over the limit, scatter, doubt) and days (fast, likely, slow)."""
    names = list(over)
    methods = pd.DataFrame({
        "method": names, "feasible": [(verdict or {}).get(name, "feasible") for name in names],
        "share_of_wall": [(share or {}).get(name, 1.0) for name in names],
        "days_fast": [days[name][0] for name in names], "days": [days[name][1] for name in names],
        "days_slow": [days[name][2] for name in names]})
    effects = pd.DataFrame({"method": names, "effect": "noise", "over_limit_db": [over[name][0] for name in names],
                            "scatter_db": [over[name][1] for name in names],
                            "shared_db": 0.0, "stands_on": "", "shaky": [over[name][2] for name in names]})
    return methods, pairs(methods, effects)


SAME = {"a": (5, 8, 12), "b": (5, 8, 12)}


def test_a_method_that_is_surely_lower_and_no_slower_displaces_the_other() -> None:
    methods, found = two({"a": (0.0, 3.0, ""), "b": (10.0, 3.0, "")}, SAME)
    assert dominates(found, "a", "b") == ("noise",)
    assert dominates(found, "b", "a") == ()
    assert standing(methods, found)["in_set"] == [True, False]
    assert "a is lower in noise" in standing(methods, found)["standing"][1]


@pytest.mark.parametrize(
    ("over", "days", "why"),
    [
        # 3 dB apart with 3 dB each: z = 0.71, 0.76: a tie
        ({"a": (0.0, 3.0, ""), "b": (3.0, 3.0, "")}, SAME, "a tie below 0.8"),
        ({"a": (0.0, 3.0, "estimate"), "b": (10.0, 3.0, "")}, SAME, "its level is shaky: estimate"),
        ({"a": (0.0, 3.0, "proxy"), "b": (10.0, 3.0, "")}, SAME, "its level is shaky: proxy"),
        ({"a": (0.0, 3.0, "out of range"), "b": (10.0, 3.0, "")}, SAME, "its level is shaky: out of range"),
    ],
)
def test_ties_and_estimates_displace_nobody(over: dict, days: dict, why: str) -> None:
    methods, found = two(over, days)
    assert standing(methods, found)["in_set"] == [True, True]
    row = found[(found["respect"] == "noise") & (found["method"] == "a")].iloc[0]
    assert not row["lower"]
    assert row["why_not"] == why


def test_lower_but_slower_is_a_matter_of_choice() -> None:
    methods, found = two({"a": (0.0, 3.0, ""), "b": (10.0, 3.0, "")}, {"a": (20, 30, 40), "b": (5, 8, 12)})
    assert standing(methods, found)["in_set"] == [True, True]
    # days 12 against 20: the slow rates of b beat the fast rates of a
    assert found[(found["respect"] == "days") & (found["method"] == "b")]["lower"].item()


def test_what_might_be_better_but_is_unproven_is_not_displaced() -> None:
    methods, found = two({"a": (5.0, 3.0, ""), "b": (-10.0, 3.0, "estimate")}, {"a": (5, 8, 10), "b": (20, 30, 40)})
    # a needs fewer days, b may be quieter by an estimate: neither displaces the other
    assert standing(methods, found)["in_set"] == [True, True]


@pytest.mark.parametrize("verdict", ["not_feasible", "cannot_judge", "needs_trial"])
def test_who_is_not_shown_to_reach_the_toe_displaces_nobody(verdict: str) -> None:
    methods, found = two({"a": (0.0, 3.0, ""), "b": (10.0, 3.0, "")}, SAME, {"a": verdict})
    assert standing(methods, found)["in_set"] == [verdict != "not_feasible", True]


def test_who_works_on_a_part_of_the_wall_does_not_displace_who_works_on_all() -> None:
    methods, found = two({"a": (0.0, 3.0, ""), "b": (10.0, 3.0, "")}, SAME, share={"a": 0.5})
    assert standing(methods, found)["in_set"] == [True, True]


def test_the_tables_are_those_declared(quay: Comparison) -> None:
    assert list(quay.methods.columns) == list(METHOD_COLUMNS)
    assert list(quay.effects.columns) == list(EFFECT_COLUMNS)
    assert list(quay.pairs.columns) == list(PAIR_COLUMNS)
    assert {name: table.columns.tolist() for name, (table, _) in frames(demo()).items()} == {
        name: list(kinds) for name, (_, kinds) in frames(demo()).items()}
    assert len(quay.methods) == len(demo().methods)
    assert set(quay.methods["evidence_vibration"]) <= set(EVIDENCE)
    assert quay.methods.set_index("method")["evidence_vibration"]["press_in"] == "estimate"


def test_the_numbers_are_those_of_the_findings(quay: Comparison) -> None:
    findings = demo().findings
    for row in quay.whole.itertuples():
        rows = findings[(findings["method"] == row.method) & (findings["effect"] == row.effect)]
        assert sum(getattr(row, word) for word in SEVERITY) == rows["receptor"].nunique()
        judged = rows[rows["predicted_median"].notna() & rows["limit"].notna()]
        assert row.p_exceed == judged["p_exceed"].max()
        worst = judged[(judged["receptor"] == row.receptor) & (judged["rule"] == row.rule)
                       & (judged["limit_set"] == row.limit_set)]
        assert row.needed_db == pytest.approx(max(-worst["margin_db"].min(), 0.0))
    days = demo().programme
    by_hand = {name: table["day"].nunique() for name, table in days.items()}
    assert quay.methods.set_index("method")["days"].to_dict() == by_hand
    assert (quay.methods["days_fast"] <= quay.methods["days"]).all()
    assert (quay.methods["days"] <= quay.methods["days_slow"]).all()


def test_spoil_is_metres_times_the_catalogues_volume(quay: Comparison) -> None:
    # 0.05 m3 per metre of pile (0.02 to 0.13) by the catalogue, over all the wall's piles
    metres = demo().scenario.piles["length_m"].sum()
    auger = quay.methods.set_index("method").loc["press_in_auger"]
    assert auger["spoil_m3"] == pytest.approx(0.05 * metres)
    assert auger["spoil_high_m3"] == pytest.approx(0.13 * metres)


def test_an_estimate_is_called_lower_than_nobody(quay: Comparison) -> None:
    shaky = quay.whole[quay.whole["shaky"] != ""]
    assert len(shaky) > 3
    lower = quay.pairs[quay.pairs["lower"] & (quay.pairs["respect"] != "days")]
    called = set(zip(lower["method"], lower["respect"], strict=True))
    assert not called & set(zip(shaky["method"], shaky["effect"], strict=True))
    assert (lower["p_lower"] >= CHANCE).all()


def test_the_picture_is_the_same_on_every_run(quay: Comparison) -> None:
    first, again = drawn(quay), drawn(quay)
    assert first.svg == again.svg
    assert first.png.startswith(b"\x89PNG")
    assert b"dB over the limit" in first.svg
    assert "Nothing is weighed" in first.caption


def run(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


@pytest.fixture
def site(tmp_path: Path) -> Folder:
    return Folder(tmp_path / "site")


def test_the_terminal_shows_it_within_a_hundred_columns(site: Folder, tmp_path: Path) -> None:
    result = run("compare", str(site.path), "--with", "lower_energy:energy_kj=20", "--with",
                 "pile_cushion:methods=impact_hydraulic", "--out", str(tmp_path / "out"))
    assert result.exit_code == 0, result.output
    assert max(map(len, result.output.replace(str(tmp_path), "").splitlines())) <= 100
    for text in ("reaches the toe", "What would make each comply", "Which is lower", "With reductions", "before",
                 "Nothing is weighed and nothing is recommended", "! Screening prediction"):
        assert text in result.output
    assert not {"best", "recommend ", "score", "winner"} & set(result.output.lower().split())
    written = {path.name for path in (tmp_path / "out").iterdir()}
    assert written == {"methods.csv", "effects.csv", "pairs.csv", "before_after.csv", "reductions.csv",
                       "comparison.svg", "comparison.png"}
    again = run("compare", str(site.path), "--out", str(tmp_path / "out"))
    assert again.exit_code == 2
    assert "exists already" in again.output


def test_before_and_after_by_hand(site: Folder) -> None:
    found = side_by_side(read_scenario(site.path), ("pile_cushion:vibration_factor=0.5,methods=impact_hydraulic",))
    assert found.change is not None
    table = found.change.table.set_index(["method", "respect"])
    # half the velocity: 6.02 dB, the others stay
    assert table.loc[("impact_hydraulic", "damage"), "change"] == "-6.0 dB"
    assert set(table.loc["press_in_auger", "change"]) <= {"+0.0 dB", "+0 d"}
    assert found.comparison.methods.set_index("method")["reductions"]["impact_hydraulic"] == "pile_cushion"
    assert side_by_side(read_scenario(site.path)).change is None


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("pile_cushon", "did you mean 'pile_cushion'"), ("lower_energy", "needs energy_kj"),
        ("lower_energy:energy_kj=much", "is no number"), ("lower_energy:energy_kj", "isn't key=value"),
        ("pile_cushion:colour=red", "colour"), ("pile_cushion:methods=nobody", "unknown candidate 'nobody'"),
        ("restricted_hours:shift=9-16", "clock time"), ("screen:screen=fence", "there is no layer of obstacles"),
        ("kelly_damping", "it would change nothing"),
    ],
)
def test_reductions_that_can_not_be_read_are_told(site: Folder, text: str, told: str) -> None:
    with pytest.raises(InputProblems) as caught:
        side_by_side(read_scenario(site.path), (text,))
    assert told in str(caught.value)
    assert f"--with {text}" in str(caught.value)


def test_how_a_reduction_is_written() -> None:
    assert read_reduction("hammer_tower") == {"id": "hammer_tower"}
    assert read_reduction("restricted_hours:shift=09:00-16:00,methods=a+b") == {
        "id": "restricted_hours", "shift": {"from": "09:00", "to": "16:00"}, "methods": ["a", "b"]}
    assert read_reduction("pile_cushion:source=trial of May") == {"id": "pile_cushion", "source": "trial of May"}
