"""Exceedances: each event of a level with how long it lasted, how high it went, and what the diary says of the time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.monitoring.records import flags as flag
from envpredict.monitoring.records.order import Ordered
from envpredict.monitoring.records.quantities import DOSES, MEANS, values_of
from envpredict.monitoring.replay.events import Event
from envpredict.monitoring.replay.runs import QUIET_S

if TYPE_CHECKING:
    from envpredict.monitoring.plan_rows import Station

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Exceedance:
    """A level that was reached: `start` and `end` of the run of readings that reach it, `highest` among them.

    For averages the slot itself. `readings` counts the readings of the run that reach the level.
    """

    event: Event
    start: int
    end: int
    highest: float
    readings: int

    @property
    def explained(self) -> bool | None:
        """Tell whether the diary has an entry at that time; None where there's no diary."""
        return None if self.event.works is None else bool(self.event.works)


def exceedances(events: Sequence[Event], readings: Ordered, station: Station) -> list[Exceedance]:
    """Return the exceedances among a station's events."""
    reaching: dict[tuple[str, float], tuple[Floats, NDArray[np.intp]]] = {}
    found = []
    for event in events:
        if event.quantity is None or event.level is None or event.threshold is None:
            continue
        key = (event.quantity, event.threshold)
        if event.quantity not in (*MEANS, *DOSES) and key not in reaching:
            reaching[key] = _reaching(readings, station, *key)
        found.append(_run(event, readings, *reaching[key]) if key in reaching
                     else Exceedance(event, event.slot[0], event.slot[1], event.level, 1))
    return found


def _reaching(readings: Ordered, station: Station, quantity: str, threshold: float) -> tuple[Floats, NDArray[np.intp]]:
    """Return a quantity of every row, and which rows reach a level."""
    rows = readings.rows
    values = values_of(quantity, station, rows.values)
    if values is None:
        return np.zeros(len(rows)), np.zeros(0, dtype=np.intp)
    shifted = values + ((station.correction_db or 0.0) if station.kind == "noise" else 0.0)
    return shifted, np.flatnonzero((shifted >= threshold) & flag.usable(rows.flags))


def _run(event: Event, readings: Ordered, values: Floats, high: NDArray[np.intp]) -> Exceedance:
    """Follow an event's run of readings as triggers do: it ends when none has reached the level for long enough."""
    rows = readings.rows
    run = high[int(np.searchsorted(rows.start[high], event.slot[0], side="left")):]
    pause = rows.start[run][1:] - np.maximum.accumulate(rows.end[run])[:-1]
    breaks = np.flatnonzero(pause > round(1000.0 * QUIET_S))
    run = run[: int(breaks[0]) + 1] if breaks.size else run
    if not run.size:
        return Exceedance(event, event.slot[0], event.slot[1], float(event.level or 0.0), 1)
    return Exceedance(event, event.slot[0], int(rows.end[run].max()), float(values[run].max()), int(run.size))
