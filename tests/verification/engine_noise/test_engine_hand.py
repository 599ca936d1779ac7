"""Do the engine's hand methods give what a sheet of paper gives? Whole runs on scenario folders."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from noise_site import folder, levels, points, scene, source
from shapely.geometry import LineString, Point

from envpredict.engine.assess import assess
from envpredict.engine.intake import read_scenario
from envpredict.engine.noise.slots import mean_levels
from envpredict.engine.sound.by_hand import Bs5228Hand, FtaHand
from envpredict.engine.traced.explain import explain
from envpredict.limits.periods import Period

FLAT = [-200.0] * 4 + [0.0] + [-200.0] * 3
"""Octaves whose A-weighted sum is that of 1 kHz alone: 0 dB."""


def plant(lwa_db: float, height: float = 1.5, **more: object) -> object:
    return source([band + lwa_db for band in FLAT], height, **more)


@pytest.mark.parametrize(("lwa_db", "distance_m", "printed"), [
    (112.0, 230.0, 57.0),   # a Hong Kong project profile prints 57 (read): 112 - 20 lg 230 - 8
    (122.0, 230.0, 67.0),   # the same profile prints 67
    (104.0, 230.0, 49.0),   # and 49
    (108.0, 40.0, 68.0),    # 108 - 32.0 - 8
])
def test_hard_ground_by_hand(lwa_db: float, distance_m: float, printed: float) -> None:
    found = levels(scene(), plant(lwa_db), [(0, 0)], points([(distance_m, 0, 1.5)]), method=Bs5228Hand())[0, 0]
    assert found == pytest.approx(printed, abs=0.5)
    assert found == pytest.approx(lwa_db - 20.0 * np.log10(distance_m) - 8.0, abs=1e-4)


@pytest.mark.parametrize(("distance_m", "printed"), [(25.0, 79.1), (50.0, 71.5), (100.0, 64.0)])
def test_soft_ground_by_hand(distance_m: float, printed: float) -> None:
    # BS 5228-1 Annex F (recalled): 87 dB at 10 m less 25 lg(R/10) - 2 over soft ground
    found = levels(scene(porosity=1.0), plant(115.0), [(0, 0)], points([(distance_m, 0, 1.5)]), method=Bs5228Hand())
    assert found[0, 0] == pytest.approx(printed, abs=0.06)


@pytest.mark.parametrize(("height_m", "loss_db"), [(1.0, 0.0), (2.0, 5.0), (4.0, 10.0)])
def test_screens_by_hand_take_off_five_or_ten(height_m: float, loss_db: float) -> None:
    # BS 5228-1 Annex F and a Hong Kong memorandum (read): 5 dB partly, 10 dB fully hidden. The source's middle is
    # 2.5 m high: a screen of 2 m beside it hides what is 1 m lower, one of 4 m hides all
    wall = [(LineString([(1, -500), (1, 500)]), height_m)]
    to = points([(40, 0, 1.5)])
    open_, behind = (levels(scene(some), plant(115.0, 2.5), [(0, 0)], to, method=Bs5228Hand())[0, 0]
                     for some in ([], wall))
    assert open_ - behind == pytest.approx(loss_db, abs=1e-4)


def test_fta_by_hand() -> None:
    # FTA 2006 chapter 12 (read): 101 dB(A) at 50 ft is 95.0 at 100 ft; soft ground, G 0.66, at 200 ft takes 4.0 more
    hammer = plant(129.0, 1.0, fta_emission_db=101.0, fta_citation=source(FLAT).citation)
    found = levels(scene(), hammer, [(0, 0)], points([(30.48, 0, 1.0)]), method=FtaHand())[0, 0]
    assert found == pytest.approx(95.0, abs=0.05)
    machine = plant(90.0 + 28.0 + 20.0 * np.log10(1.524), 1.0)
    soft = levels(scene(porosity=1.0), machine, [(0, 0)], points([(60.96, 0, 1.0)]), method=FtaHand())[0, 0]
    assert soft == pytest.approx(90.0 - 12.04 - 3.97, abs=0.02)


PLANT = """
[[methods.plant]]
id = "hydraulic_hammer_light"
lwa_db = 115
on_time_fraction = 0.35
height_m = 2.5
[[methods.plant]]
id = "hammer_power_pack"
lwa_db = 105
on_time_fraction = 0.8
height_m = 2.5
[[methods.plant]]
id = "service_crane"
lwa_db = 98
on_time_fraction = 0.5
height_m = 2.5
"""


def test_a_worked_sum_through_a_whole_run(tmp_path: Path) -> None:
    # BS 5228-1 Annex F, a sum by hand: 87 dB at 10 m on for 35 %, 77 dB for 80 %, 70 dB for 50 %, all 40 m away over
    # hard ground, just visible over a hoarding (5 dB), 3 dB at the facade: 68.4, 62.0, 53.0, together 69.4 dB
    site = folder(
        tmp_path / "site", piles=[(0, 0)], stated=PLANT, choice='noise = "bs5228_hand"',
        receptors=[{"id": "H1", "geometry": Point(40, 0)}],
        obstacles=[{"id": "hoarding", "height_m": 2.0, "geometry": LineString([(1, -500), (1, 500)])}])
    assessment = assess(read_scenario(site), grids=False)
    method = assessment.detail["methods"]["impact_hydraulic"]
    shift = Period.model_validate({"id": "work", "label": "work", "from": "00:00", "to": "24:00",
                                   "averaging": "operation"})
    heard = mean_levels(method.sound, method.passes, shift, ())
    parts = 10.0 * np.log10(heard.energy[:, 0, 0]) + 3.0
    assert parts == pytest.approx([68.4, 62.0, 53.0], abs=0.06)
    assert heard.level_db()[0, 0] + 3.0 == pytest.approx(69.4, abs=0.06)
    text = explain(assessment, "H1")
    for said in ("level at 10 m, LWA - 28 dB", "screening, partly hidden", "on for", "Added once", "+3 dB"):
        assert said in text


def test_the_trace_of_an_octave_run_gives_its_own_level(tmp_path: Path) -> None:
    site = folder(tmp_path / "site", piles=[(0, 0), (1.2, 0)], receptors=[{"id": "H1", "geometry": Point(30, 20)}],
                  obstacles=[{"id": "s", "height_m": 4.0, "geometry": LineString([(-40, 8), (60, 8)])}])
    assessment = assess(read_scenario(site), grids=False)
    text = explain(assessment, "H1")
    assert "ISO 9613-2:1996 as clarified by ISO/TR 17534-3:2015" in " ".join(text.split())
    assert "2024 is not implemented" in " ".join(text.split())
    finding = assessment.findings[assessment.findings["effect"] == "noise"].iloc[0]
    summed = [float(line.split(":")[-1].split()[0]) for line in text.splitlines() if "Sum, incident" in line]
    parts = [float(line.split(":")[-1].split()[0]) for line in text.splitlines() if "contribution, all piles" in line]
    median = [float(line.split("dB, ")[1].split()[0]) for line in text.splitlines() if "Median of the sum" in line]
    assert median == [pytest.approx(finding["predicted_median"] - 3.0, abs=0.006)]
    assert summed[0] < median[0] < summed[0] + 2.0
    assert "verify" in " ".join(text.split("Median of the sum")[1].split())[:300]
    assert 10.0 * np.log10(sum(10.0 ** (part / 10.0) for part in parts)) == pytest.approx(summed[0], abs=0.01)
