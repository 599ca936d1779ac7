"""Candidates of several methods: one after another in the calendar, chances against simulation, nothing hidden."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.special import ndtr, ndtri

from envpredict.core.errors import ScenarioProblems
from envpredict.engine.assess import assess
from envpredict.engine.catalogue import load_catalogue
from envpredict.engine.compared.combined import PART, combined_runs
from envpredict.engine.compared.compare import Comparison, compare
from envpredict.engine.compared.put_together import put_together
from envpredict.engine.intake import read_scenario
from envpredict.engine.results import FINDING_COLUMNS, Assessment
from envpredict.limits.rule import Rule
from envpredict.outputs.programme_csv import programmes

RIVER = Path(__file__).parents[2] / "scenarios" / "river_wall"
PARTS = ('[[methods]]\nid = "press_a"\nmethod = "press_in_auger"\nsections = ["A"]\n\n'
         '[[methods]]\nid = "hammer_b"\nmethod = "impact_hydraulic"\nenergy_kj = 25\nsections = ["B"]\n\n')
BOTH = '[[methods]]\nid = "press_then_hammer"\nparts = ["press_a", "hammer_b"]\n\n'
DESIGN = 0.05


def river(folder: Path, methods: str) -> Path:
    """Return a copy of the river wall with other candidates."""
    shutil.copytree(RIVER, folder)
    text = (folder / "scenario.toml").read_text(encoding="utf-8")
    head, tail = text.split("[[methods]]", 1)[0], text[text.index("[limits]"):]
    (folder / "scenario.toml").write_text(head + methods + tail, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def wall(tmp_path_factory: pytest.TempPathFactory) -> Assessment:
    return assess(read_scenario(river(tmp_path_factory.mktemp("combined") / "wall", PARTS + BOTH)), grids=False)


@pytest.fixture(scope="module")
def beside(wall: Assessment) -> Comparison:
    return compare(wall)


# --- the calendar ----------------------------------------------------------------------------------------------------

def test_parts_follow_one_another_and_every_pile_is_worked_once(wall: Assessment, beside: Comparison) -> None:
    table = beside.programmes["press_then_hammer"]
    assert set(table["pile"]) == set(wall.scenario.piles["id"])
    first, second = (table[table["pass"].str.startswith(name)] for name in ("press_a: ", "hammer_b: "))
    assert set(first["section"]) == {"A"}
    assert set(second["section"]) == {"B"}
    assert first["end"].max() < second["start"].min()
    # each part takes the days that it takes alone, and the second begins on the next working day
    days = beside.methods.set_index("method")[["days", "days_slow", "days_fast"]]
    assert (days.loc["press_then_hammer"] == days.loc["press_a"] + days.loc["hammer_b"]).all()
    dates = sorted(set(table["day"]))
    assert dates == [day.isoformat() for day in wall.scenario.programme.working_dates(len(dates))]
    assert beside.methods.set_index("method").at["press_then_hammer", "share_of_wall"] == 1.0


def test_rules_on_the_length_of_the_works_see_all_of_them(wall: Assessment) -> None:
    (both,) = combined_runs(wall.detail["run"], wall.detail["methods"])
    alone = wall.detail["methods"]
    assert [part.works_days for part in both.parts] == [both.parts[0].passes.calendar_days] * 2
    assert both.parts[0].works_days > max(alone[name].works_days for name in ("press_a", "hammer_b"))


def test_passes_one_after_another_on_the_same_piles(tmp_path: Path) -> None:
    twice = ('[[methods]]\nid = "hammer"\nmethod = "impact_hydraulic"\n\n[[methods]]\nid = "press_in_auger"\n\n'
             '[[methods]]\nid = "two_passes"\nparts = ["hammer", "press_in_auger"]\n\n')
    found = assess(read_scenario(river(tmp_path / "wall", twice)), grids=False)
    (both,) = combined_runs(found.detail["run"], found.detail["methods"])
    table = both.programme(found.detail["run"])
    assert table.groupby("pile")["pass"].nunique().ge(2).all()
    assert both.days("slow") > both.days("likely") > both.days("fast")


def test_the_programme_file_holds_the_combined_candidate(wall: Assessment) -> None:
    table = programmes(wall)
    rows = table[table["method"] == "press_then_hammer"]
    assert set(rows["rates"]) == {"slow", "likely", "fast"}
    assert rows.groupby("rates")["pile"].nunique().eq(len(wall.scenario.piles)).all()


# --- the findings ----------------------------------------------------------------------------------------------------

def test_each_row_is_no_milder_than_its_parts(wall: Assessment, beside: Comparison) -> None:
    found = beside.combined
    assert list(found.columns) == [*FINDING_COLUMNS, PART]
    assert set(found[PART]) == {"press_a", "hammer_b"}
    key = ["receptor", "effect", "limit_set", "rule", "period"]
    single = wall.findings.set_index(key)
    worst = found.set_index(key)
    for name in ("press_a", "hammer_b"):
        part = single[single["method"] == name].reindex(worst.index)
        both = worst["p_exceed"].notna() & part["p_exceed"].notna() & ~worst["reason"].str.contains("add up")
        # limits that fall with the length of the works aside, all parts exceed at least as surely as one of them
        assert (worst["p_exceed"] >= part["p_exceed"] * (1 - 1e-5))[both].mean() > 0.99
        assert not ((part["likelihood"] == "cannot_judge") & (worst["likelihood"] == "unlikely")).any()
    judged = found[found["p_exceed"].notna() & found["margin_db"].notna()]
    assert ((judged["margin_db"] >= 0) == (judged["p_exceed"] <= wall.scenario.design_exceedance)).all()


def one_row(rule: Rule, median: float, scatter: float, **changes: object) -> pd.DataFrame:
    """Return a finding on a level in dB against 70 dB, with one slot of its own."""
    row = {name: np.nan if kind == "number" else "" for name, (kind, _) in FINDING_COLUMNS.items()}
    p = float(ndtr((median - 70.0) / scatter))
    level = median + scatter * float(ndtri(1.0 - DESIGN))
    row |= {"quantity": "laeq_db", "predicted_median": median, "scatter": scatter, "limit": 70.0, "unit": "dB",
            "p_exceed": p, "predicted_design": level, "margin_db": 70.0 - level, "days_above": p, "in_range": True,
            "likelihood": "likely" if p >= 0.5 else "possible" if p >= DESIGN else "unlikely", "rule": rule.id}
    return pd.DataFrame([row | changes])


@pytest.fixture(scope="module")
def plain() -> Rule:
    return load_catalogue().limit_sets["bs_5228_1_2009"].rule("abc")


@pytest.mark.parametrize("levels", [((66.0, 3.0), (65.0, 4.0)), ((72.0, 3.0), (60.0, 5.0)), ((60.0, 2.0), (61.0, 4.0))])
def test_chance_and_margin_against_simulation(plain: Rule, levels: tuple[tuple[float, float], ...]) -> None:
    rng = np.random.default_rng(7)
    draws = np.max([median + scatter * rng.standard_normal(2_000_000) for median, scatter in levels], axis=0)
    found, _ = put_together([one_row(plain, *level) for level in levels], ["a", "b"], plain, DESIGN)
    row = found.iloc[0]
    assert row["p_exceed"] == pytest.approx((draws > 70.0).mean(), abs=1e-3)
    assert row["margin_db"] == pytest.approx(70.0 - np.quantile(draws, 1.0 - DESIGN), abs=0.02)
    assert row["predicted_design"] == pytest.approx(np.quantile(draws, 1.0 - DESIGN), abs=0.02)
    days = sum(ndtr((median - 70.0) / scatter) for median, scatter in levels)
    assert row["days_above"] == pytest.approx(days, rel=1e-5)


def test_two_unlikely_parts_may_be_possible_together(plain: Rule) -> None:
    parts = [one_row(plain, 65.0, 3.0), one_row(plain, 65.0, 3.0)]
    assert {part["likelihood"].iat[0] for part in parts} == {"unlikely"}
    found, governing = put_together(parts, ["a", "b"], plain, DESIGN)
    assert found["likelihood"].iat[0] == "possible"
    assert governing.tolist() == [0]


def test_an_open_part_leaves_the_whole_open_unless_the_other_exceeds(plain: Rule) -> None:
    doubt = one_row(plain, 50.0, 3.0, likelihood="cannot_judge")
    for level, word in ((50.0, "cannot_judge"), (68.0, "possible"), (75.0, "likely")):
        found, _ = put_together([one_row(plain, level, 3.0), doubt], ["a", "b"], plain, DESIGN)
        assert found["likelihood"].iat[0] == word
    idle = one_row(plain, 75.0, 3.0, likelihood="not_applicable", p_exceed=np.nan, margin_db=np.nan)
    found, _ = put_together([idle, one_row(plain, 50.0, 3.0)], ["a", "b"], plain, DESIGN)
    assert (found["likelihood"].iat[0], found["reason"].iat[0]) == ("unlikely", "part 'b' governs")
    broken = one_row(plain, 50.0, 3.0, likelihood="breach", p_exceed=1.0)
    found, _ = put_together([one_row(plain, 75.0, 3.0), broken], ["a", "b"], plain, DESIGN)
    assert found["likelihood"].iat[0] == "breach"


def test_days_that_add_up_over_the_parts_are_never_called_unlikely() -> None:
    counted = load_catalogue().limit_sets["wales_2023_256"]
    rule = next(rule for rule in counted.rules if rule.persistence)
    parts = [one_row(rule, 65.0, 3.0, quantity="laeq_db"), one_row(rule, 65.0, 3.0, quantity="laeq_db")]
    found, _ = put_together(parts, ["a", "b"], rule, DESIGN)
    assert found["likelihood"].iat[0] == "cannot_judge"
    assert np.isnan(found["p_exceed"].iat[0])
    assert "add up" in found["reason"].iat[0]
    parts[0] = one_row(rule, 75.0, 3.0, quantity="laeq_db")
    found, _ = put_together(parts, ["a", "b"], rule, DESIGN)
    assert (found["likelihood"].iat[0], found["p_exceed"].iat[0]) == ("likely", pytest.approx(0.95221, abs=1e-5))


# --- bad input -------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize(("entry", "told"), [
    ('parts = ["press_a", "hamer_b"]', ("methods[4].parts", "unknown candidate method 'hamer_b'",
                                        "did you mean 'hammer_b'")),
    ('parts = ["press_a", "press_a"]', ("the part 'press_a' stands twice", "name each part once")),
    ('parts = ["press_a"]', ("parts", "at least 2")),
    ('parts = ["press_a", "hammer_b"]\nenergy_kj = 20', ("parts stand beside energy_kj", "state that of the parts")),
])
def test_what_is_wrong_with_parts_is_told(tmp_path: Path, entry: str, told: tuple[str, ...]) -> None:
    other = '[[methods]]\nid = "both"\nparts = ["hammer_b", "press_a"]\n\n'
    with pytest.raises(ScenarioProblems) as caught:
        read_scenario(river(tmp_path / "wall", f'{PARTS}{other}[[methods]]\nid = "more"\n{entry}\n\n'))
    for text in told:
        assert text in str(caught.value)
