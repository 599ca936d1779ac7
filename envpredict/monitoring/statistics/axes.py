"""Peak velocities axis by axis against limits that depend on frequency, each peak at its own measured frequency."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.chances.judge import margin_db
from envpredict.limits.curve import Curve
from envpredict.limits.values import Fixed, FixedRow, select
from envpredict.monitoring.records import flags as flag
from envpredict.monitoring.records.columns import AXES
from envpredict.monitoring.records.order import Ordered
from envpredict.monitoring.records.quantities import vertical_axis
from envpredict.monitoring.statistics.slots import Asked

if TYPE_CHECKING:
    from envpredict.limits.rule import Rule

Floats = NDArray[np.float64]
ONE_AXIS: dict[str, str] = {"ppv_component": "xyz", "ppv_unspecified": "xyz", "ppv_vertical": "up",
                            "ppv_horizontal": "level"}
"""Quantities that a limit states for single axes, to the axes that it speaks of."""
CLOUD = 400
"""Peaks of an axis that are kept for a chart."""


@dataclass(frozen=True, slots=True, eq=False)
class AxisPeak:
    """One axis at one station under one criterion: its highest peak and the peak that uses its limit up most.

    Velocities in mm/s, frequencies in Hz (NaN where none was recorded); `used` is the share of the limit at the
    measured frequency; `at`, `where` tell when and in which row; `above` counts the peaks above their limit, `fallback`
    those for which the plan's own value stood in, since no frequency was recorded or the document's curve doesn't reach
    it. `cloud_hz`, `cloud_mm_s`: the strongest peaks with a frequency, for a chart; `curve`: the limit over frequency.
    """

    station: str
    criterion: str
    axis: str
    highest_mm_s: float
    highest_hz: float
    worst_mm_s: float
    worst_hz: float
    limit_mm_s: float
    used: float
    margin_db: float
    at: int
    where: str
    peaks: int
    above: int
    fallback: int
    cloud_hz: Floats
    cloud_mm_s: Floats
    curve: Curve | None
    plan_value: float


def curve_of(rule: Rule, class_id: str, signal: str | None) -> Curve | float | None:
    """Return a rule's limit for a class as a curve over frequency, or as one number; None where it has neither.

    Where a document has other rows for other kinds of vibration and none is named, there's no telling: None.
    """
    if not isinstance(rule.value, Fixed):
        return None
    row = select(rule.value.rows, class_id, None, signal, None)
    if not isinstance(row, FixedRow):
        return None
    curve = rule.value.curve(row)
    if curve is not None:
        return curve
    return None if row.level is None else row.level * rule.value.factor


def axis_peaks(readings: Ordered, asked: Asked, signal: str | None = None) -> list[AxisPeak]:
    """Return what each axis that a criterion speaks of has seen; empty where the criterion isn't stated by axis."""
    criterion, station = asked.criterion, asked.station
    value = criterion.value if criterion.consented_value is None else criterion.consented_value
    if station.kind != "vibration" or criterion.quantity not in ONE_AXIS or value is None:
        return []
    held = None
    if asked.rule is not None and criterion.receptor_class is not None and criterion.consented_value is None:
        held = curve_of(asked.rule, criterion.receptor_class, signal)
    up = vertical_axis(station)
    known = {"xyz": AXES, "up": (up,), "level": tuple(axis for axis in AXES if axis != up)}
    found = [_axis(readings, asked, axis, held if isinstance(held, Curve) else None, float(value))
             for axis in known[ONE_AXIS[criterion.quantity]]]
    return [one for one in found if one is not None]


def _axis(readings: Ordered, asked: Asked, axis: str, curve: Curve | None, value: float) -> AxisPeak | None:
    rows = readings.rows
    velocity = rows.values.get(f"ppv_{axis}_mm_s")
    if velocity is None:
        return None
    keep = np.flatnonzero(flag.usable(rows.flags) & ~np.isnan(velocity))
    if not keep.size:
        return None
    velocity = velocity[keep]
    frequency = rows.values.get(f"fdom_{axis}_hz", np.full(len(rows), np.nan))[keep]
    known = frequency > 0
    limit = np.full(len(velocity), value)
    stood_in = np.zeros(len(velocity), dtype=bool)
    if curve is not None:
        at = curve.at(np.where(known, frequency, 1.0))
        found = known & ~np.isnan(at)
        limit, stood_in = np.where(found, at, value), ~found
    used = velocity / limit
    worst, highest = int(np.argmax(used)), int(np.argmax(velocity))
    row = int(keep[worst])
    return AxisPeak(
        asked.station.id, asked.criterion.id, axis, float(velocity[highest]), float(frequency[highest]),
        float(velocity[worst]), float(frequency[worst]), float(limit[worst]), float(used[worst]),
        float(margin_db(limit[worst:worst + 1], velocity[worst:worst + 1], "linear")[0]), int(rows.start[row]),
        rows.where(row), len(velocity), int((velocity > limit).sum()), int(stood_in.sum()),
        *_cloud(velocity, frequency), curve, value)


def _cloud(velocity: Floats, frequency: Floats) -> tuple[Floats, Floats]:
    """Return frequency and size of the strongest peaks that have a frequency."""
    known = np.flatnonzero(frequency > 0)
    if len(known) > CLOUD:
        known = np.sort(known[np.argpartition(-velocity[known], CLOUD)[:CLOUD]])
    return frequency[known], velocity[known]
