"""What is asked of a station's records, and the answer: a series over slots, with how it is put together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.quantities import QUANTITIES
from envpredict.core.series import LevelSeries, Slots
from envpredict.monitoring.plan_fields import MOVEMENTS
from envpredict.monitoring.records.civil import Clock
from envpredict.monitoring.records.quantities import source_of
from envpredict.monitoring.records.rows import Rows
from envpredict.monitoring.records.stamps import Millis
from envpredict.monitoring.statistics.choices import MIN_COVERAGE

if TYPE_CHECKING:
    from envpredict.limits.periods import Period
    from envpredict.limits.persistence import Counted
    from envpredict.limits.rule import Rule
    from envpredict.monitoring.plan_rows import Criterion, Proxy, Station

Floats = NDArray[np.float64]

@dataclass(frozen=True, slots=True)
class Asked:
    """A criterion at a station, with its rule and period in the register where they're known.

    `proxies`: the receptors that are judged here too; `shift_db`: what the rule adds to a level before it's compared;
    `counted`: the windows of days in which the plan counts exceedances, where the plan says that the rule counts days.
    `lower`, `lower_value`: the rule of the lower bound, where the rule itself decides between two bounds, and the value
    that the plan gives it at this station; `defers`: what decides once
    this lower bound is passed, in words, where passing it is no verdict of its own.
    """

    station: Station
    criterion: Criterion
    rule: Rule | None = None
    period: Period | None = None
    proxies: tuple[Proxy, ...] = ()
    shift_db: float = 0.0
    counted: tuple[Counted, ...] = ()
    lower: Rule | None = None
    lower_value: float | None = None
    defers: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """A criterion's quantity as measured at a station, over the slots in which something was measured.

    `series`: points are the station's receptor and its proxies (P), slots (S) are averaging times, or the days' periods
    for maxima; `lower` (S,): the level if all that wasn't measured had been silent; `rows` holds the readings and `row`
    (S,) the number of the governing one; `start`, `end` are the slots as moments.
    """

    asked: Asked
    points: tuple[str, ...]
    series: LevelSeries
    lower: Floats
    start: Millis
    end: Millis
    rows: Rows
    row: NDArray[np.intp]
    notes: tuple[str, ...]

    @property
    def limit(self) -> Floats:
        """Return the limit of each point (P,); NaN where the plan states none."""
        one = self.asked.criterion
        value = one.value if one.consented_value is None else one.consented_value
        return np.full(len(self.points), np.nan if value is None else float(value))

    def take(self, keep: NDArray[np.bool_]) -> Measured:
        """Return the chosen slots alone."""
        return Measured(self.asked, self.points, self.series.take(keep), self.lower[keep], self.start[keep],
                        self.end[keep], self.rows, self.row[keep], self.notes)

    @property
    def short(self) -> NDArray[np.bool_]:
        """Return which slots have too little valid time to be taken as measured."""
        return np.asarray(self.series.coverage < MIN_COVERAGE.value)


def effective_end(rows: Rows) -> Millis:
    """Return where each row's time ends at the latest: at the start of the next, so that no time counts twice."""
    following = np.concatenate([rows.start[1:], [2**62]])
    return np.asarray(np.minimum(rows.end, np.maximum(following, rows.start)))


def correction_db(asked: Asked) -> float:
    """Return what is added to a level before it's compared: the station's correction and the rule's shift."""
    return (asked.station.correction_db or 0.0) + asked.shift_db if asked.station.kind == "noise" else 0.0


def loudest(rows: Rows, rate: Floats, start: Millis, end: Millis) -> NDArray[np.intp]:
    """Return the loudest row of each slot."""
    first = np.searchsorted(rows.start, start, side="left")
    last = np.maximum(np.searchsorted(rows.start, end, side="left"), first + 1)
    return np.array([min(a + int(np.argmax(rate[a:b])), len(rows) - 1) if a < len(rows) else len(rows) - 1
                     for a, b in zip(first.tolist(), last.tolist(), strict=True)], dtype=np.intp)


def made(rows: Rows, asked: Asked, clock: Clock, when: tuple[Millis, Millis, NDArray[np.datetime64]], level: Floats,
          lower: Floats, coverage: Floats, row: NDArray[np.intp],
         *, also: tuple[str, ...] = ()) -> Measured:
    """Return the series of the station's receptor and of those judged here too."""
    start, end, day = when
    quantity = str(asked.criterion.quantity)
    points, shifts, notes = _points(asked, quantity)
    midnight = clock.moments(day, 0)
    label = np.full(len(day), asked.criterion.period or "at all times")
    slots = Slots(day, (start - midnight) / 1000.0, (end - midnight) / 1000.0, label)
    decibel = quantity in QUANTITIES and QUANTITIES[quantity].scale == "decibel"
    added = np.array(shifts)[:, None]
    median = level[None, :] + added if decibel else level[None, :] * 10.0 ** (added / 20.0)
    none, sure = np.zeros(median.shape), np.ones(median.shape, dtype=bool)
    position = asked.criterion.position or asked.station.position or "structure"
    source = source_of(quantity, asked.station)
    said = tuple(text for text in (*notes, source.said if source is not None else "", *also) if text)
    # movements that no document limits have no declared quantity; they're linear like settlement
    judged = quantity if quantity in QUANTITIES else "settlement_mm"
    return Measured(asked, points, LevelSeries(judged, position, slots, median, none, none.copy(), sure, coverage),
                    lower, start, end, rows, row, said)


def _points(asked: Asked, quantity: str) -> tuple[tuple[str, ...], list[float], list[str]]:
    points, shifts, notes = [str(asked.station.receptor or asked.station.id)], [0.0], []
    protected: Mapping[str, None] = dict.fromkeys(asked.criterion.receptors)
    for proxy in asked.proxies if quantity not in MOVEMENTS else ():
        if protected and proxy.receptor not in protected:
            continue
        if proxy.transfer_db is None:
            notes.append(f"{proxy.receptor} isn't judged: its transfer from {asked.station.id} isn't stated")
        else:
            points.append(proxy.receptor)
            shifts.append(proxy.transfer_db)
    return tuple(points), shifts, notes
