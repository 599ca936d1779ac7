"""The levels that a vibration rule judges: of every pass for peaks, of every day for what adds up over it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.quantities import QUANTITIES
from envpredict.core.series import LevelSeries
from envpredict.engine.applied import rank
from envpredict.engine.vibration.convert import Conversion, conversion
from envpredict.engine.vibration.dose import add_up, power_of
from envpredict.engine.vibration.exposure import Exposure, exposures
from envpredict.engine.vibration.transfer import Transfer
from envpredict.limits.outcome import Missing

if TYPE_CHECKING:
    from envpredict.engine.vibration.case import Case
    from envpredict.engine.vibration.field import GroundVibration
    from envpredict.engine.vibration.settlement import Sand

Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]
STRAIN = "shear_strain"


@dataclass(frozen=True, slots=True, eq=False)
class Spots:
    """The places at which levels are found (Q), and the one by which each receptor (R) is judged.

    `rows` (Q): a receptor that stands for the spot; `of` (R): the spot of each receptor; `plan_m` (Q, P); `vibration`
    of the ground at the spots; `note` on the place.
    """

    rows: Numbers
    of: Numbers
    plan_m: Floats
    vibration: GroundVibration
    note: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """Levels at spots (Q) over slots (S), in the rule's quantity at its place.

    `field`, `pile` (Q, S): the law and phase, and the pile, that give each of them; `basis` (F): rank of what turned
    the laws' velocity into the quantity; `notes` say how, `spoken` (F) for each law.
    """

    series: LevelSeries
    field: Numbers
    pile: Numbers
    basis: Numbers
    notes: tuple[str, ...]
    spoken: tuple[str, ...]


def way_to(case: Case, way: Transfer, sand: Sand | None) -> Transfer:
    """Return the way from the ground to the rule's place, with the step from velocity to strain where it's judged."""
    if sand is None or case.rule.quantity != STRAIN:
        return way if sand is None else replace(way, said=sand.said)
    shift = np.log10(1e-3) - np.log10(sand.speed_m_s)
    return replace(way, shift=way.shift + shift, scatter=np.hypot(way.scatter, sand.scatter),
                   basis=np.maximum(way.basis, sand.median_basis), said=sand.said)


def _conversions(case: Case) -> list[Conversion] | Missing:
    """Return how each law's velocity becomes the rule's quantity, or what is missing for one of them."""
    quantity = case.rule.quantity or ""
    if quantity == STRAIN:
        note = "peak shear strain: particle velocity over shear-wave speed"
        return [Conversion(0.0, 0.0, "read", (note,))] * len(case.method.vibration.fields)
    found = []
    for field in case.method.vibration.fields:
        one = conversion(case.run.catalogue.models, field.spec, quantity, case.method.choice.method, field.law.phase)
        if isinstance(one, Missing):
            return one
        found.append(one)
    return found


def levels_of(case: Case, spots: Spots, way: Transfer, limit: Floats, gate: Floats | None = None) -> Levels | Missing:
    """Return the levels that a case judges, or what is missing to have them.

    way: for the spots (Q). limit (G, Q): of each group of phases; where groups have different limits, levels are scaled
    to the limit of the first group that has one, so that one threshold serves (see `scale_of`). gate (Q): a lower bound
    on single events, for what adds up.
    """
    if power_of(case.rule.quantity or "") is None:
        return _peaks(case, spots, way, limit)
    return _sums(case, spots, way, gate)


def in_log(values: Floats, quantity: str) -> Floats:
    """Return levels of any scale in log10 of a linear quantity: decibels are twenty times that."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.log10(values) if QUANTITIES[quantity].scale == "linear" else values / 20.0)


def reference(limit: Floats) -> Floats:
    """Return (Q) the limit of the first group of phases (G, Q) that has one; NaN where none has."""
    found: Floats = limit[0]
    for one in limit[1:]:
        found = np.where(np.isnan(found), one, found)
    return found


def _peaks(case: Case, spots: Spots, way: Transfer, limit: Floats) -> Levels | Missing:
    """Return the level of every pass: vibration of several rigs isn't summed, the higher one counts."""
    found = _conversions(case)
    if isinstance(found, Missing):
        return found
    quantity, work, passes = case.rule.quantity or "", case.work, case.method.passes
    scaled = in_log(limit, quantity)
    first = reference(scaled)
    shift = np.array([one.in_log() for one in found])[:, None] + np.zeros(len(spots.rows))
    # in units of its own group's limit each law shows how near it comes; a group without a limit is left out
    handicap = np.where(np.isnan(first), 0.0, np.nan_to_num(first - scaled, nan=-np.inf))[case.groups]
    gain = shift + handicap
    vibration = spots.vibration.weighed(gain).of(passes.pile[work.one], passes.stage_of[work.one])
    row = np.arange(len(spots.rows))[:, None]
    level = _counted(case, spots, vibration.log_median + gain[vibration.field, row] + way.shift[:, None], work.one)
    linear = QUANTITIES[quantity].scale == "linear"
    size = 1.0 if linear else 20.0
    series = LevelSeries(quantity, case.rule.place, work.slots, 10.0**level if linear else 20.0 * level,
                         size * np.hypot(vibration.shared, way.scatter[:, None]), size * vibration.own,
                         vibration.in_range)
    pile = np.broadcast_to(passes.pile[work.one], series.median.shape)
    return Levels(series, vibration.field, pile, np.array([rank(one.basis) for one in found], dtype=np.int64),
                  (), tuple("; ".join(one.notes) for one in found))


def _counted(case: Case, spots: Spots, level: Floats, one: Numbers) -> Floats:
    """Return levels (Q, C) of passes `one` (C), with nothing at all where nobody is there to feel them."""
    if case.vacant is None:
        return level
    return np.where(case.vacant[spots.rows][:, one], -np.inf, level)


def affected_days(case: Case, spots: Spots, way: Transfer) -> Numbers:
    """Return (Q) on how many days of work the median of KB_Fmax is notable at each spot; every day where unknown."""
    from envpredict.models.vibration.din4150_2_1999 import FELT

    work, passes = case.work, case.method.passes
    gain = np.zeros((len(case.method.vibration.fields), len(spots.rows)))
    for number, field in enumerate(case.method.vibration.fields):
        one = conversion(case.run.catalogue.models, field.spec, "kb_fmax", case.method.choice.method, field.law.phase)
        gain[number] = 0.0 if isinstance(one, Missing) else one.shift
    vibration = spots.vibration.weighed(gain).of(passes.pile[work.one], passes.stage_of[work.one])
    row = np.arange(len(spots.rows))[:, None]
    level = _counted(case, spots, vibration.log_median + gain[vibration.field, row] + way.shift[:, None], work.one)
    felt = ~(level <= np.log10(FELT))
    days = np.zeros((len(spots.rows), len(work.blocks)), dtype=bool)
    for entry, block in enumerate(work.block.tolist()):
        days[:, block] |= felt[:, entry]
    return np.asarray(days.sum(axis=1), dtype=np.int64)


def _sums(case: Case, spots: Spots, way: Transfer, gate: Floats | None) -> Levels | Missing:
    """Return the level of every block of the period: what all passes and phases in it add up to."""
    parts = exposures(case)
    if isinstance(parts, Missing):
        return parts
    quantity, work, passes = case.rule.quantity or "", case.work, case.method.passes
    columns = [_contributions(case, spots, way, part) for part in parts]
    level, own, shared, field, inside = (np.concatenate([one[n] for one in columns], axis=1) for n in range(5))
    weight = np.concatenate([part.weight for part in parts])
    entry = np.concatenate([part.entry for part in parts])
    order = np.argsort(work.block[entry], kind="stable")
    level, own, shared, field, inside = (array[:, order] for array in (level, own, shared, field, inside))
    weight, entry = weight[order], entry[order]
    power = power_of(quantity)
    assert power is not None
    median, spread, top = add_up(level, own, weight, work.one[entry], work.block[entry], len(work.blocks),
                                 len(passes.pile), power, gate)
    busy = np.flatnonzero(np.bincount(work.block[entry], minlength=len(work.blocks)) > 0)
    median, spread, top = median[:, busy], spread[:, busy], top[:, busy]
    row = np.arange(len(spots.rows))[:, None]
    series = LevelSeries(quantity, case.rule.place, work.blocks.take(busy), 10.0**median,
                         np.hypot(shared[row, top], way.scatter[:, None]), spread, inside[row, top])
    pile = passes.pile[work.one[entry]][top]
    basis = np.zeros(len(case.method.vibration.fields), dtype=np.int64)
    spoken = [""] * len(basis)
    for part in parts:
        basis = np.maximum(basis, part.basis)
        spoken = [said or own_said for said, own_said in zip(part.spoken, spoken, strict=True)]
    notes = tuple(dict.fromkeys(note for part in parts for note in part.notes))
    return Levels(series, field[row, top], pile, basis, notes, tuple(spoken))


def _contributions(case: Case, spots: Spots, way: Transfer,
                   part: Exposure) -> tuple[Floats, Floats, Floats, Numbers, NDArray[np.bool_]]:
    """Return level, own and shared scatter, law and range (Q, C) of a part's entries, for one second or one blow."""
    work, passes = case.work, case.method.passes
    one = work.one[part.entry]
    gain = part.log_factor[:, None] + np.zeros(len(spots.rows))
    vibration = spots.vibration.weighed(gain).of(passes.pile[one], passes.stage_of[one])
    row = np.arange(len(spots.rows))[:, None]
    level = _counted(case, spots, vibration.log_median + gain[vibration.field, row] + way.shift[:, None], one)
    return level, vibration.own, vibration.shared, vibration.field, vibration.in_range
