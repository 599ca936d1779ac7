"""Invented towns of any size beside an invented flood wall, as scenario folders: nothing in them exists.

    python tests/benchmarks/town.py FOLDER --receptors 20000 --piles 300 --obstacles 5000 --spacing 1.2 --seed 1

Buildings stand along parallel streets behind the wall, with lanes across. Some receptors are drawn as footprints, the
others as points 1 m before a facade. The same numbers and seed give the same town.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

CRS = "EPSG:32631"
EAST, NORTH = 512_000.0, 6_190_000.0
PLOT_M, STREET_M, ROW_M, DEEP_M, FIRST_M = 14.0, 12.0, 46.0, 9.0, 15.0
LANE_EVERY = 9
FOOTPRINTS = 0.05
METHODS = ("impact_hydraulic", "vibratory_standard", "vibratory_variable_moment", "press_in", "press_in_auger",
           "preauger_press")
USES = np.array(["dwelling", "office", "school", "heritage", "workshop"])
SHARES = (0.86, 0.07, 0.02, 0.02, 0.03)
STRUCTURES = np.array(["masonry", "concrete", "timber"])
TOML = """title = "Invented town beside an invented flood wall"
invented = true
crs = "{crs}"

[layers]
piles = "piles.gpkg"
receptors = "receptors.gpkg"
obstacles = "obstacles.gpkg"
acoustic_ground = "cover.gpkg"

[ground]
strata = "boreholes.csv"
groundwater_m = 2.0
piling_ground = "soil"

[background]
baseline = "baseline.csv"

[programme]
start = 2027-03-01
working_days = ["mon", "tue", "wed", "thu", "fri"]
shift = {{ from = "08:00", to = "18:00" }}
time_zone = "Etc/UTC"
rigs = {rigs}
holidays = [2027-03-26]

{methods}
[limits]
damage = ["bs_7385_2_1993"]
people = ["bs_5228_2_2009"]
noise = ["bs_5228_1_2009"]
"""


def buildings(count: int, width_m: float, rng: np.random.Generator) -> NDArray[np.object_]:
    """Return so many buildings in rows behind the wall, street after street, with a lane every few plots."""
    per_row = max(int(width_m / PLOT_M) * (LANE_EVERY - 1) // LANE_EVERY, 1)
    row, place = np.divmod(np.arange(count), per_row)
    x = (place + place // (LANE_EVERY - 1)) * PLOT_M + rng.uniform(0.0, 1.5, count) + EAST - 0.5 * width_m
    # two rows of houses back to back between streets
    y = FIRST_M + (row // 2) * ROW_M + (row % 2) * (ROW_M - STREET_M - DEEP_M) + rng.uniform(0.0, 2.0, count) + NORTH
    wide, deep = rng.uniform(8.0, 11.5, count), rng.uniform(7.0, DEEP_M, count)
    return np.asarray(shapely.box(x, y, x + wide, y + deep))


def piles(count: int, spacing_m: float) -> gpd.GeoDataFrame:
    """Return piles along a wall that bends gently, in driving order."""
    along = (np.arange(count) - 0.5 * (count - 1)) * spacing_m
    shape = shapely.points(EAST + along, NORTH - 4.0 * (1.0 - np.cos(along / 300.0)))
    return gpd.GeoDataFrame({"id": [f"P{n:05d}" for n in range(count)], "section": "wall", "pile_type": "sheet_z",
                             "length_m": 10.0}, geometry=shape, crs=CRS)


def receptors(count: int, standing: NDArray[np.object_], rng: np.random.Generator) -> gpd.GeoDataFrame:
    """Return receptors spread over the buildings: some whole footprints, else points before the facade to the wall."""
    house = np.sort(np.arange(count) % len(standing))
    first = np.append(True, house[1:] != house[:-1])
    whole = first & (rng.uniform(size=count) < FOOTPRINTS)
    west, south, east, _ = shapely.bounds(standing[house]).T
    points = shapely.points(rng.uniform(west + 0.5, east - 0.5), south - 1.0)
    floors = rng.integers(1, 4, len(standing))[house]
    return gpd.GeoDataFrame({
        "id": [f"R{n:06d}" for n in range(count)], "use": rng.choice(USES, count, p=SHARES),
        "structure": rng.choice(STRUCTURES, count, p=(0.8, 0.15, 0.05)), "condition": "sound", "floors": floors,
        "foundation": "spread"}, geometry=np.where(whole, standing[house], points), crs=CRS)


def make(folder: Path, receptor_count: int, pile_count: int, obstacle_count: int, *, spacing_m: float = 1.2,
         rigs: int = 1, methods: tuple[str, ...] = METHODS, seed: int = 1) -> Path:
    """Write the scenario folder of an invented town and return it."""
    rng = np.random.default_rng(seed)
    folder.mkdir(parents=True)
    width = max(pile_count * spacing_m + 200.0, 600.0)
    standing = buildings(obstacle_count, width, rng)
    neighbours = receptors(receptor_count, standing, rng)
    piles(pile_count, spacing_m).to_file(folder / "piles.gpkg")
    # points and footprints in one layer
    neighbours.to_file(folder / "receptors.gpkg", engine="pyogrio", geometry_type="Unknown")
    gpd.GeoDataFrame({"id": [f"B{n:06d}" for n in range(obstacle_count)],
                      "height_m": np.round(rng.uniform(5.0, 12.0, obstacle_count), 1)}, geometry=standing,
                     crs=CRS).to_file(folder / "obstacles.gpkg")
    x = EAST + rng.uniform(-0.5, 0.5, 12) * width
    y = NORTH + FIRST_M + np.arange(12) * 2.0 * ROW_M
    gpd.GeoDataFrame({"porosity": np.round(rng.uniform(0.5, 1.0, 12), 2)},
                     geometry=shapely.box(x, y, x + 60.0, y + 40.0), crs=CRS).to_file(folder / "cover.gpkg")
    holes = [f"BH{n},{EAST + at * width:.1f},{NORTH},{layer}" for n, at in enumerate((-0.4, 0.0, 0.4), 1)
             for layer in ("0.0,3.0,loose sand,9", "3.0,7.0,dense sandy gravel,42", "7.0,16.0,very dense sand,56")]
    (folder / "boreholes.csv").write_text("\n".join(["borehole,x,y,top_m,base_m,description,spt_n", *holes]) + "\n",
                                          encoding="utf-8")
    levels = np.round(rng.normal(56.0, 3.0, receptor_count), 1)
    rows = [f"{name},day,{laeq},{laeq - 8.0:.1f},2026-09-14 to 2026-09-20,free_field,class 1,dry"
            for name, laeq in zip(neighbours["id"], levels, strict=True)]
    (folder / "baseline.csv").write_text("\n".join(
        ["receptor,period,laeq_db,la90_db,dates,position,instrument,weather", *rows]) + "\n", encoding="utf-8")
    listed = "".join(f'[[methods]]\nid = "{name}"\n\n' for name in methods)
    (folder / "scenario.toml").write_text(TOML.format(crs=CRS, rigs=rigs, methods=listed), encoding="utf-8")
    return folder


def main() -> None:
    """Make a town from the command line."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("folder", type=Path)
    for name, usual in (("receptors", 1000), ("piles", 100), ("obstacles", 500), ("rigs", 1), ("seed", 1)):
        asked.add_argument(f"--{name}", type=int, default=usual)
    asked.add_argument("--spacing", type=float, default=1.2, help="distance between piles in m")
    given = asked.parse_args()
    make(given.folder, given.receptors, given.piles, given.obstacles, spacing_m=given.spacing, rigs=given.rigs,
         seed=given.seed)


if __name__ == "__main__":
    main()
