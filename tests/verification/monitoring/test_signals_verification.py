"""Filters and measures of raw traces against tabulated responses, SciPy and ObsPy.

The tables of the standards are recalled, not seen (their rows say so); that the filters' parameters, recalled too, meet
them to the last printed digit is two memories that agree, not a proof. SciPy and ObsPy check how filters are applied.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import integrate, signal

from envpredict.monitoring.signals.measures import (
    dose,
    kb_fmax,
    kb_running,
    kb_takt,
    peaks_mm_s,
    resultant_mm_s,
    row_of,
    running_rms,
    spectral_hz,
    weighted_acceleration,
    zero_crossing_hz,
)
from envpredict.monitoring.signals.trace import Trace
from envpredict.monitoring.signals.weightings import WEIGHTINGS

HERE = Path(__file__).resolve().parent
RATE = 1000.0


def table() -> list[Mapping[str, str]]:
    with (HERE / "weightings.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def tone(hertz: float, seconds: float = 20.0, amplitude: float = 1.0, rate: float = RATE) -> Any:
    return amplitude * np.sin(2.0 * np.pi * hertz * np.arange(round(seconds * rate)) / rate)


def three(z: Any, rate: float = RATE, x: Any = None, y: Any = None) -> Trace:
    none = np.full(len(z), np.nan)
    return Trace("V1", None, rate, np.stack([none if x is None else x, none if y is None else y, z]))


@pytest.mark.parametrize("row", table(), ids=lambda row: f"{row['weighting']} {row['frequency_hz']}")
def test_responses_meet_the_tables(row: Mapping[str, str]) -> None:
    hertz = float(row["frequency_hz"])
    if row["kind"] == "exact":
        hertz = 10.0 ** (round(10.0 * np.log10(hertz)) / 10.0)
    if row["weighting"] == "kb_corner":
        corner = next(one for one in WEIGHTINGS["kb"].sections if one.kind == "high_pass_1")
        found = float(abs(corner.response(np.array(2j * np.pi * hertz))))
    else:
        found = float(abs(WEIGHTINGS[row["weighting"]].response(hertz)))
    digit = 10.0 ** -len(row["printed"].partition(".")[2])
    assert found == pytest.approx(float(row["printed"]), abs=digit)


def test_wb_lies_near_its_straight_lines() -> None:
    # BS 6841: 0.4 from 0.5 to 2 Hz, f/5 from 2 to 5 Hz, 1 from 5 to 16 Hz, 16/f up to 80 Hz (memory); filters round the
    # corners off, by at most some 20 %
    for hertz, line in ((1.0, 0.4), (1.5, 0.4), (3.5, 0.7), (8.0, 1.0), (10.0, 1.0), (40.0, 0.4), (63.0, 16 / 63)):
        assert abs(WEIGHTINGS["wb"].response(hertz)) == pytest.approx(line, rel=0.13)


def analogue(name: str) -> tuple[Any, Any]:
    """Return numerator and denominator of a weighting, built by SciPy's polynomials from the same parameters."""
    upper, lower = np.array([WEIGHTINGS[name].gain]), np.array([1.0])
    for one in WEIGHTINGS[name].sections:
        w, w2 = 2 * np.pi * one.f1, 2 * np.pi * one.f2
        parts = {
            "high_pass": ([1, 0, 0], [1, w / one.q1, w * w]), "low_pass": ([w * w], [1, w / one.q1, w * w]),
            "high_pass_1": ([1, 0], [1, w]), "low_pass_1": ([w], [1, w]),
            "transition": ([1 / w, 1], [1 / max(w2, 1) ** 2, 1 / (one.q2 * max(w2, 1)), 1]),
            "step": ([1 / w**2, 1 / (one.q1 * w), 1], [1 / max(w2, 1) ** 2, 1 / (one.q2 * max(w2, 1)), 1])}
        b, a = parts[one.kind]
        upper, lower = np.polymul(upper, b), np.polymul(lower, a)
    return upper, lower


@pytest.mark.parametrize("name", list(WEIGHTINGS))
def test_filters_answer_as_scipys_simulation_does(name: str) -> None:
    random = np.random.default_rng(5)
    time = np.arange(8000) / RATE
    smooth = signal.sosfiltfilt(signal.butter(4, [2, 60], "bandpass", fs=RATE, output="sos"), random.normal(size=8000))
    smooth *= np.minimum(time / 0.3, 1.0)  # begins at rest, as both take it
    _, theirs, _ = signal.lsim(analogue(name), smooth, time)
    mine = WEIGHTINGS[name].apply(smooth, RATE)
    # SciPy holds the signal straight between samples, which differs a little at the highest frequencies
    assert np.abs(mine - theirs).max() < 0.01 * np.abs(theirs).max()


@pytest.mark.parametrize("hertz", [2.0, 8.0, 31.5, 80.0])
@pytest.mark.parametrize("name", list(WEIGHTINGS))
def test_a_steady_tone_comes_out_with_the_filters_own_gain(name: str, hertz: float) -> None:
    out = WEIGHTINGS[name].apply(tone(hertz, 30.0), RATE)[10_000:20_000]
    assert np.sqrt(2.0) * out.std() == pytest.approx(float(abs(WEIGHTINGS[name].response(hertz))), rel=1e-3)


def test_obspy_filters_and_integrates_alike() -> None:
    obspy = pytest.importorskip("obspy")
    random = np.random.default_rng(6)
    smooth = signal.sosfiltfilt(signal.butter(4, [2, 40], "bandpass", fs=RATE, output="sos"), random.normal(size=6000))
    trace = obspy.Trace(smooth.copy(), {"sampling_rate": RATE})
    # our second-order band edge against ObsPy's Butterworth high-pass with two corners
    theirs = trace.copy().filter("highpass", freq=0.8, corners=2, zerophase=False).data
    edge = WEIGHTINGS["kb"].sections[0].response(2j * np.pi * np.fft.rfftfreq(1 << 15, 1 / RATE))
    mine = np.fft.irfft(np.fft.rfft(smooth, 1 << 15) * edge)[:6000]
    assert np.abs(mine - theirs).max() < 0.01 * np.abs(theirs).max()
    # the derivative taken on the way: weighting the velocity and its own derivative give the same
    velocity = trace.copy().integrate().detrend("constant").data
    through = WEIGHTINGS["wd"].apply(velocity, RATE, derive=True)
    direct = WEIGHTINGS["wd"].apply(smooth, RATE)
    # the integral begins at its mean rather than at nought, which a high-pass forgets within seconds
    assert np.abs(through - direct)[3000:].max() < 0.02 * np.abs(direct).max()


def test_obspy_reads_and_writes_the_same_trace(tmp_path: Path) -> None:
    obspy = pytest.importorskip("obspy")
    from envpredict.core.errors import InputProblems
    from envpredict.monitoring.signals.read import read_mseed

    start = obspy.UTCDateTime("2027-03-01T09:00:00")
    tones = {"E": 9.0, "N": 12.0, "Z": 20.0}
    counts = {axis: np.round(1e5 * tone(hertz, 4.0)).astype(np.int32) for axis, hertz in tones.items()}
    stream = obspy.Stream([obspy.Trace(values, {"station": "V1", "channel": f"HH{axis}", "sampling_rate": RATE,
                                                "starttime": start}) for axis, values in counts.items()])
    stream.write(str(tmp_path / "a.mseed"), format="MSEED")
    trace = read_mseed(tmp_path / "a.mseed", mm_s_per_count=2e-5)
    assert (trace.station, trace.sampling_hz, trace.start) == ("V1", RATE, round(start.timestamp * 1000))
    assert peaks_mm_s(trace).tolist() == pytest.approx([2.0, 2.0, 2.0], rel=3e-3)
    assert [zero_crossing_hz(one, RATE) for one in trace.velocity_mm_s] == pytest.approx([9, 12, 20], rel=1e-3)
    gap = stream.copy()
    gap.append(gap[0].copy())
    gap[-1].stats.starttime += 100
    gap.write(str(tmp_path / "gap.mseed"), format="MSEED")
    with pytest.raises(InputProblems, match="has a gap or stands twice"):
        read_mseed(tmp_path / "gap.mseed", mm_s_per_count=1.0)
    (tmp_path / "no.mseed").write_bytes(b"nothing")
    with pytest.raises(InputProblems, match="give a miniSEED file"):
        read_mseed(tmp_path / "no.mseed", mm_s_per_count=1.0)


def test_kb_of_a_tone_is_the_formulas() -> None:
    # 2 mm/s at 18 Hz: 2/sqrt(2) / sqrt(1 + (5.6/18)^2) = 1.35 (formula of DIN 4150-2, memory)
    steady = three(tone(18.0, 20.0, 2.0))
    assert kb_fmax(steady) == pytest.approx(1.350, rel=0.02)
    late = kb_running(steady)[2][10_000:]
    assert late.mean() == pytest.approx(1.350, rel=0.01)
    assert np.isnan(kb_running(steady)[0]).all()


def test_the_running_value_has_its_time_constant() -> None:
    # after the end of a tone KB_F falls by exp(-1/2) in one time constant of its mean square, 0.125 s
    burst = np.concatenate([tone(40.0, 4.0), np.zeros(1000)])
    running = kb_running(three(burst))[2]
    at = 4100
    assert running[at + 125] / running[at] == pytest.approx(np.exp(-0.5), rel=0.02)


def test_maxima_of_30_s_intervals() -> None:
    quiet, loud = tone(20.0, 30.0, 0.1), tone(20.0, 30.0, 1.0)
    found = kb_takt(three(np.concatenate([quiet, loud, quiet[:5000]])))
    assert len(found) == 3
    assert found[1] == pytest.approx(10 * found[0], rel=0.05)


def test_the_dose_is_scipys_integral_of_the_fourth_power() -> None:
    a = tone(8.0, 10.0, 0.3) + tone(21.0, 10.0, 0.1)
    theirs = integrate.trapezoid(a**4, dx=1 / RATE) ** 0.25
    assert dose(a, RATE) == pytest.approx(theirs, rel=1e-4)
    # halving the amplitude equals a sixteenth of the time (read at second hand, BS 6472-1)
    assert dose(a / 2, RATE) == pytest.approx(dose(np.tile(a, 1) / 1.0, RATE) / 2)
    sixteen = np.tile(a / 2, 16)
    assert dose(sixteen, RATE) == pytest.approx(dose(a, RATE), rel=1e-9)
    assert dose(np.stack([a, a / 2]), RATE).shape == (2,)


def test_the_weighted_acceleration_of_a_tone() -> None:
    # 1 mm/s at 8 Hz is 0.0503 m/s2; Wb there 1.026, Wd 0.253
    found = weighted_acceleration(three(tone(8.0), x=tone(8.0), y=tone(8.0)))
    peak = 2 * np.pi * 8.0 / 1000.0
    late = found[:, 5_000:15_000]
    assert np.sqrt(2.0) * late[2].std() == pytest.approx(peak * abs(WEIGHTINGS["wb"].response(8.0)), rel=1e-3)
    assert np.sqrt(2.0) * late[0].std() == pytest.approx(peak * 0.253, rel=0.005)


@pytest.mark.parametrize("hertz", [3.0, 8.5, 20.3, 57.0, 110.0])
def test_two_ways_to_the_dominant_frequency_of_a_pulse(hertz: float) -> None:
    time = np.arange(4000) / RATE - 1.0
    pulse = np.where(time > 0, np.exp(-4.0 * time) * np.sin(2 * np.pi * hertz * time), 0.0)
    assert zero_crossing_hz(pulse, RATE) == pytest.approx(hertz, rel=0.01)
    assert spectral_hz(pulse, RATE) == pytest.approx(hertz, rel=0.02)
    welch, power = signal.periodogram(pulse * np.hanning(4000), RATE, nfft=1 << 16)
    assert spectral_hz(pulse, RATE) == pytest.approx(welch[np.argmax(power)], abs=0.03)


def test_the_two_ways_differ_where_the_peak_rides_on_something_slow() -> None:
    mixed = tone(3.0, 4.0, 1.0) + tone(40.0, 4.0, 0.6)
    assert spectral_hz(mixed, RATE) == pytest.approx(3.0, abs=0.1)
    assert zero_crossing_hz(tone(30.0, 4.0), RATE) == pytest.approx(30.0, rel=1e-3)


def test_peaks_by_axis_and_their_vector_sum() -> None:
    trace = three(tone(10.0, 2.0, 3.0), x=tone(10.0, 2.0, 4.0), y=np.roll(tone(10.0, 2.0, 12.0), 25))
    assert peaks_mm_s(trace).tolist() == pytest.approx([4.0, 12.0, 3.0], rel=1e-4)
    # x and z swing together, y a quarter of a cycle later: the sum is never the vector of the three peaks (13)
    assert resultant_mm_s(trace) == pytest.approx(12.0, rel=1e-3)
    assert running_rms(trace)[0] == pytest.approx(4.0 / np.sqrt(2.0), rel=1e-3)
    row = row_of(trace)
    assert row["pvs_mm_s"] == pytest.approx(12.0, rel=1e-3)
    assert row["fdom_z_hz"] == pytest.approx(10.0, rel=1e-3)


@pytest.mark.parametrize(("velocity", "rate", "what"), [
    (np.zeros((2, 10)), 100.0, "not"), (np.zeros((3, 1)), 100.0, "not"), (np.zeros((3, 10)), 0.0, "sampling_hz"),
    (np.array([[1.0, np.nan], [0, 0], [0, 0]]), 100.0, "axis x has missing samples")])
def test_traces_that_cant_be(velocity: Any, rate: float, what: str) -> None:
    with pytest.raises(ValueError, match=what):
        Trace("V1", None, rate, velocity)


def test_sampling_too_slow_for_a_weighting_is_refused() -> None:
    with pytest.raises(ValueError, match="sampling_hz must be above 200"):
        kb_fmax(three(tone(5.0, 2.0, rate=150.0), rate=150.0))
    with pytest.raises(ValueError, match="low_hz"):
        spectral_hz(tone(5.0, 1.0), RATE, 30.0, 20.0)
    with pytest.raises(ValueError, match="sampling_hz"):
        dose(tone(5.0, 1.0), 0.0)
