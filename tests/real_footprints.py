"""A scenario on real building footprints that nobody here drew, with an invented pile line beside them.

The footprints come with the open-source package momepy (`momepy.datasets`, the Bubenec GeoPackage: the buildings of a
part of a town, stored in EPSG:3857). The steps are those of `envpredict/docs/own_footprints.md`, so that a user can
take them with footprints of their own. Only the footprints are real: the works, the ground, the uses of the buildings
and their storeys are invented.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import momepy

LAYER = "buildings"
LINE = ((14.4053683, 50.1030700), (14.4050458, 50.1022382))
"""Both ends of the invented pile line, longitude and latitude: along a street, about 10 m from the nearest fronts."""

SCENARIO = '''
title = "Invented pile line beside real footprints"
invented = true
crs = "EPSG:32633"

[layers]
piles = { file = "piles.geojson", defaults = { pile_type = "sheet_u", length_m = 12.0, spacing_m = 1.2 } }

[layers.receptors]
file = "footprints.gpkg"
layer = "buildings"
columns = { id = "uID" }
defaults = { use = "dwelling", structure = "masonry", floors = 4, foundation = "spread" }

[ground]
class = "dense_sand"

[programme]
start = 2027-03-01
working_days = ["mon", "tue", "wed", "thu", "fri"]
shift = { from = "08:00", to = "18:00" }
time_zone = "Europe/Prague"
rigs = 1
holidays = "CZ"

[[methods]]
id = "impact_hydraulic"

[[methods]]
id = "press_in"

[limits]
damage = ["din_4150_3_1999"]
people = ["bs_5228_2_2009"]
noise = ["bs_5228_1_2009"]
'''


def footprints() -> Path:
    """Return the GeoPackage that momepy ships."""
    return Path(momepy.datasets.get_path("bubenec"))


def make_scenario(folder: Path) -> Path:
    """Write the scenario into a new folder and return it."""
    folder.mkdir(parents=True)
    # 1. the footprints as they are: their system is read from the file and transformed
    shutil.copy(footprints(), folder / "footprints.gpkg")
    # 2. the wall as a line; spacing, length and type stand in scenario.toml as defaults
    line = {"type": "Feature", "properties": {"section": "street"},
            "geometry": {"type": "LineString", "coordinates": [list(place) for place in LINE]}}
    (folder / "piles.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": [line]}),
                                          encoding="utf-8")
    # 3. scenario.toml: a system in metres, which column is the id, and what holds for every footprint
    (folder / "scenario.toml").write_text(SCENARIO.lstrip(), encoding="utf-8")
    return folder
