"""Strata, boreholes and the words of the schemes."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from envpredict.core.errors import InputProblems, UnknownName
from envpredict.ground.ground import Ground
from envpredict.ground.schemes import SCHEMES
from envpredict.ground.stiffness import SCATTER, ohta_goto_1978_m_s, shear_wave_speed, surface_wavelength_m
from envpredict.ground.strata import read_strata

COLUMNS = ["borehole", "x", "y", "top_m", "base_m", "description", "spt_n", "cu_kpa", "ucs_mpa", "boulder_m",
           "water_m"]


def frame(*rows: tuple[object, ...]) -> pd.DataFrame:
    return pd.DataFrame([row + (None,) * (len(COLUMNS) - len(row)) for row in rows], columns=COLUMNS, dtype=object)


def layer(description: str, **strength: object) -> Ground:
    row = {"borehole": "B1", "x": 0.0, "y": 0.0, "top_m": 0.0, "base_m": 5.0, "description": description, **strength}
    return Ground.from_strata(pd.DataFrame([row]))


SITE = frame(
    ("B1", 0, 0, 0, 2, "made ground", "8", None, None, None, 1.5),
    ("B1", 0, 0, 2, 6, "stiff till with boulders", None, 120, None, 0.4),
    ("B2", 40, 0, 0, 5, "firm clay", "10"),
    ("B1", 0, 0, 6, 9, "dense sand", "50/75 mm"),
    ("B2", 40, 0, 5, 12, "clay"),
    ("B1", 0, 0, 9, 14, "weak mudstone", None, None, 8),
)


def test_the_nearest_borehole_stands_for_the_ground() -> None:
    ground = Ground.from_strata(SITE)
    assert list(ground.boreholes["borehole"]) == ["B1", "B2"]
    assert list(ground.boreholes["base_m"]) == [14, 12]
    assert ground.nearest([1, 19.9, 20, 20.1, 100], [0, 0, 0, 0, 9]).tolist() == [0, 0, 0, 1, 1]
    assert "nearest borehole" in ground.notes[0]
    with pytest.raises(ValueError, match="finite"):
        ground.nearest(np.nan, 0)


@pytest.mark.parametrize(
    ("scheme", "words"),
    [
        ("catalogue", ["loose_sand", "loose_sand", "boulders", "dense_sand", "weak_rock", "unknown"]),
        ("bs5228_ground", ["soft", "soft", "very_stiff", "very_stiff", "refusal", "unknown"]),
        ("env1993_ground", ["soft", "soft", "very_stiff", "very_stiff", "very_stiff", "unknown"]),
        ("caltrans_class", ["II", "II", "III", "IV", "IV", "unknown"]),
        ("seismic_class", ["E", "E", "C", "C", "C", "unknown"]),
    ],
)
def test_words_by_depth(scheme: str, words: list[str]) -> None:
    # the boundary at 2 m belongs to the stratum above; 14.5 m lies below the borehole's end
    assert Ground.from_strata(SITE).words(scheme, 0, [0.0, 2.0, 2.01, 7.0, 14.0, 14.5]).tolist() == words


def test_missing_strength_is_a_word_of_its_own_and_says_what_to_find_out() -> None:
    ground = Ground.from_strata(SITE)
    for scheme in SCHEMES:
        assert ground.words(scheme, 1, [8.0]).tolist() == ["unknown"]
    assert ground.missing(1) == ("borehole 'B2', 5 to 12 m: undrained strength or SPT N",)
    assert ground.missing(0) == ()
    assert layer("gravel").words("catalogue", 0, [1.0]).tolist() == ["gravel_cobbles"]
    assert layer("gravel").words("bs5228_ground", 0, [1.0]).tolist() == ["unknown"]
    assert layer("sandstone").words("catalogue", 0, [1.0]).tolist() == ["unknown"]
    assert layer("ooze", spt_n="9").missing(0)[0].endswith("what the ground is, and its strength")


def test_strength_of_clay_from_n_is_said() -> None:
    ground = Ground.from_strata(SITE)
    # cu = 4.5 N (Stroud, 4 to 5 N, read at second hand)
    assert ground.profile(1, [1.0]).cu_kpa.tolist() == [45.0]
    assert "borehole 'B2', 0 to 5 m: undrained strength taken as 4.5 N" in ground.notes
    assert layer("clay", spt_n="40", cu_kpa=60).profile(0, [1.0]).cu_kpa.tolist() == [60.0]


def test_profile() -> None:
    found = Ground.from_strata(SITE).profile(0, [[1.0, 3.0], [7.0, 20.0]])
    assert found.n[0, 0] == 8
    assert found.n[1, 0] == 200
    assert np.isnan(found.n[[0, 1], [1, 1]]).all()
    assert found.boulder_m[0, 1] == 0.4
    assert found.kind.tolist() == [["fill", "cohesive"], ["coarse", "unknown"]]
    assert found.below_water.tolist() == [[False, True], [True, True]]
    assert found.water_known
    assert not Ground.from_strata(SITE).profile(1, [1.0]).water_known


@pytest.mark.parametrize(
    ("description", "strength", "scheme", "word"),
    [
        ("sand", {"spt_n": "4"}, "caltrans_class", "I"), ("sand", {"spt_n": "5"}, "caltrans_class", "II"),
        ("sand", {"spt_n": "15"}, "caltrans_class", "III"), ("sand", {"spt_n": "50"}, "caltrans_class", "III"),
        ("sand", {"spt_n": "51"}, "caltrans_class", "IV"), ("sand", {"spt_n": "N>50"}, "caltrans_class", "IV"),
        ("clay", {"cu_kpa": 24}, "caltrans_class", "I"), ("clay", {"cu_kpa": 200}, "caltrans_class", "III"),
        ("clay", {"cu_kpa": 201}, "caltrans_class", "IV"), ("peat", {}, "caltrans_class", "I"),
        ("sand", {"spt_n": "14"}, "bs5228_ground", "soft"), ("sand", {"spt_n": "15"}, "bs5228_ground", "stiff"),
        ("sand", {"spt_n": "30"}, "bs5228_ground", "very_stiff"), ("clay", {"cu_kpa": 50}, "bs5228_ground", "stiff"),
        ("clay", {"cu_kpa": 100}, "bs5228_ground", "very_stiff"), ("chalk", {}, "bs5228_ground", "refusal"),
        ("sand", {"spt_n": "30"}, "catalogue", "loose_sand"), ("sand", {"spt_n": "31"}, "catalogue", "dense_sand"),
        ("clay", {"cu_kpa": 75}, "catalogue", "soft_clay"), ("clay", {"cu_kpa": 76}, "catalogue", "stiff_clay"),
        ("rock", {"ucs_mpa": 25}, "catalogue", "weak_rock"), ("rock", {"ucs_mpa": 26}, "catalogue", "hard_rock"),
        ("clay", {"cu_kpa": 60, "cobble_m": 0.1}, "catalogue", "gravel_cobbles"),
        ("sand", {"spt_n": "9", "gravel": "yes"}, "catalogue", "gravel_cobbles"),
        ("gravel", {"spt_n": "9", "gravel": "no"}, "catalogue", "loose_sand"),
        ("", {"cu_kpa": 90}, "catalogue", "stiff_clay"), ("", {"ucs_mpa": 90}, "catalogue", "hard_rock"),
        ("rock", {"ucs_mpa": 90}, "seismic_class", "B"), ("rock", {}, "hard_ground", "hard"),
        ("sand", {"spt_n": "50"}, "hard_ground", "other"), ("sand", {"spt_n": "50/290 mm"}, "hard_ground", "hard"),
        ("clay", {"cu_kpa": 201}, "hard_ground", "hard"), ("clay", {"spt_n": "46"}, "hard_ground", "other"),
    ],
)
def test_limits_between_words(description: str, strength: dict[str, object], scheme: str, word: str) -> None:
    assert layer(description, **strength).words(scheme, 0, [1.0]).tolist() == [word]


def test_each_scheme_gives_only_its_words() -> None:
    ground = Ground.from_strata(SITE)
    for name, scheme in SCHEMES.items():
        assert set(ground.words(name, 0, np.linspace(0, 20, 41))) <= {*scheme.words, "unknown"}
        assert scheme.citation.basis in ("read", "memory", "estimate")
        assert scheme.title


def test_every_fault_of_the_strata_in_one_pass() -> None:
    bad = frame(
        ("B1", 0, 0, 0.5, 3, "sand", "refused"),
        ("B1", 0, 0, 2.5, 5, "sand", "12"),
        ("B1", 0, 9, 6, 8, "sand", "12"),
        ("B2", 0, 0, 0, "deep", "clay", None, "soft"),
        ("B3", 0, 0, 4, 3, "clay"),
    )
    with pytest.raises(InputProblems) as caught:
        read_strata(bad, "boreholes.csv", toe_depth_m=12.0)
    found = [f"{problem.where}|{problem.what}" for problem in caught.value.problems]
    assert "boreholes.csv, line 5|base_m 'deep' isn't a number" in found
    assert "boreholes.csv, line 5|cu_kpa 'soft' isn't a number" in found
    assert any(line.startswith("boreholes.csv, line 2|spt_n 'refused'") for line in found)
    assert "boreholes.csv, line 2|borehole 'B1' begins 0.5 m below ground" in found
    assert "boreholes.csv, line 3|stratum of borehole 'B1' overlaps the one above by 0.50 m" in found
    assert "boreholes.csv, line 4|stratum of borehole 'B1' leaves a gap of 1.00 m" in found
    assert "boreholes.csv, line 2|borehole 'B1' has more than one place" in found
    assert "boreholes.csv, line 6|base 3 m isn't below top 4 m" in found
    assert "boreholes.csv, line 4|borehole 'B1' ends at 8 m, above the toe at 12 m" in found
    assert all(problem.hint for problem in caught.value.problems)


def test_a_table_without_its_columns() -> None:
    with pytest.raises(InputProblems, match="column 'x' is missing"):
        read_strata(pd.DataFrame({"borehole": ["B1"], "top_m": [0]}))
    with pytest.raises(InputProblems, match="holds no strata"):
        read_strata(frame())
    with pytest.raises(InputProblems, match="line 2: the borehole has no name"):
        read_strata(frame((None, 0, 0, 0, 4, "clay")))


def test_reading_leaves_the_table_alone_and_takes_the_other_name_of_water() -> None:
    table = SITE.rename(columns={"water_m": "groundwater_m"})
    before = table.copy(deep=True)
    assert Ground.from_strata(table).boreholes["water_m"].iloc[0] == 1.5
    pd.testing.assert_frame_equal(table, before)


def test_wrong_questions() -> None:
    ground = Ground.from_strata(SITE)
    with pytest.raises(UnknownName, match="bs5228_ground"):
        ground.words("bs5228", 0, [1.0])
    with pytest.raises(ValueError, match="no borehole 2"):
        ground.words("catalogue", 2, [1.0])
    with pytest.raises(ValueError, match="negative"):
        ground.profile(0, [-1.0])
    assert ground.words("catalogue", 0, [np.nan]).tolist() == ["unknown"]


@given(st.lists(st.floats(0.1, 6.0), min_size=1, max_size=6), st.floats(0.0, 40.0))
def test_every_depth_has_the_word_of_its_own_stratum(thickness: list[float], depth_m: float) -> None:
    base = np.cumsum(thickness)
    table = pd.DataFrame({"borehole": "B", "x": 0.0, "y": 0.0, "top_m": [0.0, *base[:-1]], "base_m": base,
                          "description": "sand", "spt_n": [str(n) for n in range(1, len(base) + 1)]})
    found = Ground.from_strata(table.sample(frac=1, random_state=1)).profile(0, [depth_m]).n[0]
    inside = [n for n, low in enumerate(base, 1) if depth_m <= low]
    assert (found == inside[0]) if inside else np.isnan(found)


def test_stiffness_scatter_and_faults() -> None:
    found = shear_wave_speed([4.0, np.nan], "road_bridge_sand")
    assert found.low_m_s[0] / found.m_s[0] == pytest.approx(0.7)
    assert found.high_m_s[0] / found.m_s[0] == pytest.approx(1.3)
    assert np.isnan(found.m_s[1])
    assert found.in_range.tolist() == [True, False]
    assert SCATTER.basis == "practice"
    with pytest.raises(ValueError, match="negative"):
        shear_wave_speed(-1, "imai_1975")
    with pytest.raises(UnknownName):
        shear_wave_speed(1, "nobody")
    with pytest.raises(ValueError, match="alluvial"):
        ohta_goto_1978_m_s(10, 5, age="old", soil="clay")
    with pytest.raises(ValueError, match="negative"):
        ohta_goto_1978_m_s(10, -5, age="alluvial", soil="clay")
    with pytest.raises(ValueError, match="positive"):
        surface_wavelength_m(100, 0)
