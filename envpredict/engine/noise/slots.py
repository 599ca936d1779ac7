"""Levels of sound over slots of time: means by the clock, means over the loudest interval, maxima, long-term means."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envpredict.core.series import LevelSeries, Slots
from envpredict.engine.blocks import Blocks, Stretches, clock_blocks, rolling_blocks, span, stretches
from envpredict.engine.chances.reduce import worst_point
from envpredict.engine.noise.sums import weighted
from envpredict.engine.sound.method import ON_TIME_RELATIVE_SD, MethodSound
from envpredict.engine.sound.times import StageTimes
from envpredict.models.noise.uncertainty import on_time_u_db, sum_of_sources

if TYPE_CHECKING:
    from envpredict.engine.works.programme import Passes
    from envpredict.limits.periods import Period

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
ByPile = Callable[[Ints, Ints], Floats]
"""Energy by pile (n, P) at some points (n) in some slots (n)."""


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """What is heard at points (Q) in slots (S), source by source (I): energies 10^(L/10), incident, A-weighted.

    `energy` (I, Q, S): of each item of plant, then of each other source; `u_db` (I): standard uncertainty of its power;
    `way_u_db` (Q, S): of the ways of sound; `own_u_db` (Q, S): of what is each slot's alone; `in_range` (Q, S);
    `on_s` (I, S): seconds for which each source is on; `of_s` (S): the time over which is averaged. `by_pile`: which
    piles it comes from.
    """

    slots: Slots
    names: tuple[str, ...]
    energy: Floats
    u_db: Floats
    way_u_db: Floats
    own_u_db: Floats
    in_range: NDArray[np.bool_]
    on_s: Floats
    of_s: Floats
    by_pile: ByPile

    def level_db(self) -> Floats:
        """Return the levels (Q, S) of everything together in dB, each source at its median; -inf where all is still."""
        with np.errstate(divide="ignore"):
            return np.asarray(10.0 * np.log10(self.energy.sum(axis=0)))

    def median_db(self) -> tuple[Floats, Floats]:
        """Return the median levels (Q, S) of the sum in dB, and its uncertainty by the sources' powers in dB.

        Each source has a draw of its own, shared by places, piles and days: what they sum up to lies above the sum of
        their medians.
        """
        median, u_db = sum_of_sources(self.energy, self.u_db[:, None, None])
        with np.errstate(divide="ignore"):
            return np.asarray(10.0 * np.log10(median)), u_db

    def take(self, keep: NDArray[Any]) -> Heard:
        """Return what is heard in the chosen slots."""
        numbers = np.flatnonzero(keep) if keep.dtype == np.bool_ else np.asarray(keep, dtype=np.int64)
        by_pile = self.by_pile
        return Heard(self.slots.take(numbers), self.names, self.energy[:, :, numbers], self.u_db,
                     self.way_u_db[:, numbers], self.own_u_db[:, numbers], self.in_range[:, numbers],
                     self.on_s[:, numbers], self.of_s[numbers], lambda rows, slots: by_pile(rows, numbers[slots]))

    def loudest(self) -> Heard:
        """Return one slot in the place of all: at each point the loudest of them, whatever is heard at other points.

        Its times and on-times are those of the slot that is the loudest at any of the points.
        """
        total = self.energy.sum(axis=0)
        point, slot = np.arange(total.shape[0]), total.argmax(axis=1)
        one, by_pile = slot[[total[point, slot].argmax()]], self.by_pile
        way_u_db, own_u_db = (values[point, slot][:, None] for values in (self.way_u_db, self.own_u_db))
        return Heard(self.slots.take(one), self.names, self.energy[:, point, slot][:, :, None], self.u_db, way_u_db,
                     own_u_db, self.in_range[point, slot][:, None], self.on_s[:, one], self.of_s[one],
                     lambda rows, _slots: by_pile(rows, slot[rows]))


@dataclass(frozen=True, slots=True, eq=False)
class AtReceptors:
    """Levels at receptors (R): at each the loudest of its points in every slot, `point` (R, S) tells which."""

    series: LevelSeries
    point: Ints


def at_receptors(heard: Heard, receptor: Ints | None, count: int, quantity: str, position: str, add_db: float,
                 add_u_db: float = 0.0) -> AtReceptors:
    """Return the levels at receptors, in a rule's quantity at its place.

    `receptor` (Q): whose point each is, in order; None where all points serve all receptors (the site's boundary).
    `add_db` is added once: a facade, a window, an adjustment; `add_u_db` is the standard uncertainty of that.
    """
    level, source = heard.median_db()
    point = worst_point(level, receptor, count)
    rows = np.arange(level.shape[1])[None, :]
    shared = np.sqrt(source**2 + heard.way_u_db**2 + add_u_db**2)
    series = LevelSeries(quantity, position, heard.slots, level[point, rows] + add_db, shared[point, rows],
                         heard.own_u_db[point, rows], heard.in_range[point, rows])
    return AtReceptors(series, point)


def _others(sound: MethodSound, from_s: Floats, to_s: Floats) -> Floats:
    """Return the seconds (M, S) for which each other source sounds inside intervals, local seconds since the epoch."""
    found = np.zeros((len(sound.others), len(from_s)))
    day = 86_400.0
    for number, (source, _) in enumerate(sound.others):
        length = (source.to_s - source.from_s) % day or day
        for back in range(-1, int(np.ceil((to_s - from_s).max(initial=0.0) / day)) + 1):
            begin = np.floor(from_s / day) * day + back * day + source.from_s
            found[number] += np.clip(np.minimum(begin + length, to_s) - np.maximum(begin, from_s), 0.0, None)
    return found


def _with_others(sound: MethodSound, heard: Heard, from_abs: Floats, to_abs: Floats) -> Heard:
    """Return what is heard with the scenario's other sources added, each for its clock hours."""
    if not sound.others:
        return heard
    seconds = np.minimum(_others(sound, from_abs, to_abs), heard.of_s)
    energy = np.stack([field.energy[0, :, :1].astype(float) * (seconds[number] / heard.of_s)
                       for number, (_, field) in enumerate(sound.others)])
    return replace(heard, names=(*heard.names, *(source.plant.title for source, _ in sound.others)),
                   energy=np.concatenate([heard.energy, energy]), on_s=np.vstack([heard.on_s, seconds]),
                   u_db=np.append(heard.u_db, [source.plant.u_db for source, _ in sound.others]))


def _names(sound: MethodSound) -> tuple[str, ...]:
    return tuple(item.plant.title for item in sound.items)


def _u_db(sound: MethodSound) -> Floats:
    return np.array([item.field.plant.u_db for item in sound.items])


def over_blocks(sound: MethodSound, passes: Passes, blocks: Blocks) -> Heard:
    """Return the mean over each block: every item for the on-seconds that fall inside it."""
    times, begin, finish = StageTimes.of(passes), *span(passes)
    work = np.flatnonzero((blocks.overlap_s > 0.0).any(axis=1))
    from_ = (np.maximum(begin[:, None], blocks.from_abs) + (times.begun_s - begin)[:, None])[work]
    to = (np.minimum(finish[:, None], blocks.to_abs) + (times.begun_s - begin)[:, None])[work]
    piles, place = np.unique(passes.pile[work], return_inverse=True)
    shape = (len(sound.points), len(blocks))
    energy = np.zeros((len(sound.items), *shape))
    on_s, weights = np.zeros((len(sound.items), shape[1])), []
    way, known = np.zeros(shape), np.zeros(shape)
    for number, item in enumerate(sound.items):
        on = item.on_time(passes, times).take(work)
        seconds = on.between(from_, np.maximum(to, from_)) * (blocks.overlap_s[work] > 0.0)
        weight = np.zeros((item.field.parts, len(piles), shape[1]))
        for one, pile in enumerate(np.ravel(place)):
            weight[:, pile] += seconds[:, one]
        weight *= item.factor / blocks.length_s
        weights.append(weight)
        found = item.field.energy[:, :, piles].astype(float)
        energy[number] = np.sum([weighted(one, by) for one, by in zip(found, weight, strict=True)], axis=0)
        mean, whole = found.mean(axis=0), weight.sum(axis=0)
        way += weighted(mean * item.field.u_db[:, piles], whole)
        within = item.field.in_range[:, piles]
        known += energy[number] if within.all() else weighted(mean * within, whole)
        on_s[number] = seconds.sum(axis=(0, 1))
    total = energy.sum(axis=0)

    def by_pile(rows: Ints, slots: Ints) -> Floats:
        out = np.zeros((len(rows), sound.plan_m.shape[1]))
        for item, weight in zip(sound.items, weights, strict=True):
            out[:, piles] += (item.field.energy[:, rows][:, :, piles] * weight[:, :, slots].transpose(0, 2, 1)).sum(0)
        return out

    own = np.full(shape, float(on_time_u_db(ON_TIME_RELATIVE_SD)))
    heard = Heard(blocks.slots, _names(sound), energy, _u_db(sound), way / np.where(total > 0.0, total, 1.0), own,
                  known >= 0.5 * total, on_s, blocks.length_s, by_pile)
    return _with_others(sound, heard, blocks.from_abs, blocks.to_abs)


def over_windows(sound: MethodSound, passes: Passes, period: Period, holidays: Sequence[Any],
                 length_s: float) -> Heard:
    """Return the means over windows that may start at any moment: at each point, of each date the loudest."""
    blocks = rolling_blocks(passes, period, holidays, length_s, _moments(sound, passes))
    found = []
    for date in np.unique(blocks.slots.day):
        heard = over_blocks(sound, passes, blocks.only(blocks.slots.day == date))
        found.append(heard.loudest())
    return joined(found) if found else over_blocks(sound, passes, blocks)


@dataclass(frozen=True, slots=True, eq=False)
class _Bounds:
    """Stretches (S) in the time of their pass's stage: from and to, in s, and the piles that they belong to."""

    times: StageTimes
    from_s: Floats
    to_s: Floats
    pile: Ints

    @classmethod
    def of(cls, passes: Passes, some: Stretches) -> _Bounds:
        times, begin = StageTimes.of(passes), span(passes)[0]
        shift = (times.begun_s - begin)[some.which]
        return cls(times, some.from_abs + shift, some.to_abs + shift, passes.pile[some.which])


def over_loudest(sound: MethodSound, passes: Passes, some: Stretches, window_s: float) -> Heard:
    """Return the mean over the loudest interval of a length within each stretch of a pass.

    Every item counts for its own loudest interval, as if they fell together; so do other rigs that work at that time.
    """
    bounds = _Bounds.of(passes, some)
    shape = (len(sound.points), len(some))
    window = np.full(shape[1], window_s)
    energy, way, known = np.zeros((len(sound.items), *shape)), np.zeros(shape), np.zeros(shape)
    on_s = np.zeros((len(sound.items), shape[1]))
    for number, item in enumerate(sound.items):
        on = item.on_time(passes, bounds.times).take(some.which)
        parts = item.field.energy[:, :, bounds.pile].astype(float)
        energy[number] = on.loudest(parts, bounds.from_s, bounds.to_s, window) * item.factor / window_s
        on_s[number] = on.loudest(np.ones((item.field.parts, 1, shape[1])), bounds.from_s, bounds.to_s, window)[0]
        way += energy[number] * item.field.u_db[:, bounds.pile]
        known += energy[number] * item.field.in_range[:, bounds.pile]
    total = energy.sum(axis=0)
    safe = np.where(total > 0.0, total, 1.0)

    def by_pile(rows: Ints, slots: Ints) -> Floats:
        found = np.zeros((len(rows), sound.plan_m.shape[1]))
        found[np.arange(len(rows)), bounds.pile[slots]] = total[rows, slots]
        return found

    own = np.full(shape, float(on_time_u_db(ON_TIME_RELATIVE_SD)))
    heard = Heard(some.slots, _names(sound), _with_other_rigs(passes, some, energy), _u_db(sound), way / safe, own,
                  known >= 0.5 * total, on_s, window, by_pile)
    return _with_others(sound, heard, some.from_abs, np.minimum(some.from_abs + window_s, some.to_abs))


def _with_other_rigs(passes: Passes, some: Stretches, energy: Floats) -> Floats:
    """Return energies (I, Q, S) with the loudest stretch of every other rig that works at the same time added."""
    rig = passes.rig[some.which]
    rigs = np.unique(rig)
    if len(rigs) < 2:
        return energy
    out = energy.copy()
    together = (some.from_abs[:, None] < some.to_abs) & (some.to_abs[:, None] > some.from_abs)
    for slot in range(len(some)):
        for other in rigs[rigs != rig[slot]]:
            beside = np.flatnonzero(together[slot] & (rig == other))
            if beside.size:
                best = beside[energy[:, :, beside].sum(axis=0).argmax(axis=1)]
                out[:, :, slot] += energy[:, np.arange(energy.shape[1]), best]
    return out


def maxima(sound: MethodSound, passes: Passes, some: Stretches, *, slow: bool = False, blow: bool = False) -> Heard:
    """Return the maximum level in each stretch of a pass.

    Of all items at work the loudest counts, at the height from which it's loudest: no on-time enters, nothing is added
    up. `slow`: LASmax instead of LAFmax; `blow`: the exposure of the loudest single blow instead of both.
    """
    bounds = _Bounds.of(passes, some)
    shape = (len(sound.points), len(some))
    levels, spread = np.zeros((len(sound.items), *shape)), np.zeros((len(sound.items), shape[1]))
    for number, item in enumerate(sound.items):
        above, gain = item.slow_above_db if slow else item.above_db, item.gain_db
        if blow:
            # a blow's exposure is its own, at whatever rate they come
            above, gain = -np.inf if item.blow_above_db is None else item.blow_above_db, 0.0
        busy = item.on_time(passes, bounds.times).take(some.which).occupied(bounds.from_s, bounds.to_s)
        parts = np.where(busy[:, None, :], item.field.energy[:, :, bounds.pile], 0.0)
        levels[number] = parts.max(axis=0) * 10.0 ** ((above + gain) / 10.0)
        spread[number] = 0.0 if blow else item.above_u_db
    loudest = levels.argmax(axis=0)
    pick = (loudest, *np.ogrid[: shape[0], : shape[1]])
    energy = np.where(np.arange(len(sound.items))[:, None, None] == loudest, levels, 0.0)
    way = np.stack([item.field.u_db[:, bounds.pile] for item in sound.items])[pick]
    known = np.stack([item.field.in_range[:, bounds.pile] for item in sound.items])[pick]
    own = np.broadcast_to(spread[:, None, :], levels.shape)[pick]
    total = energy.sum(axis=0)

    def by_pile(rows: Ints, slots: Ints) -> Floats:
        found = np.zeros((len(rows), sound.plan_m.shape[1]))
        found[np.arange(len(rows)), bounds.pile[slots]] = total[rows, slots]
        return found

    nothing = np.zeros((len(sound.items), shape[1]))
    return Heard(some.slots, _names(sound), energy, _u_db(sound), way.astype(float), own, known, nothing,
                 np.zeros(shape[1]), by_pile)


def mean_levels(sound: MethodSound, passes: Passes, period: Period, holidays: Iterable[Any]) -> Heard:
    """Return the means that a period asks for: over its blocks, over any window of its length, or the loudest interval.

    An averaging time shorter than a pile's cycle is judged by the loudest interval within each cycle; a longer one by
    the clock, every item for the on-seconds that fall inside the block.
    """
    key = (id(passes), period.id, period.start_s, period.end_s, period.averaging_s, period.averaging, period.days)
    if key not in sound.kept:
        sound.kept[key] = _mean_levels(sound, passes, period, tuple(holidays))
    found: Heard = sound.kept[key]
    return found


def _mean_levels(sound: MethodSound, passes: Passes, period: Period, holidays: Sequence[Any]) -> Heard:
    averaging = float(period.averaging_s or period.length_s)
    times = StageTimes.of(passes)
    short = times.cycle_s > averaging
    # a stage that ends within the averaging time is too short to hold the loudest interval
    within = short & (times.stage_s >= averaging)
    parts: list[Heard] = []
    if not within.all():
        if period.averaging == "rolling" or short.any():
            parts.append(over_windows(sound, passes, period, holidays, averaging))
        else:
            parts.append(over_blocks(sound, passes, clock_blocks(passes, period, holidays)))
    if within.any():
        some = stretches(passes, period, holidays)
        parts.append(over_loudest(sound, passes, some.only(within[some.which]), averaging))
    return parts[0] if len(parts) == 1 else joined(parts)


def _moments(sound: MethodSound, passes: Passes) -> Floats:
    """Return the moments at which a pass or something's working span begins or ends, seconds since the epoch."""
    times, begin, finish = StageTimes.of(passes), *span(passes)
    found = [begin, finish]
    for item in sound.items:
        on = item.on_time(passes, times)
        for edge in (on.from_s, on.from_s + on.span_s):
            found.append(np.clip(begin + edge - times.begun_s, begin, finish)[on.active])
    return np.unique(np.concatenate(found))


def joined(parts: Sequence[Heard]) -> Heard:
    """Return what is heard in the slots of several results of one method, one after the other."""
    counts = np.cumsum([0, *(len(part.slots) for part in parts)])
    slots = Slots(*(np.concatenate([getattr(part.slots, name) for part in parts])
                    for name in ("day", "start", "end", "label")))

    def by_pile(rows: Ints, chosen: Ints) -> Floats:
        owner = np.searchsorted(counts, chosen, side="right") - 1
        found = [parts[who].by_pile(rows[n : n + 1], chosen[n : n + 1] - counts[who]) for n, who in enumerate(owner)]
        return np.concatenate(found) if found else np.zeros((0, 0))

    along = {name: np.concatenate([getattr(part, name) for part in parts], axis=-1)
             for name in ("energy", "way_u_db", "own_u_db", "in_range", "on_s", "of_s")}
    return Heard(slots=slots, names=parts[0].names, u_db=parts[0].u_db, by_pile=by_pile, **along)
