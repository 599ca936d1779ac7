"""Means over many days: the level of a year's nights, the day-night level of thirty days."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envpredict.core.series import Slots
from envpredict.engine.blocks import clock_blocks
from envpredict.engine.noise import sums
from envpredict.engine.noise.slots import Heard, over_blocks

if TYPE_CHECKING:
    from envpredict.engine.sound.method import MethodSound
    from envpredict.engine.works.programme import Passes

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LongTerm:
    """A mean over `days` days of some hours of each: `hours` are clock times from, to, and what is added in dB."""

    label: str
    days: int
    hours: tuple[tuple[str, str, float], ...]


LONG_TERM: dict[str, LongTerm] = {
    "lnight_db": LongTerm("all nights of a year", 365, (("23:00", "07:00", 0.0),)),
    "ldn_db": LongTerm("thirty days and nights", 30, (("07:00", "22:00", 0.0), ("22:00", "07:00", 10.0))),
    # hours of Directive 2002/49/EC, Annex I, where a country chooses no others: recalled
    "lden_db": LongTerm("all days of a year", 365, (("07:00", "19:00", 0.0), ("19:00", "23:00", 5.0),
                                                    ("23:00", "07:00", 10.0))),
}
"""The quantities that are means over many days."""


def long_term(sound: MethodSound, passes: Passes, wanted: LongTerm, holidays: Iterable[Any]) -> Heard | None:
    """Return the mean over every window of so many days that begins on a date with work; None without any work.

    Days without work count as silent. The works' own level alone: what else sounds on these days isn't in it.
    """
    from envpredict.limits.periods import Period

    parts: list[Heard] = []
    total_s = 0.0
    for number, (start, end, added) in enumerate(wanted.hours):
        period = Period.model_validate({"id": f"part_{number}", "label": wanted.label, "from": start, "to": end})
        heard = over_blocks(replace(sound, others=()), passes, clock_blocks(passes, period, holidays))
        weight = 10.0 ** (added / 10.0) * period.length_s
        parts.append(replace(heard, energy=heard.energy * weight))
        total_s += float(period.length_s)
    dates = np.unique(np.concatenate([part.slots.day for part in parts]))
    if not len(dates):
        return None
    starts = dates[(dates == dates[0]) | (dates + np.timedelta64(wanted.days - 1, "D") <= dates[-1])]
    return _windows(parts, starts, wanted, total_s * wanted.days)


def _windows(parts: list[Heard], starts: NDArray[np.datetime64], wanted: LongTerm, total_s: float) -> Heard:
    """Return the means over windows from the weighted energies of their parts, each of a date's hours."""
    ends = starts + np.timedelta64(wanted.days, "D")
    within = [((part.slots.day[:, None] >= starts) & (part.slots.day[:, None] < ends)).astype(float) for part in parts]
    energy = np.sum([[sums.weighted(one, chosen) for one in part.energy]
                     for part, chosen in zip(parts, within, strict=True)], axis=0) / total_s
    whole = np.where(energy.sum(axis=0) > 0.0, energy.sum(axis=0), 1.0)

    def weighted(name: str) -> Floats:
        summed = np.sum([sums.weighted(part.energy.sum(axis=0) * getattr(part, name), chosen)
                         for part, chosen in zip(parts, within, strict=True)], axis=0)
        return np.asarray(summed / total_s / whole)

    def by_pile(rows: NDArray[np.int64], slots: NDArray[np.int64]) -> Floats:
        found = []
        for row, slot in zip(rows, slots, strict=True):
            piles = [part.by_pile(np.full(int(chosen[:, slot].sum()), row), np.flatnonzero(chosen[:, slot])).sum(axis=0)
                     for part, chosen in zip(parts, within, strict=True)]
            found.append(np.sum(piles, axis=0))
        return np.array(found)

    count = len(starts)
    slots = Slots(starts, np.zeros(count), np.full(count, wanted.days * 86_400.0), np.full(count, wanted.label))
    # an error of one day's on-time is small beside the mean over all of them
    own = weighted("own_u_db") / np.sqrt(np.maximum(np.sum([chosen.sum(axis=0) for chosen in within], axis=0), 1.0))
    on_s = np.sum([part.on_s @ chosen for part, chosen in zip(parts, within, strict=True)], axis=0)
    return Heard(slots, parts[0].names, energy, parts[0].u_db, weighted("way_u_db"), own,
                 weighted("in_range") >= 0.5, on_s, np.full(count, total_s), by_pile)
