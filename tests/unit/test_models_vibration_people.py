"""People's measures, building response, strain: conversions both ways, and definitions integrated numerically."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from envpredict.models.spec import load_models
from envpredict.models.vibration import building_response, people_measures, settlement, vibration_dose

MODELS = load_models()
amplitudes = st.floats(1e-3, 100.0)
frequencies = st.floats(1.0, 80.0)
crests = st.floats(1.05, 5.9)

ROUND_TRIPS = [
    ("velocity_rms", "ppv_from_velocity_rms", ("crest_factor",)),
    ("velocity_level_us_from_ppv", "ppv_from_velocity_level_us", ("crest_factor",)),
    ("kb_fmax_from_ppv", "ppv_from_kb_fmax", ("frequency_hz",)),
    ("vibration_level_jp_from_ppv", "ppv_from_vibration_level_jp", ("frequency_hz", "crest_factor")),
    ("vibration_level_cn_from_ppv", "ppv_from_vibration_level_cn", ("frequency_hz", "crest_factor")),
    ("vdv_steady_from_ppv", "ppv_from_vdv_steady", ("frequency_hz", "crest_factor", "duration_s")),
    ("vdv_blows_from_ppv", "ppv_from_vdv_blows", ("frequency_hz", "count")),
    ("shear_strain_from_ppv", "ppv_from_shear_strain", ("shear_wave_speed_m_s",)),
]


@given(ppv=amplitudes, frequency=frequencies, crest=crests, duration=st.floats(1.0, 57_600.0),
       count=st.integers(1, 9999))
@pytest.mark.parametrize(("there", "back", "takes"), ROUND_TRIPS)
def test_a_velocity_turned_into_a_measure_and_back_returns_itself(
        there: str, back: str, takes: tuple[str, ...], ppv: float, frequency: float, crest: float, duration: float,
        count: int) -> None:
    given_ = {"frequency_hz": frequency, "crest_factor": crest, "duration_s": duration, "count": float(count),
              "shear_wave_speed_m_s": 50.0 + frequency}
    rest = {name: given_[name] for name in takes}
    assert MODELS[back](MODELS[there](ppv, **rest), **rest) == pytest.approx(ppv, rel=1e-12)


@given(level=st.floats(20.0, 120.0))
def test_a_us_level_turned_into_a_velocity_and_back_returns_itself(level: float) -> None:
    velocity = people_measures.velocity_rms_from_level_us(level)
    assert people_measures.velocity_level_us(velocity) == pytest.approx(level, abs=1e-9)


@given(ppv=amplitudes, frequency=st.floats(8.0, 90.0))
def test_the_japanese_level_lies_below_the_us_one_by_a_constant(ppv: float, frequency: float) -> None:
    # from 8 Hz on both are levels of velocity: 20 log(2 pi 1e-3 / 0.125e-5) against re 25.4e-6 mm/s
    japan = people_measures.vibration_level_jp_from_ppv(ppv, frequency, crest_factor=4.0)
    us = people_measures.velocity_level_us_from_ppv(ppv, crest_factor=4.0)
    assert us - japan == pytest.approx(17.9, abs=0.05)


@pytest.mark.parametrize("corner", [4.0, 8.0])
def test_the_japanese_reference_has_no_step_at_its_corners(corner: float) -> None:
    below, above = people_measures.reference_acceleration_jp(np.array([corner * (1 - 1e-9), corner]))
    assert below == pytest.approx(above, rel=1e-8)


@pytest.mark.parametrize("corner", [2.0, 5.0, 16.0])
def test_the_weightings_have_no_step_at_their_corners(corner: float) -> None:
    for weighting in (vibration_dose.weighting_b, vibration_dose.weighting_d):
        below, above = weighting(np.array([corner * (1 - 1e-9), corner * (1 + 1e-9)]))
        assert below == pytest.approx(above, rel=1e-8)


def test_the_weightings_peak_where_the_standards_say() -> None:
    # W_b peaks within 4 to 12.5 Hz, W_d within 1 to 2 Hz (read, quoted from BS 6472-1:2008)
    f = np.geomspace(0.5, 80.0, 2000)
    b, d = vibration_dose.weighting_b(f), vibration_dose.weighting_d(f)
    assert (b[(f > 5.0) & (f < 12.5)] == b.max()).all()
    assert b[(f < 4.0) | (f > 20.0)].max() < b.max()
    assert (d[(f > 1.0) & (f < 2.0)] == d.max()).all()
    assert d[f > 2.5].max() < d.max()


@pytest.mark.parametrize(("frequency", "damping"), [(15.0, 0.05), (8.0, 0.02), (30.0, 0.1)])
def test_the_dose_of_blows_is_the_fourth_power_integral(frequency: float, damping: float) -> None:
    # outside check: the damped sine integrated numerically; the closed form neglects terms of the damping's square
    omega = 2.0 * math.pi * frequency
    peak = float(vibration_dose.weighting_b(frequency)) * omega * 2e-3
    end = 12.0 / (damping * omega)
    steps = max(int(end * frequency * 2.0), 1)
    one = sum(quad(lambda t: (peak * math.exp(-damping * omega * t) * math.sin(omega * t)) ** 4,
                   end * n / steps, end * (n + 1) / steps)[0] for n in range(steps))
    ours = vibration_dose.vdv_blows_from_ppv(2.0, frequency, 500.0, damping_ratio=damping)
    assert ours == pytest.approx((500.0 * one) ** 0.25, rel=1.3 * damping**2 + 1e-6)


def test_the_dose_of_a_pure_sine_is_the_fourth_power_integral() -> None:
    # outside check: mean of sin^4 is 3/8, so a sine of rms a has the dose 1.107 a t^0.25
    t = np.linspace(0.0, 1.0, 200_001)
    dose = np.mean((math.sqrt(2.0) * np.sin(2.0 * math.pi * 10.0 * t)) ** 4) ** 0.25
    assert dose == pytest.approx(vibration_dose.SINE_DOSE_FACTOR, rel=1e-4)
    too_high = vibration_dose.ESTIMATED_DOSE_FACTOR / dose
    assert too_high == pytest.approx(1.26, abs=0.01)


def test_halving_the_amplitude_equals_a_sixteenth_of_the_time() -> None:
    # BS 6472-1, as a noise guide explains it (read)
    full = vibration_dose.vdv_steady_from_ppv(1.0, 20.0, 100.0)
    assert vibration_dose.vdv_steady_from_ppv(0.5, 20.0, 1600.0) == pytest.approx(full, rel=1e-12)
    assert vibration_dose.vdv_blows_from_ppv(0.5, 20.0, 1600.0) == pytest.approx(
        vibration_dose.vdv_blows_from_ppv(1.0, 20.0, 100.0), rel=1e-12)


@pytest.mark.parametrize("crest", [6.0, 9.0, [2.0, 6.0]])
def test_a_dose_is_not_estimated_from_rms_for_peaky_signals(crest: object) -> None:
    with pytest.raises(ValueError, match="crest_factor must be below 6"):
        vibration_dose.vdv_steady_from_ppv(1.0, 20.0, 60.0, crest_factor=crest)  # type: ignore[arg-type]


def test_doses_combine_as_fourth_powers() -> None:
    both = vibration_dose.vdv_total(np.array([[0.3, 0.4], [0.5, np.nan]]))
    assert both[0] == pytest.approx((0.3**4 + 0.4**4) ** 0.25)
    assert np.isnan(both[1])
    split = vibration_dose.vdv_total([vibration_dose.vdv_blows_from_ppv(1.0, 15.0, n) for n in (300.0, 700.0)])
    assert split == pytest.approx(vibration_dose.vdv_blows_from_ppv(1.0, 15.0, 1000.0), rel=1e-12)


def test_no_blow_makes_no_dose_but_leads_to_no_velocity() -> None:
    assert vibration_dose.vdv_blows_from_ppv(1.0, 15.0, 0.0) == 0.0
    with pytest.raises(ValueError, match="count"):
        vibration_dose.ppv_from_vdv_blows(0.2, 15.0, 0.0)


def test_kb_is_the_running_rms_of_the_weighted_velocity() -> None:
    # outside check: first-order high-pass with corner 5.6 Hz on a sine, then its rms; a steady vibrator has c_F = 1
    frequency, corner = 15.0, 5.6
    gain = abs(1j * frequency / (corner + 1j * frequency))
    assert people_measures.kb_fmax_from_ppv(1.0, frequency, coefficient=1.0) == pytest.approx(gain / math.sqrt(2.0))


def test_the_default_steps_into_a_building() -> None:
    damage, people = building_response.default_transfer("damage"), building_response.default_transfer("people")
    assert (damage.start, damage.end, damage.factor, damage.scatter) == ("ground", "foundation", 1.0, 0.0)
    assert (people.start, people.end) == ("ground", "floor")
    assert people.gain_db == pytest.approx(5.0)
    assert people.source.basis == "read"


def test_a_loss_at_the_foundation_is_never_a_default() -> None:
    losses = [name for name, step in building_response.TRANSFERS.items() if step.factor < 1.0]
    assert losses
    for effect in ("damage", "people"):
        assert building_response.default_transfer(effect).factor >= 1.0  # type: ignore[arg-type]
    assert MODELS["ground_to_foundation"](2.0) == 2.0


def test_every_step_into_a_building_has_positions_scatter_and_source() -> None:
    for name, step in building_response.TRANSFERS.items():
        assert step.id == name
        assert (step.start, step.end) in {("ground", "foundation"), ("ground", "floor"), ("foundation", "floor")}
        assert step.source.basis in {"read", "memory", "estimate"}
        assert 0.0 <= step.scatter <= 0.3
        assert (step.scatter == 0.0) <= (step.factor == 1.0)


def test_floors_lose_two_decibels_each_and_one_above_the_fifth() -> None:
    # US FTA 2006, Table 10-1 (read)
    level = MODELS["fta_indoor_level"](0.0, np.arange(9.0), coupling="none", resonance="no")
    assert level.tolist() == [0, -2, -4, -6, -8, -10, -11, -12, -13]
    with pytest.raises(ValueError, match="storey"):
        MODELS["fta_indoor_level"](0.0, -1.0, coupling="none")


def test_strain_bands_hold_their_lower_ends() -> None:
    # Massarsch 2000, bands from memory: 0.001, 0.01 and 0.1 %
    words = settlement.strain_band([0.0, 9.99e-6, 1e-5, 9.99e-5, 1e-4, 1e-3, 0.5, np.nan])
    assert words.tolist() == ["negligible", "negligible", "low", "low", "possible", "considerable", "considerable",
                              "unknown"]
    with pytest.raises(ValueError, match="shear_strain"):
        settlement.strain_band(-1e-6)


def test_crest_factors_state_where_they_are_from() -> None:
    for value, source in people_measures.CREST_FACTORS.values():
        assert 1.0 <= value <= 6.0
        assert source.place
