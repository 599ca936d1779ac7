"""Stand-off distances of a method under a limit set, for a ground class, without a scenario."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from envpredict.core.citation import VERIFY_MARK, Basis, weakest
from envpredict.core.errors import InputProblems, Problem
from envpredict.core.quantities import QUANTITIES
from envpredict.core.words import suggestion
from envpredict.engine.convert import conversion
from envpredict.engine.representative import REPRESENTATIVE, representative_ground
from envpredict.engine.standoff import standoff_m
from envpredict.engine.transfer import BUILDING_PLACES, ON_THE_GROUND, STANDS_IN, step_to
from envpredict.engine.vibration import START_STOP_OVER_RUNNING
from envpredict.limits.outcome import LimitValue, Missing, NotGoverned

if TYPE_CHECKING:
    from envpredict.engine.catalogue import Catalogue
    from envpredict.engine.choices import MethodChoice
    from envpredict.limits.schema import LimitSet, Rule
    from envpredict.methods.fields import LawUse

DEEPEST_M = 60.0


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked: a method in a ground class against a limit set, for a kind of receptor.

    `facts`: plain words that class the receptor (use, structure, condition ...); `depth_m`: toe depth of the worst
    step.
    """

    choice: MethodChoice
    ground_class: str
    limit_set: LimitSet
    facts: dict[str, str | None]
    exceedance: float
    depth_m: float
    model: str | None = None


@dataclass(frozen=True, slots=True)
class Answer:
    """The stand-off under one rule by one law; `distance_m` NaN with `why` where it can't be told."""

    rule: str
    title: str
    model: str
    phase: str
    limit: float
    unit: str
    place: str
    distance_m: float
    in_range: bool
    basis: Basis
    why: str
    law: LawUse | None = None
    inputs: dict[str, Any] | None = None
    gain_log10: float = 0.0
    extra_scatter: float = 0.0


def _inputs(question: Question, law: LawUse, catalogue: Catalogue) -> dict[str, Any]:
    """Return the inputs of a law at the question's ground and energy."""
    from envpredict.ground.schemes import SCHEMES

    spec, choice = catalogue.models[law.model], question.choice
    ground = representative_ground(question.ground_class, DEEPEST_M)
    inputs: dict[str, Any] = dict(law.parameters)
    for name in spec.options:
        if name in SCHEMES and name not in inputs:
            inputs[name] = str(ground.words(name, 0, np.array([question.depth_m]))[0])
    if "energy_j" in spec.inputs and choice.energy_j is not None:
        inputs["energy_j"] = choice.energy_j
    if "depth_m" in spec.inputs:
        inputs["depth_m"] = question.depth_m
    return inputs


def _limit(question: Question, rule: Rule) -> LimitValue | Missing | NotGoverned:
    choice = question.choice
    governed = rule.governs(choice.signal, family=choice.method.family)
    if governed is not True:
        return governed
    class_id = question.limit_set.classify(question.facts)
    if isinstance(class_id, Missing | NotGoverned):
        return class_id
    covered = rule.governs(class_id=class_id)
    if covered is not True:
        return covered
    band = choice.method.frequency
    period = rule.periods[0].id if rule.periods else None
    return rule.limit(class_id, band.low_hz, band.high_hz, band.likely_hz, period_id=period, signal=choice.signal)


def _answer(question: Question, rule: Rule, law: LawUse, limit: LimitValue, catalogue: Catalogue) -> Answer:
    spec = catalogue.models[law.model]
    converted = conversion(catalogue.models, spec.quantity, rule.quantity or "", question.choice)
    head = (rule.id, rule.title, law.model, law.phase, limit.value, limit.unit, rule.place)
    if isinstance(converted, Missing):
        return Answer(*head, np.nan, False, limit.basis, f"{converted.fact}: {converted.why}")
    step = step_to(rule.place, {})
    gain = converted.shift + (0.0 if step is None else float(np.log10(step.factor)))
    extra = 0.0 if step is None else step.scatter
    inputs = _inputs(question, law, catalogue)
    energy = question.choice.energy_j
    linear = QUANTITIES[rule.quantity or ""].scale == "linear"
    level = limit.value if linear else 10.0 ** ((limit.value - converted.offset_db) / 20.0)
    found = standoff_m(spec, level / law.factor, question.exceedance, gain_log10=gain, extra_scatter=extra,
                       depth_m=question.depth_m, known={} if energy is None else {
                           "energy_j": energy, "frequency_hz": question.choice.method.frequency.likely_hz}, **inputs)
    bases: list[Basis] = [spec.basis, limit.basis, converted.basis]
    if step is not None and (step.factor != 1.0 or step.scatter):
        bases.append("estimate" if rule.place in STANDS_IN else step.source.basis)
    return Answer(*head, float(found.distance_m), bool(found.in_range), weakest(bases), "", law, inputs, gain, extra)


def standoffs(question: Question, catalogue: Catalogue) -> list[Answer]:
    """Return the stand-off under every vibration rule of the set that governs, by every law that takes part.

    Laws: the method's preferred ones, or the one asked for. Rules that don't govern, or can't be answered, come back
    with the reason.
    """
    laws = _laws(question)
    answers: list[Answer] = []
    for rule in question.limit_set.rules:
        if rule.quantity is None or QUANTITIES[rule.quantity].effect != "vibration":
            continue
        limit = _limit(question, rule)
        places = ON_THE_GROUND | BUILDING_PLACES
        if not isinstance(limit, LimitValue) or rule.place not in places:
            why = str(limit) if not isinstance(limit, LimitValue) else f"vibration {rule.place} isn't predicted"
            answers.append(Answer(rule.id, rule.title, "", "", np.nan, rule.unit, rule.place, np.nan, False, rule.basis,
                                  why))
            continue
        for law in laws:
            if law.role == "hard_ground" and not _is_hard(question):
                continue
            if law.phase == "start_stop" and question.choice.method.zero_moment:
                continue
            answers.append(_answer(question, rule, law, limit, catalogue))
    return answers


def _laws(question: Question) -> list[LawUse]:
    """Return the laws that take part; a vibrator's start and stop reach at least twice its running level."""
    if question.model is not None:
        return [law for law in question.choice.laws if law.model == question.model]
    laws = [law for law in question.choice.laws if law.role != "alternative"]
    if any(law.phase == "start_stop" for law in laws):
        laws += [law.model_copy(update={"factor": law.factor * START_STOP_OVER_RUNNING, "phase": "start_stop"})
                 for law in laws if law.phase == "running"]
    return laws


def _is_hard(question: Question) -> bool:
    ground = representative_ground(question.ground_class, DEEPEST_M)
    return str(ground.words("hard_ground", 0, np.array([question.depth_m]))[0]) == "hard"


def check_question(method: str, ground_class: str, limit_set: str, model: str | None, catalogue: Catalogue) -> None:
    """Raise InputProblems with every word of a question that nobody declares."""
    problems = []
    named = (("method", method, list(catalogue.methods)), ("ground", ground_class, list(REPRESENTATIVE)),
             ("limit", limit_set, list(catalogue.limit_sets)))
    for kind, word, known in named:
        if word not in known:
            problems.append(Problem(f"--{kind}", f"unknown {kind} '{word}'", suggestion(word, known)))
    if model is not None and method in catalogue.methods:
        models = [law.model for law in catalogue.methods[method].laws]
        if model not in models:
            problems.append(Problem("--model", f"'{model}' doesn't predict '{method}'", suggestion(model, models)))
    if problems:
        raise InputProblems(problems, "the question")


def verify_mark(basis: Basis) -> str:
    """Return the mark of a basis in brackets, or nothing."""
    return f" [{VERIFY_MARK[basis]}]" if VERIFY_MARK[basis] else ""
