"""What the published law says at every trial record: the level that the records are held against."""

from __future__ import annotations

import inspect
from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envpredict.core.errors import InputProblems, Problem
from envpredict.core.words import suggestion
from envpredict.engine.learned.site_law import speaks_for
from envpredict.engine.vibration.representative import REPRESENTATIVE, representative_ground
from envpredict.monitoring.site_law.trial import PPV, Row, Trial, lines_said

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from envpredict.engine.catalogue import Catalogue
    from envpredict.methods.fields import LawUse
    from envpredict.methods.schema import Method
    from envpredict.models.spec import ModelSpec

Floats = NDArray[np.float64]
ROLES = ("preferred", "hard_ground", "alternative")
DEEP_M = 60.0
STEP = 1.01


@dataclass(frozen=True, slots=True, eq=False)
class Published:
    """A published law at trial records (n): log10 of its median in mm/s, the distance that it takes, its decay there.

    `exponent` (n): of that distance, negative; `in_range` (n): inside the law's valid distances.
    """

    log_median: Floats
    distance_m: Floats
    exponent: Floats
    in_range: NDArray[np.bool_]


def law_for(catalogue: Catalogue, method: Method, phase: str, model: str) -> LawUse:
    """Return the law by which a model predicts a phase of a method. Raises InputProblems where it doesn't."""
    spec = catalogue.models[model]
    laws: Sequence[LawUse] = [law for law in method.laws if law.model == model]
    if not laws and "own" in spec.flags:
        from envpredict.engine.own_laws import laws_with_choice

        laws = [law for law in laws_with_choice(method, model, catalogue.models) if law.model == model]
    if not laws:
        known = [law.model for law in method.laws]
        raise _refused(f"'{model}' doesn't predict '{method.id}'", suggestion(model, known))
    if spec.quantity not in PPV or spec.scatter is None or spec.statistic == "exceedance":
        raise _refused(f"'{model}' gives no median velocity with its scatter", "choose a law that predicts a PPV")
    if not (spec.scatter.between_site > 0.0 and spec.scatter.within_site > 0.0):
        raise _refused(f"'{model}' claims no scatter between sites or within one: records can't update it",
                       "state between_site and within_site with the law")
    fitting = sorted((law for law in laws if law.phase == phase), key=lambda law: ROLES.index(law.role))
    if not fitting:
        phases = ", ".join(dict.fromkeys(law.phase for law in laws))
        raise _refused(f"'{model}' predicts phase {phases} of '{method.id}', the records are of phase {phase}",
                       "state the phase in the records' column `phase`, or name another model")
    return fitting[0]


def _refused(what: str, hint: str) -> InputProblems:
    return InputProblems([Problem("--model", what, hint)], "the question")


def of_one_quantity(trial: Trial, spec: ModelSpec) -> Trial:
    """Return the trial with records of one quantity: the law's own, else one that is never below it."""
    there = Counter(row.quantity for row in trial.rows)
    taken = spec.quantity if spec.quantity in there else next(
        (quantity for quantity, _ in there.most_common() if speaks_for(quantity, spec.quantity)), spec.quantity)
    for quantity in sorted(set(there) - {taken}):
        lost = tuple(row.line for row in trial.rows if row.quantity == quantity)
        trial = trial.without(lost, f"records of {quantity}; '{spec.id}' predicts {spec.quantity}"
                              + ("" if taken == spec.quantity else f", and {taken} is taken for it"))
    return trial


def complete(trial: Trial, law: LawUse, spec: ModelSpec) -> Trial:
    """Return the trial without rows that lack what the law takes; words of the ground are put into the law's scheme.

    Raises InputProblems for a word that neither the law nor the ground classes know.
    """
    if "energy_j" in spec.inputs:
        trial = trial.keep(lambda row: row.energy_kj is not None, f"no energy_kj, which '{spec.id}' takes")
    if spec.distance == "slope" or "depth_m" in spec.inputs:
        trial = trial.keep(lambda row: row.depth_m is not None,
                           f"no depth_m: '{spec.id}' takes the distance to the toe")
    option = ground_option(spec, law)
    if option is None:
        return trial
    known = (*spec.options[option], *REPRESENTATIVE)
    words = {row.ground for row in trial.rows if row.ground is not None}
    strange = {word: tuple(row.line for row in trial.rows if row.ground == word) for word in words - set(known)}
    if strange:
        raise InputProblems([Problem(f"{trial.name}, {lines_said(lines)}", f"unknown ground '{word}'",
                                     suggestion(word, known, limit=20)) for word, lines in sorted(strange.items())],
                            trial.name)
    default = spec.defaults.get(option)
    if default is None:
        trial = trial.keep(lambda row: row.ground is not None, f"no ground, which '{spec.id}' takes as {option}")
    rows = tuple(replace(row, ground=_word(row.ground, option, spec, default)) for row in trial.rows)
    return replace(trial, rows=rows)


def ground_option(spec: ModelSpec, law: LawUse) -> str | None:
    """Return the law's option that a scheme of ground words answers and the method leaves open, or None."""
    from envpredict.ground.schemes import SCHEMES

    return next((name for name in spec.options if name in SCHEMES and name not in law.parameters), None)


def _word(ground: str | None, option: str, spec: ModelSpec, default: Any) -> str:
    if ground is None:
        return str(default)
    if ground in spec.options[option]:
        return ground
    found = representative_ground(ground, DEEP_M).words(option, 0, np.array([1.0]))
    return str(found[0])


def published(rows: Sequence[Row], law: LawUse, spec: ModelSpec) -> Published:
    """Return what the law says at complete rows; its factor and parameters are those of the method."""
    plan = np.array([row.distance_m for row in rows])
    depth = np.array([np.nan if row.depth_m is None else row.depth_m for row in rows])
    energy = np.array([np.nan if row.energy_kj is None else row.energy_kj * 1000.0 for row in rows])
    distance = np.hypot(plan, depth) if spec.distance == "slope" else plan
    inputs: dict[str, Any] = dict(law.parameters)
    option = ground_option(spec, law)
    if option is not None:
        inputs[option] = np.array([row.ground for row in rows])
    inputs |= {name: value for name, value in (("energy_j", energy), ("depth_m", depth)) if name in spec.inputs}
    _check_inputs(spec, inputs)

    def level(at_m: Floats) -> Floats:
        return np.asarray(np.log10(spec.median(spec(distance_m=at_m, **inputs)) * law.factor), dtype=float)

    exponent = (level(distance * STEP) - level(distance / STEP)) / (2.0 * np.log10(STEP))
    inside = spec.validity["distance_m"].holds(distance) if "distance_m" in spec.validity else np.ones(len(rows), bool)
    return Published(level(distance), distance, exponent, np.asarray(inside))


def _check_inputs(spec: ModelSpec, inputs: Mapping[str, Any]) -> None:
    """Raise InputProblems where the law takes something that trial records don't tell."""
    needed = [name for name, p in inspect.signature(spec.function).parameters.items()
              if p.default is inspect.Parameter.empty and name != "distance_m" and name not in inputs]
    if needed:
        raise _refused(f"'{spec.id}' also takes {', '.join(needed)}, which records don't tell", "choose another law")
