"""Does the engine give the printed levels of whole paths? Its own scenes, points, tiles and sums, not the equations.

`printed` in the table is kept as text: a result may differ by half a unit of its last place, or `within` such halves
where the row says so. A single band is got from a source that has power in that band alone.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from noise_site import levels, points, scene, source
from shapely.geometry import LineString, box

from envpredict.engine.sound.terrain import Terrain
from envpredict.models.noise.weighting import A_WEIGHTING_DB, NOMINAL_HZ

HERE = Path(__file__).parent
FAR = 20_000.0
"""An obstacle so long that no way round its ends counts."""
Row = dict[str, str]


def rows() -> list[Row]:
    with (HERE / "printed.csv").open(encoding="utf-8", newline="") as table:
        return list(csv.DictReader(table))


def obstacles_of(case: str) -> list[tuple[object, float]]:
    """Return the obstacles of a case."""
    return {"C": [(LineString([(10, -FAR), (10, FAR)]), 6.0)], "D": [(box(40, -FAR, 50, FAR), 8.0)]}.get(case, [])


def level(row: Row, octaves: list[float], *, screened: bool = True) -> float:
    """Return the engine's A-weighted level for a case, from a source with these powers."""
    porosity = float(row["porosity"])
    if row["case"].startswith("T"):
        there = scene(porosity=porosity, temperature_c=20.0)
        return float(levels(there, source(octaves, 1.0), [(10, 10)], points([(200, 50, 4)]))[0, 0])
    there = scene(obstacles_of(row["case"]) if screened else [], porosity=porosity)
    return float(levels(there, source(octaves, 3.0), [(0, 0)], points([(100, 0, 4)]))[0, 0])


@pytest.mark.parametrize("row", [pytest.param(row, id=f"{row['case']}-{row['what']}-{row['porosity']}-{row['band_hz']}")
                                 for row in rows()])
def test_the_engine_gives_the_printed_value(row: Row) -> None:
    power = 93.0 if row["case"].startswith("T") else 100.0
    octaves = [power] * 8
    band = NOMINAL_HZ.tolist().index(float(row["band_hz"])) if row["band_hz"] else -1
    if band >= 0:
        octaves = [power if n == band else -200.0 for n in range(8)]
    found = {"total": lambda: level(row, octaves), "weighted": lambda: level(row, octaves),
             "band": lambda: level(row, octaves) - A_WEIGHTING_DB[band],
             "loss": lambda: level(row, octaves, screened=False) - level(row, octaves)}[row["what"]]()
    decimals = len(row["printed"].partition(".")[2])
    assert found == pytest.approx(float(row["printed"]), abs=0.5 * float(row["within"]) * 10.0**-decimals * 1.02 + 2e-3)


def test_the_long_term_correction_takes_off_what_is_printed() -> None:
    # ISO 9613-2:1996 (21), (22); an independent acoustics library gives 1.72 dB for 500 m, heights 3 and 4 m, C0 2 dB
    plant, to = source([100.0] * 8, 3.0), points([(500, 0, 4)])
    there = [levels(scene(c0_db=c0), plant, [(0, 0)], to)[0, 0] for c0 in (0.0, 2.0)]
    assert there[0] - there[1] == pytest.approx(1.72, abs=0.005)


def test_mixed_ground_is_the_length_weighted_mean_of_each_region() -> None:
    # ISO/TR 17534-3:2015 6.2.5 (read): a region's ground factor is the length-weighted mean. hs 1, hr 2: the source's
    # region reaches to x = 30, the receptor's from 240; a polygon over 15..30 makes 0.5 of the first, one over
    # 30..240 makes 1 of the middle, one over 285..300 makes 0.25 of the last.
    from envpredict.models.noise.iso9613_2_1996 import flat_attenuation
    from envpredict.models.noise.weighting import a_weighted_level

    polygons = [(box(15, -9, 30, 9), 1.0), (box(30, -9, 240, 9), 1.0), (box(285, -9, 330, 9), 1.0)]
    found = levels(scene(cover=polygons), source([100.0] * 8, 1.0), [(0, 0)], points([(300, 0, 2)]))[0, 0]
    a = flat_attenuation(300.0, 1.0, 2.0, source_porosity=0.5, middle_porosity=1.0, receptor_porosity=0.25)
    assert found == pytest.approx(float(a_weighted_level(100.0 - a)), abs=1e-4)


def test_a_ridge_screens_like_a_wall_of_its_own_height() -> None:
    # a hill of one cell's width: over it the ground's hull and a screen's edge are the same polygon
    z = np.zeros((401, 201))
    z[:, 60] = 8.0
    hill = Terrain(z, 0.0, 200.0, 1.0, -1.0)
    wall = [(LineString([(60, -FAR), (60, FAR)]), 8.0)]
    plant, to = source([100.0] * 8, 2.0), points([(150, 0, 3)])
    over_hill = levels(scene(terrain=hill), plant, [(0, 0)], to)[0, 0]
    over_wall = levels(scene(wall), plant, [(0, 0)], to)[0, 0]
    assert over_hill == pytest.approx(over_wall, abs=0.05)
    assert levels(scene(), plant, [(0, 0)], to)[0, 0] - over_hill > 10.0


def test_a_wall_and_a_ridge_share_one_band() -> None:
    # the ridge as above, and a screen before it that stands higher than the line to it: the taut band lies over both,
    # as it does over two screens at the same places
    z = np.zeros((401, 201))
    z[:, 60] = 8.0
    hill = Terrain(z, 0.0, 2.0 * FAR, 1.0, -FAR / 100.0)
    near, far = (LineString([(20, -FAR), (20, FAR)]), 6.0), (LineString([(60, -FAR), (60, FAR)]), 8.0)
    plant, to = source([100.0] * 8, 2.0), points([(150, 0, 3)])
    both = levels(scene([near], terrain=hill), plant, [(0, 0)], to)[0, 0]
    walls = levels(scene([near, far]), plant, [(0, 0)], to)[0, 0]
    assert both == pytest.approx(walls, abs=0.05)
    assert levels(scene(terrain=hill), plant, [(0, 0)], to)[0, 0] - both > 2.0
    assert levels(scene([near]), plant, [(0, 0)], to)[0, 0] - both > 2.0


def test_nothing_before_a_ridge_makes_it_louder() -> None:
    # a hut before the ridge has ways round its sides, but they pass the ridge too
    z = np.zeros((401, 201))
    z[:, 60] = 8.0
    hill = Terrain(z, 0.0, 200.0, 1.0, -1.0)
    plant, to = source([100.0] * 8, 2.0), points([(150, 0, 3)])
    bare = levels(scene(terrain=hill), plant, [(0, 0)], to)[0, 0]
    for width, height in ((1.0, 2.5), (3.0, 4.0), (20.0, 7.0), (60.0, 12.0)):
        hut = (box(20, -width, 24, width), height)
        found = levels(scene([hut], terrain=hill), plant, [(0, 0)], to)[0, 0]
        assert found <= bare + 1e-6
        assert found <= levels(scene([hut]), plant, [(0, 0)], to)[0, 0] + 1e-6


def test_heights_count_above_the_ground_where_they_stand() -> None:
    # a plateau: everything 50 m higher gives the same levels; a source down in a valley is farther from a height
    flat = Terrain(np.full((201, 201), 50.0), -50.0, 150.0, 1.0, -1.0)
    plant, to = source([100.0] * 8, 2.0), points([(100, 0, 3)])
    same = levels(scene(terrain=flat), plant, [(0, 0)], to)[0, 0]
    assert same == pytest.approx(levels(scene(), plant, [(0, 0)], to)[0, 0], abs=1e-9)
    slope = np.tile(np.linspace(0.0, 40.0, 201), (201, 1))
    hillside = levels(scene(terrain=Terrain(slope, -50.0, 150.0, 1.0, -1.0)), plant, [(0, 0)], to)[0, 0]
    # 21 m of rise over 100 m: the path is 102.2 m long, 20 lg(102.2/100) = 0.19 dB by divergence alone
    assert same - hillside == pytest.approx(0.19, abs=0.03)


def test_houses_of_unknown_height_take_off_what_annex_a_says() -> None:
    # ISO 9613-2:1996 Annex A.3 (recalled): 0.1 B d; a share of 0.3 over 100 m takes off 3.0 dB, at most 10 dB
    plant, to = source([100.0] * 8, 1.5), points([(120, 0, 1.5)])
    bare = levels(scene(), plant, [(0, 0)], to)[0, 0]
    built = levels(scene(houses=[(box(10, -50, 110, 50), 0.3)]), plant, [(0, 0)], to)[0, 0]
    dense = levels(scene(houses=[(box(0, -50, 120, 50), 1.0)]), plant, [(0, 0)], to)[0, 0]
    assert bare - built == pytest.approx(3.0, abs=0.02)
    assert bare - dense == pytest.approx(10.0, abs=0.02)


def test_a_flat_hard_wall_mirrors_the_source() -> None:
    # ISO 9613-2:1996 7.5 (recalled): behind the receptor a large wall with windows, rho 0.8; the image is 60 m away
    wall = [(box(40, -60, 50, 60), 30.0)]
    plant, to = source([-200.0] * 5 + [100.0, -200.0, -200.0], 2.0), points([(20, 0, 2)])
    bare = levels(scene(wall), plant, [(0, 0)], to)[0, 0]
    both = levels(scene(wall, reflections=True), plant, [(0, 0)], to)[0, 0]
    alpha = 9.66e-3
    by_hand = 10.0 * np.log10(1.0 + 0.8 * 10.0 ** ((-20.0 * np.log10(60.0 / 20.0) - alpha * 40.0) / 10.0))
    assert both - bare == pytest.approx(by_hand, abs=0.02)


def test_behind_a_screen_the_mirrored_sound_is_screened_like_that_of_its_image() -> None:
    # ISO 9613-2:1996 7.5 (recalled): the terms of the image follow its own path. A facade 20 m behind the source
    # mirrors it to 40 m behind: over the screen comes what a source of 0.8 of the power there would send
    facade, screen = (box(-30, -60, -20, 60), 30.0), (LineString([(10, -FAR), (10, FAR)]), 4.0)
    to, plant = points([(60, 0, 2)]), source([100.0] * 8, 2.0)
    alone = levels(scene([screen]), plant, [(0, 0)], to)[0, 0]
    image = levels(scene([screen]), plant, [(-40, 0)], to)[0, 0] + 10.0 * np.log10(0.8)
    both = levels(scene([facade, screen], reflections=True), plant, [(0, 0)], to)[0, 0]
    assert both == pytest.approx(10.0 * np.log10(10.0 ** (alone / 10.0) + 10.0 ** (image / 10.0)), abs=1e-3)
    assert both - alone > 1.0


def test_a_small_wall_mirrors_only_short_waves() -> None:
    # ISO 9613-2:1996 (19) (recalled): a wall of 2 m, 28.3 m from both ends, met at 45 degrees, mirrors where
    # 1/lambda > 2 / (2 cos 45)^2 * 14.1 = 14.1 per m, that is wavelengths below 0.071 m: 8 kHz, not 4 kHz
    wall = [(box(20, 20, 22, 22), 8.0)]
    for band, counts in ((6, False), (7, True)):
        octaves = [100.0 if n == band else -200.0 for n in range(8)]
        to = points([(41, 0, 2)])
        gain = (levels(scene(wall, reflections=True), source(octaves, 2.0), [(1, 0)], to)
                - levels(scene(wall), source(octaves, 2.0), [(1, 0)], to))[0, 0]
        assert (gain > 0.05) == counts
