"""Draws the invented quay wall and its neighbours; run it to write the layers and tables of this folder again.

Everything here is made up: a straight coast in open sea, streets that nobody lives in, ground that nobody drilled. The
same seed gives the same content on every run. `scenario.toml` and NOTE.md are written by hand and stay untouched.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyogrio
from shapely import affinity
from shapely.geometry import LineString, Polygon, box

HERE = Path(__file__).resolve().parent
CRS = "EPSG:32631"
ORIGIN = (512_000.0, 6_190_000.0)
"""Local zero: the wall's western end, at about 55.9 degrees north and 3.2 degrees east, in open sea."""
SEED = 20270301
STAMP = "2026-11-25T00:00:00Z"

WALL = [(0.0, 0.0), (64.8, 0.0), (130.8, 0.0), (250.2, 12.0)]
"""The quay's line: straight for two lengths of sheets, then a slight bend. Land lies north of it, water south."""

Row = dict[str, Any]


def placed(shape: Any) -> Any:
    """Return a shape of the local drawing at its place in the scenario's system."""
    return affinity.translate(shape, *ORIGIN)


def house(x: float, y: float, width: float, depth: float, turn: float = 0.0) -> Polygon:
    """Return a rectangular footprint by its south-western corner, turned about its middle by `turn` degrees."""
    return affinity.rotate(box(x, y, x + width, y + depth), turn, origin="center")


def l_shape(x: float, y: float, width: float, depth: float, wing: float) -> Polygon:
    """Return a footprint of two wings, each `wing` wide."""
    return Polygon([(x, y), (x + width, y), (x + width, y + wing), (x + wing, y + wing), (x + wing, y + depth),
                    (x, y + depth)])


def dwelling(number: int, name: str, shape: Polygon, **facts: Any) -> Row:
    """Return a home; `facts` replace what most homes have."""
    usual: Row = {"use": "dwelling", "structure": "masonry", "condition": "sound", "floors": 2, "foundation": "spread"}
    return {"id": f"H{number:03d}", "name": name, **usual, **facts, "geometry": shape}


def terraces() -> Iterator[Row]:
    """Yield four rows of terraced houses, from 8 m behind the wall to 100 m."""
    number = 0
    for street, y, count, x in (("Lower Row", 8.0, 16, 16.0), ("Middle Row", 38.0, 16, 14.0),
                                ("Upper Row", 66.0, 15, 8.0), ("Line Row", 92.0, 14, 12.0)):
        for place in range(count):
            number += 1
            old = street == "Lower Row"
            facts: Row = {"condition": "cracked" if old and place in (4, 5) else "unknown" if old else "sound",
                          "floors": 3 if place in (0, count - 1) else 2}
            yield dwelling(number, f"{street} {place + 1}", house(x + 5.6 * place, y, 5.6, 9.2), **facts)


def detached(random: np.random.Generator) -> Iterator[Row]:
    """Yield detached houses beyond the railway and east of the hospital, up to about 250 m from the wall."""
    number = 100
    rows = [(f"Sand Lane {side}", y, -2.0, 8, 16.0) for side, y in (("south", 140.0), ("north", 166.0))]
    rows += [(f"Gull Way {side}", y, -4.0, 8, 17.0) for side, y in (("south", 200.0), ("north", 226.0))]
    rows += [("East Lane", y, 196.0, 4, 19.0) for y in (142.0, 170.0, 198.0, 226.0)]
    for street, y, x, count, step in rows:
        for place in range(count):
            number += 1
            width, depth = 8.0 + 3.0 * random.random(), 7.5 + 2.5 * random.random()
            shape = house(x + step * place + random.random(), y + 3.0 * random.random(), width, depth,
                          float(random.uniform(-9.0, 9.0)))
            facts: Row = {"structure": "timber", "floors": 1} if random.random() < 0.2 else {}
            yield dwelling(number, f"{street}, house {number - 100}", shape, **facts)


def others() -> Iterator[Row]:
    """Yield what isn't a home: points of care, work, worship, traffic, service and nature."""
    masonry: Row = {"structure": "masonry", "condition": "sound", "foundation": "spread"}
    concrete: Row = {"structure": "concrete", "condition": "sound", "foundation": "spread"}
    steel: Row = {"structure": "steel", "condition": "sound", "foundation": "spread"}
    none: Row = {"structure": "none", "floors": 0}
    yield {"id": "S1", "name": "Harbour School", "use": "school", **masonry, "floors": 2,
           "occupied_hours": "08:00-16:00", "geometry": l_shape(134.0, 150.0, 42.0, 34.0, 12.0)}
    yield {"id": "C1", "name": "Cottage Hospital", "use": "hospital", **concrete, "floors": 3,
           "equipment": "operating_theatre", "geometry": l_shape(136.0, 64.0, 36.0, 30.0, 13.0)}
    nave = Polygon([(112.0, 36.0), (121.0, 36.0), (121.0, 40.0), (126.0, 40.0), (126.0, 47.0), (121.0, 47.0),
                    (121.0, 62.0), (112.0, 62.0), (112.0, 47.0), (107.0, 47.0), (107.0, 40.0), (112.0, 40.0)])
    yield {"id": "W1", "name": "Old Church", "use": "heritage", "structure": "historic", "condition": "cracked",
           "foundation": "spread", "floors": 1, "occupied_hours": "09:00-19:00", "geometry": nave}
    for n, (x, y) in enumerate(((150.0, 24.0), (178.0, 28.0), (214.0, 32.0)), 1):
        yield {"id": f"K{n}", "name": f"Workshop {n}", "use": "workshop", **steel, "floors": 1,
               "occupied_hours": "07:00-18:00", "geometry": house(x, y, 22.0, 16.0, 5.0)}
    yield {"id": "F1", "name": "Harbour Office", "use": "office", **concrete, "floors": 5,
           "foundation": "toe_bearing_piles", "occupied_hours": "08:00-18:00",
           "geometry": house(184.0, 62.0, 16.0, 26.0)}
    yield {"id": "L1", "name": "Materials Laboratory", "use": "laboratory", **concrete, "floors": 2,
           "equipment": "microscope_400x", "occupied_hours": "08:00-20:00", "geometry": house(214.0, 66.0, 20.0, 14.0)}
    yield {"id": "R1", "name": "Branch railway", "use": "railway", **none, "asset": "track",
           "geometry": LineString([(-90.0, 112.0), (40.0, 116.0), (140.0, 122.0), (330.0, 126.0)])}
    yield {"id": "P1", "name": "Water main", "use": "buried_pipe", **none, "depth_m": 1.4, "pipe_material": "metal",
           "asset": "water_main", "geometry": LineString([(-50.0, 5.0), (128.0, 5.0), (262.0, 18.5)])}
    yield {"id": "N1", "name": "Nesting area on the spit", "use": "habitat", **none, "species": "waterbird",
           "geometry": Polygon([(-150.0, -34.0), (-70.0, -22.0), (-58.0, 6.0), (-90.0, 24.0), (-150.0, 14.0)])}
    yield {"id": "G1", "name": "Green, bench", "use": "open_space", **none, "geometry": LineString(
        [(110.0, 74.0), (126.0, 90.0)]).centroid}
    yield {"id": "B1", "name": "Footbridge over the line", "use": "bridge", "structure": "steel", "floors": 0,
           "foundation": "spread", "asset": "bridge", "geometry": LineString([(118.0, 112.0), (117.0, 128.0)])}


def receptors(random: np.random.Generator) -> gpd.GeoDataFrame:
    """Return every receptor, placed."""
    rows = [*terraces(), *detached(random), *others()]
    frame = gpd.GeoDataFrame(rows, geometry="geometry", crs=CRS)
    return frame.set_geometry(frame.geometry.apply(placed))


def piles() -> gpd.GeoDataFrame:
    """Return the wall's lines: pairs of U sheets in section A, pairs of Z sheets in section B."""
    sheets = (("A", "sheet_u", 12.0, 1.2), ("A", "sheet_u", 14.0, 1.2), ("B", "sheet_z", 16.0, 1.26))
    rows = [{"section": section, "pile_type": kind, "length_m": length, "spacing_m": spacing,
             "geometry": placed(LineString(WALL[n:n + 2]))}
            for n, (section, kind, length, spacing) in enumerate(sheets)]
    return gpd.GeoDataFrame(rows, geometry="geometry", crs=CRS)


def boundary() -> gpd.GeoDataFrame:
    """Return the site: a strip on both sides of the wall."""
    land = [(x, y + 3.0) for x, y in WALL]
    water = [(x, y - 15.0) for x, y in reversed(WALL)]
    return gpd.GeoDataFrame({"id": ["site"]}, geometry=[placed(Polygon(land + water))], crs=CRS)


def obstacles(everyone: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return the buildings with their heights, and a screen of 3 m beside the quay road."""
    buildings = everyone[everyone["floors"].gt(0) & everyone.geometry.geom_type.eq("Polygon")]
    heights = (2.0 + 3.0 * buildings["floors"]).where(~buildings["id"].isin(["W1"]), 14.0)
    screen = placed(LineString([(12.0, 3.6), (110.0, 3.6)]))
    return gpd.GeoDataFrame({"id": [*buildings["id"], "screen"], "height_m": [*heights, 3.0]},
                            geometry=[*buildings.geometry, screen], crs=CRS)


def acoustic_ground() -> gpd.GeoDataFrame:
    """Return what sound runs over where it isn't pavement: water, gardens and the green."""
    spit = Polygon([(-160.0, -20.0), (-62.0, 8.0), (-90.0, 30.0), (-160.0, 20.0)])
    water = Polygon([(-200.0, -200.0), (400.0, -200.0), (400.0, 24.0), *reversed(WALL), (-60.0, -1.0), (-200.0, -40.0)])
    rows = [("harbour", 0.0, water.difference(spit)), ("gardens", 0.7, box(-10.0, 134.0, 290.0, 250.0)),
            ("green", 1.0, box(104.0, 66.0, 132.0, 104.0)), ("spit", 1.0, spit)]
    return gpd.GeoDataFrame({"id": [row[0] for row in rows], "ground_por": [row[1] for row in rows]},
                            geometry=[placed(row[2]) for row in rows], crs=CRS)


def strata() -> Iterator[Row]:
    """Yield the layers of four boreholes along the wall: N rises from 8 to above 50, with gravel on the way."""
    for n, (x, y, shift) in enumerate(((6.0, 2.0, 0.0), (84.0, 1.5, 0.6), (160.0, 6.0, -0.4), (240.0, 13.0, 0.3)), 1):
        gravel_top = 8.2 + shift
        layers: list[tuple[float, float, str, str, Row]] = [
            (0.0, 1.6, "made ground: sand with brick", "8", {}),
            (1.6, 4.8 + shift, "loose to medium dense fine sand", str(11 + n), {}),
            (4.8 + shift, gravel_top, "medium dense to dense sand", str(26 + 2 * n), {}),
            (gravel_top, gravel_top + 2.3, "dense sandy gravel with cobbles", "50/75 mm" if n in (2, 3) else "47",
             {"cobble_m": 0.12, "gravel": "yes"}),
            (gravel_top + 2.3, 14.0 + shift, "very dense sand", "54" if n < 4 else "50/220 mm", {}),
            (14.0 + shift, 20.0, "very dense silty sand", "50/150 mm" if n in (1, 3) else "62", {}),
        ]
        for top, base, description, spt_n, more in layers:
            yield {"borehole": f"BH{n}", "x": ORIGIN[0] + x, "y": ORIGIN[1] + y, "top_m": round(top, 2),
                   "base_m": round(base, 2), "description": description, "spt_n": spt_n, "water_m": 2.2, **more}


def baseline(everyone: gpd.GeoDataFrame, random: np.random.Generator) -> Iterator[Row]:
    """Yield a week's levels for most receptors; a few have none, so that not everything can be judged."""
    unmeasured = {"H003", "H019", "H041", "H108", "H127", "N1"}
    railway = everyone.geometry[everyone["id"].eq("R1")].iloc[0]
    judged = everyone[~everyone["use"].isin(["railway", "buried_pipe", "bridge"]) & ~everyone["id"].isin(unmeasured)]
    for name, shape in zip(judged["id"], judged.geometry, strict=True):
        day = 61.0 - 0.05 * min(shape.distance(railway), 130.0) + float(random.normal(0.0, 1.2))
        for period, drop in (("day", 0.0), ("evening", 5.0), ("night", 11.0)):
            level = day - drop
            yield {"receptor": name, "period": period, "laeq_db": round(level, 1),
                   "la90_db": round(level - float(random.uniform(5.0, 9.0)), 1), "dates": "2026-09-14 to 2026-09-20",
                   "position": "free_field", "instrument": "class 1", "weather": "dry, wind below 4 m/s"}


def write_table(name: str, columns: list[str], rows: Iterator[Row]) -> None:
    """Write a table as CSV."""
    with (HERE / name).open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def write_layer(frame: gpd.GeoDataFrame, name: str, crs: str, **options: Any) -> None:
    """Write a layer in the system given."""
    pyogrio.write_dataframe(frame.to_crs(crs), HERE / name, **options)


def main() -> None:
    """Write every layer and table."""
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": STAMP})
    random = np.random.default_rng(SEED)
    everyone = receptors(random)
    write_layer(piles(), "piles.geojson", "EPSG:4326", layer_options={"COORDINATE_PRECISION": "9"})
    write_layer(boundary(), "boundary.geojson", "EPSG:4326", layer_options={"COORDINATE_PRECISION": "9"})
    (HERE / "neighbours.gpkg").unlink(missing_ok=True)
    write_layer(everyone, "neighbours.gpkg", CRS, layer="receptors")
    write_layer(obstacles(everyone), "neighbours.gpkg", CRS, layer="obstacles")
    write_layer(acoustic_ground(), "cover.shp", "EPSG:25831", layer_options={"DBF_DATE_LAST_UPDATE": STAMP[:10]})
    write_table("boreholes.csv", ["borehole", "x", "y", "top_m", "base_m", "description", "spt_n", "cobble_m", "gravel",
                                  "water_m"], strata())
    write_table("baseline.csv", ["receptor", "period", "laeq_db", "la90_db", "dates", "position", "instrument",
                                 "weather"], baseline(everyone, random))


if __name__ == "__main__":
    main()
