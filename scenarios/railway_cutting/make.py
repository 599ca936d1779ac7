"""Draws the invented railway cutting and its neighbours; run it to write the layers and tables of this folder again.

Everything here is made up: a line in open sea that no train runs on, streets that nobody lives in, ground that nobody
drilled. The same seed gives the same content on every run. `scenario.toml` and NOTE.md are written by hand and stay
untouched.
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
from shapely.geometry import LineString, MultiLineString, Point, Polygon, box

HERE = Path(__file__).resolve().parent
CRS = "EPSG:32628"
ORIGIN = (430_000.0, 5_800_000.0)
"""Local zero on the line, at about 52.3 degrees north and 16 degrees west, in the open Atlantic."""
SEED = 20270405
STAMP = "2026-11-25T00:00:00Z"
TRACK_Y, TOE_Y, CREST_Y = 0.0, 5.0, 16.0
"""The line runs along y = 0; the wall stands at the cutting's toe, 5 m north of it, a shorter one at its crest."""
BRIDGE = (70.0, 84.0)

Row = dict[str, Any]


def placed(shape: Any) -> Any:
    """Return a shape of the local drawing at its place in the scenario's system."""
    return affinity.translate(shape, *ORIGIN)


def layer(rows: list[Row]) -> gpd.GeoDataFrame:
    """Return rows with a geometry each, placed."""
    frame = gpd.GeoDataFrame(rows, geometry="geometry", crs=CRS)
    return frame.set_geometry(frame.geometry.apply(placed))


def house(x: float, y: float, width: float, depth: float, turn: float = 0.0) -> Polygon:
    """Return a rectangular footprint by its south-western corner, turned about its middle by `turn` degrees."""
    return affinity.rotate(box(x, y, x + width, y + depth), turn, origin="center")


def homes(random: np.random.Generator) -> Iterator[Row]:
    """Yield homes on both sides of the cutting: the nearest stand 12 m from the wall at the crest."""
    usual: Row = {"use": "dwelling", "structure": "masonry", "condition": "sound", "floors": 2, "foundation": "spread"}
    number = 0
    for street, y, count, x, step in (("Cutting Row", 28.0, 18, 2.0, 6.4), ("Upper Close", 52.0, 12, 6.0, 11.0),
                                      ("Far Close", 84.0, 10, 10.0, 13.0), ("South Bank", -36.0, 10, 4.0, 13.0)):
        for place in range(count):
            number += 1
            terraced = street == "Cutting Row"
            width = 6.4 if terraced else 8.0 + 2.0 * random.random()
            turn = 0.0 if terraced else float(random.uniform(-6.0, 6.0))
            facts: Row = {"condition": "cracked"} if terraced and place == 7 else {}
            facts |= {"structure": "timber", "floors": 1} if not terraced and random.random() < 0.15 else {}
            yield {"id": f"H{number:03d}", "name": f"{street} {place + 1}", **usual, **facts,
                   "geometry": house(x + step * place, y, width, 8.6, turn)}


def others() -> Iterator[Row]:
    """Yield the line itself, the bridge, the laboratory and what else stands there."""
    none: Row = {"structure": "none", "floors": 0}
    masonry: Row = {"structure": "masonry", "condition": "sound", "foundation": "spread"}
    concrete: Row = {"structure": "concrete", "condition": "sound", "foundation": "spread"}
    yield {"id": "R1", "name": "Main line", "use": "railway", **none, "asset": "track",
           "geometry": LineString([(-160.0, TRACK_Y), (320.0, TRACK_Y)])}
    abutments = [LineString([(BRIDGE[0], y), (BRIDGE[1], y)]) for y in (11.0, -11.0)]
    yield {"id": "B1", "name": "Bridge Street bridge, abutments", "use": "bridge", "structure": "masonry", "floors": 0,
           "condition": "sound", "foundation": "spread", "asset": "bridge", "geometry": MultiLineString(abutments)}
    yield {"id": "P1", "name": "Gas main in Cutting Row", "use": "buried_pipe", **none, "depth_m": 1.1,
           "pipe_material": "steel", "asset": "gas_pipe", "geometry": LineString([(-40.0, 25.0), (180.0, 25.0)])}
    yield {"id": "L1", "name": "Optics Laboratory", "use": "laboratory", **concrete, "floors": 2,
           "equipment": "electron_microscope", "occupied_hours": "08:00-20:00",
           "geometry": house(122.0, 30.0, 18.0, 14.0)}
    yield {"id": "S1", "name": "Hill School", "use": "school", **concrete, "floors": 2,
           "occupied_hours": "08:00-16:00", "geometry": house(60.0, 112.0, 40.0, 16.0)}
    yield {"id": "W1", "name": "Old Toll House", "use": "heritage", "structure": "historic", "condition": "cracked",
           "foundation": "spread", "floors": 1, "geometry": house(88.5, -26.0, 8.0, 7.0)}
    yield {"id": "F1", "name": "Line Offices", "use": "office", **masonry, "floors": 4,
           "foundation": "toe_bearing_piles", "occupied_hours": "08:00-18:00",
           "geometry": house(-34.0, 30.0, 24.0, 14.0)}
    yield {"id": "C1", "name": "Care Home", "use": "hospital", **masonry, "floors": 3,
           "geometry": house(150.0, 62.0, 26.0, 16.0)}
    yield {"id": "G1", "name": "Garden seat", "use": "open_space", **none, "geometry": Point(148.0, 48.0)}


def piles() -> gpd.GeoDataFrame:
    """Return the walls: tubes at the toe west of, under and east of the bridge; sheet pairs at the crest."""
    lines = (("west", "tubular", 9.0, 0.75, (10.0, 69.0), TOE_Y), ("bridge", "tubular", 8.0, 0.75, BRIDGE, TOE_Y),
             ("east", "tubular", 10.0, 0.75, (85.0, 115.0), TOE_Y),
             ("crest", "sheet_u", 6.0, 1.2, (14.0, 50.0), CREST_Y))
    return layer([{"section": section, "pile_type": kind, "length_m": length, "spacing_m": spacing,
                   "geometry": LineString([(ends[0], y), (ends[1], y)])}
                  for section, kind, length, spacing, ends, y in lines])


def constraints() -> gpd.GeoDataFrame:
    """Return what the site demands: nights on the line, the bridge overhead, a narrow strip, a slope, old masonry."""
    rows: list[Row] = [
        {"id": "line", "kind": "possession", "value_m": None, "from": "23:30", "to": "05:00",
         "geometry": box(-160.0, -10.0, 320.0, 9.0)},
        {"id": "deck", "kind": "headroom", "value_m": 8.0, "geometry": box(69.2, -12.0, 84.5, 12.0)},
        {"id": "strip", "kind": "width", "value_m": 3.2, "geometry": box(0.0, 2.5, 120.0, 8.0)},
        {"id": "slope", "kind": "slope", "value_m": None, "geometry": box(0.0, 9.0, 120.0, 20.0)},
        {"id": "old footing", "kind": "obstruction", "value_m": None, "geometry": box(98.0, 2.0, 104.0, 8.0)},
    ]
    return layer(rows)


def boundary() -> gpd.GeoDataFrame:
    """Return the site: the cutting from crest to crest."""
    return layer([{"id": "site", "geometry": box(-20.0, -14.0, 140.0, 20.0)}])


def obstacles(everyone: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return the buildings with their heights, and a fence of 2.5 m along the crest."""
    buildings = everyone[everyone["floors"].gt(0) & everyone.geometry.geom_type.eq("Polygon")]
    fence = placed(LineString([(0.0, 22.0), (118.0, 22.0)]))
    return gpd.GeoDataFrame({"id": [*buildings["id"], "fence"], "height_m": [*(2.0 + 3.0 * buildings["floors"]), 2.5]},
                            geometry=[*buildings.geometry, fence], crs=CRS)


def cover() -> gpd.GeoDataFrame:
    """Return what sound runs over where it isn't pavement: grass on the slopes, gardens behind the rows."""
    return layer([{"id": "slopes", "porosity": 1.0, "geometry": box(-160.0, 7.0, 320.0, 20.0)},
                  {"id": "ballast", "porosity": 0.7, "geometry": box(-160.0, -6.0, 320.0, 6.9)},
                  {"id": "gardens", "porosity": 0.8, "geometry": box(-10.0, 38.0, 160.0, 110.0)}])


def strata() -> Iterator[Row]:
    """Yield four boreholes: till with boulders over weak mudstone, three at the toe and one at the crest."""
    for n, (x, shift) in enumerate(((12.0, 0.0), (77.0, 0.4), (112.0, -0.3)), 1):
        boulders = 2.6 + shift
        rock = 5.8 + shift
        layers: list[tuple[float, float, str, Row]] = [
            (0.0, 1.0, "made ground: ash and sand", {"spt_n": "14"}),
            (1.0, boulders, "stiff sandy gravelly clay", {"spt_n": str(20 + 2 * n), "cu_kpa": 105 + 5 * n}),
            (boulders, rock, "very stiff till with cobbles and boulders",
             {"spt_n": "50/150 mm" if n != 2 else "50/110 mm", "cu_kpa": 240, "cobble_m": 0.2, "boulder_m": 0.6}),
            (rock, 14.0, "weak mudstone", {"ucs_mpa": 7.5 + 2.0 * n}),
        ]
        yield from _rows(f"BH{n}", x, TOE_Y + 1.0, layers, 1.8)
    yield from _rows("BH4", 32.0, CREST_Y + 2.0, [
        (0.0, 1.4, "made ground: sandy clay with brick", {"spt_n": "9"}),
        (1.4, 4.2, "stiff sandy gravelly clay", {"spt_n": "21", "cu_kpa": 110}),
        (4.2, 9.5, "very stiff till with cobbles and boulders",
         {"spt_n": "50/200 mm", "cu_kpa": 230, "cobble_m": 0.15, "boulder_m": 0.5}),
        (9.5, 15.0, "weak mudstone", {"ucs_mpa": 9.0})], 4.0)


def _rows(name: str, x: float, y: float, layers: list[tuple[float, float, str, Row]], water_m: float) -> Iterator[Row]:
    for top, base, description, more in layers:
        yield {"borehole": name, "x": ORIGIN[0] + x, "y": ORIGIN[1] + y, "top_m": round(top, 2),
               "base_m": round(base, 2), "description": description, "water_m": water_m, **more}


def baseline(everyone: gpd.GeoDataFrame, random: np.random.Generator) -> Iterator[Row]:
    """Yield a week's levels: trains by day, few by night; two homes have none, so that not everything can be judged."""
    unmeasured = {"H011", "H034"}
    line = everyone.geometry[everyone["id"].eq("R1")].iloc[0]
    judged = everyone[~everyone["use"].isin(["railway", "buried_pipe", "bridge"]) & ~everyone["id"].isin(unmeasured)]
    for name, shape in zip(judged["id"], judged.geometry, strict=True):
        day = 64.0 - 0.07 * min(shape.distance(line), 130.0) + float(random.normal(0.0, 1.0))
        for period, drop in (("day", 0.0), ("evening", 4.0), ("night", 13.0)):
            yield {"receptor": name, "period": period, "laeq_db": round(day - drop, 1),
                   "la90_db": round(day - drop - float(random.uniform(8.0, 12.0)), 1),
                   "dates": "2026-09-21 to 2026-09-27", "position": "free_field", "instrument": "class 1",
                   "weather": "dry, wind below 4 m/s"}


def write_table(name: str, columns: list[str], rows: Iterator[Row]) -> None:
    """Write a table as CSV."""
    with (HERE / name).open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def main() -> None:
    """Write every layer and table."""
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": STAMP})
    random = np.random.default_rng(SEED)
    everyone = layer([*homes(random), *others()])
    pyogrio.write_dataframe(piles().to_crs("EPSG:4326"), HERE / "piles.geojson",
                            layer_options={"COORDINATE_PRECISION": "9"})
    (HERE / "site.gpkg").unlink(missing_ok=True)
    for name, frame in (("receptors", everyone), ("obstacles", obstacles(everyone)), ("boundary", boundary()),
                        ("constraints", constraints()), ("cover", cover())):
        pyogrio.write_dataframe(frame, HERE / "site.gpkg", layer=name)
    write_table("boreholes.csv", ["borehole", "x", "y", "top_m", "base_m", "description", "spt_n", "cu_kpa", "ucs_mpa",
                                  "cobble_m", "boulder_m", "water_m"], strata())
    write_table("baseline.csv", ["receptor", "period", "laeq_db", "la90_db", "dates", "position", "instrument",
                                 "weather"], baseline(everyone, random))


if __name__ == "__main__":
    main()
