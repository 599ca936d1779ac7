"""Sound powers and spectra of the plant against what was read.

Outside references: octave rows of BS 5228-1:2009 Annex C as reprinted in environmental statements (bs5228_rows.csv,
read at second hand); A-weighting of pyfar, an independent library; the plant list and the worked sum of Hong Kong EIA
091/2003 appendix 4.3 (read); FTA 2006 Table 12-1 (read). Levels of hammers and presses of BS 5228-1 Table C.3 are from
memory.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pyfar
import pytest

from envpredict.methods.load import load_plant, load_spectra
from envpredict.methods.measured import sound_power_db
from envpredict.methods.schema import A_WEIGHTING_DB, a_weighted_sum_db

ROWS = list(csv.DictReader((Path(__file__).parent / "bs5228_rows.csv").open(encoding="utf-8")))
BANDS = ("63", "125", "250", "500", "1000", "2000", "4000", "8000")


def octaves(row: dict[str, str]) -> tuple[float, ...]:
    return tuple(float(row[band]) for band in BANDS)


def test_a_weighting_is_that_of_an_independent_library() -> None:
    bands, theirs = pyfar.constants.frequency_weighting_band_corrections("A", 1, (63, 8000))
    assert [str(int(band)) for band in bands] == list(BANDS)
    assert theirs == pytest.approx(np.array(A_WEIGHTING_DB), abs=0.05)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["row"])
def test_printed_rows_close(row: dict[str, str]) -> None:
    # printed to whole decibels in every band and in the total
    assert a_weighted_sum_db(octaves(row)) == pytest.approx(float(row["laeq_10m_db"]), abs=0.65)


@pytest.mark.parametrize(("plant", "row"), [("excavator", "C.2.2"), ("concrete_pump_truck", "C.4.29"),
                                            ("mixer_and_pump", "C.4.26")])
def test_shipped_rows_are_the_read_rows_plus_28_db(plant: str, row: str) -> None:
    read = next(each for each in ROWS if each["row"] == row)
    assert load_plant()[plant].octaves_db == tuple(level + 28 for level in octaves(read))
    assert load_plant()[plant].lwa_db == pytest.approx(float(read["laeq_10m_db"]) + 28, abs=0.25)


def test_the_cranes_shape_is_its_read_row() -> None:
    read = next(each for each in ROWS if each["row"] == "C.4.46")
    assert load_spectra()["service_crane"].at(94.6) == pytest.approx(
        tuple(level + 28 for level in octaves(read)), abs=0.1)   # 94.6 dB is the sound power printed for that row


@pytest.mark.parametrize("spectrum", load_spectra().values(), ids=lambda spectrum: spectrum.id)
def test_shapes_are_relative_to_the_a_weighted_level(spectrum) -> None:
    assert a_weighted_sum_db(spectrum.shape_db) == pytest.approx(0, abs=0.1)
    assert a_weighted_sum_db(spectrum.at(100.0)) == pytest.approx(100.0, abs=1e-9)


@pytest.mark.parametrize(("plant", "lwa_db"), [("dth_rig", 115), ("compressor", 104), ("generator", 108),
                                               ("grout_pump", 105), ("water_pump", 103)])
def test_levels_of_the_hong_kong_list(plant: str, lwa_db: float) -> None:
    assert load_plant()[plant].lwa_db == lwa_db
    assert load_plant()[plant].basis == "read"


def test_the_hong_kong_list_adds_up_as_printed() -> None:
    # printed: compressor 104 + down-the-hole rig 115 + generator 108 + crane 112 + barge 104 = 117.7
    plant = load_plant()
    levels = [plant["compressor"].lwa_db, plant["dth_rig"].lwa_db, plant["generator"].lwa_db,
              plant["service_crane"].lwa_high_db, 104.0]
    assert round(10 * math.log10(sum(10 ** (level / 10) for level in levels)), 1) == 117.7


def test_the_bored_rig_is_the_verified_row() -> None:
    # BS 5228-1 Table C.3 row 14, read at second hand: 83 dB at 10 m, LWA 111
    rig = load_plant()["bored_rig"]
    assert (rig.lwa_db, rig.basis) == (111, "read")
    assert sound_power_db(83.0, 10.0, position="free_field", ground="hard") == 111


@pytest.mark.parametrize(("plant", "sel_db"), [("hydraulic_hammer_light", 89.8), ("hydraulic_hammer_heavy", 94.3),
                                               ("hydraulic_hammer_precast", 90.8), ("diesel_hammer", 103.2),
                                               ("drop_hammer", 94.8)])
def test_one_blow_and_the_mean_are_two_routes_to_one_number(plant: str, sel_db: float) -> None:
    # by hand: SEL at 10 m = LWA - 28 - 10 lg(blows per s)
    hammer = load_plant()[plant]
    assert hammer.sel_10m_db == pytest.approx(sel_db, abs=0.051)
    assert hammer.sel_blow_rate_per_min is not None
    mean = hammer.sel_10m_db + 10 * math.log10(hammer.sel_blow_rate_per_min / 60)
    assert mean == pytest.approx(hammer.lwa_db - 28, abs=0.1)


@pytest.mark.parametrize(("plant", "level_db"), [
    ("hydraulic_hammer_light", 101), ("vibrator", 96), ("dth_rig", 98), ("service_crane", 83), ("compressor", 81),
    ("concrete_pump_truck", 82), ("generator", 81), ("water_pump", 76), ("mixer_and_pump", 85)])
def test_emissions_of_the_transit_manual(plant: str, level_db: float) -> None:
    # FTA 2006, Table 12-1 (read), dBA at 50 ft
    assert load_plant()[plant].fta_emission_db == level_db


@pytest.mark.parametrize(("level_db", "distance_m", "position", "ground", "lwa_db"), [
    # by hand: 20 lg 40 = 32.04; 25 lg 50 = 42.47
    (68.0, 40, "free_field", "hard", 108.04), (71.0, 40, "facade", "hard", 108.04),
    (71.5, 50, "free_field", "soft", 114.97),
    # below 25 m soft ground counts as hard (BS 5228-1 Annex F, from memory)
    (80.0, 10, "free_field", "soft", 108.0),
])
def test_a_measured_level_becomes_a_sound_power(level_db: float, distance_m: float, position, ground,
                                                lwa_db: float) -> None:
    assert sound_power_db(level_db, distance_m, position=position, ground=ground) == pytest.approx(lwa_db, abs=0.01)
