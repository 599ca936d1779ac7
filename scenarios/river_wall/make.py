"""Draws the invented river wall and its neighbours; run it to write the layers and tables of this folder again.

Everything here is made up: a river in open sea, a reserve without birds, ground that nobody drilled. The same seed
gives the same content on every run. `scenario.toml`, NOTE.md and the folder `plan` are written by hand;
`make_records.py` makes up the records.
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
ORIGIN = (468_000.0, 6_232_000.0)
"""Local zero: the wall's western end, at about 56.2 degrees north and 2.5 degrees east, in open sea."""
SEED = 20271027
STAMP = "2026-11-25T00:00:00Z"
WALL = [(0.0, 0.0), (30.0, 2.0), (60.0, 7.0)]
"""The wall's line along the northern bank; the river lies south of it, the reserve beyond the river and to the west."""

Row = dict[str, Any]


def placed(shape: Any) -> Any:
    """Return a shape of the local drawing at its place in the scenario's system."""
    return affinity.translate(shape, *ORIGIN)


def receptors() -> gpd.GeoDataFrame:
    """Return every receptor, placed: a lane of cottages, a mill, a bridge, a water main, and the reserve."""
    masonry: Row = {"structure": "masonry", "condition": "sound", "foundation": "spread"}
    none: Row = {"structure": "none", "floors": 0}
    rows: list[Row] = [
        {"id": f"C{n + 1}", "name": f"Bank Cottages {n + 1}", "use": "dwelling", **masonry, "floors": 2,
         "geometry": box(4.0 + 7.0 * n, 18.0 + 0.5 * n, 11.0 + 7.0 * n, 27.0 + 0.5 * n)} for n in range(6)]
    rows += [{"id": f"L{n + 1}", "name": f"Marsh Lane {n + 1}", "use": "dwelling", **masonry, "floors": 1,
              "geometry": affinity.rotate(box(-20.0 + 24.0 * n, 62.0, -8.0 + 24.0 * n, 71.0), 6.0 * (n % 3 - 1))}
             for n in range(6)]
    rows += [
        {"id": "OM", "name": "Old Mill", "use": "heritage", "structure": "historic", "condition": "cracked",
         "foundation": "spread", "floors": 3, "occupied_hours": "09:00-17:00",
         "geometry": Polygon([(66.0, 22.0), (80.0, 24.0), (79.0, 36.0), (65.0, 34.0)])},
        {"id": "VC", "name": "Visitor centre of the reserve", "use": "office", "structure": "timber",
         "condition": "sound", "foundation": "spread", "floors": 1, "occupied_hours": "09:00-17:00",
         "geometry": box(-58.0, 30.0, -44.0, 40.0)},
        {"id": "B1", "name": "Stone bridge", "use": "bridge", "structure": "masonry", "floors": 0,
         "foundation": "spread", "asset": "bridge", "geometry": LineString([(96.0, 14.0), (100.0, -34.0)])},
        {"id": "W1", "name": "Water main", "use": "buried_pipe", **none, "depth_m": 1.2, "pipe_material": "metal",
         "asset": "water_main", "geometry": LineString([(-60.0, 14.0), (20.0, 14.0), (100.0, 44.0)])},
        {"id": "R1", "name": "Reed bed, roost of waterbirds", "use": "habitat", **none, "species": "waterbird",
         "geometry": Polygon([(-30.0, -60.0), (70.0, -52.0), (72.0, -110.0), (-40.0, -120.0)])},
        {"id": "R2", "name": "Alder wood, songbirds", "use": "habitat", **none, "species": "songbird",
         "geometry": Polygon([(-140.0, -10.0), (-84.0, 4.0), (-90.0, 46.0), (-150.0, 40.0)])},
    ]
    frame = gpd.GeoDataFrame(rows, geometry="geometry", crs=CRS)
    return frame.set_geometry(frame.geometry.apply(placed))


def piles() -> gpd.GeoDataFrame:
    """Return the wall's lines: pairs of Z sheets, longer in the second part."""
    parts = (("A", 9.0), ("B", 11.0))
    rows = [{"section": section, "pile_type": "sheet_z", "length_m": length, "spacing_m": 1.4,
             "geometry": placed(LineString(WALL[n:n + 2]))} for n, (section, length) in enumerate(parts)]
    return gpd.GeoDataFrame(rows, geometry="geometry", crs=CRS)


def boundary() -> gpd.GeoDataFrame:
    """Return the site: a strip along the bank."""
    shape = Polygon([(-8.0, -8.0), (68.0, -2.0), (68.0, 16.0), (-8.0, 10.0)])
    return gpd.GeoDataFrame({"id": ["site"]}, geometry=[placed(shape)], crs=CRS)


def obstacles(everyone: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return the buildings with their heights."""
    buildings = everyone[everyone["floors"].gt(0) & everyone.geometry.geom_type.eq("Polygon")]
    return gpd.GeoDataFrame({"id": buildings["id"].tolist(), "height_m": (2.5 + 2.8 * buildings["floors"]).tolist()},
                            geometry=buildings.geometry.tolist(), crs=CRS)


def acoustic_ground() -> gpd.GeoDataFrame:
    """Return what sound runs over: the river, meadows and the reserve."""
    rows = [("river", 0.0, box(-200.0, -46.0, 220.0, -4.0)), ("meadow", 1.0, box(-160.0, 44.0, 160.0, 120.0)),
            ("reserve", 1.0, box(-200.0, -160.0, 160.0, -48.0))]
    return gpd.GeoDataFrame({"id": [row[0] for row in rows], "porosity": [row[1] for row in rows]},
                            geometry=[placed(row[2]) for row in rows], crs=CRS)


def strata() -> Iterator[Row]:
    """Yield the layers of two boreholes: sand, then gravel with cobbles above weak rock."""
    for n, (x, y, shift) in enumerate(((4.0, 3.0, 0.0), (56.0, 10.0, 0.5)), 1):
        layers: list[tuple[float, float, str, str, Row]] = [
            (0.0, 1.4, "made ground: sand with stone", "9", {}),
            (1.4, 4.2 + shift, "medium dense fine to medium sand", "19", {}),
            (4.2 + shift, 8.4 + shift, "very dense sandy gravel with cobbles", "50/110 mm",
             {"cobble_m": 0.14, "gravel": "yes"}),
            (8.4 + shift, 16.0, "very dense sand with gravel", "58", {"gravel": "yes"}),
        ]
        for top, base, description, spt_n, more in layers:
            yield {"borehole": f"BH{n}", "x": ORIGIN[0] + x, "y": ORIGIN[1] + y, "top_m": round(top, 2),
                   "base_m": round(base, 2), "description": description, "spt_n": spt_n, "water_m": 1.8, **more}


def baseline(everyone: gpd.GeoDataFrame, random: np.random.Generator) -> Iterator[Row]:
    """Yield a week's levels, quiet: there's no road."""
    judged = everyone[~everyone["use"].isin(["buried_pipe", "bridge"])]
    for name in judged["id"]:
        day = 48.0 + float(random.normal(0.0, 1.0))
        for period, drop in (("day", 0.0), ("evening", 3.0), ("night", 8.0)):
            level = day - drop
            yield {"receptor": name, "period": period, "laeq_db": round(level, 1),
                   "la90_db": round(level - float(random.uniform(4.0, 6.0)), 1), "dates": "2027-09-13 to 2027-09-19",
                   "position": "free_field", "instrument": "class 1", "weather": "dry, wind below 4 m/s"}


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
    everyone = receptors()
    for name, frame in (("piles", piles()), ("receptors", everyone), ("boundary", boundary()),
                        ("obstacles", obstacles(everyone)), ("cover", acoustic_ground())):
        pyogrio.write_dataframe(frame.to_crs("EPSG:4326"), HERE / f"{name}.geojson",
                                layer_options={"COORDINATE_PRECISION": "9"})
    write_table("boreholes.csv", ["borehole", "x", "y", "top_m", "base_m", "description", "spt_n", "cobble_m", "gravel",
                                  "water_m"], strata())
    write_table("baseline.csv", ["receptor", "period", "laeq_db", "la90_db", "dates", "position", "instrument",
                                 "weather"], baseline(everyone, random))


if __name__ == "__main__":
    main()
