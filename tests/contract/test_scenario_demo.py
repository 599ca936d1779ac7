"""The demo scenarios are what their notes say: sound, invented, at sea, drawn by their own script."""

from __future__ import annotations

import importlib.util
import shutil
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
from geopandas.testing import assert_geodataframe_equal
from pandas.testing import assert_frame_equal

from envpredict.engine.intake import read_scenario
from envpredict.scenario.types import USES, Scenario

SCENARIOS = Path(__file__).resolve().parents[2] / "scenarios"
QUAY = SCENARIOS / "quay_wall"
FOLDERS = sorted(path.parent for path in SCENARIOS.glob("*/scenario.toml"))


@pytest.fixture(scope="module")
def quay() -> Scenario:
    return read_scenario(QUAY)


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda path: path.name)
def test_every_demo_is_sound_and_says_that_it_is_invented(folder: Path) -> None:
    scenario = read_scenario(folder)
    assert scenario.invented
    assert "invented" in scenario.title.casefold()
    assert "invented" in (folder / "NOTE.md").read_text(encoding="utf-8").casefold()
    assert (folder / "make.py").is_file()
    assert f"`{folder.name}`" in (SCENARIOS / "README.md").read_text(encoding="utf-8")


def test_the_quay_lies_in_open_sea(quay: Scenario) -> None:
    west, south, east, north = quay.receptors.to_crs(4326).total_bounds
    # the middle of the North Sea, far from every coast: 2 to 5 degrees east, 55 to 57 degrees north
    assert 2.0 < west < east < 5.0
    assert 55.0 < south < north < 57.0


def test_the_wall_is_a_bent_line_of_sheet_pairs(quay: Scenario) -> None:
    assert quay.wall.length.sum() == pytest.approx(250.0, abs=5.0)
    assert 190 <= len(quay.piles) <= 220
    assert set(quay.piles["section"]) == {"A", "B"}
    assert quay.piles["length_m"].between(12, 16).all()
    assert quay.piles["spacing_m"].between(0.6, 1.4).all()
    first, last = quay.piles.geometry.iloc[0], quay.piles.geometry.iloc[-1]
    assert quay.wall.length.sum() - first.distance(last) > 0.1, "a straight wall would have no bend"


def test_n_rises_from_8_to_refusal_through_gravel(quay: Scenario) -> None:
    strata = quay.strata
    assert strata is not None
    for _, hole in strata.groupby("borehole"):
        assert hole["spt_n"].iloc[0] == "8"
        assert (hole["gravel"] == "yes").sum() == 1
        counts = [int(text.partition("/")[0]) for text in hole["spt_n"]]
        assert max(counts) > 50 or any("/" in text for text in hole["spt_n"])
    assert strata["spt_n"].str.contains("50/75 mm").any()


def test_receptors_are_many_mixed_and_near_and_far(quay: Scenario) -> None:
    receptors = quay.receptors
    assert len(receptors) >= 120
    assert set(receptors["use"]) >= {"dwelling", "school", "hospital", "heritage", "workshop", "office", "railway",
                                     "buried_pipe", "habitat", "laboratory"}
    assert set(receptors["use"]) <= set(USES)
    assert {"Point", "LineString", "Polygon"} <= set(receptors.geom_type)
    homes = receptors[receptors["use"] == "dwelling"].distance(quay.piles.union_all())
    assert homes.min() == pytest.approx(8.0, abs=0.1)
    assert 200.0 < homes.max() < 260.0
    assert receptors.set_index("id").loc["P1", "depth_m"] == 1.4


def test_buildings_stand_clear_of_one_another(quay: Scenario) -> None:
    buildings = quay.receptors[quay.receptors["floors"] > 0].reset_index(drop=True)
    pairs = buildings.sjoin(buildings, predicate="intersects")
    pairs = pairs[pairs.index < pairs["index_right"]]
    shared = [buildings.geometry[a].intersection(buildings.geometry[b]).area for a, b in pairs["index_right"].items()]
    assert max(shared, default=0.0) < 1e-3, "terraced houses share a wall, nothing more"


def test_a_few_receptors_have_no_baseline(quay: Scenario) -> None:
    assert quay.baseline is not None
    homes = set(quay.receptors.loc[quay.receptors["use"] == "dwelling", "id"])
    unmeasured = homes - set(quay.baseline["receptor"])
    assert 1 <= len(unmeasured) <= 10
    assert set(quay.baseline["period"]) == {"day", "evening", "night"}


def test_layers_come_in_three_formats_and_three_systems() -> None:
    layers = {name: gpd.read_file(QUAY / name, layer=layer) for name, layer in (
        ("piles.geojson", None), ("boundary.geojson", None), ("neighbours.gpkg", "receptors"), ("cover.shp", None))}
    assert len({Path(name).suffix for name in layers}) == 3
    assert len({frame.crs.to_epsg() for frame in layers.values()}) == 3


def test_five_methods_and_three_effects_are_asked_for(quay: Scenario) -> None:
    assert [entry.id for entry in quay.methods] == ["impact_hydraulic", "vibratory_standard",
                                                    "vibratory_variable_moment", "press_in", "press_in_auger"]
    assert quay.limits.damage
    assert quay.limits.people
    assert quay.limits.noise


def test_the_script_draws_the_same_content_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    spec = importlib.util.spec_from_file_location("make_quay_wall", QUAY / "make.py")
    assert spec is not None
    assert spec.loader is not None
    make = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(make)
    monkeypatch.setattr(make, "HERE", tmp_path)
    make.main()
    shutil.copy(QUAY / "scenario.toml", tmp_path)
    drawn, kept = read_scenario(tmp_path), read_scenario(QUAY)
    for name in ("piles", "wall", "receptors", "boundary", "obstacles", "acoustic_ground"):
        assert_geodataframe_equal(getattr(drawn, name), getattr(kept, name), check_less_precise=True)
    for name in ("strata", "baseline"):
        frame = getattr(drawn, name)
        assert isinstance(frame, pd.DataFrame)
        assert_frame_equal(frame, getattr(kept, name))
