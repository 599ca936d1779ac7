"""The GIS layers: the fields and types that their page declares, read back with GDAL's own tools."""

from __future__ import annotations

import json
import re
import subprocess
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyogrio
import pytest
import rasterio
from scenario_folder import Folder

from envpredict.engine.assess import assess
from envpredict.engine.intake import read_scenario
from envpredict.engine.results import Assessment, Grid
from envpredict.outputs import layers
from envpredict.outputs.contours import contour_lines
from envpredict.outputs.grid_files import NO_LEVEL, file_stem, write_grids
from envpredict.outputs.registry import OUTPUTS, load_outputs

GDAL_TYPES = {"String": "text", "Real": "real", "Integer64": "whole", "Integer(Boolean)": "truth"}


@pytest.fixture(scope="module")
def assessed(tmp_path_factory: pytest.TempPathFactory) -> Assessment:
    return assess(read_scenario(Folder(tmp_path_factory.mktemp("layers") / "scenario").path))


@pytest.fixture(scope="module")
def path(assessed: Assessment, tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("out") / "layers.gpkg"
    layers.write(assessed, made)
    return made


def declared(root: Path, heading: str) -> dict[str, str]:
    """Return the fields and types that the page on layers declares under a heading."""
    page = (root / "envpredict" / "docs" / "layers.md").read_text(encoding="utf-8")
    section = page.split(f"## {heading}", 1)[1].split("\n## ", 1)[0]
    rows = re.findall(r"^\| (\w+) \| (\w+) \|", section, flags=re.MULTILINE)
    return {name: kind for name, kind in rows if name != "field"}


def seen(program: str, path: Path, layer: str) -> tuple[dict[str, str], int, str]:
    """Return fields and types, the number of features and the geometry type of a layer, as ogrinfo tells them."""
    told = subprocess.run([program, "-so", "-ro", str(path), layer], capture_output=True, text=True, check=True).stdout
    fields = {name: GDAL_TYPES[kind] for name, kind in re.findall(r"^(\w+): ([\w()]+) \(\d", told, flags=re.MULTILINE)}
    count = re.search(r"Feature Count: (\d+)", told)
    geometry = re.search(r"Geometry: (.*)", told)
    assert count is not None
    return fields, int(count[1]), geometry[1] if geometry else ""


def test_ogrinfo_sees_the_declared_fields(path: Path, assessed: Assessment, root: Path,
                                          need: Callable[[str], str]) -> None:
    program = need("ogrinfo")
    wanted = declared(root, "`receptors`")
    fields, count, _ = seen(program, path, "receptors")
    assert fields == wanted
    assert count == len(assessed.receptors)
    for choice in assessed.methods:
        fields, count, _ = seen(program, path, f"receptors_{choice.id}")
        assert fields == {name: kind for name, kind in wanted.items() if name != "method"}
        assert count == len(assessed.receptors)
    fields, count, geometry = seen(program, path, "contours")
    assert fields == declared(root, "`contours`")
    assert count > 0
    assert geometry == "Line String"
    fields, count, geometry = seen(program, path, "piles")
    assert fields == {"id": "text", "section": "text", "pile_type": "text", "length_m": "real", "spacing_m": "real",
                      **{f"day_{choice.id}": "text" for choice in assessed.methods}}
    assert (count, geometry) == (len(assessed.scenario.piles), "Point")
    assert seen(program, path, "cautions")[:2] == ({"caution": "text"}, len(assessed.cautions))


def test_declared_types_hold_where_every_value_is_missing(assessed: Assessment, tmp_path: Path) -> None:
    empty = assessed.findings.copy()
    for name in ("p_exceed", "margin_db", "predicted_median", "predicted_design", "limit", "days_above"):
        empty[name] = np.nan
    layers.write(replace(assessed, findings=empty), tmp_path / "empty.gpkg")
    info = pyogrio.read_info(tmp_path / "empty.gpkg", layer="receptors")
    kinds = dict(zip(info["fields"], info["dtypes"], strict=True))
    assert kinds["p_exceed"] == "float64"
    assert kinds["in_range"] == "bool"
    assert kinds["floors"] == "int64"


def test_layers_stand_in_the_scenarios_system(path: Path, assessed: Assessment) -> None:
    for name in ("receptors", "piles", "wall", "contours"):
        assert pyogrio.read_dataframe(path, layer=name).crs == assessed.scenario.crs
    read = pyogrio.read_dataframe(path, layer="receptors")
    np.testing.assert_allclose(read.geometry.bounds, assessed.receptors.geometry.bounds, atol=1e-6)


def test_same_run_same_contents(path: Path, assessed: Assessment, tmp_path: Path) -> None:
    again = tmp_path / "layers.gpkg"
    layers.write(assessed, again)
    for name, _ in pyogrio.list_layers(path):
        first, second = (pyogrio.read_dataframe(one, layer=name) for one in (path, again))
        assert first.equals(second)


def test_contours_lie_at_their_levels(assessed: Assessment) -> None:
    """A plane of sound that falls by 1 dB per metre has its 60 dB line where arithmetic puts it."""
    x, y = np.arange(0.0, 50.0), np.arange(0.0, 20.0)
    plane = Grid(x, y, np.tile(75.0 - x, (len(y), 1)), "laeq_db", "dB")
    lines = contour_lines(replace(assessed, grids={("m", "noise"): plane}), "m", "noise")
    assert {level for level, _ in lines} <= {30.0, 35.0, 40.0, 45.0, 50.0, 55.0, 60.0, 65.0, 70.0, 75.0}
    for level, line in lines:
        np.testing.assert_allclose(np.asarray(line.coords)[:, 0], 75.0 - level, atol=1e-9)
    nothing = Grid(x, y, np.full((len(y), len(x)), np.nan), "laeq_db", "dB")
    assert contour_lines(replace(assessed, grids={("m", "noise"): nothing}), "m", "noise") == []


def test_an_incomplete_file_is_refused(path: Path, assessed: Assessment, tmp_path: Path) -> None:
    made = layers.layers(assessed)
    layers.check_complete(path, made)
    with pytest.raises(OSError, match="written incompletely"):
        layers.check_complete(path, {**made, "piles": made["piles"].iloc[1:]})
    with pytest.raises(OSError, match="written incompletely"):
        layers.check_complete(path, {name: layer for name, layer in made.items() if name != "wall"})


def test_grids_read_back_with_their_place_and_unit(assessed: Assessment, tmp_path: Path) -> None:
    name = assessed.methods[0].id
    holed = assessed.grids[name, "vibration"]
    values = holed.values.copy()
    values[0, 0] = np.nan
    grids = {**assessed.grids, (name, "vibration"): Grid(holed.x, holed.y, values, holed.quantity, holed.unit)}
    files = write_grids(replace(assessed, grids=grids), tmp_path)
    assert [file.name for file in files] == [f"{method}_{kind}.tif" for method, kind in grids]
    for (method, kind), file in zip(grids, files, strict=True):
        grid = grids[method, kind]
        with rasterio.open(file) as raster:
            assert raster.crs == assessed.scenario.crs.to_wkt()
            assert raster.tags()["unit"] == grid.unit
            assert raster.tags()["quantity"] == grid.quantity
            assert raster.nodata == NO_LEVEL
            band = raster.read(1, masked=True)
            assert int(band.mask.sum()) == int(np.isnan(grid.values).sum())
            for row, column in ((0, 1), (len(grid.y) - 1, 0), (3, 5)):
                at = raster.index(grid.x[column], grid.y[row])
                assert band[at] == pytest.approx(grid.values[row, column], rel=1e-6)


def test_gdalinfo_sees_the_grids_that_were_asked_for(assessed: Assessment, tmp_path: Path, need: Callable[[str], str],
                                                     monkeypatch: pytest.MonkeyPatch) -> None:
    """Size, place, unit, missing value and range, told by GDAL's own tool; without the asking there are no grids."""
    program = need("gdalinfo")
    monkeypatch.setattr(OUTPUTS, "_things", {"run.json": load_outputs()["run.json"]})
    assert not (assessed.write(tmp_path / "without") / "grids").exists()
    folder = assessed.write(tmp_path / "with", grids=True) / "grids"
    assert {file.name for file in folder.iterdir()} == {f"{name}_{kind}.tif" for name, kind in assessed.grids}
    for (name, kind), grid in assessed.grids.items():
        told = json.loads(subprocess.run([program, "-json", "-mm", str(folder / f"{name}_{kind}.tif")], check=True,
                                         capture_output=True, text=True).stdout)
        band, = told["bands"]
        assert told["size"] == [len(grid.x), len(grid.y)]
        assert band["type"] == "Float32"
        assert band["noDataValue"] == NO_LEVEL
        assert band["computedMin"] == pytest.approx(np.nanmin(grid.values), rel=1e-3, abs=1e-3)
        assert band["computedMax"] == pytest.approx(np.nanmax(grid.values), rel=1e-3, abs=1e-3)
        step = grid.x[1] - grid.x[0]
        corner = (grid.x[0] - step / 2, grid.y[-1] + step / 2)
        assert told["geoTransform"] == pytest.approx([corner[0], step, 0.0, corner[1], 0.0, -step])
        assert told["metadata"][""]["unit"] == grid.unit
        assert str(assessed.scenario.crs.to_epsg()) in told["coordinateSystem"]["wkt"]


def test_names_of_grids_are_names_of_files() -> None:
    assert file_stem("press_in") == "press_in"
    assert file_stem("../a b/ç=1") == "___a_b___1"
