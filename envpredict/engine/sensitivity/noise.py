"""A finding on sound as a function of the unknowns.

Energies of every item of plant are the engine's own, slot by slot; the error of an item's sound power is one draw,
shared by all places, piles, days and methods that use it. Items are added up on energy in every draw.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.chances.judge_rule import in_season
from envpredict.engine.noise.baseline import NOT_MEASURED, Baseline, measured
from envpredict.engine.noise.levels import MAXIMA, PREDICTED, RuleLevels, levels_of
from envpredict.engine.sensitivity.draws import triangular
from envpredict.engine.sensitivity.question import SMALLEST_LEVEL, Question, Unsampled
from envpredict.engine.sensitivity.response import Programme, Response, Uniform, averaged, deviation, merged, pace_of
from envpredict.engine.sensitivity.unknowns import BACKGROUND, BACKGROUND_U_DB, NORMAL, SPREAD, Unknown
from envpredict.engine.sound.indoor import WINDOW_U
from envpredict.engine.sound.method import ON_TIME_RELATIVE_SD, ON_TIME_SOURCE, SPREAD_OF_MAXIMUM
from envpredict.engine.works.programme import SPEEDS, Speed
from envpredict.limits.adjust import WorksDays
from envpredict.limits.outcome import LimitValue, Missing
from envpredict.limits.values import BackgroundCategory, BackgroundPlus
from envpredict.models.noise.uncertainty import PROPAGATION, SCREENING

if TYPE_CHECKING:
    from envpredict.engine.noise.slots import Heard
    from envpredict.engine.run import MethodRun
    from envpredict.methods.fields import PlantUse

Floats = NDArray[np.float64]
MERGED_DB = 0.1
FAINT_DB = 20.0
"""Items so far below the sum don't tell slots apart."""
BACKGROUND_STEP_DB, BACKGROUND_REACH = 0.25, 4.0
OWN = "daily"


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """What is heard in slots (S): energies (I, S) of the sources, `way_db`, `own_db` (S), and what is added in dB.

    `gain_db` (I, 3): what low, likely and high on-times do to each source; `limit_db` the threshold for each shift of
    the background in `shifts`.
    """

    energy: Floats
    way_db: Floats
    own_db: Floats
    count: Floats
    add_db: float
    room_db: float
    gain_db: Floats
    shifts: Floats
    limit_db: Floats
    levels: RuleLevels


def _at_point(heard: Heard, levels: RuleLevels, row: int) -> Floats:
    """Return (I, S) the energies at the points that the receptor is judged at."""
    return np.asarray(heard.energy[:, levels.at.point[row], np.arange(levels.at.point.shape[1])])


def _on_time(question: Question, method: MethodRun, levels: RuleLevels, use_of: Callable[[PlantUse], float]) -> Floats:
    """Return (I) what other on-times of all items do to the highest energy of each, in dB; 0 where they do nothing."""
    sound = levels.sound
    other = replace(sound, kept={}, items=tuple(
        replace(item, use=item.use.model_copy(update={"on_time_fraction": use_of(item.use)})) for item in sound.items))
    heard = PREDICTED[question.rule.quantity or ""](question.run, method, other, question.period)
    if isinstance(heard, Missing):
        return np.zeros(len(levels.heard.names))
    if question.rule.season is not None:
        heard = heard.take(in_season(question.rule, heard.slots.day))
    point = levels.at.point[question.row]
    here = int(np.bincount(point).argmax())
    before = levels.heard.energy[:, here].max(axis=1)
    after = heard.energy[:, here].max(axis=1)
    both = (before > 0.0) & (after > 0.0)
    return np.where(both, 10.0 * np.log10(np.where(both, after, 1.0) / np.where(both, before, 1.0)), 0.0)


def _table(question: Question, speed: Speed) -> Table:
    method = question.at(speed)
    levels = levels_of(question.run, method, question.rule, question.period)
    if isinstance(levels, Missing) or not len(levels.at.series.slots):
        raise Unsampled("nothing is heard, or could be predicted, under one of the programmes")
    row, heard = question.row, levels.heard
    energy = _at_point(heard, levels, row)
    point, slot = levels.at.point[row], np.arange(levels.at.point.shape[1])
    gains = [np.zeros(len(energy)) for _ in range(3)]
    gains[0] = _on_time(question, method, levels, lambda use: use.on_time_low)
    gains[2] = _on_time(question, method, levels, lambda use: use.on_time_high)
    shifts, limits = _limits(question, method)
    return Table(energy, heard.way_u_db[point, slot], levels.at.series.own[row], np.ones(len(slot)),
                 float(levels.step.add_db + levels.adjust_db), levels.step.u_db,
                 np.stack(gains, axis=1), shifts, question.threshold_db(limits), levels)


def _baseline(question: Question) -> Baseline | None:
    """Return the background that the limit follows, None where it follows none."""
    if question.period is None or not isinstance(question.rule.value, BackgroundCategory | BackgroundPlus):
        return None
    found = measured(question.run.scenario, question.period).get(str(question.finding["receptor"]), NOT_MEASURED)
    return None if found.laeq_db is None and found.la90_db is None else found


def _limits(question: Question, method: MethodRun) -> tuple[Floats, Floats]:
    """Return shifts of the background in dB, and the limit for each; one shift of 0 where it follows none."""
    rule, finding = question.rule, question.finding
    by_days = (any(isinstance(one, WorksDays) for one in rule.adjustments)
               or any(row.by_days for row in getattr(rule.value, "rows", ())))
    period_id = None if question.period is None else question.period.id
    base = _baseline(question)
    if base is not None:
        reach = BACKGROUND_REACH * BACKGROUND_U_DB
        shifts = np.linspace(-reach, reach, round(2.0 * reach / BACKGROUND_STEP_DB) + 1)
        found = [rule.limit_from_background(
            str(finding["class"]), period_id, None if base.laeq_db is None else base.laeq_db + shift,
            None if base.la90_db is None else base.la90_db + shift, base.position,
            days=method.works_days if by_days else None) for shift in shifts.tolist()]
        return shifts, np.array([one.value if isinstance(one, LimitValue) else np.inf for one in found])
    if by_days:
        one = rule.limit(str(finding["class"]), period_id=period_id, signal=method.choice.signal,
                         days=method.works_days)
        return np.zeros(1), np.array([one.value if isinstance(one, LimitValue) else np.inf])
    return np.zeros(1), np.array([float(finding["limit"])])


def _thinned(table: Table) -> Table:
    """Return a table without slots that never come near the loudest, and with slots that are alike as one."""
    with np.errstate(divide="ignore"):
        levels, total = 10.0 * np.log10(table.energy), 10.0 * np.log10(table.energy.sum(axis=0))
    near = np.flatnonzero(total + SMALLEST_LEVEL * table.own_db > total.max())
    keys = np.concatenate([np.maximum(levels[:, near], total[near] - FAINT_DB), table.way_db[None, near],
                           table.own_db[None, near]])
    of, count = merged(keys, MERGED_DB)
    return replace(table, energy=averaged(table.energy[:, near], of, count), count=count,
                   way_db=averaged(table.way_db[near], of, count), own_db=averaged(table.own_db[near], of, count))


@dataclass(frozen=True, slots=True, eq=False)
class _Names:
    """Ids of the unknowns of a response: power and on-time of each source, way, room and background."""

    source: tuple[str, ...]
    on_time: tuple[str, ...]
    way: str
    room: str
    background: str


def _programme(question: Question, table: Table, names: _Names) -> Programme:
    u_db, items = table.levels.heard.u_db, table.levels.sound.items

    def gain_db(uniform: Uniform, count: int) -> Floats:
        """Return (n, I) what each source's power and on-time add."""
        gain = np.stack([u * deviation(uniform, name, count) for u, name in zip(u_db, names.source, strict=True)], 1)
        for number, item in enumerate(items):
            draw = uniform.get(names.on_time[number])
            if draw is not None and np.ptp(table.gain_db[number]) > 0.0:
                use = item.use
                at = (use.on_time_low, use.on_time_fraction, use.on_time_high)
                gain[:, number] += np.interp(np.log(triangular(draw, *at)), np.log(at), table.gain_db[number])
        return gain

    def levels(uniform: Uniform, count: int) -> tuple[Floats, Floats]:
        total = 10.0 ** (gain_db(uniform, count) / 10.0) @ table.energy
        with np.errstate(divide="ignore"):
            level = 10.0 * np.log10(total) + table.add_db
        level += table.way_db * deviation(uniform, names.way, count)[:, None]
        level += table.room_db * deviation(uniform, names.room, count)[:, None]
        return level, np.broadcast_to(table.own_db, level.shape)

    def threshold_db(uniform: Uniform, count: int) -> Floats:
        shift = BACKGROUND_U_DB * deviation(uniform, names.background, count)
        nearest = np.rint((shift - table.shifts[0]) / BACKGROUND_STEP_DB).astype(np.intp)
        return np.asarray(table.limit_db[np.clip(nearest, 0, len(table.shifts) - 1)])

    return Programme(levels, threshold_db, table.count, question.trigger(table.levels.at.series.slots))


def _unknowns(question: Question, tables: dict[Speed, Table], names: _Names) -> tuple[Unknown, ...]:
    table, receptor = tables["likely"], question.finding["receptor"]
    heard, items = table.levels.heard, table.levels.sound.items
    shares = table.energy.max(axis=1) / table.energy.sum(axis=0).max()
    found: dict[str, Unknown] = {}
    for number, name in enumerate(names.source):
        if shares[number] <= 0.0:
            continue
        source = items[number].field.plant.u_citation if number < len(items) else \
            table.levels.sound.others[number - len(items)][0].plant.u_citation
        found[name] = Unknown(name, "source", f"sound power of {heard.names[number]}",
                              f"{NORMAL} {heard.u_db[number]:g} dB", (source,))
        if number < len(items) and any(np.ptp(one.gain_db[number]) > 0.0 for one in tables.values()):
            use = items[number].use
            found[names.on_time[number]] = Unknown(
                names.on_time[number], "on_time",
                f"mean on-time of {heard.names[number]} in {question.method.choice.id}",
                f"triangular, {100 * use.on_time_low:.0f} to {100 * use.on_time_high:.0f} % of a pile's cycle, most "
                f"likely {100 * use.on_time_fraction:.0f} %", (use.citation, SPREAD))
    way = float(table.way_db[table.energy.sum(axis=0).argmax()])
    found[names.way] = Unknown(names.way, "way", f"way of sound to {receptor}", f"{NORMAL} {way:.1f} dB",
                               (PROPAGATION, SCREENING))
    maxima = question.rule.quantity in MAXIMA
    found[OWN] = Unknown(OWN, "daily", "on-time from day to day, and single maxima",
                         f"{NORMAL} {table.own_db.max():.1f} dB, each slot its own"
                         + ("" if maxima else f" ({100 * ON_TIME_RELATIVE_SD:.0f} % of the on-time)"),
                         (SPREAD_OF_MAXIMUM if maxima else ON_TIME_SOURCE,))
    if table.room_db:
        found[names.room] = Unknown(names.room, "room", f"sound through a window at {receptor}",
                                    f"{NORMAL} {table.room_db:g} dB", (WINDOW_U,))
    if len(table.shifts) > 1:
        found[names.background] = Unknown(names.background, "background", f"background at {receptor}",
                                          f"{NORMAL} {BACKGROUND_U_DB:g} dB", (BACKGROUND,))
    return tuple(found.values())


def noise_response(question: Question) -> Response:
    """Return a finding on sound as a function of the unknowns. Raises Unsampled."""
    tables = {speed: _table(question, speed) for speed in SPEEDS}
    choice, levels = question.method.choice, tables["likely"].levels
    if question.trigger(levels.at.series.slots) is None:
        tables = {speed: _thinned(table) for speed, table in tables.items()}
    ids = [item.field.plant.id for item in levels.sound.items] + [source.plant.id for source, _ in levels.sound.others]
    receptor = question.finding["receptor"]
    names = _Names(tuple(f"source:{name}" for name in ids), tuple(f"on_time:{choice.id}:{name}" for name in ids),
                   f"way:{receptor}", f"room:{receptor}", f"background:{receptor}")
    pace = pace_of(choice.id, tuple(str(rate.citation) for rate in choice.method.rates.values()))
    likely = question.judged_on({speed: float(np.interp(0.0, table.shifts, table.limit_db)) if len(table.shifts) > 1
                                 else float(table.limit_db[0]) for speed, table in tables.items()})
    return Response((*_unknowns(question, tables, names), pace), OWN, pace.id, likely,
                    {speed: _programme(question, table, names) for speed, table in tables.items()})
