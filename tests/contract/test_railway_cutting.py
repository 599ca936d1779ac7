"""The second demo is what its note says: nights on the line, a low bridge, boulders over rock, homes at 12 m."""

from __future__ import annotations

import importlib.util
import shutil
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
from geopandas.testing import assert_geodataframe_equal
from pandas.testing import assert_frame_equal

from envpredict.engine.assess import assess
from envpredict.engine.compared.compare import compare
from envpredict.engine.intake import read_scenario
from envpredict.engine.results import FINDING_COLUMNS, Assessment
from envpredict.engine.works.feasibility import decided
from envpredict.scenario.types import Scenario

CUTTING = Path(__file__).resolve().parents[2] / "scenarios" / "railway_cutting"


@pytest.fixture(scope="module")
def cutting() -> Scenario:
    return read_scenario(CUTTING)


@pytest.fixture(scope="module")
def assessed(cutting: Scenario) -> Assessment:
    return assess(cutting, grids=False)


def test_it_lies_in_the_open_atlantic(cutting: Scenario) -> None:
    west, south, east, north = cutting.receptors.to_crs(4326).total_bounds
    # deep water, some hundred kilometres from every coast: 15 to 17 degrees west, 52 to 53 degrees north
    assert -17.0 < west < east < -15.0
    assert 52.0 < south < north < 53.0


def test_the_walls_stand_where_the_note_says(cutting: Scenario) -> None:
    piles, receptors = cutting.piles, cutting.receptors.set_index("id")
    works = piles.union_all()
    homes = receptors[receptors["use"] == "dwelling"]
    assert len(homes) >= 40
    assert homes.distance(works).min() == pytest.approx(12.0, abs=0.1)
    toe = piles[piles["section"] != "crest"]
    assert toe.distance(receptors.geometry["R1"]).to_numpy() == pytest.approx(5.0, abs=0.01)
    assert receptors["equipment"]["L1"] == "electron_microscope"
    assert set(piles["section"]) == {"west", "bridge", "east", "crest"}
    assert {"possession", "headroom", "width", "slope", "obstruction"} == set(cutting.constraints["kind"])


def test_till_with_boulders_lies_over_weak_rock(cutting: Scenario) -> None:
    strata = cutting.strata
    assert strata is not None
    for _, hole in strata.groupby("borehole"):
        assert hole["description"].str.contains("till with cobbles and boulders").sum() == 1
        assert hole["description"].iloc[-1] == "weak mudstone"
        assert 5.0 <= hole["ucs_mpa"].iloc[-1] <= 25.0
        assert (hole["boulder_m"].fillna(0.0) > 0.3).any()


def test_what_lies_on_the_line_is_worked_at_night_alone(assessed: Assessment) -> None:
    for name, events in assessed.programme.items():
        night = events[events["section"] != "crest"]
        hours = (pd.concat([night["start"], night["end"]]).dt.hour * 60
                 + pd.concat([night["start"], night["end"]]).dt.minute)
        assert ((hours >= 23 * 60 + 29) | (hours <= 5 * 60)).all(), name
        crest = events[events["section"] == "crest"]
        assert crest.empty == (name in ("rotary_cutting_press", "down_the_hole"))
        assert ((crest["start"].dt.hour >= 8) & (crest["end"].dt.hour <= 18)).all()


def test_constraints_and_ground_rule_methods_out_pile_by_pile(assessed: Assessment) -> None:
    table = decided(assessed.detail["feasibility"]).set_index(["method", "section"])
    # 8 m of headroom: a hammer over 8 m piles needs 12 m at least, a down-the-hole rig 10 m; presses have low plant
    for method in ("impact_hydraulic", "down_the_hole"):
        assert table.loc[(method, "bridge"), ["verdict", "aspect"]].tolist() == ["not_feasible", "headroom"]
        assert table.loc[(method, "west"), "verdict"] == "feasible_with_aid"
    # handbook (read): vibrating isn't recommended in clay above 75 kPa
    assert (table.loc["vibratory_variable_moment", "rule"] == "handbook cohesive >100").all()
    assert (table.loc["bored_cased"].loc[["west", "bridge", "east"], "aspect"] == "width").all()
    assert (table.loc["press_in_auger", "verdict"] == "feasible_with_aid").all()
    auger = assessed.detail["feasibility"].query("method == 'press_in_auger'")
    assert set(auger[auger["aspect"] == "obstruction"]["section"]) == {"east"}


def test_every_receptor_has_its_verdicts_and_the_reduction_takes_effect(assessed: Assessment) -> None:
    findings = assessed.findings
    assert list(findings.columns) == list(FINDING_COLUMNS)
    table = assessed.governing().groupby(["receptor", "method"])["effect"].agg(set)
    assert len(table) == len(assessed.receptors) * len(assessed.methods)
    assert table.map({"damage", "people", "noise", "equipment", "assets"}.issubset).all()
    hammer = next(choice for choice in assessed.methods if choice.id == "impact_hydraulic")
    # 3.5 dB off the hammer (Tomlinson and Woodward 2008, page 99, read)
    plain = assessed.detail["run"].catalogue.plant["hydraulic_hammer_light"].lwa_db
    assert next(item.lwa_db for use, item in hammer.plant if use.plant == "hydraulic_hammer_light") == plain - 3.5
    nights = findings[findings["period"].str.contains("night") & findings["predicted_median"].notna()
                      & (findings["effect"] == "noise")]
    assert set(nights["method"]) == {choice.id for choice in assessed.methods}


def test_candidates_for_a_part_of_the_wall_say_so(assessed: Assessment) -> None:
    methods = compare(assessed).methods.set_index("method")
    assert methods["share_of_wall"]["press_in_auger"] == 1.0
    assert methods["share_of_wall"]["rotary_cutting_press"] == pytest.approx(139 / 170)
    assert methods["in_set"]["press_in_auger"]


def test_the_script_draws_the_same_content_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                                 cutting: Scenario) -> None:
    spec = importlib.util.spec_from_file_location("make_railway_cutting", CUTTING / "make.py")
    assert spec is not None
    assert spec.loader is not None
    make = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(make)
    monkeypatch.setattr(make, "HERE", tmp_path)
    make.main()
    shutil.copy(CUTTING / "scenario.toml", tmp_path)
    drawn = read_scenario(tmp_path)
    for name in ("piles", "wall", "receptors", "boundary", "obstacles", "acoustic_ground", "constraints"):
        frame = getattr(drawn, name)
        assert isinstance(frame, gpd.GeoDataFrame)
        assert_geodataframe_equal(frame, getattr(cutting, name), check_less_precise=True)
    for name in ("strata", "baseline"):
        assert_frame_equal(getattr(drawn, name), getattr(cutting, name))
