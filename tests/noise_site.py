"""Small scenes of sound for the tests of the engine, and a scenario folder that has only what noise needs."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
from shapely.geometry import Point

from envpredict.core.citation import Citation
from envpredict.engine.sound.cover import Cover
from envpredict.engine.sound.field import Positions, plant_fields
from envpredict.engine.sound.octave import OctaveMethod
from envpredict.engine.sound.points import SoundPoints
from envpredict.engine.sound.scene import SoundScene, prepared, walls_of
from envpredict.engine.sound.terrain import Terrain
from envpredict.methods.schema import Plant, a_weighted_sum_db

CRS = "EPSG:32631"
EAST, NORTH = 500_000.0, 6_200_000.0
"""Where the plan (0, 0) of a scenario folder lies: in open sea."""
TEST = Citation("a test", None, "made for it", "read")
Obstacle = tuple[Any, float]


def scene(obstacles: Sequence[Obstacle] = (), *, porosity: float = 0.0, cover: Sequence[Obstacle] = (),
          houses: Sequence[Obstacle] = (), terrain: Terrain | None = None, temperature_c: float = 10.0,
          humidity_percent: float = 70.0, c0_db: float = 0.0, reflections: bool = False) -> SoundScene:
    """Return a scene of shapely obstacles with their heights; `cover` and `houses` are polygons with a value each."""
    frame = gpd.GeoDataFrame(geometry=[shape for shape, _ in obstacles]) if obstacles else None
    heights = np.array([height for _, height in obstacles], dtype=float)
    return SoundScene(
        prepared(frame, heights, terrain), walls_of(frame if reflections else None, heights, terrain),
        Cover.from_polygons([shape for shape, _ in cover], [value for _, value in cover], porosity),
        Cover.from_polygons([shape for shape, _ in houses], [value for _, value in houses], 0.0), terrain,
        temperature_c, humidity_percent, c0_db)


def source(octaves_db: Sequence[float], height: float | str = 1.0, *, u_db: float = 3.0, name: str = "source",
           **more: Any) -> Plant:
    """Return an item of plant with these octave powers."""
    lwa = a_weighted_sum_db(tuple(octaves_db))
    known = 0.0 if isinstance(height, str) else height
    return Plant(id=name, title=name, lwa_db=lwa, lwa_low_db=lwa, lwa_high_db=lwa, octaves_db=tuple(octaves_db),
                 spectrum_citation=TEST, level_type="mean", height=height, height_low_m=known, height_high_m=known,
                 height_citation=TEST, u_db=u_db, u_citation=TEST, citation=TEST, **more)


def points(xyz: Sequence[tuple[float, float, float]], own: Sequence[int] | None = None) -> SoundPoints:
    """Return receptor points: x, y and height above ground."""
    table = np.array(xyz, dtype=float)
    found = SoundPoints.at(table[:, :2], 0.0, None if own is None else np.array(own, dtype=np.int64))
    return SoundPoints(found.xy, table[:, 2].copy(), found.receptor, found.side, found.floor, found.own)


def levels(there: SoundScene, plant: Plant, at: Sequence[tuple[float, float]], to: SoundPoints, *,
           method: Any = None, length_m: float = 12.0, tile_paths: int = 10_000) -> np.ndarray:
    """Return the level (Q, P) at points from an item of plant at places, mean over the drive."""
    positions = Positions(np.array(at, dtype=float), np.full(len(at), length_m))
    return plant_fields(there, method or OctaveMethod(), to, positions, [plant], tile_paths)[plant].level_db()


SCENARIO = """title = "Test site"
invented = true
crs = "EPSG:32631"

[layers]
piles = "piles.gpkg"
receptors = "receptors.gpkg"
{layers}

[ground]
class = "dense_sand"

[background]
{background}

[programme]
start = 2027-03-01
shift = {{ from = "08:00", to = "18:00" }}
time_zone = "Etc/UTC"
holidays = []
rigs = {rigs}

[[methods]]
id = "{method}"
{stated}

[limits]
noise = [{limits}]

[acoustic]
porosity = {porosity}
{acoustic}

[choice]
{choice}
{more}
"""


def folder(path: Path, *, piles: Sequence[tuple[float, float]], receptors: Sequence[dict[str, Any]],
           obstacles: Sequence[dict[str, Any]] = (), boundary: Any = None, cover: Sequence[dict[str, Any]] = (),
           limits: str = '"uk_liverpool_council"', method: str = "impact_hydraulic", stated: str = "", choice: str = "",
           more: str = "", porosity: float = 0.0, length_m: float = 12.0, rigs: int = 1, layers: str = "",
           background: str = "", acoustic: str = "") -> Path:
    """Write a scenario folder; places are in a plan of its own, metres from (0, 0)."""
    path.mkdir(parents=True, exist_ok=True)

    def write(name: str, rows: Sequence[dict[str, Any]]) -> None:
        frame = gpd.GeoDataFrame(list(rows), geometry="geometry", crs=CRS)
        frame.geometry = frame.geometry.translate(EAST, NORTH)
        frame.to_file(path / f"{name}.gpkg")

    write("piles", [{"id": f"P{n}", "pile_type": "sheet_u", "length_m": length_m, "geometry": Point(*xy)}
                    for n, xy in enumerate(piles, 1)])
    usual = {"use": "dwelling", "structure": "masonry", "condition": "sound", "floors": 1}
    write("receptors", [{**usual, **row} for row in receptors])
    named = [layers]
    for name, rows in (("obstacles", obstacles), ("acoustic_ground", cover),
                       ("boundary", [{"id": "site", "geometry": boundary}] if boundary is not None else [])):
        if rows:
            write(name, rows)
            named.append(f'{name} = "{name}.gpkg"')
    text = SCENARIO.format(layers="\n".join(named), background=background, rigs=rigs, method=method, stated=stated,
                           limits=limits, porosity=porosity, acoustic=acoustic, choice=choice, more=more)
    (path / "scenario.toml").write_text(text, encoding="utf-8")
    return path
