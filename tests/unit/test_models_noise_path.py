"""The attenuation of sound outdoors: how it behaves where no value is printed, and what it refuses."""

from __future__ import annotations

import doctest
import importlib
import pkgutil
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import envpredict.models.noise
from envpredict.models.noise import compiled, iso9613_1_1993
from envpredict.models.noise.iso9613_2_1996 import (
    EDITION,
    NOT_CLAIMED,
    flat_attenuation,
    ground_effect_db,
    ground_parts_db,
    reflections,
    screening,
    weather,
)
from envpredict.models.noise.weighting import NOMINAL_HZ, a_weighted_level

# deadlines are off, since the first call of a loop may compile it
POROSITY = st.floats(0.0, 1.0)
HEIGHT = st.floats(0.0, 30.0)
DISTANCE = st.floats(1.0, 2000.0)


def grounds(source: float, receptor: float, middle: float) -> dict[str, float]:
    return {"source_porosity": source, "receptor_porosity": receptor, "middle_porosity": middle}


def slow_flat(dp: float, hs: float, hr: float, gs: float, gr: float, gm: float) -> np.ndarray:
    """Return Adiv + Aatm + Agr written out after Table 3, one pair at a time, without the compiled loop."""
    near, far = 1.0 - np.exp(-dp / 50.0), 1.0 - np.exp(-2.8e-6 * dp * dp)

    def region(h: float, g: float) -> np.ndarray:
        a = 1.5 + 3.0 * np.exp(-0.12 * (h - 5.0) ** 2) * near + 5.7 * np.exp(-0.09 * h * h) * far
        rest = [1.5 + top * np.exp(-rate * h * h) * near for top, rate in ((8.6, 0.09), (14.0, 0.46), (5.0, 0.9))]
        return np.array([-1.5, *(-1.5 + g * one for one in (a, *rest)), *[-1.5 * (1.0 - g)] * 3])

    q = max(0.0, 1.0 - 30.0 * (hs + hr) / dp)
    middle = np.array([-3.0 * q, *[-3.0 * q * (1.0 - gm)] * 7])
    d = np.hypot(dp, hs - hr)
    air = iso9613_1_1993.octave_absorption_db_m() * d
    return 20.0 * np.log10(d) + 11.0 + air + region(hs, gs) + region(hr, gr) + middle


def test_examples_in_docstrings_hold() -> None:
    packages = pkgutil.walk_packages(envpredict.models.noise.__path__, "envpredict.models.noise.")
    results = [doctest.testmod(importlib.import_module(module.name)) for module in packages]
    assert sum(one.attempted for one in results) > 40
    assert not any(one.failed for one in results)


def test_the_edition_is_said() -> None:
    assert "1996" in EDITION
    assert "17534-3" in EDITION
    assert "2024 is not implemented" in NOT_CLAIMED


@settings(deadline=None)
@given(DISTANCE, HEIGHT, HEIGHT, POROSITY, POROSITY, POROSITY)
def test_the_compiled_loop_is_the_printed_table(dp: float, hs: float, hr: float, gs: float, gr: float,
                                                gm: float) -> None:
    np.testing.assert_allclose(flat_attenuation(dp, hs, hr, **grounds(gs, gr, gm)), slow_flat(dp, hs, hr, gs, gr, gm),
                               rtol=0.0, atol=1e-9)


def test_pairs_in_one_call_are_the_same_bits_as_each_alone() -> None:
    rng = np.random.default_rng(7)
    dp, hs, hr = rng.uniform(1, 900, 300), rng.choice([1.0, 4.0, 9.0], 300), rng.choice([1.5, 4.0], 300)
    gs, gr, gm = rng.random((3, 300))
    together = flat_attenuation(dp, hs, hr, source_porosity=gs, receptor_porosity=gr, middle_porosity=gm)
    alone = [flat_attenuation(dp[i], hs[i], hr[i], **grounds(gs[i], gr[i], gm[i])) for i in range(300)]
    np.testing.assert_array_equal(together, np.stack(alone))


def test_arguments_broadcast_and_stay_as_they_are() -> None:
    dp, hs = np.linspace(10.0, 500.0, 6)[:, None], np.array([1.0, 5.0])
    before = dp.copy(), hs.copy()
    for array in (dp, hs):
        array.flags.writeable = False
    found = flat_attenuation(dp, hs, 4.0, **grounds(0.2, 0.4, 0.6), temperature_c=np.array([[0.0], [10.0]])[:, :, None])
    assert found.shape == (2, 6, 2, 8)
    np.testing.assert_array_equal(dp, before[0])
    np.testing.assert_array_equal(hs, before[1])
    np.testing.assert_array_equal(found[1], flat_attenuation(dp, hs, 4.0, **grounds(0.2, 0.4, 0.6)))
    strided = np.repeat(dp, 3)[::3].reshape(dp.shape)
    np.testing.assert_array_equal(found[1], flat_attenuation(strided, hs, 4.0, **grounds(0.2, 0.4, 0.6)))


@pytest.mark.parametrize("argument", ["distance_m", "source_height_m", "receptor_height_m", "source_porosity",
                                      "receptor_porosity", "middle_porosity", "temperature_c"])
def test_nan_in_one_argument_makes_that_pair_unknown_and_no_other(argument: str) -> None:
    given_ = {"distance_m": 50.0, "source_height_m": 2.0, "receptor_height_m": 4.0, **grounds(0.5, 0.5, 0.5)}
    found = flat_attenuation(**{**given_, argument: np.array([0.5, np.nan, 1.0])})
    assert np.isnan(found[1]).all()
    assert np.isfinite(found[[0, 2]]).all()
    if argument != "temperature_c":
        assert np.isnan(ground_parts_db(**{**given_, argument: np.array([0.5, np.nan, 1.0])})[1]).all()


@pytest.mark.parametrize(("argument", "wrong", "said"), [
    ("distance_m", 0.0, "distance_m must be above 0"),
    ("distance_m", [10.0, -1.0], "distance_m must be above 0, not -1"),
    ("source_height_m", -0.1, "source_height_m must be 0 or above"),
    ("receptor_height_m", -2.0, "receptor_height_m must be 0 or above"),
    ("middle_porosity", 1.2, "middle_porosity must lie between 0 and 1"),
    ("humidity_percent", 101.0, "humidity_percent must lie between 0 and 100"),
    ("temperature_c", -300.0, "temperature_c must be above absolute zero"),
    ("pressure_kpa", 0.0, "pressure_kpa must be above 0"),
    ("distance_m", "far", "distance_m must be numbers"),
])
def test_a_wrong_argument_is_refused_by_name(argument: str, wrong: object, said: str) -> None:
    arguments = {"distance_m": 50.0, "source_height_m": 2.0, "receptor_height_m": 4.0, **grounds(0.5, 0.5, 0.5)}
    with pytest.raises(ValueError, match=said):
        flat_attenuation(**{**arguments, argument: wrong})


@settings(deadline=None)
@given(DISTANCE, st.floats(1.0, 3.0), HEIGHT, HEIGHT, POROSITY, POROSITY, POROSITY)
def test_farther_is_never_louder_over_ground_of_given_porosities(dp: float, factor: float, hs: float, hr: float,
                                                                 gs: float, gr: float, gm: float) -> None:
    # Holds in every band, for any three porosities that stay as they are: the region terms of Table 3 rise with
    # distance, and where the middle region grows it gains at most 3 dB / dp per metre against 8.7 dB / dp of spreading.
    # It doesn't hold where the porosities themselves change with distance, nor with height: a receptor higher up may be
    # louder or quieter.
    near = flat_attenuation(dp, hs, hr, **grounds(gs, gr, gm))
    far = flat_attenuation(dp * factor, hs, hr, **grounds(gs, gr, gm))
    assert (far >= near - 1e-9).all()


@settings(deadline=None)
@given(DISTANCE, HEIGHT, HEIGHT, POROSITY, POROSITY, st.sampled_from([0, 1, 2]))
def test_harder_ground_is_never_quieter(dp: float, hs: float, hr: float, low: float, high: float, which: int) -> None:
    low, high = sorted((low, high))
    keys = ("source_porosity", "receptor_porosity", "middle_porosity")
    hard, soft = ({**grounds(0.3, 0.3, 0.3), keys[which]: g} for g in (low, high))
    assert (ground_effect_db(dp, hs, hr, **soft) >= ground_effect_db(dp, hs, hr, **hard) - 1e-12).all()


def test_height_isn_t_monotone_and_nobody_should_think_so() -> None:
    porous = grounds(1.0, 1.0, 1.0)
    level = [float(a_weighted_level(100.0 - flat_attenuation(100.0, h, 1.5, **porous))) for h in (0.5, 2.0, 5.0, 30.0)]
    assert level[1] > level[0]      # out of the ground's shadow: louder
    assert level[3] < level[2]      # farther away along the slope: quieter


@settings(deadline=None)
@given(DISTANCE, HEIGHT, HEIGHT, POROSITY, POROSITY, POROSITY)
def test_source_and_receptor_change_places(dp: float, hs: float, hr: float, gs: float, gr: float, gm: float) -> None:
    np.testing.assert_allclose(flat_attenuation(dp, hs, hr, **grounds(gs, gr, gm)),
                               flat_attenuation(dp, hr, hs, **grounds(gr, gs, gm)), rtol=0, atol=1e-12)


def test_ground_parts_add_up_and_stand_in_their_order() -> None:
    parts = ground_parts_db([40.0, 400.0], 1.0, 4.0, **grounds(0.0, 1.0, 0.0))
    np.testing.assert_array_equal(parts[:, 0], -1.5)               # hard near the source
    assert (parts[:, 1, 1:5] > -1.5).all()                         # porous near the receptor
    np.testing.assert_array_equal(parts[0, 2], 0.0)                # 40 m lie within 30 (1 + 4) m: no middle
    np.testing.assert_allclose(parts[1, 2], -3.0 * (1.0 - 150.0 / 400.0))
    total = ground_effect_db([40.0, 400.0], 1.0, 4.0, **grounds(0.0, 1.0, 0.0))
    np.testing.assert_allclose(total, parts.sum(axis=1))


def test_air_beyond_the_stated_range_is_given_and_flagged() -> None:
    assert iso9613_1_1993.tone_absorption_db_m(20_000.0) > 0.0
    inside = iso9613_1_1993.within_stated_accuracy([1000.0, 1000.0, 20.0], temperature_c=[10.0, -60.0, 10.0])
    assert inside.tolist() == [True, False, False]


@settings(deadline=None)
@given(st.floats(5.0, 300.0), st.floats(0.05, 0.95), st.floats(0.0, 20.0), st.floats(0.0, 10.0), HEIGHT, HEIGHT)
def test_a_higher_thin_screen_never_screens_less(dp: float, place: float, top: float, more: float, hs: float,
                                                 hr: float) -> None:
    def dz(height: float) -> np.ndarray:
        to, away = np.hypot(place * dp, height - hs), np.hypot((1.0 - place) * dp, height - hr)
        d = np.hypot(dp, hs - hr)
        z = screening.path_difference_m(to, away, d, clear=height < hs + place * (hr - hs))
        return screening.screening_db(d, z, to, away)

    assert (dz(top + more) >= dz(top) - 1e-9).all()


def test_a_screen_far_below_the_sight_line_changes_nothing() -> None:
    # a kerb between a source and a receptor 10 m high over hard ground: equation (12) taken literally would give 3 dB
    to, away, d = np.hypot(20.0, 9.9), np.hypot(30.0, 9.9), 50.0
    z = screening.path_difference_m(to, away, d, clear=True)
    dz = screening.screening_db(d, z, to, away)
    agr = ground_effect_db(50.0, 10.0, 10.0, **grounds(0.0, 0.0, 0.0))
    np.testing.assert_array_equal(dz, 0.0)
    np.testing.assert_array_equal(screening.top_edge_db(dz, agr, z), 0.0)


def test_grazing_gives_less_than_five_decibels_on_the_clear_side() -> None:
    dz = screening.screening_db(100.0, [-1e-9, 1e-9], 50.0, 50.0)
    np.testing.assert_allclose(dz, 10.0 * np.log10(3.0), atol=1e-3)
    hard = np.full(8, -3.0)
    np.testing.assert_allclose(screening.top_edge_db(dz, hard, [-1e-9, 1e-9])[:, 0], [4.77, 7.77], atol=0.01)


def test_caps_hold_for_one_edge_and_for_two() -> None:
    far = screening.screening_db(100.0, 50.0, 60.0, 60.0, edge_separation_m=[0.0, 30.0])
    np.testing.assert_array_equal(far[0, 3:], 20.0)
    np.testing.assert_array_equal(far[1, 3:], 25.0)
    np.testing.assert_allclose(screening.double_edge_factor([0.0, 1e-12, 1e6])[:, 4], [1.0, 1.0, 3.0])


def test_round_the_side_the_weather_doesn_t_count() -> None:
    over = screening.screening_db(100.0, 0.1, 50.0, 50.0)
    words = screening.screening_db(100.0, 0.1, 50.0, 50.0, passes=np.array(["over", "round"]))
    np.testing.assert_array_equal(words[0], over)
    np.testing.assert_allclose(words[1], 10.0 * np.log10(3.0 + 20.0 * 0.1 * NOMINAL_HZ / 340.0))
    assert (words[1] >= over).all()
    with pytest.raises(ValueError, match="passes: unknown word 'under'"):
        screening.screening_db(100.0, 0.1, 50.0, 50.0, passes="under")
    imaged = screening.screening_db(100.0, 0.1, 50.0, 50.0, ground_reflections="by_images")
    assert (imaged >= over).all()
    assert (imaged > over).any()


def test_three_paths_add_on_energy_and_never_amplify() -> None:
    np.testing.assert_allclose(screening.combined_db(20.0, 20.0, 20.0), 20.0 - 10.0 * np.log10(3.0))
    assert screening.combined_db(17.0) == pytest.approx(17.0)
    np.testing.assert_array_equal(screening.combined_db([0.0, 1.0], 2.0, 2.0), [0.0, 0.0])
    assert np.isnan(screening.combined_db(np.nan, 5.0, 5.0))


def test_a_narrow_obstacle_screens_short_waves_alone() -> None:
    wide = screening.wide_enough([1.0, 10.0])
    assert wide[0].tolist() == [False, False, False, True, True, True, True, True]
    assert wide[1].all()


def test_a_reflection_is_found_where_the_image_says() -> None:
    # wall along y = 10 from x = 0 to 40, 6 m high; source and receptor 10 m before it, 20 m apart
    found = reflections.wall_reflection([10.0, 0.0, 2.0], [30.0, 0.0, 2.0], [0.0, 10.0], [40.0, 10.0], 0.0, 6.0)
    assert found.exists
    np.testing.assert_allclose(found.point, [20.0, 10.0, 2.0])
    np.testing.assert_allclose([found.source_m, found.receptor_m, found.cosine],
                               [np.sqrt(200.0), np.sqrt(200.0), np.cos(np.pi / 4)])
    swapped = reflections.wall_reflection([30.0, 0.0, 2.0], [10.0, 0.0, 2.0], [40.0, 10.0], [0.0, 10.0], 0.0, 6.0)
    np.testing.assert_allclose(swapped.point, found.point)


@pytest.mark.parametrize(("receptor", "wall_to", "top"), [
    ([30.0, 20.0, 2.0], [40.0, 10.0], 6.0),     # behind the wall
    ([30.0, 0.0, 2.0], [15.0, 10.0], 6.0),      # the wall ends before the point of reflection
    ([30.0, 0.0, 2.0], [40.0, 10.0], 1.5),      # the wall is too low
    ([30.0, 10.0, 2.0], [40.0, 10.0], 6.0),     # on the wall
])
def test_no_reflection_where_the_image_isn_t_seen(receptor: list[float], wall_to: list[float], top: float) -> None:
    found = reflections.wall_reflection([10.0, 0.0, 2.0], receptor, [0.0, 10.0], wall_to, 0.0, top)
    assert not found.exists
    assert np.isnan(found.point).all()
    assert np.isnan(found.source_m)


def test_a_small_surface_reflects_short_waves_alone() -> None:
    # 1/lambda > (2 / l^2) (ds dr / (ds + dr)), by hand for 10 m to each side and frontal sound: l > sqrt(10 lambda)
    least = np.sqrt(10.0 * 340.0 / NOMINAL_HZ)
    assert reflections.large_enough(10.0, 10.0, 1.0, least * 1.001).diagonal().all()
    assert not reflections.large_enough(10.0, 10.0, 1.0, least * 0.999).diagonal().any()
    assert not reflections.large_enough(np.nan, 10.0, 1.0, 5.0).any()


def test_what_a_wall_gives_back() -> None:
    power = np.full(8, 100.0)
    given_back = reflections.image_power_db(power, [1.0, 0.8, 0.4, 0.2], 0.0)
    np.testing.assert_allclose(given_back[:3, 0], [100.0, 99.03, 96.02], atol=0.01)
    assert np.isneginf(given_back[3]).all()
    with pytest.raises(ValueError, match="wall_to_m must lie apart"):
        reflections.wall_reflection([0.0, 0.0, 1.0], [5.0, 0.0, 1.0], [1.0, 1.0], [1.0, 1.0], 0.0, 3.0)
    with pytest.raises(ValueError, match="3 coordinates"):
        reflections.wall_reflection([0.0, 0.0], [5.0, 0.0, 1.0], [1.0, 1.0], [2.0, 1.0], 0.0, 3.0)


def test_stated_accuracy_by_height_and_distance() -> None:
    assert weather.stated_accuracy_db([50.0, 50.0, 500.0], [2.0, 10.0, 10.0]).tolist() == [3.0, 1.0, 3.0]
    assert np.isnan(weather.stated_accuracy_db([1001.0, 50.0], [2.0, 31.0])).all()
    assert weather.stated_accuracy_db(50.0, 5.0) == 3.0


def test_the_long_term_correction_starts_at_ten_times_the_heights() -> None:
    found = weather.long_term_correction_db([70.0, 140.0, 1e6], 3.0, 4.0, weather_constant_db=3.0)
    np.testing.assert_allclose(found, [0.0, 1.5, 3.0], atol=1e-3)


def test_loops_are_compiled_even_where_nothing_can_be_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    tried = []

    def njit(**options: bool | str) -> Callable[[Callable[[float], float]], Callable[[float], float]]:
        tried.append("cache" in options)
        if "cache" in options:
            raise RuntimeError("cannot cache function: no locator available")
        return real(**options)

    real = compiled.numba.njit
    monkeypatch.setattr(compiled.numba, "njit", njit)
    assert compiled.compiled(lambda x: 2.0 * x)(21.0) == 42.0
    assert tried == [True, False]
