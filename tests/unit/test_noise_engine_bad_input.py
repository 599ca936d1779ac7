"""Every fault in what a scenario says of noise is told with its place, what is wrong and how to mend it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from click.testing import CliRunner
from noise_site import CRS, EAST, NORTH, folder
from rasterio.transform import from_origin
from shapely.geometry import LineString, Point, Polygon, box

from envpredict.cli import main
from envpredict.core.errors import ScenarioProblems
from envpredict.engine.intake import read_scenario

HOUSE = {"id": "H1", "geometry": box(20, 20, 30, 30)}
OTHER = "id,name,x,y,lwa_db,height_m,from,to\nQ1,Mill,{x},{y},100,2,07:00,19:00\n"


def problems(path: Path, **more: Any) -> list[str]:
    site = {"piles": [(0, 0), (2, 0)], "receptors": [HOUSE], **more}
    with pytest.raises(ScenarioProblems) as caught:
        read_scenario(folder(path, **site))
    return [str(problem) for problem in caught.value.problems]


def obstacle(shape: Any, **columns: Any) -> dict[str, Any]:
    return {"obstacles": [{"id": "B1", "geometry": shape, **columns}]}


def plant(text: str) -> dict[str, str]:
    return {"stated": f'[[methods.plant]]\nid = "hydraulic_hammer_light"\n{text}'}


def reduction(text: str) -> dict[str, str]:
    return {"more": f'[[reductions]]\nid = "screen"\n{text}'}


WALL = LineString([(-9, 5), (9, 5)])
BUILDING = box(-9, 5, 9, 9)
CASES: list[tuple[str, dict[str, Any], tuple[str, ...]]] = [
    ("no height", obstacle(BUILDING, height_m=None), ("obstacles.gpkg, feature 1", "height_m is empty", "fill it in")),
    ("neither", obstacle(BUILDING, height_m=None, built_fraction=np.nan),
     ("height_m is empty and so is built_fraction", "share of the area")),
    ("both", obstacle(BUILDING, height_m=5.0, built_fraction=0.4), ("are both given", "keep one of them")),
    ("line of houses", obstacle(WALL, height_m=np.nan, built_fraction=0.4), ("a line has no built_fraction", "height")),
    ("share above 1", obstacle(BUILDING, height_m=np.nan, built_fraction=1.4), ("built_fraction 1.4 is out of range",)),
    ("crossing itself", obstacle(Polygon([(0, 5), (9, 9), (9, 5), (0, 9)]), height_m=4.0),
     ("invalid geometry", "must not cross itself")),
    ("screen at a pile", obstacle(LineString([(-9, 0.2), (9, 0.2)]), height_m=3.0),
     ("screen 'B1' touches pile 'P1' (0.20 m)", "0.5 m clear of every source")),
    ("pile inside", obstacle(box(-1, -1, 1, 1), height_m=3.0), ("pile 'P1' stands in obstacle 'B1'",)),
    ("point inside", {**obstacle(BUILDING, height_m=6.0), "receptors": [{"id": "H9", "geometry": Point(0, 7)}]},
     ("receptors.gpkg, feature 1 (id 'H9')", "is a point inside obstacle 'B1'", "1 m before the facade")),
    ("porosity", {"cover": [{"id": "g", "porosity": 1.5, "geometry": BUILDING}]}, ("porosity 1.5 is out of range",)),
    ("unknown screen", {**obstacle(WALL, height_m=3.0), **reduction('screen = "B2"')},
     ("key 'reductions[1].screen'", "unknown screen 'B2'", "did you mean 'B1'")),
    ("building as screen", {**obstacle(BUILDING, height_m=3.0), **reduction('screen = "B1"')},
     ("'B1' is a building, not a screen",)),
    ("no obstacles", reduction('screen = "B1"'), ("there is no layer of obstacles", "draw it as a line")),
    ("height of nothing", reduction("height_m = 4.0"), ("a height is stated, but no screen", 'screen = "..."')),
    ("unused choice", {"choice": 'noise = "fta"\nc0_db = 2.0'}, ("key 'choice.c0_db'", "'fta' doesn't use it")),
    ("unknown method", {"choice": 'noise = "octaves"'}, ("unknown noise method 'octaves'", "did you mean 'octave'")),
    ("window", {"choice": 'windows = "ajar"'}, ("unknown word 'ajar'", "tilted")),
    ("level without distance", plant('measured = { level_db = 88.0, position = "free_field" }'),
     ("distance_m",)),
    ("level without position", plant("measured = { level_db = 88.0, distance_m = 10.0 }"), ("position",)),
    ("spectrum", plant("lwa_db = 110\noctaves_db = [100, 100, 100, 100, 100, 100, 100, 100]"),
     ("the spectrum sums to 107.0 dB(A), lwa_db says 110",)),
    ("cycle", plant("on_s = 60\ncycle_s = 40000"), ("a cycle of 40000 s is longer than the shift",)),
    ("level type", plant('lwa_db = 110\nlevel_type = "peak"'), ("unknown word 'peak'", "maximum")),
    ("twice", plant('count = 2\n[[methods.plant]]\nid = "hydraulic_hammer_light"\non_time_fraction = 0.2'),
     ("plant 'hydraulic_hammer_light'", "is listed 2 times", "list it once")),
    ("overlap", plant('on_time_fraction = 0.7\n[[methods.plant]]\nid = "vibrator"\non_time_fraction = 0.6'),
     ("sit on the pile's head for 130 % of its cycle together", "can't overlap")),
]


@pytest.mark.parametrize(("site", "told"), [pytest.param(site, told, id=name) for name, site, told in CASES])
def test_a_fault_is_told(tmp_path: Path, site: dict[str, Any], told: tuple[str, ...]) -> None:
    lines = problems(tmp_path / "site", **site)
    assert len(lines) == 1, lines
    for part in told:
        assert part in lines[0]
    assert " -> " in lines[0]


BOW = Polygon([(20, 5), (29, 9), (29, 5), (20, 9)])
TOGETHER: list[tuple[str, str, tuple[str, ...]]] = [
    # a table that can't be read as one is told first: what it means can't be known yet
    ("words and keys", '''
[[methods.plant]]
id = "hydraulic_hammer_light"
measured = { level_db = 88.0 }
[[methods.plant]]
id = "vibrator"
lwa_db = 110
level_type = "peak"
''', ("distance_m", "position", "unknown word 'peak'")),
    ("values", '''
[[methods.plant]]
id = "hydraulic_hammer_light"
lwa_db = 110
octaves_db = [100, 100, 100, 100, 100, 100, 100, 100]
[[methods.plant]]
id = "hammer_power_pack"
on_s = 60
cycle_s = 40000
''', ("the spectrum sums to 107.0 dB(A), lwa_db says 110", "a cycle of 40000 s is longer than the shift")),
]


@pytest.mark.parametrize(("stated", "told"), [pytest.param(text, told, id=name) for name, text, told in TOGETHER])
def test_all_faults_are_told_at_once_with_exit_code_2(tmp_path: Path, stated: str, told: tuple[str, ...]) -> None:
    raster(tmp_path / "site" / "ground.tif", z=holed(), unit="foot")
    folder(tmp_path / "site", piles=[(0, 0), (0, 7)], receptors=[HOUSE], stated=stated,
           layers='surface = "ground.tif"', acoustic='terrain = "surface"',
           obstacles=[{"id": "B1", "geometry": BUILDING, "height_m": None},
                      {"id": "B2", "geometry": BOW, "height_m": 4.0},
                      {"id": "B3", "geometry": LineString([(-9, 0.2), (9, 0.2)]), "height_m": 3.0}],
           cover=[{"id": "g", "porosity": 1.5, "geometry": BUILDING}])
    out = tmp_path / "out"
    done = CliRunner().invoke(main, ["predict", str(tmp_path / "site"), "--out", str(out)])
    said = " ".join(done.output.split())
    assert done.exit_code == 2
    for part in (*told, "height_m is empty", "must not cross itself", "pile 'P2' stands in obstacle 'B1'",
                 "touches pile 'P1'", "porosity 1.5 is out of range", "its elevations are in 'foot'",
                 "cells without an elevation"):
        assert part in said, part
    assert "Traceback" not in said
    assert not out.exists()


def test_a_source_inside_a_building_is_told(tmp_path: Path) -> None:
    path = tmp_path / "site"
    path.mkdir()
    (path / "other.csv").write_text(OTHER.format(x=EAST, y=NORTH + 7), encoding="utf-8")
    lines = problems(path, background='other_sources = "other.csv"', **obstacle(BUILDING, height_m=6.0))
    assert len(lines) == 1
    assert "other.csv" in lines[0]
    assert "source 'Q1' stands inside obstacle 'B1'" in lines[0]


def raster(path: Path, *, size: int = 40, west: float = EAST - 50, crs: str | None = CRS, unit: str | None = "metre",
           z: np.ndarray | None = None, bands: int = 1) -> None:
    """Write a raster of elevations in steps of 5 m round the site."""
    path.parent.mkdir(parents=True, exist_ok=True)
    values = np.full((size, size), 12.0, dtype="float32") if z is None else z
    with rasterio.open(path, "w", driver="GTiff", width=size, height=size, count=bands, dtype="float32", crs=crs,
                       nodata=-9999.0, transform=from_origin(west, NORTH + 100, 5.0, 5.0)) as file:
        for band in range(1, bands + 1):
            file.write(values, band)
        if unit:
            file.units = (unit,) * bands


def holed() -> np.ndarray:
    z = np.full((40, 40), 12.0, dtype="float32")
    z[16:18, 12:14] = -9999.0
    return z


@pytest.mark.parametrize(("made", "told"), [
    pytest.param({"size": 6}, ("doesn't cover the site", "every pile, receptor and obstacle"), id="small"),
    pytest.param({"west": EAST + 10}, ("doesn't cover the site",), id="aside"),
    pytest.param({"crs": None}, ("has no coordinate reference system",), id="no system"),
    pytest.param({"unit": "foot"}, ("its elevations are in 'foot'", "convert them to metres"), id="feet"),
    pytest.param({"bands": 3}, ("has 3 bands",), id="bands"),
    pytest.param({"z": holed()}, ("has 4 of", "cells without an elevation inside the site", "fill the holes"),
                 id="holes"),
    pytest.param({"z": np.full((40, 40), 120_000.0, dtype="float32")}, ("run from 120000", "millimetres"), id="unit"),
])
@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
def test_a_raster_that_cannot_serve_is_told(tmp_path: Path, made: dict[str, Any], told: tuple[str, ...]) -> None:
    path = tmp_path / "site"
    raster(path / "ground.tif", **made)
    lines = problems(path, layers='surface = "ground.tif"', acoustic='terrain = "surface"')
    assert len(lines) == 1, lines
    assert "ground.tif" in lines[0]
    for part in told:
        assert part in lines[0]


def test_a_raster_and_its_use_belong_together(tmp_path: Path) -> None:
    lines = problems(tmp_path / "a", acoustic='terrain = "surface"')
    assert "names no surface" in lines[0]
    raster(tmp_path / "b" / "ground.tif")
    lines = problems(tmp_path / "b", layers='surface = "ground.tif"')
    assert "isn't used while terrain is 'flat'" in lines[0]
    (tmp_path / "c").mkdir()
    (tmp_path / "c" / "ground.tif").write_bytes(b"II*\x00 broken")
    lines = problems(tmp_path / "c", layers='surface = "ground.tif"', acoustic='terrain = "surface"')
    assert "can't be read" in lines[0]


def test_a_sound_raster_is_used(tmp_path: Path) -> None:
    from envpredict.engine.assess import assess

    # a bank of 6 m between the piles and the house, in a system of degrees: it's moved into the scenario's
    z = np.full((40, 40), 12.0, dtype="float32")
    z[17, :] = 18.0
    raster(tmp_path / "a" / "ground.tif", z=z)
    flat = assess(read_scenario(folder(tmp_path / "b", piles=[(0, 0)], receptors=[HOUSE], method="press_in")),
                  grids=False)
    bank = assess(read_scenario(folder(tmp_path / "a", piles=[(0, 0)], receptors=[HOUSE], method="press_in",
                                       layers='surface = "ground.tif"', acoustic='terrain = "surface"')), grids=False)
    levels = [found.findings.loc[found.findings["effect"] == "noise", "predicted_median"].max()
              for found in (flat, bank)]
    assert levels[0] - levels[1] > 5.0
    assert bank.provenance.options["terrain"] == "ground.tif"
