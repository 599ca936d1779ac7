"""Reads raw traces: our own plain CSV, and miniSEED through ObsPy (the extra `seismology`)."""

from __future__ import annotations

import csv
import importlib
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from envpredict.core.errors import EnvpredictError, InputProblems, Problem
from envpredict.core.words import suggestion
from envpredict.monitoring.records.columns import AXES, UNITS
from envpredict.monitoring.records.faults import Faults
from envpredict.monitoring.signals.trace import Trace

TIME = "t_s"
CHANNELS: dict[str, str] = {"E": "x", "N": "y", "Z": "z", "1": "x", "2": "y", "3": "z"}
"""Last letter of a seismological channel to our axis."""
UNEVEN = 0.01
"""Share of a step by which samples may be off their even spacing."""


def read_trace_csv(path: str | Path, station: str = "", unit: str = "mm/s", start: int | None = None) -> Trace:
    """Return a trace from a CSV file with the headings t_s and x_mm_s, y_mm_s, z_mm_s (at least one of the axes).

    `unit`: what the numbers really are, one of mm/s, m/s, cm/s, um/s, in/s; headings may also carry it (x_in_s).
    Raises InputProblems with every cell that can't be used, and for samples that aren't evenly spaced.
    """
    file = Path(path)
    faults = Faults()
    if unit not in UNITS["mm/s"]:
        raise EnvpredictError(f"'{unit}' is no unit of velocity", suggestion(unit, UNITS["mm/s"]))
    try:
        with file.open(encoding="utf-8-sig", newline="") as text:
            lines = [(number, cells) for number, cells in enumerate(csv.reader(text), 1) if cells]
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise InputProblems([Problem(file.name, f"can't be read: {error}", "give a CSV file in UTF-8")],
                            file.name) from None
    time, velocity = _cells(file.name, lines, UNITS["mm/s"][unit], faults)
    if not faults:
        _even(file.name, time, faults)
    if faults:
        raise InputProblems(faults.problems(), file.name)
    step = (time[-1] - time[0]) / (len(time) - 1)
    return Trace(station, start, float(1.0 / step), velocity)


def _cells(name: str, lines: list[tuple[int, list[str]]], factor: float,
           faults: Faults) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return times (N,) and velocities (3, N) in mm/s."""
    heads = [cell.strip() for cell in lines[0][1]] if lines else []
    known = {f"{axis}_{unit.replace('/', '_')}": (number, scale) for number, axis in enumerate(AXES)
             for unit, scale in UNITS["mm/s"].items()}
    columns = {at: known[head] for at, head in enumerate(heads) if head in known}
    for head in heads:
        if head not in known and head != TIME:
            faults.add(name, [1], f"unknown heading '{head}'", suggestion(head, [TIME, *known], limit=30))
    if TIME not in heads or not columns:
        faults.add(name, [1], "no heading t_s, or none of x_mm_s, y_mm_s, z_mm_s", "name the columns in the first line")
        return np.zeros(0), np.zeros((3, 0))
    time, velocity = np.full(len(lines) - 1, np.nan), np.full((3, len(lines) - 1), np.nan)
    for row, (number, cells) in enumerate(lines[1:]):
        if len(cells) != len(heads):
            faults.add(name, [number], f"{len(cells)} values instead of {len(heads)}", "a line was cut")
            continue
        try:
            values = [float(cell) for cell in cells]
        except ValueError:
            faults.add(name, [number], "a value is no number", "traces have no missing samples: mend the export")
            continue
        time[row] = values[heads.index(TIME)]
        for at, (axis, scale) in columns.items():
            velocity[axis, row] = values[at] * scale * factor
    if len(time) < 2:
        faults.add(name, [], "holds fewer than two samples", "give the whole trace")
    return time, velocity


def _even(name: str, time: NDArray[np.float64], faults: Faults) -> None:
    step = np.diff(time)
    usual = float(np.median(step))
    # a stamp written with few digits is off by its rounding, which doesn't add up
    expected = time[0] + np.arange(len(time)) * (time[-1] - time[0]) / (len(time) - 1)
    off = np.flatnonzero((step <= 0) | (np.abs(time - expected)[1:] > max(UNEVEN * usual, 0.0) + 0.5 * usual))
    if usual <= 0 or off.size:
        faults.add(name, off + 3, "the samples aren't evenly spaced in time", "export every sample, in order")


def read_mseed(path: str | Path, mm_s_per_count: float, station: str = "") -> Trace:
    """Return a trace from a miniSEED file with up to three channels of one station.

    `mm_s_per_count` turns the recorded numbers into mm/s: it stands in the instrument's data sheet and isn't guessed.
    Channels end in E, N, Z or 1, 2, 3. Raises EnvpredictError where ObsPy isn't installed, InputProblems where the
    file can't be used.
    """
    try:
        obspy: Any = importlib.import_module("obspy")
    except ImportError:
        raise EnvpredictError("miniSEED needs ObsPy", "pip install 'envpredict[seismology]'") from None
    file = Path(path)
    try:
        stream = obspy.read(str(file), format="MSEED")
    except Exception as error:
        problem = Problem(file.name, f"can't be read: {error}", "give a miniSEED file")
        raise InputProblems([problem], file.name) from None
    return _trace(stream, file.name, mm_s_per_count, station)


def _trace(stream: Any, name: str, mm_s_per_count: float, station: str) -> Trace:
    found: dict[str, Any] = {}
    faults = Faults()
    for one in stream:
        axis = CHANNELS.get(str(one.stats.channel)[-1:].upper())
        if axis is None:
            faults.add(name, [], f"channel '{one.stats.channel}' is no axis", "channels end in E, N, Z or 1, 2, 3")
        elif axis in found:
            faults.add(name, [], f"channel '{one.stats.channel}' has a gap or stands twice", "cut the file at its gaps")
        else:
            found[axis] = one
    shapes = {(one.stats.sampling_rate, one.stats.npts, str(one.stats.starttime)) for one in found.values()}
    if len(shapes) > 1:
        faults.add(name, [], "the channels differ in rate, length or start", "cut them to the same span")
    if not found:
        faults.add(name, [], "holds no usable channel", "give up to three channels of one station")
    if faults:
        raise InputProblems(faults.problems(), name)
    first = next(iter(found.values()))
    velocity = np.full((3, first.stats.npts), np.nan)
    for number, axis in enumerate(AXES):
        if axis in found:
            velocity[number] = np.asarray(found[axis].data, dtype=np.float64) * mm_s_per_count
    return Trace(station or str(first.stats.station), round(first.stats.starttime.timestamp * 1000.0),
                 float(first.stats.sampling_rate), velocity)
