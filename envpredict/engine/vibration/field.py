"""Ground vibration of every pile at every receptor: laws evaluated on the distance and the ground that each demands."""

from __future__ import annotations

import inspect
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import Basis, weakest
from envpredict.core.registry import Registry
from envpredict.engine.geometry import slope_distance_m
from envpredict.engine.learned.use import Trial, settled, updated
from envpredict.engine.works.soil import UNKNOWN, Drives, shallowest

if TYPE_CHECKING:
    from envpredict.engine.works.choices import MethodChoice
    from envpredict.methods.fields import LawUse
    from envpredict.models.spec import ModelSpec

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
LEAST_TOE_DEPTH_M = 1.0
HARD_GROUND = "hard_ground"
"""The role of a law that counts only in hard ground, and the ground scheme that tells where that is."""
BESIDE = "hard_ground_beside"
"""The role of such a law where the scenario has chosen another one: it's shown, and doesn't govern."""
SET_ASIDE = ("the scenario chose this law: in hard ground that for refusal, by the distance to the toe, is shown among "
             "the others and doesn't govern")
START_STOP_OVER_RUNNING = 2.0
"""A vibrator's start and stop against its running level: the main phase is at most half (California DOT 2013, read)."""

TWICE = "start and stop: twice the running level"


@dataclass(frozen=True, slots=True, eq=False)
class LawField:
    """One law at receptors (R) and piles (P).

    `log_median` (R, P): log10 of the median of the worst step of each pile's drive, NaN where the ground isn't known
    well enough for the law; `depth_m` (R, P): toe depth of that step, NaN for laws that don't know depth; `in_range`
    (R, P); `word` (R, P): the ground's word at that step, empty for laws blind to ground; `option`: the law's argument
    that takes the word; `trial`: what trial records of the site have made of it.
    """

    law: LawUse
    spec: ModelSpec
    quantity: str
    log_median: Floats
    depth_m: Floats
    in_range: Flags
    word: NDArray[np.str_]
    shared: float
    own: float
    median_basis: Basis
    basis: Basis
    unproven: str
    notes: tuple[str, ...] = ()
    option: str = ""
    trial: Trial | None = None

    def at_rows(self, rows: NDArray[np.intp]) -> LawField:
        """Return the law at some receptors, in their order."""
        return replace(self, log_median=self.log_median[rows], depth_m=self.depth_m[rows], in_range=self.in_range[rows],
                       word=self.word[rows], trial=None if self.trial is None else self.trial.at_rows(rows))


def _ground_option(spec: ModelSpec, law: LawUse, schemes: Sequence[str]) -> str | None:
    """Return the option of the law that is a ground scheme and isn't fixed by the method, or None."""
    for name in spec.options:
        if name in schemes and name not in law.parameters:
            return name
    return None


def _default_word(spec: ModelSpec, option: str) -> str | None:
    """Return the word that the document itself gives for unknown ground, or None."""
    default = inspect.signature(spec.function).parameters[option].default
    return None if default is inspect.Parameter.empty or default is None else str(default)


def _words_to_try(spec: ModelSpec, law: LawUse, option: str | None,
                  drive: Drives) -> list[tuple[str | None, Floats, bool]]:
    """Return the (word, least toe depth per pile, assumed) that the drive passes through."""
    deep_enough = drive.within & (drive.depth_m >= LEAST_TOE_DEPTH_M - 1e-9)
    if law.role in (HARD_GROUND, BESIDE):
        return [(None, shallowest(drive.words(HARD_GROUND), deep_enough, drive.depth_m, "hard"), False)]
    if option is None:
        first = np.where(deep_enough.any(axis=1), drive.depth_m[deep_enough.argmax(axis=1)], drive.length_m)
        return [(None, first, False)]
    words = drive.words(option)
    found: list[tuple[str | None, Floats, bool]] = []
    for word in np.unique(words[drive.within]):
        depth = shallowest(words, deep_enough, drive.depth_m, str(word))
        if word == UNKNOWN:
            default = _default_word(spec, option)
            if default is not None:
                found.append((default, depth, True))
        else:
            found.append((str(word), depth, False))
    return found


def _unproven(law: LawUse, spec: ModelSpec, bases: Sequence[Basis]) -> str:
    """Return why the law can't carry the word `unlikely`, or an empty text."""
    if law.estimate or "estimate" in spec.flags or weakest(bases) == "estimate":
        return "the law is an estimate without published measurements"
    if law.proxy or "proxy" in spec.flags:
        return "the law was fitted on another method"
    return ""


def evaluate(spec: ModelSpec, law: LawUse, choice: MethodChoice, drive: Drives, plan_m: Floats,
             schemes: Sequence[str]) -> LawField:
    """Return one law at every receptor and pile; plan_m: (R, P), the distance to the nearest part of the receptor.

    For every word of the ground that a drive passes through, the law is taken at the least toe depth with that word:
    every law falls with distance, so that step is the word's worst. The highest of the words governs.
    """
    shape = plan_m.shape
    best = np.full(shape, np.nan)
    depth_of = np.full(shape, np.nan)
    inside = np.zeros(shape, dtype=bool)
    word_of = np.full(shape, "", dtype="U24")
    notes: list[str] = []
    option = _ground_option(spec, law, schemes)
    for word, depth, assumed in _words_to_try(spec, law, option, drive):
        piles = np.flatnonzero(np.isfinite(depth))
        if not piles.size:
            continue
        near = plan_m[:, piles]
        distance = slope_distance_m(near, depth[piles]) if spec.distance == "slope" else near
        inputs: dict[str, Any] = {**law.parameters, **({} if option is None or word is None else {option: word})}
        if "energy_j" in spec.inputs and choice.energy_j is not None:
            inputs["energy_j"] = choice.energy_j
        if "depth_m" in spec.inputs:
            inputs["depth_m"] = depth[piles]
        median = np.asarray(spec.median(spec(distance_m=distance, **inputs))) * law.factor
        with np.errstate(divide="ignore"):
            level = np.log10(median)
        if assumed:
            notes.append(f"ground class unknown: {option} '{word}', the document's own default")
        better = ~(best[:, piles] >= level)
        rows, columns = np.nonzero(better)
        at = (rows, piles[columns])
        best[at] = level[better]
        depth_of[at] = depth[at[1]] if spec.distance == "slope" or "depth_m" in spec.inputs else np.nan
        inside[at] = np.broadcast_to(_in_range(spec, distance, depth[piles], choice, inputs), level.shape)[better]
        word_of[at] = word or ""
    scatter = spec.scatter
    if scatter is None:
        raise ValueError(f"model '{spec.id}' declares no scatter and can't predict a level")
    bases: list[Basis] = [spec.basis, *([law.citation.basis] if law.parameters or law.factor != 1.0 else [])]
    weakest_all = weakest([*bases, scatter.source.basis, law.citation.basis,
                           *([choice.energy_source.basis] if choice.energy_source else [])])
    field = LawField(law, spec, spec.quantity, best, depth_of, inside, word_of, scatter.between_site,
                     scatter.within_site, weakest(bases), weakest_all, _unproven(law, spec, bases), tuple(notes),
                     option or "")
    return updated(field, choice, drive, plan_m)


def _in_range(spec: ModelSpec, distance_m: Floats, depth_m: Floats, choice: MethodChoice,
              inputs: Mapping[str, Any]) -> Flags:
    """Return whether the law is valid at each receptor and pile; what a range asks for and nobody knows is outside."""
    known: dict[str, Any] = {"energy_j": np.nan if choice.energy_j is None else choice.energy_j,
                             "frequency_hz": choice.method.frequency.likely_hz, "depth_m": depth_m}
    known |= {name: value for name, value in inputs.items() if not isinstance(value, str)}
    asked = {name: known.get(name, np.nan) for name in spec.range_inputs if name != "distance_m"}
    return np.asarray(spec.in_range(distance_m=distance_m, **asked))


@dataclass(frozen=True, slots=True, eq=False)
class GroundVibration:
    """The governing ground vibration of one method: receptors (R) x piles (P), or x passes (N) after `of`.

    `log_median` is log10 mm/s of the governing law and phase; `field` indexes `fields`, the law and phase that gives
    it. `members`: the numbers of the fields that take part in each stage; `stages`: the same for each stage of the
    method alone, where it has several.
    """

    quantity: str
    log_median: Floats
    shared: Floats
    own: Floats
    in_range: Flags
    field: NDArray[np.int64]
    fields: tuple[LawField, ...]
    members: tuple[NDArray[np.intp], ...] = ()
    stages: tuple[GroundVibration, ...] = ()

    def of(self, pile: NDArray[np.int64], stage: NDArray[np.int64]) -> GroundVibration:
        """Return the vibration of passes (N), each of a pile and a stage: arrays (R, N) instead of (R, P)."""
        own = self.stages or (self,)

        def at(name: str) -> NDArray[Any]:
            found = getattr(own[0], name)[:, pile]
            for number, one in enumerate(own[1:], 1):
                found = np.where(stage == number, getattr(one, name)[:, pile], found)
            return np.asarray(found)

        return replace(self, log_median=at("log_median"), shared=at("shared"), own=at("own"),
                       in_range=at("in_range"), field=at("field"), stages=())

    def weighed(self, gain: Floats) -> GroundVibration:
        """Return the vibration with the law and phase that governs once each has been given its own gain.

        gain (F, R): added to log10 of the median before the highest is looked for (a conversion, less a limit that
        differs from phase to phase); minus infinity leaves a field out. `log_median` stays as the law gives it.
        """
        # a gain that all fields share changes nothing
        if len(self.fields) == 1 or (gain == gain[:1]).all():
            return self
        return _governing(self.fields, self.members, gain)

    def at_rows(self, rows: NDArray[np.intp]) -> GroundVibration:
        """Return the vibration at some receptors, in their order; one may be asked for more than once."""
        fields = tuple(field.at_rows(rows) for field in self.fields)
        return replace(self, log_median=self.log_median[rows], shared=self.shared[rows], own=self.own[rows],
                       in_range=self.in_range[rows], field=self.field[rows], fields=fields,
                       stages=tuple(stage.at_rows(rows) for stage in self.stages))


def _phases(choice: MethodChoice) -> list[LawUse]:
    """Return the laws of every stage and phase that take part, in the method's order."""
    return [law for law in choice.laws if law.role in ("preferred", HARD_GROUND)
            and not (law.phase == "start_stop" and choice.method.zero_moment)]


def _doubled(running: LawField, gain: float) -> LawField:
    """Return the running level doubled: start and stop reach at least that much, whatever the start-up law says.

    `gain`: what reductions do to start and stop beside what they do to running.
    """
    return replace(running, law=running.law.model_copy(update={"phase": "start_stop"}),
                   log_median=running.log_median + np.log10(START_STOP_OVER_RUNNING * gain),
                   notes=(*running.notes, TWICE), trial=None if running.trial is None else running.trial.doubled())


def ground_vibration(choice: MethodChoice, models: Registry[ModelSpec], drive: Drives, plan_m: Floats,
                     schemes: Sequence[str]) -> GroundVibration:
    """Return the highest of the method's phases for every receptor and pile.

    A vibrator's start and stop count as the higher of the printed start-up law and twice the running level, and are
    left out only for a machine that runs up and down with zero moment.
    """
    fields = [evaluate(models[law.model], law, choice, drive, plan_m, schemes) for law in _phases(choice)]
    if any(field.law.phase == "start_stop" for field in fields):
        fields += [_doubled(field, choice.start_stop_gain) for field in fields if field.law.phase == "running"]
    fields = [_beside_hard(field, choice, drive) for field in settled(fields, TWICE)]
    stages = [stage.id for stage in choice.method.stages]
    members = [np.flatnonzero([field.law.stage == stage for field in fields]) for stage in stages]
    # a stage without a law of its own counts as the worst of the others
    known = tuple(some if some.size else np.arange(len(fields)) for some in members)
    return _governing(tuple(fields), known, np.zeros((len(fields), plan_m.shape[0])))


def _beside_hard(field: LawField, choice: MethodChoice, drive: Drives) -> LawField:
    """Return a law that the scenario chose with what that sets aside, where the drives enter hard ground."""
    aside = any(law.role == BESIDE and (law.stage, law.phase) == (field.law.stage, field.law.phase)
                for law in choice.laws)
    if not aside or not bool(((drive.words(HARD_GROUND) == "hard") & drive.within).any()):
        return field
    return replace(field, notes=(*field.notes, SET_ASIDE))


def _governing(fields: tuple[LawField, ...], members: tuple[NDArray[np.intp], ...], gain: Floats) -> GroundVibration:
    """Return the highest of all fields, and of those of each stage, each lifted by its own gain (F, R)."""
    alone = tuple(_highest(fields, some, gain) for some in members) if len(members) > 1 else ()
    return replace(_highest(fields, np.arange(len(fields)), gain), members=members, stages=alone)


def _highest(fields: tuple[LawField, ...], members: NDArray[np.intp], gain: Floats) -> GroundVibration:
    """Return the highest of some of the fields for every receptor and pile; `field` counts in all of them."""
    quantities = {field.quantity for field in fields}
    some = [fields[number] for number in members]
    stack = np.stack([field.log_median for field in some])
    # a phase that can't be predicted leaves the pile without a prediction: the highest of the rest might not govern;
    # a law for hard ground says nothing of piles that never enter it
    silent = np.array([-np.inf if field.law.role == HARD_GROUND else np.inf for field in some])[:, None, None]
    with np.errstate(invalid="ignore"):
        weighed = np.where(np.isnan(stack), silent, stack) + gain[members][:, :, None]
    chosen = np.where(np.isnan(weighed), -np.inf, weighed).argmax(axis=0)
    pick = chosen[None]
    return GroundVibration(
        quantity=fields[0].quantity if len(quantities) == 1 else "ppv_unspecified",
        log_median=np.take_along_axis(stack, pick, axis=0)[0],
        shared=_scatter(some, "shared", chosen), own=_scatter(some, "own", chosen),
        in_range=np.take_along_axis(np.stack([field.in_range for field in some]), pick, axis=0)[0],
        field=members[chosen].astype(np.int64),
        fields=fields,
    )


def _scatter(some: Sequence[LawField], name: str, chosen: NDArray[np.intp]) -> Floats:
    """Return a scatter of the chosen fields: one number per law, or what trial records left of it place by place."""
    if all(field.trial is None for field in some):
        return np.array([getattr(field, name) for field in some])[chosen]
    every = [np.broadcast_to(getattr(field.trial or field, name), chosen.shape) for field in some]
    return np.asarray(np.take_along_axis(np.stack(every), chosen[None], axis=0)[0])


def other_laws(choice: MethodChoice, models: Registry[ModelSpec], drive: Drives, plan_m: Floats, governing: LawField,
               schemes: Sequence[str]) -> tuple[Floats, Floats]:
    """Return the lowest and highest median (R,) in mm/s of the laws that weren't chosen, like for like.

    drive, plan_m (R,): the governing pile of each receptor and its distance. Like are laws of the same phase and stage;
    every law enters with its median, so bounds aren't set beside central values. NaN where there's no other law.
    """
    alike = [law for law in choice.laws if law.role in ("alternative", BESIDE) and law.phase == governing.law.phase
             and law.stage == governing.law.stage and models[law.model].statistic != "exceedance"]
    levels = [evaluate(models[law.model], law, choice, drive, plan_m[None, :], schemes).log_median[0] for law in alike]
    if not levels:
        nothing = np.full(plan_m.shape, np.nan)
        return nothing, nothing
    stack = np.stack(levels)
    empty = np.isnan(stack).all(axis=0)
    low = np.where(empty, np.nan, np.where(np.isnan(stack), np.inf, stack).min(axis=0))
    high = np.where(empty, np.nan, np.where(np.isnan(stack), -np.inf, stack).max(axis=0))
    return np.asarray(10.0**low), np.asarray(10.0**high)
