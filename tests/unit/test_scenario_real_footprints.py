"""Real footprints as receptors: distances are those on the ground, and a web map's metres are refused.

Outside the project: the building footprints that momepy ships (EPSG:3857), and geodesic distances on the ellipsoid by
`pyproj.Geod`, taken from the degrees of the footprints without any projection.
"""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from pyproj import Geod
from real_footprints import LAYER, footprints, make_scenario
from scenario_folder import KNOWN

from envpredict.core.errors import ScenarioProblems
from envpredict.engine.intake import read_scenario
from envpredict.scenario.load import load_scenario
from envpredict.scenario.types import Scenario

GEOD = Geod(ellps="WGS84")
TOLERANCE = 0.002


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_scenario(tmp_path_factory.mktemp("real") / "footprints")


@pytest.fixture(scope="module")
def scenario(folder: Path) -> Scenario:
    return read_scenario(folder)


@pytest.fixture(scope="module")
def in_degrees() -> gpd.GeoSeries:
    """Return the outlines in degrees with a vertex every metre or less, by the number in their file."""
    frame = gpd.read_file(footprints(), layer=LAYER)
    assert frame.crs.to_epsg() == 3857
    dense = shapely.segmentize(frame.geometry.to_numpy(), 0.5)
    return gpd.GeoSeries(dense, index=frame["uID"].astype(str), crs=frame.crs).to_crs(4326)


def geodesic_m(place: shapely.Point, outline: shapely.Geometry) -> float:
    """Return the shortest way on the ellipsoid from a place to the vertices of an outline, all in degrees."""
    x, y = shapely.get_coordinates(outline).T
    return float(GEOD.inv(np.full_like(x, place.x), np.full_like(y, place.y), x, y)[2].min())


def test_every_footprint_is_a_receptor_with_the_scenarios_facts(scenario: Scenario) -> None:
    assert len(scenario.receptors) == 144
    assert scenario.receptors["id"].tolist() == [str(n) for n in range(1, 145)]
    assert set(scenario.receptors.geom_type) == {"Polygon"}
    assert set(scenario.receptors["use"]) == {"dwelling"}
    assert set(scenario.receptors["floors"]) == {4}
    assert any("default 'masonry' stands" in note for note in scenario.notes)


def test_the_pile_line_has_its_length_on_the_ground(scenario: Scenario) -> None:
    places = scenario.piles.to_crs(4326).geometry
    first, last = places.iloc[0], places.iloc[-1]
    length = GEOD.inv(first.x, first.y, last.x, last.y)[2]
    assert length == pytest.approx(1.2 * (len(places) - 1), rel=TOLERANCE)


def test_the_distance_of_a_known_pair_is_the_geodesic_one(scenario: Scenario, in_degrees: gpd.GeoSeries) -> None:
    pile = scenario.piles.geometry.iloc[0]
    place = scenario.piles.geometry.iloc[[0]].to_crs(4326).iloc[0]
    row = int(scenario.receptors.distance(pile).argmin())
    name = scenario.receptors["id"].iloc[row]
    ours = scenario.receptors.geometry.iloc[row].distance(pile)
    assert 5.0 < ours < 20.0, "the line stands beside a front"
    # the outline has a vertex every 0.32 m on the ground: that bounds how much too long the geodesic way may be
    assert ours == pytest.approx(geodesic_m(place, in_degrees[name]), rel=TOLERANCE, abs=0.003)


def test_all_distances_are_geodesic_and_not_those_of_the_web_map(scenario: Scenario, in_degrees: gpd.GeoSeries) -> None:
    pile = scenario.piles.geometry.iloc[-1]
    place = scenario.piles.geometry.iloc[[-1]].to_crs(4326).iloc[0]
    ours = scenario.receptors.distance(pile).to_numpy()
    ground = np.array([geodesic_m(place, in_degrees[name]) for name in scenario.receptors["id"]])
    np.testing.assert_allclose(ours, ground, rtol=TOLERANCE)
    web = scenario.receptors.to_crs(3857).distance(scenario.piles.to_crs(3857).geometry.iloc[-1]).to_numpy()
    assert (web / ground).min() > 1.5, "at this latitude a web map stretches by more than half"


@pytest.mark.parametrize(("crs", "said"), [("EPSG:3857", "web-map projection"), ("EPSG:4326", "geographic"),
                                           ("EPSG:32631", "scale factor of 1.00")])
def test_an_unfit_system_is_refused_with_the_fitting_zone(tmp_path: Path, crs: str, said: str) -> None:
    folder = make_scenario(tmp_path / "case")
    file = folder / "scenario.toml"
    file.write_text(file.read_text(encoding="utf-8").replace('crs = "EPSG:32633"', f'crs = "{crs}"'), encoding="utf-8")
    with pytest.raises(ScenarioProblems) as caught:
        read_scenario(folder)
    assert len(caught.value.problems) == 1
    problem = caught.value.problems[0]
    assert problem.where == "scenario.toml, line 3, key 'crs'"
    assert said in problem.what
    assert "use EPSG:32633 (the UTM zone of the site)" in problem.hint


def test_a_forgotten_layer_name_lists_what_the_file_holds(tmp_path: Path) -> None:
    folder = make_scenario(tmp_path / "case")
    file = folder / "scenario.toml"
    file.write_text(file.read_text(encoding="utf-8").replace('layer = "buildings"\n', ""), encoding="utf-8")
    with pytest.raises(ScenarioProblems, match="several layers and none is named: tessellation, buildings, streets"):
        load_scenario(folder, KNOWN)
