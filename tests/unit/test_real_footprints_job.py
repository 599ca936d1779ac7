"""The whole job on real building footprints that nobody here drew (momepy's Bubenec data)."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pyogrio
import pytest
from click.testing import CliRunner
from pyproj import Geod, Transformer
from real_footprints import make_scenario
from shapely.ops import nearest_points

from envpredict.cli import main
from envpredict.engine.assess import assess
from envpredict.engine.intake import read_scenario


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_scenario(tmp_path_factory.mktemp("real") / "site")


def test_predict_runs_end_to_end(folder: Path, tmp_path: Path) -> None:
    done = CliRunner().invoke(main, ["predict", str(folder), "--out", str(tmp_path / "out")])
    assert done.exit_code == 0, done.output
    findings = pd.read_csv(tmp_path / "out" / "findings.csv", comment="#")
    buildings = pyogrio.read_dataframe(folder / "footprints.gpkg", layer="buildings")
    assert set(findings["receptor"].astype(str)) == set(buildings["uID"].astype(str))
    assert findings["p_exceed"].notna().any()


def test_the_distance_that_the_laws_are_fed_is_the_geodesic_one(folder: Path) -> None:
    # outside source: the geodesic on the ellipsoid (pyproj.Geod, WGS 84) between the two nearest points
    assessment = assess(read_scenario(folder))
    run = assessment.detail["run"]
    back = Transformer.from_crs(run.scenario.crs, "EPSG:4326", always_xy=True)
    geod = Geod(ellps="WGS84")
    rows = np.linspace(0, len(run.scenario.receptors) - 1, 12).astype(int)
    for row in rows:
        pile = int(run.plan_m[row].argmax())
        a, b = nearest_points(run.scenario.receptors.geometry.iloc[row], run.scenario.piles.geometry.iloc[pile])
        (lon_a, lat_a), (lon_b, lat_b) = back.transform(a.x, a.y), back.transform(b.x, b.y)
        _, _, true_m = geod.inv(lon_a, lat_a, lon_b, lat_b)
        assert run.plan_m[row, pile] == pytest.approx(true_m, rel=0.002)


def test_web_map_coordinates_are_refused(folder: Path, tmp_path: Path) -> None:
    import shutil

    wrong = tmp_path / "wrong"
    shutil.copytree(folder, wrong)
    text = (wrong / "scenario.toml").read_text(encoding="utf-8")
    (wrong / "scenario.toml").write_text(text.replace('crs = "EPSG:32633"', 'crs = "EPSG:3857"', 1), encoding="utf-8")
    done = CliRunner().invoke(main, ["predict", str(wrong), "--out", str(tmp_path / "out")])
    assert done.exit_code == 2
    assert "EPSG:3857" in done.output
    assert "EPSG:32633" in done.output, "a fitting UTM zone is suggested"
    assert not (tmp_path / "out").exists()
