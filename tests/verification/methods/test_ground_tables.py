"""Stiffness from N, converted N and ground classes against published tables.

Outside references: shear_wave_speed.csv, computed from the Japanese road bridge formulas and Imai and Tonouchi (1982)
as printed in a university's lecture tables (read at second hand), wavelengths with 0.93 Vs / f; converted N from a
Japanese estimating guide (zyuukasetu.com/archives/552, read); site classes of UFC 3-310-03A (read).
"""

from __future__ import annotations

import csv
from pathlib import Path

import pandas as pd
import pytest

from envpredict.ground.ground import Ground
from envpredict.ground.spt import converted_n, read_spt
from envpredict.ground.stiffness import ohta_goto_1978_m_s, shear_wave_speed, surface_wavelength_m

TABLE = list(csv.DictReader((Path(__file__).parent / "shear_wave_speed.csv").open(encoding="utf-8")))


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"N {row['n']}")
@pytest.mark.parametrize("correlation", ["road_bridge_sand", "road_bridge_clay", "imai_tonouchi_1982"])
def test_shear_wave_speed_table(row: dict[str, str], correlation: str) -> None:
    assert round(float(shear_wave_speed(float(row["n"]), correlation).m_s)) == int(row[correlation])


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"N {row['n']}")
def test_speeds_outside_the_formulas_range_are_flagged(row: dict[str, str]) -> None:
    assert bool(shear_wave_speed(float(row["n"]), "road_bridge_clay").in_range) is (row["clay_in_range"] == "yes")
    assert bool(shear_wave_speed(float(row["n"]), "road_bridge_sand").in_range)


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"N {row['n']}")
@pytest.mark.parametrize("frequency_hz", [10, 15, 25, 38])
def test_wavelength_table(row: dict[str, str], frequency_hz: int) -> None:
    speed = shear_wave_speed(float(row["n"]), "road_bridge_sand").m_s
    printed = row[f"wavelength_{frequency_hz}_hz"]
    assert float(surface_wavelength_m(speed, frequency_hz)) == pytest.approx(float(printed), abs=0.0501)


def test_the_other_correlations() -> None:
    # by hand at N 10: 89.8 x 10^0.341; 87.936 x 10^0.3267; 110.77 x 10^0.3371; and with 8 m of diluvial fine sand
    # 68.79 x 10^0.171 x 8^0.199 x 1.303 x 1.086
    assert float(shear_wave_speed(10, "imai_1975").m_s) == pytest.approx(196.9, abs=0.1)
    assert float(shear_wave_speed(10, "regional_sand").m_s) == pytest.approx(186.6, abs=0.1)
    assert float(shear_wave_speed(10, "regional_clay").m_s) == pytest.approx(240.7, abs=0.1)
    assert float(ohta_goto_1978_m_s(10, 8, age="diluvial", soil="fine_sand")) == pytest.approx(218.3, abs=0.1)


def test_measured_ground_lies_inside_the_scatter() -> None:
    # measured Holocene sand and clay 90 to 170 m/s (a regional survey, Kyoto, read): loose ground of N 2 to 5
    for n in (2, 5):
        found = shear_wave_speed(n, "road_bridge_sand")
        assert found.low_m_s <= 170
        assert found.high_m_s >= 90


@pytest.mark.parametrize(("penetration_cm", "printed_n"), [(15, 100), (5, 300), (2.5, 600)])
def test_converted_n(penetration_cm: float, printed_n: float) -> None:
    assert converted_n(50, penetration_cm * 10) == printed_n
    assert read_spt(f"50/{penetration_cm:g} cm").converted_n == printed_n


@pytest.mark.parametrize(("n", "cu_kpa", "printed"), [("14", None, "E"), ("15", None, "D"), ("50", None, "D"),
                                                      ("51", None, "C"), (None, 49, "E"), (None, 99, "D"),
                                                      (None, 101, "C")])
def test_site_classes(n: str | None, cu_kpa: float | None, printed: str) -> None:
    text = "sand" if n else "clay"
    frame = pd.DataFrame({"borehole": ["B"], "x": [0.0], "y": [0.0], "top_m": [0.0], "base_m": [5.0],
                          "description": [text], "spt_n": [n], "cu_kpa": [cu_kpa]})
    assert Ground.from_strata(frame).words("seismic_class", 0, [1.0]).tolist() == [printed]
