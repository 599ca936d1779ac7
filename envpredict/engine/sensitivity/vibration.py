"""A finding on vibration as a function of the unknowns.

The engine itself is asked for the levels in a few states of the ground and of the energy, under each programme; between
them nothing is computed anew. Each pile stands in the ground of its nearest borehole, so the states of boreholes
combine pile by pile. The error of a law is one draw for the site, shared by all methods that are predicted by it.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from envpredict.core.quantities import POSITIONS
from envpredict.engine.sensitivity.draws import triangular
from envpredict.engine.sensitivity.question import SMALLEST_LEVEL, Question, Unsampled
from envpredict.engine.sensitivity.response import Programme, Response, Uniform, averaged, deviation, merged, pace_of
from envpredict.engine.sensitivity.unknowns import NORMAL, SPREAD, STRENGTH, STRENGTH_CV, Unknown
from envpredict.engine.vibration.levels import reference
from envpredict.engine.vibration.rules import Examined, examine
from envpredict.engine.works.programme import SPEEDS, Speed
from envpredict.ground.ground import Ground
from envpredict.models.vibration.building_response import SCATTER

if TYPE_CHECKING:
    from envpredict.engine.run import MethodRun, Run
    from envpredict.engine.vibration.field import LawField

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
STRENGTHS = 5
"""States of the ground: the middles of so many equal slices of probability."""
MERGED = 0.125
"""Slots whose levels agree within this share of their own scatter count as one, at their mean."""
OWN = "within"


def strength_factors() -> Floats:
    """Return (K) the factors on the strength of the ground, from the weakest to the strongest; the middle one is 1."""
    z = ndtri((np.arange(STRENGTHS) + 0.5) / STRENGTHS)
    return np.asarray(np.exp(np.sqrt(np.log(1.0 + STRENGTH_CV**2)) * z))


def with_strength(ground: Ground, factor: float) -> Ground:
    """Return the ground with N, undrained and unconfined strengths times a factor."""
    strata = ground.strata
    return Ground(replace(strata, n=strata.n * factor, cu_kpa=strata.cu_kpa * factor, ucs_mpa=strata.ucs_mpa * factor))


def energies_kj(method: MethodRun) -> tuple[float, float, float] | None:
    """Return low, likely and high energy of a candidate in kJ; None where it has none or the scenario states it."""
    choice, energy = method.choice, method.choice.method.energy
    if energy is None or choice.energy_j is None or "energy_kj" in choice.stated or energy.low_kj == energy.high_kj:
        return None
    likely = choice.energy_j / 1000.0
    return (energy.low_kj, likely, energy.high_kj) if energy.low_kj <= likely <= energy.high_kj else None


@dataclass(frozen=True, eq=False)
class States:
    """A candidate in every state (K strengths, E energies); `examined` keeps what a rule came to in each."""

    methods: tuple[tuple[MethodRun, ...], ...]
    energies: tuple[float, float, float] | None
    kept: dict[object, Examined] = field(default_factory=dict)

    @classmethod
    def of(cls, run: Run, method: MethodRun) -> States:
        """Return the states of a candidate at the receptors of a run."""
        ground = run.drive.ground
        runs = [run] if ground is None else [
            run if number == STRENGTHS // 2 else
            replace(run, drive=replace(run.drive, ground=with_strength(ground, float(factor))), _classed={})
            for number, factor in enumerate(strength_factors())]
        energies = energies_kj(method)
        choices = [method.choice] if energies is None else [replace(method.choice, energy_j=1000.0 * kj)
                                                            for kj in energies]
        return cls(tuple(tuple(replace(method.at(one), choice=choice, _made={}) for choice in choices)
                         for one in runs), energies)

    def examined(self, question: Question, speed: Speed, strength: int, energy: int) -> Examined:
        """Return what the question's rule comes to in a state."""
        key = (question.limit_set.id, question.rule.id, question.rule.effect,
               None if question.period is None else question.period.id, speed, strength, energy)
        if key not in self.kept:
            method = question.at(speed, self.methods[strength][energy])
            self.kept[key] = examine(method.run, method, question.limit_set, question.rule, question.period)
        return self.kept[key]


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """Levels of slots (S) in dB by strength (K) and energy (E): arrays (K, E, S); `hole` (S) borehole of each.

    `law` numbers the laws of the study; `step_db`: scatter of the step into the building.
    """

    level: Floats
    shared: Floats
    own: Floats
    law: Ints
    hole: Ints
    count: Floats
    step_db: float
    threshold_db: float
    seen: Examined


def _table(question: Question, states: States, speed: Speed, laws: list[LawField]) -> Table:
    grid = [[states.examined(question, speed, k, e) for e in range(len(row))] for k, row in enumerate(states.methods)]
    base = grid[len(grid) // 2][len(grid[0]) // 2]
    arrays: dict[str, list[list[NDArray[np.float64]]]] = {name: [] for name in ("level", "shared", "own", "law")}
    spot = int(base.spots.of[question.row])
    step_db = 20.0 * float(base.way.scatter[spot])
    for row in grid:
        for listed in arrays.values():
            listed.append([])
        for seen in row:
            if seen.levels is None or base.levels is None or not len(seen.levels.series.slots):
                raise Unsampled("nothing could be predicted in one of the states of the ground")
            series = seen.levels.series
            if len(series.slots) != len(base.levels.series.slots):
                raise Unsampled("the slots of time change with the state of the ground")
            size = 1.0 if question.decibel else 20.0
            joint = size * series.shared[spot]
            arrays["level"][-1].append(question.in_db(series.median[spot]))
            arrays["shared"][-1].append(np.sqrt(np.maximum(joint**2 - step_db**2, 0.0)))
            arrays["own"][-1].append(size * series.own[spot])
            arrays["law"][-1].append(_law_numbers(seen, spot, laws))
    level, shared, own, law = (np.array(arrays[name]) for name in arrays)
    if np.isnan(level).any():
        raise Unsampled("the ground isn't known well enough for the law")
    assert base.levels is not None
    hole = np.asarray(question.run.drive.borehole[base.levels.pile[spot]], dtype=np.intp)
    limit = reference(np.stack([one.value[base.spots.rows] for one in base.limits.groups]))[[spot]]
    threshold = float(question.threshold_db(limit)[0])
    return Table(level, shared, own, law.astype(np.intp), hole, np.ones(len(hole)), step_db, threshold, base)


def _law_numbers(seen: Examined, spot: int, laws: list[LawField]) -> Floats:
    """Return (S) the number of each slot's law in the list, which grows by laws that aren't in it yet."""
    assert seen.levels is not None
    number = []
    for one in seen.case.method.vibration.fields:
        known = [law.spec.id for law in laws]
        if one.spec.id not in known:
            laws.append(one)
            known.append(one.spec.id)
        number.append(known.index(one.spec.id))
    return np.asarray(np.array(number, dtype=float)[seen.levels.field[spot]])


def _thinned(table: Table) -> Table:
    """Return a table without slots that never come near the highest, and with slots that are alike as one."""
    flat = table.level.reshape(-1, table.level.shape[-1])
    best = float(flat.min(axis=0).max())
    near = np.flatnonzero(flat.max(axis=0) + SMALLEST_LEVEL * table.own.max(axis=(0, 1)) > best)
    parts = [part[..., near] for part in (table.level, table.shared, table.own)]
    step = max(MERGED * float(parts[2].min()), 0.01)
    keys = np.concatenate([part.reshape(-1, len(near)) for part in
                           (*parts, step * table.law[..., near], step * table.hole[None, near])])
    of, count = merged(keys, step)
    level, shared, own = (averaged(part, of, count) for part in parts)
    first = near[np.unique(of, return_index=True)[1]]
    return replace(table, level=level, shared=shared, own=own, law=table.law[..., first], hole=table.hole[first],
                   count=count)


@dataclass(frozen=True, slots=True, eq=False)
class _Names:
    """Ids of the unknowns of a response: of each law, each borehole, the step and the energy."""

    laws: tuple[str, ...]
    holes: tuple[str, ...]
    step: str
    energy: str


def _programme(question: Question, table: Table, states: States, names: _Names) -> Programme:
    likely = table.level.shape[1] // 2
    energies = states.energies
    column = np.arange(table.level.shape[-1])[None, :]

    def levels(uniform: Uniform, count: int) -> tuple[Floats, Floats]:
        k = _strengths(uniform, names.holes, table, count)
        low, share = _between(energies, uniform.get(names.energy), likely, count)
        level = table.level[k, low[:, None], column]
        if share.any():
            level = (1.0 - share[:, None]) * level + share[:, None] * table.level[k, low[:, None] + 1, column]
        nearest = (low + (share > 0.5))[:, None]
        errors = np.stack([deviation(uniform, name, count) for name in names.laws], axis=1)
        law = np.take_along_axis(errors, table.law[k, nearest, column], axis=1)
        level = level + table.shared[k, nearest, column] * law
        level += table.step_db * deviation(uniform, names.step, count)[:, None]
        return np.asarray(level), np.asarray(table.own[k, nearest, column])

    def threshold_db(uniform: Uniform, count: int) -> Floats:
        return np.full(count, table.threshold_db)

    assert table.seen.levels is not None
    return Programme(levels, threshold_db, table.count, question.trigger(table.seen.levels.series.slots))


def _strengths(uniform: Uniform, holes: tuple[str, ...], table: Table, count: int) -> Ints:
    """Return (n, S) the state of the ground of every slot; (n, 1) where no borehole is sampled."""
    states = table.level.shape[0]
    sampled = [number for number, name in enumerate(holes) if name in uniform]
    if not sampled:
        return np.full((count, 1), states // 2, dtype=np.intp)
    strength = np.full((count, len(holes)), states // 2, dtype=np.intp)
    for number in sampled:
        strength[:, number] = (uniform[holes[number]] * states).astype(np.intp)
    return strength[:, table.hole]


def _between(energies: tuple[float, float, float] | None, draw: Floats | None, likely: int,
             count: int) -> tuple[Ints, Floats]:
    """Return (count) the state of energy below each draw, and how far towards the next one it lies in its logarithm."""
    if energies is None or draw is None:
        return np.full(count, likely, dtype=np.intp), np.zeros(count)
    at = np.log10(energies)
    value = np.log10(triangular(draw, *energies))
    place = np.interp(value, at, np.arange(3.0))
    low = np.minimum(place.astype(np.intp), 1)
    return low, place - low


def _unknowns(question: Question, tables: dict[Speed, Table], states: States, laws: list[LawField],
              names: _Names) -> tuple[Unknown, ...]:
    found = []
    used = np.unique(np.concatenate([table.law.ravel() for table in tables.values()]))
    for number in used.tolist():
        one = laws[number]
        scatter = one.spec.scatter
        assert scatter is not None
        found.append(Unknown(names.laws[number], "law", f"error of law '{one.spec.id}' on this ground",
                             f"{NORMAL} {one.shared:.3g} in log10 units", (scatter.source,)))
    within = max((laws[number] for number in used.tolist()), key=lambda one: one.own)
    scatter = within.spec.scatter
    assert scatter is not None
    found.append(Unknown(OWN, "within", "pile to pile", f"{NORMAL} of the law, about {within.own:.3g} in log10 units, "
                         "each pile its own", (scatter.source,)))
    found += _ground(question, tables, names)
    if any(table.step_db for table in tables.values()):
        place, name = POSITIONS[question.rule.place], question.finding["receptor"]
        word = question.rule.place.replace("_", " ")
        found.append(Unknown(names.step, "building", f"response of the building at {name}, ground to {word}",
                             f"{NORMAL} {tables['likely'].step_db / 20.0:.3g} in log10 units, {place}", (SCATTER,)))
    energy = question.method.choice.method.energy
    if states.energies is not None and energy is not None and any(np.ptp(table.level, axis=1).any()
                                                                  for table in tables.values()):
        low, likely, high = states.energies
        found.append(Unknown(names.energy, "energy", f"energy of {question.method.choice.id}",
                             f"triangular, {low:g} to {high:g} kJ, most likely {likely:g}", (energy.citation, SPREAD)))
    return tuple(found)


def _ground(question: Question, tables: dict[Speed, Table], names: _Names) -> list[Unknown]:
    """Return the boreholes whose strength moves the level of a slot."""
    ground = question.run.drive.ground
    if ground is None:
        return []
    moved = {int(hole) for table in tables.values()
             for hole in np.unique(table.hole[(np.ptp(table.level, axis=0) > 1e-9).any(axis=0)])}
    spread = f"lognormal factor, coefficient of variation {STRENGTH_CV:g}"
    return [Unknown(names.holes[hole], "ground", f"ground at the piles nearest to borehole {ground.strata.names[hole]}",
                    spread, (STRENGTH,)) for hole in sorted(moved)]


def vibration_response(question: Question, states: States) -> Response:
    """Return a finding on vibration as a function of the unknowns. Raises Unsampled."""
    laws: list[LawField] = []
    tables = {speed: _table(question, states, speed, laws) for speed in SPEEDS}
    if question.trigger(tables["likely"].seen.levels.series.slots) is None:  # type: ignore[union-attr]
        tables = {speed: _thinned(table) for speed, table in tables.items()}
    ground = question.run.drive.ground
    names = _Names(tuple(f"law:{one.spec.id}" for one in laws),
                   () if ground is None else tuple(f"ground:{name}" for name in ground.strata.names),
                   f"building:{question.finding['receptor']}:{question.rule.place}",
                   f"energy:{question.method.choice.id}")
    choice = question.method.choice
    pace = pace_of(choice.id, tuple(str(rate.citation) for rate in choice.method.rates.values()))
    likely = question.judged_on({speed: table.threshold_db for speed, table in tables.items()})
    return Response((*_unknowns(question, tables, states, laws, names), pace), OWN, pace.id, likely,
                    {speed: _programme(question, table, states, names) for speed, table in tables.items()})
