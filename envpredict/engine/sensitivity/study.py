"""The study of unknowns: findings sampled together until their chances are sure enough, and what they hang on.

Studied are, for every candidate and effect, the finding of the worst receptor and of the one whose verdict is most in
doubt. Draws come in batches with scramblings of their own; batches are added up as moments and forgotten.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.errors import EnvpredictError, InputProblems
from envpredict.core.quantities import QUANTITIES
from envpredict.engine.sensitivity.draws import SEED, Draws, samples_problem
from envpredict.engine.sensitivity.indices import Batches, Moments, moments
from envpredict.engine.sensitivity.noise import noise_response
from envpredict.engine.sensitivity.question import Question, Unsampled
from envpredict.engine.sensitivity.response import Response
from envpredict.engine.sensitivity.slices import Slices
from envpredict.engine.sensitivity.unknowns import KINDS, Unknown, kind_problems
from envpredict.engine.sensitivity.vibration import States, vibration_response

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.results import Assessment
    from envpredict.engine.run import MethodRun, Run

Floats = NDArray[np.float64]
FAR_DB = 120.0
"""Levels farther than this from the limit count as this far."""
MORE_DOUBT = 0.05
"""A second finding is studied where its p (1 - p) is so much greater than that of the worst one."""
DOUBT = 0.01
"""A verdict is in doubt where its chance lies this far from 0 and from 1."""


@dataclass(frozen=True, slots=True)
class Options:
    """How to sample.

    `samples`: of a batch, a power of two; `least`, `most`: batches; `p_se`, `share_se`: standard errors of the chances
    and of the shares at which sampling stops; `hold`: kinds of unknowns held at their likely value.
    """

    samples: int = 512
    least: int = 4
    most: int = 32
    p_se: float = 0.01
    share_se: float = 0.02
    hold: tuple[str, ...] = ()
    seed: int = SEED

    def check(self) -> None:
        """Raise InputProblems with everything that is wrong with the options."""
        fault = samples_problem(self.samples)
        problems = [*([fault] if fault else []), *kind_problems(self.hold, "--hold")]
        if problems:
            raise InputProblems(problems, "the study of unknowns")


@dataclass(frozen=True, slots=True, eq=False)
class Studied:
    """A finding that is studied, why it was chosen, and its response to the unknowns."""

    finding: pd.Series
    chosen: str
    response: Response


@dataclass(frozen=True, slots=True, eq=False)
class Sampled:
    """What sampling came to: `exceeds` and `over` hold moments of I unknowns and K findings, `slices` their counts.

    `converged`: the standard errors asked for were reached; `evaluations` of responses.
    """

    studied: tuple[Studied, ...]
    unknowns: tuple[Unknown, ...]
    exceeds: Batches
    over: Batches
    slices: Slices
    options: Options
    converged: bool
    evaluations: int
    left_out: tuple[str, ...]


def chosen_findings(assessment: Assessment) -> list[tuple[pd.Series, str]]:
    """Return, per candidate and effect, the worst finding that governs a receptor and the one most in doubt."""
    rows = assessment.governing()
    numbers = np.isfinite(rows["predicted_median"].to_numpy(dtype=float)) & rows["p_exceed"].notna().to_numpy() \
        & rows["limit"].notna().to_numpy() & rows["quantity"].isin(tuple(QUANTITIES)).to_numpy()
    rows = rows[numbers]
    found: list[tuple[pd.Series, str]] = []
    for _, part in rows.groupby(["method", "effect"], sort=False):
        ordered = part.sort_values(["p_exceed", "margin_db"], ascending=[False, True], kind="stable")
        doubt = (ordered["p_exceed"] * (1.0 - ordered["p_exceed"])).to_numpy(dtype=float)
        most = int(doubt.argmax())
        found.append((ordered.iloc[0], "worst, most in doubt" if most == 0 else "worst"))
        if most and doubt[most] > doubt[0] + MORE_DOUBT:
            found.append((ordered.iloc[most], "most in doubt"))
    return found


def responses(assessment: Assessment, findings: Sequence[tuple[pd.Series, str]]) -> tuple[list[Studied], list[str]]:
    """Return the findings with their responses, and which ones can't be sampled and why."""
    run: Run = assessment.detail["run"]
    ids = [str(name) for name in assessment.receptors["id"]]
    rows = np.unique([ids.index(str(finding["receptor"])) for finding, _ in findings]).astype(np.int64)
    part = run.at(rows)
    places = {ids[row]: number for number, row in enumerate(rows.tolist())}
    methods: dict[str, MethodRun] = {}
    states: dict[str, States] = {}
    found, left_out = [], []
    for finding, chosen in findings:
        name = str(finding["method"])
        if name not in methods:
            methods[name] = assessment.detail["methods"][name].at(part)
            states[name] = States.of(part, methods[name])
        try:
            question = Question.of(finding, part, methods[name], places[str(finding["receptor"])])
            sound = QUANTITIES[str(finding["quantity"])].effect == "noise"
            response = noise_response(question) if sound else vibration_response(question, states[name])
            found.append(Studied(finding, chosen, response))
        except Unsampled as why:
            left_out.append(f"{name}, {finding['effect']} at {finding['receptor']}: {why}")
    return found, left_out


def sample(assessment: Assessment, options: Options | None = None) -> Sampled:
    """Sample the unknowns behind the governing findings of an assessment.

    Raises InputProblems for options that can't be, EnvpredictError where no finding can be sampled.
    """
    wanted = options or Options()
    wanted.check()
    studied, left_out = responses(assessment, chosen_findings(assessment))
    every = {one.id: one for each in studied for one in each.response.unknowns if one.kind not in wanted.hold}
    unknowns = tuple(sorted(every.values(), key=lambda one: list(KINDS).index(one.kind)))
    if not studied:
        raise EnvpredictError("no finding to sample: none of them has a level, a limit and a chance of exceedance",
                              "adopt limits that speak of the receptors, and complete what the findings' reasons name"
                              + (f"; left out: {'; '.join(left_out)}" if left_out else ""))
    if not unknowns:
        raise EnvpredictError("every kind of unknown is held: there is nothing to sample", "hold fewer of them")
    draws = Draws(len(unknowns), wanted.samples, wanted.seed)
    exceeds, over = Batches(), Batches()
    slices = Slices.empty(len(unknowns), len(studied))
    evaluations, converged = 0, False
    for number in range(wanted.most):
        one, other, count = _batch(draws, number, studied, unknowns, slices)
        exceeds.add(one)
        over.add(other)
        evaluations += count
        if len(exceeds) >= wanted.least and _sure(exceeds, wanted):
            converged = True
            break
    return Sampled(tuple(studied), unknowns, exceeds, over, slices, wanted, converged, evaluations,
                   tuple(left_out))


def in_doubt(exceeds: Batches) -> NDArray[np.intp]:
    """Return the numbers of the findings whose verdict is in doubt."""
    chance = exceeds.mean()
    return np.flatnonzero((chance > DOUBT) & (chance < 1.0 - DOUBT))


def _sure(exceeds: Batches, options: Options) -> bool:
    doubtful = in_doubt(exceeds)
    share_se = exceeds.pooled(doubtful)[1].max() if len(doubtful) else 0.0
    return bool(exceeds.mean_se().max() <= options.p_se and share_se <= options.share_se)


def _batch(draws: Draws, number: int, studied: Sequence[Studied], unknowns: Sequence[Unknown],
           slices: Slices) -> tuple[Moments, Moments, int]:
    """Return the moments of exceeding and of the level over the limit for one batch, and how often was evaluated.

    Draws are counted in `slices` too.
    """
    a, b = draws.batch(number)
    place = {one.id: row for row, one in enumerate(unknowns)}
    shape = (len(unknowns), len(studied))
    first = [np.zeros(shape) for _ in range(2)]
    total = [np.zeros(shape) for _ in range(2)]
    mean, square = [np.zeros(shape[1]) for _ in range(2)], [np.zeros(shape[1]) for _ in range(2)]
    evaluations = 0
    for column, each in enumerate(studied):
        mine = [place[one.id] for one in each.response.unknowns if one.id in place]
        at = _evaluated(each.response, a, b, mine, unknowns, (draws.seed, number, column))
        evaluations += at.shape[0] * at.shape[1]
        for crossed, row in enumerate(mine):
            drawn = np.concatenate([a[row], b[row], b[row]])
            slices.add(row, column, drawn, (at[[0, 1, 2 + crossed]].ravel() > 0.0).astype(float))
        for output, values in enumerate(((at > 0.0).astype(float), np.clip(at, -FAR_DB, FAR_DB))):
            found = moments(values[0][None], values[1][None], values[2:][:, None])
            first[output][mine, column], total[output][mine, column] = found.first[:, 0], found.total[:, 0]
            mean[output][column], square[output][column] = found.mean[0], found.square[0]
    one, other = (Moments(mean[n], square[n], first[n], total[n]) for n in range(2))
    return one, other, evaluations


def _evaluated(response: Response, a: Floats, b: Floats, mine: Sequence[int], unknowns: Sequence[Unknown],
               stream: tuple[int, ...]) -> Floats:
    """Return (2 + I, n) levels over the limit at A, at B, and at A with each unknown in turn from B."""
    count = a.shape[1]
    at_a = {unknowns[row].id: a[row] for row in mine}
    at_b = {unknowns[row].id: b[row] for row in mine}
    found = [response.over_db(at_a, count, (*stream, 0)), response.over_db(at_b, count, (*stream, 1))]
    for row in mine:
        name = unknowns[row].id
        found.append(response.over_db({**at_a, name: b[row]}, count, (*stream, int(name == response.own))))
    return np.stack(found)
