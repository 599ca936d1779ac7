"""Stand-off distances of a method under a limit set, for a ground class, without a scenario."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from envpredict.core.citation import VERIFY_MARK, Basis, weakest
from envpredict.core.errors import InputProblems, Problem
from envpredict.core.quantities import QUANTITIES
from envpredict.core.words import suggestion
from envpredict.engine.vibration.convert import Conversion, band_of, conversion
from envpredict.engine.vibration.dose import power_of
from envpredict.engine.vibration.field import START_STOP_OVER_RUNNING
from envpredict.engine.vibration.printed import printed_curves
from envpredict.engine.vibration.representative import REPRESENTATIVE, representative_ground
from envpredict.engine.vibration.standoff import printed_standoff_m, standoff_m
from envpredict.engine.vibration.steps import BUILDING_PLACES, step_to
from envpredict.engine.vibration.transfer import ON_THE_GROUND, step_basis
from envpredict.limits.facts import FACTS
from envpredict.limits.outcome import LimitValue, Missing, NotGoverned

if TYPE_CHECKING:
    from envpredict.engine.catalogue import Catalogue
    from envpredict.engine.works.choices import MethodChoice
    from envpredict.limits.schema import LimitSet, Rule
    from envpredict.methods.fields import LawUse

DEEPEST_M = 60.0


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked: a method in a ground class against a limit set, for a kind of receptor.

    `facts`: plain words that class the receptor (use, structure, condition ...); `depth_m`: toe depth of the worst
    step; `days`: days of work, for limits that depend on them.
    """

    choice: MethodChoice
    ground_class: str
    limit_set: LimitSet
    facts: dict[str, str | None]
    exceedance: float
    depth_m: float
    model: str | None = None
    days: int = 1


@dataclass(frozen=True, slots=True)
class Answer:
    """The stand-off under one rule by one law; `distance_m` NaN with `why` where it can't be told.

    `limit_mm_s`: the limit as a PPV where it's judged; `printed`: labels of the curves that the law's document prints,
    with the distance at which each meets the limit as it stands; `twice`: start and stop as twice the running level.
    """

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
    limit_mm_s: float = np.nan
    printed: tuple[tuple[str, float], ...] = ()
    twice: bool = False


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


def _limit(question: Question, rule: Rule, phase: str) -> LimitValue | Missing | NotGoverned:
    """Return the rule's limit, a curve read at its least favourable frequency in the phase's own band."""
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
    band = band_of(choice.method, phase)
    period = rule.periods[0].id if rule.periods else None
    return rule.limit(class_id, band.low_hz, band.high_hz, band.likely_hz, period_id=period, signal=choice.signal,
                      days=question.days)


def _strain(question: Question) -> Conversion | Missing:
    """Return how a velocity becomes a shear strain of the question's ground, if that is loose sand."""
    from envpredict.engine.vibration.settlement import CORRELATION
    from envpredict.ground.stiffness import CORRELATIONS, shear_wave_speed

    if question.ground_class != "loose_sand":
        return Missing("ground", "the rule speaks of loose saturated sand")
    n = float(str(REPRESENTATIVE["loose_sand"]["spt_n"]))
    speed = float(shear_wave_speed(n, CORRELATION).m_s)
    return Conversion(float(np.log10(1e-3 / speed)), 0.0, CORRELATIONS[CORRELATION].citation.basis,
                      (f"shear-wave speed {speed:.0f} m/s for N {n:g}",))


def _converted(question: Question, rule: Rule, law: LawUse, catalogue: Catalogue) -> Conversion | Missing:
    """Return how the law's velocity becomes the rule's quantity, or why that needs more than a distance."""
    quantity = rule.quantity or ""
    if power_of(quantity) is not None:
        return Missing("programme", f"{QUANTITIES[quantity].symbol} follows from times and numbers of a programme: "
                                    "predict a scenario")
    if quantity == "shear_strain" or rule.effect == "settlement":
        strain = _strain(question)
        if isinstance(strain, Missing) or quantity == "shear_strain":
            return strain
    return conversion(catalogue.models, catalogue.models[law.model], quantity, question.choice.method, law.phase)


def _answer(question: Question, rule: Rule, law: LawUse, limit: LimitValue, catalogue: Catalogue, *,
            twice: bool) -> Answer:
    spec = catalogue.models[law.model]
    converted = _converted(question, rule, law, catalogue)
    head = (rule.id, rule.title, law.model, law.phase, limit.value, limit.unit, rule.place)
    facts = (question.facts.get("structure") or "unknown", 2, question.facts.get("foundation") or "unknown")
    step = step_to(rule.place, {}, facts)
    missing = next((part for part in (converted, step) if isinstance(part, Missing)), None)
    if missing is not None or isinstance(converted, Missing) or isinstance(step, Missing):
        return Answer(*head, np.nan, False, limit.basis, str(missing))
    gain = float(np.log10(law.factor)) + (0.0 if step is None else float(np.log10(step.factor)))
    extra = 0.0 if step is None else step.scatter
    inputs = _inputs(question, law, catalogue)
    energy = question.choice.energy_j
    linear = QUANTITIES[rule.quantity or ""].scale == "linear"
    level = 10.0 ** ((np.log10(limit.value) if linear else limit.value / 20.0) - converted.in_log())
    found = standoff_m(spec, level, question.exceedance, gain_log10=gain, extra_scatter=extra,
                       depth_m=question.depth_m, known={} if energy is None else {
                           "energy_j": energy, "frequency_hz": band_of(question.choice.method, law.phase).likely_hz},
                       **inputs)
    printed = tuple((curve.label, float(printed_standoff_m(curve, level, gain_log10=gain, depth_m=question.depth_m,
                                                           **inputs)))
                    for curve in printed_curves(catalogue.models, spec, inputs))
    bases: list[Basis] = [spec.basis, limit.basis, converted.basis]
    if step is not None:
        bases.append(step_basis(step, rule.place))
    return Answer(*head, float(found.distance_m), bool(found.in_range), weakest(bases), "", law, inputs, gain, extra,
                  float(level), printed, twice)


def standoffs(question: Question, catalogue: Catalogue) -> list[Answer]:
    """Return the stand-off under every vibration rule of the set that governs, by every law that takes part.

    Laws: the method's preferred ones, or the one asked for. Rules that don't govern, or can't be answered, come back
    with the reason.
    """
    answers: list[Answer] = []
    for rule in question.limit_set.rules:
        if rule.quantity is None or QUANTITIES[rule.quantity].effect != "vibration":
            continue
        known = rule.place in ON_THE_GROUND | BUILDING_PLACES
        told = set()
        for law, twice in _taking_part(question):
            limit = _limit(question, rule, law.phase)
            if known and isinstance(limit, LimitValue):
                answers.append(_answer(question, rule, law, limit, catalogue, twice=twice))
                continue
            why = str(limit) if known else f"vibration {rule.place.replace('_', ' ')} isn't predicted"
            if why not in told:
                answers.append(Answer(rule.id, rule.title, "", "", np.nan, rule.unit, rule.place, np.nan, False,
                                      rule.basis, why))
            told.add(why)
    return answers


def _taking_part(question: Question) -> list[tuple[LawUse, bool]]:
    """Return the laws that take part, and whether each is doubled: start and stop reach at least twice the running."""
    method = question.choice.method
    if question.model is not None:
        return [(law, False) for law in question.choice.laws if law.model == question.model]
    laws = [(law, False) for law in question.choice.laws if law.role == "preferred"
            or (law.role == "hard_ground" and _is_hard(question))]
    if method.zero_moment:
        return [(law, twice) for law, twice in laws if law.phase != "start_stop"]
    if any(law.phase == "start_stop" for law, _ in laws):
        laws += [(law.model_copy(update={"factor": law.factor * START_STOP_OVER_RUNNING, "phase": "start_stop"}), True)
                 for law, _ in laws if law.phase == "running"]
    return laws


def _is_hard(question: Question) -> bool:
    ground = representative_ground(question.ground_class, DEEPEST_M)
    return str(ground.words("hard_ground", 0, np.array([question.depth_m]))[0]) == "hard"


def check_question(method: str, ground_class: str, limit_set: str, model: str | None, catalogue: Catalogue,
                   facts: Mapping[str, str | None] | None = None) -> None:
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
    for name, said in (facts or {}).items():
        if name not in FACTS:
            problems.append(Problem("--fact", f"unknown fact '{name}'", suggestion(name, FACTS)))
        elif said is not None and FACTS[name].words and said not in {*FACTS[name].words, "unknown"}:
            problems.append(Problem(f"fact {name}", f"unknown word '{said}'", suggestion(said, FACTS[name].words)))
    if problems:
        raise InputProblems(problems, "the question")


def phase_of(answer: Answer) -> str:
    """Return the phase that an answer speaks of, in words."""
    phase = answer.phase.replace("_", " and ")
    return f"{phase}, twice the running level" if answer.twice else phase


def verify_mark(basis: Basis) -> str:
    """Return the mark of a basis in brackets, or nothing."""
    return f" [{VERIFY_MARK[basis]}]" if VERIFY_MARK[basis] else ""
