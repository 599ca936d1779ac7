"""One rule, method and period: when the method works in it, and which limit holds for whom."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.series import Slots
from envpredict.engine.applied import JUDGED, MISSING, NOT_GOVERNED, Applied, apply
from envpredict.engine.blocks import DAY_S, clock_blocks
from envpredict.engine.chances.judge_rule import in_season, spared
from envpredict.engine.vibration.convert import band_of
from envpredict.engine.vibration.occupied import vacant
from envpredict.limits.outcome import LimitValue, Missing, NotGoverned
from envpredict.limits.values import Fixed

if TYPE_CHECKING:
    from envpredict.engine.run import MethodRun, Run
    from envpredict.engine.works.programme import Passes
    from envpredict.limits.periods import Period
    from envpredict.limits.schema import LimitSet, Rule

Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]
OTHER, START_STOP = "other", "start_stop"
"""The two groups of phases: start and stop sweep through a band of frequencies of their own."""


@dataclass(frozen=True, slots=True, eq=False)
class Work:
    """What is done in a period: one entry per pass and block of the period in which it falls (C), in order of time.

    `one` (C): number of the pass; `seconds` (C): its time inside the block; `block` (C): number of the block, which is
    the whole period of one day; `slots` (C): day and clock times; `blocks`: the blocks (S) with their `length_s` (S).
    """

    one: Numbers
    seconds: Floats
    block: Numbers
    slots: Slots
    blocks: Slots
    length_s: Floats


@dataclass(frozen=True, eq=False)
class Case:
    """A rule of a set in one of its periods, for one method of a run; no period means at all times."""

    run: Run
    method: MethodRun
    limit_set: LimitSet
    rule: Rule
    period: Period | None

    @property
    def period_id(self) -> str | None:
        """Return the id of the period, None at all times."""
        return None if self.period is None else self.period.id

    @cached_property
    def work(self) -> Work:
        """Return what the method does in the period and in the rule's season."""
        return work_in(self.method.passes, self.period, self.run.scenario.programme.holidays, self.rule)

    def group_of(self, phase: str) -> str:
        """Return the group that a phase of the method belongs to."""
        swept = self.method.choice.method.start_stop_frequency is not None
        return START_STOP if phase == "start_stop" and swept else OTHER

    @cached_property
    def vacant(self) -> NDArray[np.bool_] | None:
        """Return (R, N) the passes that aren't counted at a receptor since nobody is there; None where all count."""
        return vacant(self.rule, self.run.scenario.receptors, self.method.passes)

    @cached_property
    def groups(self) -> Numbers:
        """Return, per law (F), the number of its group in `names`."""
        return np.array([self.names.index(self.group_of(field.law.phase)) for field in self.method.vibration.fields],
                        dtype=np.int64)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Return the groups of phases that take part."""
        found = {self.group_of(field.law.phase) for field in self.method.vibration.fields}
        return tuple(name for name in (OTHER, START_STOP) if name in found)


def work_in(passes: Passes, period: Period | None, holidays: frozenset[object], rule: Rule) -> Work:
    """Return what is done in a period, on days of the rule's season; a block belongs to the day on which it starts."""
    if period is None:
        days, block = np.unique(passes.day, return_inverse=True)
        nothing = np.zeros(len(days))
        blocks = Slots(days, nothing, nothing + DAY_S, np.full(len(days), "day"))
        one, block = np.arange(len(passes.pile)), np.ravel(block)
        seconds, length = passes.end_s - passes.start_s, nothing + DAY_S
    else:
        found = clock_blocks(passes, period, holidays, float(period.length_s))
        one, block = np.nonzero(found.overlap_s > 1e-9)
        seconds, blocks, length = found.overlap_s[one, block], found.slots, found.length_s
    keep = np.flatnonzero(in_season(rule, blocks.day[block]))
    order = keep[np.lexsort((passes.start_s[one[keep]], block[keep]))]
    one, block, seconds = one[order], block[order], seconds[order]
    slots = Slots(blocks.day[block], passes.start_s[one], passes.end_s[one], passes.pile[one].astype(str))
    return Work(one.astype(np.int64), seconds, block.astype(np.int64), slots, blocks, length)


@dataclass(frozen=True, slots=True, eq=False)
class Limits:
    """The limit of every receptor (R) for each group of phases: a curve is read in each group's own band.

    `joint`: status and reasons over all groups; `partial` (R): why a group that isn't judged leaves a doubt, where
    another one is.
    """

    groups: tuple[Applied, ...]
    joint: Applied
    partial: NDArray[np.object_]

    def of_group(self, number: Numbers) -> Applied:
        """Return the limit of the group that governs each receptor (R), with the joint status."""
        rows = np.arange(len(number))
        value = np.stack([one.value for one in self.groups])[number, rows]
        basis = np.stack([one.basis for one in self.groups])[number, rows]
        note = np.stack([one.note for one in self.groups])[number, rows]
        return Applied(value, basis, self.joint.status, self.joint.text, note)


def limits_of(case: Case, affected: Numbers | None = None) -> Limits:
    """Return the limits of a case; `affected` (R): days with notable vibration, for rules that choose by them."""
    found = [_limits(case, name, affected) for name in case.names]
    status = np.stack([one.status for one in found])
    joint = np.where((status == JUDGED).any(axis=0), JUDGED,
                     np.where((status == MISSING).any(axis=0), MISSING, NOT_GOVERNED))
    text = np.full(len(joint), "", dtype=object)
    partial = np.full(len(joint), "", dtype=object)
    for one in reversed(found):
        text = np.where((one.status == joint) & (joint != JUDGED), one.text, text)
        lost = (joint == JUDGED) & (one.status == MISSING)
        partial = np.where(lost, one.text, partial)
    first = found[0]
    return Limits(tuple(found), Applied(first.value, first.basis, joint, text.astype(object), first.note),
                  partial.astype(object))


def _limits(case: Case, group: str, affected: Numbers | None) -> Applied:
    rule, choice = case.rule, case.method.choice
    governed = rule.governs(choice.signal, family=choice.method.family)
    idle = spared(rule, case.method.passes.works)
    band = band_of(choice.method, START_STOP if group == START_STOP else "all")
    by_affected = isinstance(rule.value, Fixed) and rule.value.days_counted == "affected"

    def ask(class_id: str, row: int) -> LimitValue | Missing | NotGoverned:
        if governed is not True:
            return governed
        covered = rule.governs(class_id=class_id)
        if covered is not True:
            return covered
        if idle:
            return NotGoverned(idle)
        days = int(affected[row]) if by_affected and affected is not None else case.method.works_days
        found = rule.limit(class_id, band.low_hz, band.high_hz, band.likely_hz, period_id=case.period_id,
                           signal=choice.signal, days=days)
        return _at_frequency(found, band.low_hz, band.high_hz, group)

    keys: list[object] = [None] * case.run.receptor_count if affected is None or not by_affected else affected.tolist()
    return apply(case.run.classed(case.limit_set.id), keys, ask)


def _at_frequency(found: LimitValue | Missing | NotGoverned, low_hz: float, high_hz: float,
                  group: str) -> LimitValue | Missing | NotGoverned:
    """Return a limit that was read from a curve with what was read said."""
    when = " at start and stop" if group == START_STOP else ""
    if isinstance(found, Missing) and found.fact == "frequency" and when:
        return Missing(found.fact, f"{found.why};{when}")
    if not isinstance(found, LimitValue) or found.frequency_hz is None:
        return found
    note = (f"limit at its least favourable frequency in {low_hz:g} to {high_hz:g} Hz{when}, "
            f"{found.frequency_hz:g} Hz")
    return LimitValue(found.value, found.unit, found.basis, found.citations, found.frequency_hz, found.at_likely,
                      f"{found.note}; {note}" if found.note else note)
