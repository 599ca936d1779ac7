"""Feasibility: the deciding rule, where it happens, what is missing; room, line, possession, obstruction; movement."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from demo_assessment import assessment as demo
from scenario_folder import CRS, EAST, NORTH, Folder

from envpredict.core.citation import BASES
from envpredict.core.errors import ScenarioProblems
from envpredict.engine.assess import assess
from envpredict.engine.catalogue import load_catalogue
from envpredict.engine.intake import read_scenario
from envpredict.engine.run import Run, prepare
from envpredict.engine.works import feasibility as feasible
from envpredict.engine.works.choices import choices
from envpredict.engine.works.feasible import ASPECTS, VERDICTS
from envpredict.engine.works.movement import MOVEMENT_COLUMNS, movement
from envpredict.methods.resistance import Layers, Section, static_resistance
from envpredict.outputs.feasibility_csv import by_section

CATALOGUE = load_catalogue()
HOLE = "BH1,524004,6150001,"


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    """Return the starter with the methods of interest."""
    found = Folder(tmp_path / "site")
    found.toml('id = "vibratory_variable_moment"', 'id = "vibratory_standard"')
    return found.add('[[methods]]\nid = "press_in"\n')


def strata(folder: Folder, *rows: str) -> Folder:
    """Give the starter's borehole other strata: top, base, description, N, cu, UCS, cobbles, boulders, gravel."""
    header = (folder / "boreholes.csv").read_text(encoding="utf-8").splitlines()[0]
    (folder / "boreholes.csv").write_text("\n".join([header, *(f"{HOLE}{row},2.0" for row in rows)]) + "\n",
                                          encoding="utf-8")
    return folder


def constrain(folder: Folder, **columns: object) -> Folder:
    """Lay one constraint over the eastern half of the wall."""
    table = {"kind": None, "value_m": None, "from": None, "to": None} | columns
    gpd.GeoDataFrame({name: [value] for name, value in table.items()},
                     geometry=[shapely.box(EAST + 6.5, NORTH - 3, EAST + 40, NORTH + 3)], crs=CRS
                     ).to_file(folder / "limits.gpkg")
    return folder.toml('# constraints = "limits.gpkg"', 'constraints = "limits.gpkg"')


def run_of(folder: Folder) -> Run:
    scenario = read_scenario(folder.path)
    return prepare(scenario, CATALOGUE, choices(scenario, CATALOGUE))


def checks(folder: Folder) -> pd.DataFrame:
    run = run_of(folder)
    return feasible.frame(run, [feasible.feasibility(run, choice) for choice in run.choices])


def one(table: pd.DataFrame, method: str, aspect: str = "ground") -> pd.Series:
    found = table[(table["method"] == method) & (table["aspect"] == aspect)]
    assert found["verdict"].nunique() == 1
    return found.iloc[0]


def test_the_handbooks_rows_decide_with_depth_stratum_and_source(folder: Folder) -> None:
    table = checks(strata(folder, "0,6,medium dense sand,22,,,,,no", "6,16,very dense sand,58,,,,,no"))
    press = one(table, "press_in")
    # handbook (read): N > 50 needs a press with an integral auger; a levee job (read) pressed where others failed
    assert press["verdict"] == "needs_trial"
    assert press["rule"].startswith("handbook coarse >50")
    assert "levee_sand" in press["rule"]
    assert (press["depth_m"], press["stratum"], press["borehole"]) == (6.0, "very dense sand", "BH1")
    assert press["basis"] == "read"
    assert "Piling handbook" in press["source"]
    auger = one(table, "press_in_auger")
    assert (auger["verdict"], auger["depth_m"]) == ("feasible", 12.0)


def test_clay_decides_by_its_strength(folder: Folder) -> None:
    table = checks(strata(folder, "0,4,firm clay,,60,,,,no", "4,16,very stiff clay,,160,,,,no"))
    # handbook (read): vibrating isn't recommended above 75 kPa; pressing above 100 kPa needs aid, but 150 sheets were
    # pressed into clay above 150 kPa without any (read): a matter of trial
    assert one(table, "vibratory_standard")["verdict"] == "not_feasible"
    assert one(table, "vibratory_standard")["depth_m"] == 4.0
    assert one(table, "press_in")["verdict"] == "needs_trial"
    assert "press_stiff_clay" in one(table, "press_in")["rule"]
    assert one(table, "impact_hydraulic")["verdict"] in ("feasible", "feasible_with_aid")


@pytest.mark.parametrize(
    ("row", "wanted"),
    [
        ("6,16,mudstone,,,,,,no", "unconfined strength"), ("6,16,stiff clay,,,,,,no", "undrained strength or SPT N"),
        ("6,16,sand,,,,,,no", "SPT N"), ("6,16,something brown,,,,,,no", "what it is"),
    ],
)
def test_a_missing_strength_can_not_be_judged_and_says_what_to_find_out(folder: Folder, row: str, wanted: str) -> None:
    table = checks(strata(folder, "0,6,medium dense sand,22,,,,,no", row))
    for method in ("impact_hydraulic", "press_in", "press_in_auger"):
        found = one(table, method)
        assert found["verdict"] == "cannot_judge", method
        assert wanted in found["reason"]
        assert "find out" in found["reason"]
        assert found["depth_m"] == 6.0


def test_gravel_without_n_is_not_cleared_by_its_class(folder: Folder) -> None:
    table = checks(strata(folder, "0,6,medium dense sand,22,,,,,no", "6,16,sandy gravel,,,,,,yes"))
    assert one(table, "impact_hydraulic")["verdict"] == "cannot_judge"
    # pressing isn't held feasible in gravel whatever its N, and an auger passes it
    assert one(table, "press_in")["verdict"] == "not_feasible"
    assert one(table, "press_in_auger")["verdict"] == "feasible"


def test_without_any_ground_nothing_can_be_judged(folder: Folder) -> None:
    folder.toml('strata = "boreholes.csv" ', '#strata = "boreholes.csv" ')
    table = checks(folder)
    ground = table[table["aspect"] == "ground"]
    assert (ground["verdict"] == "cannot_judge").all()
    assert ground["reason"].str.contains("neither boreholes nor a ground class").all()
    assert (ground["basis"] == "").all()
    flags = movement(run_of(folder), run_of(folder).choices)
    # a sheet pile displaces too little to heave whatever the ground
    unknown = flags[flags["flag"] != "heave"]
    assert (unknown["state"] == "cannot_judge").all()
    assert unknown["reason"].str.contains("find out the strata").all()


def test_a_stated_class_stands_for_the_whole_site(folder: Folder) -> None:
    folder.toml('strata = "boreholes.csv" ', '#strata = "boreholes.csv" ').toml('# class = "dense_sand"',
                                                                               'class = "boulders"')
    table = checks(folder)
    assert one(table, "press_in")["verdict"] == "not_feasible"
    assert one(table, "impact_hydraulic")["verdict"] == "feasible_with_aid"
    assert "pre-drill" in one(table, "impact_hydraulic")["aid"]


def decided_at(table: pd.DataFrame, method: str, aspect: str) -> list[str]:
    """Return the verdicts of the piles in the west and in the east of the wall, each once."""
    found = table[(table["method"] == method) & (table["aspect"] == aspect)]
    return found["verdict"].tolist()


def test_headroom_binds_where_it_is(folder: Folder) -> None:
    table = checks(constrain(folder, kind="headroom", value_m=9.0))
    # piles of 12 m: no whole one fits under 9 m; low-headroom auger presses start at 7.5 m (a contractor's page, read)
    piles = table["pile"].nunique()
    for method, verdict in (("impact_hydraulic", "not_feasible"), ("press_in", "not_feasible"),
                            ("press_in_auger", "feasible_with_aid")):
        found = decided_at(table, method, "headroom")
        assert 0 < len(found) < piles, "only the piles under the bridge are checked for headroom"
        assert set(found) == {verdict}
    assert "spliced" in one(table, "press_in_auger", "headroom")["aid"]


def test_width_slope_and_water(folder: Folder) -> None:
    assert set(decided_at(checks(constrain(folder, kind="width", value_m=2.2)), "impact_hydraulic",
                          "width")) == {"not_feasible"}


@pytest.mark.parametrize("kind", ["over_water", "slope"])
def test_who_can_stand_where(folder: Folder, kind: str) -> None:
    aspect = {"over_water": "over_water", "slope": "on_slope"}[kind]
    table = checks(constrain(folder, kind=kind))
    # presses stand on their own piles (abstract, read); the others need a platform (practice)
    assert set(decided_at(table, "press_in", aspect)) == {"feasible"}
    assert set(decided_at(table, "impact_hydraulic", aspect)) == {"feasible_with_aid"}


def test_an_obstruction_is_passed_or_removed(folder: Folder) -> None:
    table = checks(constrain(folder, kind="obstruction"))
    press = one(table, "press_in", "obstruction")
    assert press["verdict"] == "feasible_with_aid"
    assert "remove" in press["aid"]
    assert press["source"].startswith("EN 12063:1999")
    assert one(table, "press_in_auger", "obstruction")["rule"] == "as in boulders"


def test_a_pile_longer_than_a_possession_is_left_safe(folder: Folder) -> None:
    constrain(folder, kind="possession", **{"from": "23:30", "to": "01:00"})
    table = checks(folder)
    found = one(table, "press_in_auger", "possession")
    assert found["verdict"] == "feasible_with_aid"
    assert "23:30 to 01:00" in found["reason"]
    assert set(decided_at(table, "vibratory_standard", "possession")) == {"feasible"}


def test_rig_and_pile_beside_a_running_line(folder: Folder) -> None:
    def line(features: list[dict]) -> None:
        shape = gpd.GeoSeries([shapely.LineString([(EAST - 50, NORTH - 15), (EAST + 80, NORTH - 15)])],
                              crs=CRS).to_crs(4326)[0]
        features.append({"type": "Feature", "properties": {**dict.fromkeys(features[0]["properties"]), "id": "line",
                                                           "use": "railway", "structure": "none", "floors": 0},
                         "geometry": {"type": "LineString", "coordinates": [list(at) for at in shape.coords]}})

    table = checks(folder.features("receptors.geojson", line))
    # 12 m of pile and 6 m of hammer stand 18 m high, 15 m from the line; a press stands 13.5 m high
    hammer, press = one(table, "impact_hydraulic", "running_line"), one(table, "press_in", "running_line")
    assert (hammer["verdict"], press["verdict"]) == ("feasible_with_aid", "feasible")
    assert "18 m high, 15 m from the line" in hammer["reason"]
    assert "(line)" in hammer["reason"]


def test_possessions_without_a_common_hour_are_told(folder: Folder) -> None:
    areas = [shapely.box(EAST - 5, NORTH - 3, EAST + 40, NORTH + 3)] * 2
    gpd.GeoDataFrame({"kind": ["possession"] * 2, "from": ["22:00", "01:00"], "to": ["00:30", "04:00"]},
                     geometry=areas, crs=CRS).to_file(folder / "limits.gpkg")
    folder.toml('# constraints = "limits.gpkg"', 'constraints = "limits.gpkg"')
    with pytest.raises(ScenarioProblems, match="possessions that share no time"):
        read_scenario(folder.path)


# --- sizes ------------------------------------------------------------------------------------------------------------


def layers(base: list[float], soil: list[str], n: list[float], cu: list[float]) -> Layers:
    return Layers(np.array(base), np.array(soil), np.array(n), np.array(cu), np.array([True] * len(base)))


def test_layers_add_up_by_hand() -> None:
    sheet = Section(0.012, 1.6)
    # one layer: the worked case of a 600 mm sheet in 10 m of sand with N 20, 416 kN (Meyerhof 1976, recalled)
    alone = static_resistance(layers([10], ["loose_sand"], [20], [np.nan]), sheet)
    assert alone.total_kn == pytest.approx([416.0])
    # 5 m of clay at 100 kPa over 5 m of sand at N 20: skin 25 x 1.6 x 5 = 200, 20 x 1.6 x 5 = 160 kN; toe 10.8, 96 kN
    two = static_resistance(layers([5, 10], ["stiff_clay", "loose_sand"], [np.nan, 20], [100, np.nan]), sheet)
    assert two.shaft_kn == pytest.approx([200.0, 360.0])
    assert two.toe_kn == pytest.approx([10.8, 96.0])
    # under vibration (UFC 3-220-02, read): 0.40 of the clay's, 0.25 of the sand's: 80 + 40 + 24 = 144 kN
    assert two.vibrated_kn[1] == pytest.approx(144.0)
    rock = static_resistance(layers([5, 10], ["loose_sand", "weak_rock"], [20, np.nan], [np.nan, np.nan]), sheet)
    assert np.isnan(rock.total_kn).tolist() == [False, True]
    # N counts as 50 at most
    assert static_resistance(layers([10], ["dense_sand"], [200], [np.nan]), sheet).total_kn == pytest.approx([1040.0])


def test_a_press_too_small_and_a_reaction_too_short_are_told(folder: Folder) -> None:
    table = checks(strata(folder, "0,16,medium dense sand,20,,,,,no"))
    press = one(table, "press_in", "size")
    # pairs (1.2 m of two 0.6 m sheets), 12 m, N 20: 2 x (20 x 1.6 x 12 + 96) = 960 kN
    assert "needs about 960 kN" in press["reason"]
    assert press["verdict"] == "feasible"
    assert press["basis"] == "memory"
    shaky = checks(strata(folder, "0,11.5,very soft clay,,4,,,,no", "11.5,16,very dense sand,50,,,,,no"))
    # soft clay holds nothing: 2 x (1 x 1.6 x 11.5 + 50 x 1.6 x 0.5) = 116.8 kN a pair, three of them 350 kN;
    # the toe in sand wants 2 x 240 = 480 kN more
    reaction = one(shaky, "press_in", "size")
    assert reaction["rule"] == "press reaction"
    assert reaction["verdict"] == "feasible_with_aid"
    assert "350 kN of the 597 kN" in reaction["reason"]


def test_a_hammer_outside_its_band_and_refusal_by_blows(folder: Folder) -> None:
    folder.toml("energy_kj = 40", "energy_kj = 150\nblows_per_m = 500")
    found = one(checks(folder), "impact_hydraulic", "size")
    # 10 blows an inch, 394 blows/m, count as refusal (a trade journal, read)
    assert found["verdict"] == "needs_trial"
    assert "394 count as refusal" in found["reason"]
    folder.toml("blows_per_m = 500\n", "")
    found = one(checks(folder), "impact_hydraulic", "size")
    assert found["verdict"] == "feasible_with_aid"
    assert "medium" in found["reason"]


def test_a_drop_hammers_ram_is_half_the_piles_mass(folder: Folder) -> None:
    folder.toml('id = "impact_hydraulic"\nenergy_kj = 40', 'id = "impact_drop"\nenergy_kj = 8')
    found = one(checks(folder), "impact_drop", "size")
    # 8 kJ at a fall of 1.35 m: 0.60 t; a pair of 12 m U sheets weighs 2 x 76 x 12 = 1.8 t, half of it 0.9 t (read)
    assert found["verdict"] == "feasible_with_aid"
    assert "0.9 t or more" in found["aid"]


# --- the frame, what decides, movement --------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def quay() -> pd.DataFrame:
    return demo().detail["feasibility"]


def test_every_pile_has_its_checks_and_every_check_its_source(quay: pd.DataFrame) -> None:
    assert list(quay.columns) == list(feasible.FEASIBILITY_COLUMNS)
    assert set(quay["verdict"]) <= set(VERDICTS)
    assert set(quay["aspect"]) <= set(ASPECTS)
    assert quay["basis"].isin([*BASES, ""]).all()
    assert (quay["reason"] != "").all()
    assert ((quay["basis"] == "") == (quay["source"] == "")).all()
    piles = demo().scenario.piles["id"]
    assert all(set(rows["pile"]) == set(piles) for _, rows in quay[quay["aspect"] == "ground"].groupby("method"))


def test_the_worst_verdict_decides_a_section(quay: pd.DataFrame) -> None:
    table = feasible.decided(quay)
    assert not table.duplicated(["method", "section"]).any()
    for _, row in table.iterrows():
        mine = quay[(quay["method"] == row["method"]) & (quay["section"] == row["section"])]
        assert VERDICTS.index(row["verdict"]) == mine["verdict"].map(VERDICTS.index).max()
        same = mine[(mine["verdict"] == row["verdict"]) & (mine["aspect"] == row["aspect"])]
        assert row["piles"] == same["pile"].nunique()
    whole = feasible.decided(quay, ("method",))
    assert whole.set_index("method")["verdict"]["press_in"] == "not_feasible"
    assert whole.set_index("method")["verdict"]["press_in_auger"] == "feasible"


def test_each_check_of_a_section_is_told_once(quay: pd.DataFrame) -> None:
    table = by_section(demo())
    assert not table.duplicated(["method", "section", "aspect"]).any()
    assert set(zip(table["method"], table["section"], table["aspect"], strict=True)) == set(
        zip(quay["method"], quay["section"], quay["aspect"], strict=True))
    assert (table["piles"] >= 1).all()


def test_findings_say_where_a_method_is_not_held_feasible() -> None:
    rows = demo().findings
    press = rows[(rows["method"] == "press_in") & rows["p_exceed"].notna() & (rows["predicted_median"] > 0)]
    assert press["reason"].str.contains("not held feasible at this pile").all()
    assert not (press["likelihood"] == "unlikely").any()
    auger = rows[rows["method"] == "press_in_auger"]
    assert not auger["reason"].str.contains("not held feasible").any()


def test_movement_is_flagged_beside_assets() -> None:
    flags = demo().detail["movement"]
    assert list(flags.columns) == list(MOVEMENT_COLUMNS)
    raised = flags[(flags["method"] == "press_in_auger") & (flags["flag"] == "over_flighting")]
    assert (raised["state"] == "raised").all()
    # the water main lies 5 m behind piles of 14 m: nearer in lengths of pile than any house
    assert raised.set_index("section")["receptor"]["A"] == "P1"
    assert raised.set_index("section")["distance_m"]["A"] == pytest.approx(5.0, abs=0.01)
    assert (raised["within"] >= 1).all()
    assert flags["basis"].isin(BASES).all()
    assert "press_in" not in set(flags["method"]), "pressing alone raises no flag"


def test_a_site_without_assets_has_nothing_to_move(folder: Folder) -> None:
    def meadow(features: list[dict]) -> None:
        for feature in features:
            feature["properties"] |= {"use": "open_space", "structure": "none", "floors": 0}

    run = run_of(folder.features("receptors.geojson", meadow))
    flags = movement(run, run.choices)
    assert (flags["state"] == "clear").all()
    assert flags["reason"].str.contains("no foundation, pipe or track").all()
    assert len(assess(run.scenario, grids=False).findings)
