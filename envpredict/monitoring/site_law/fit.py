"""From trial records to a site law: the update of the published law, the line through the records alone, a verdict."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.errors import InputProblems, Problem, UnknownName
from envpredict.core.words import suggestion
from envpredict.engine.learned.site_law import (
    FLATTEST,
    LEAST_DISTANCES,
    LEAST_SPREAD,
    LEAST_TO_FIT,
    STEEPEST,
    STRATA,
    Data,
    LawPrior,
    SiteLaw,
    StratumFit,
    distances,
)
from envpredict.monitoring.site_law.curves import ONE_ENERGY
from envpredict.monitoring.site_law.published import Published, complete, law_for, of_one_quantity, published
from envpredict.monitoring.site_law.regression import Line, equal_slopes, fit_line
from envpredict.monitoring.site_law.trial import Row, Trial, clear_of_background, highest, problem
from envpredict.monitoring.site_law.update import (
    ABOVE,
    BELOW,
    EXACT,
    SLOPE_SOURCE,
    Posterior,
    Prior,
    Records,
    update,
)
from envpredict.monitoring.site_law.weighted import numbered

if TYPE_CHECKING:
    from envpredict.engine.catalogue import Catalogue
    from envpredict.methods.fields import LawUse
    from envpredict.models.spec import ModelSpec

Floats = NDArray[np.float64]
CODES = {"level": EXACT, "below": BELOW, "above": ABOVE}


@dataclass(frozen=True, slots=True, eq=False)
class Stratum:
    """The fit of the piles that entered the hard stratum, or of the others.

    `fit` is None where the records can't be used at all, and `refused` says why; `marks` say what to know of them.
    `line` runs through the records alone, over log10 of the distance, or of distance over the root of the energy in J
    where `scaled`.
    """

    ground: str
    rows: tuple[Row, ...]
    published: Published
    records: Records
    reference_m: float
    prior: Prior
    posterior: Posterior | None
    line: Line | None
    scaled: bool
    fit: StratumFit | None
    refused: tuple[str, ...]
    marks: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Fitted:
    """The fits of one phase of a method. `law` is the site law as written, None where no stratum could be used."""

    method: str
    phase: str
    use: LawUse
    spec: ModelSpec
    trial: Trial
    strata: tuple[Stratum, ...]
    law: SiteLaw | None
    marks: tuple[str, ...]


def fit_trial(trial: Trial, catalogue: Catalogue, model: str) -> tuple[Fitted, ...]:
    """Return the site law of every method and phase in the records.

    Raises UnknownName for an unknown model, InputProblems where the records can't be used: with the reasons.
    """
    if model not in catalogue.models:
        raise UnknownName(f"unknown model '{model}'", suggestion(model, catalogue.models))
    unknown = sorted({row.method for row in trial.rows} - set(catalogue.methods))
    if unknown:
        raise InputProblems([Problem(f"{trial.name}, line {next(r.line for r in trial.rows if r.method == name)}",
                                     f"unknown method '{name}'", suggestion(name, catalogue.methods))
                             for name in unknown], trial.name)
    if not trial.rows:
        raise problem(trial, "holds no record that can be used", "see the reasons below")
    groups = dict.fromkeys((row.method, row.phase) for row in trial.rows)
    found = []
    for method, phase in groups:
        mine = trial if len(groups) == 1 else replace(
            trial, rows=tuple(row for row in trial.rows if (row.method, row.phase) == (method, phase)))
        found.append(_fit_group(mine, catalogue, method, phase, model))
    if all(one.law is None for one in found):
        why = [f"{one.method}, {STRATA[stratum.ground]}: {'; '.join(stratum.refused)}" for one in found
               for stratum in one.strata]
        raise problem(found[0].trial, "no law can be fitted: " + ". ".join(why),
                      "measure at more points, or correct the records")
    return _with_slopes_compared(found)


def _fit_group(trial: Trial, catalogue: Catalogue, method: str, phase: str, model: str) -> Fitted:
    spec = catalogue.models[model]
    use = law_for(catalogue, catalogue.methods[method], phase, model)
    trial = highest(clear_of_background(complete(of_one_quantity(trial, spec), use, spec)))
    if use.role == "hard_ground":
        trial = trial.keep(lambda row: row.hard is True, "the pile didn't enter the hard stratum, which the law is for")
    if not trial.rows:
        raise problem(trial, f"no record of '{method}', phase {phase}, is left to fit", "see the reasons below")
    marks = []
    if any(row.hard is None for row in trial.rows):
        marks.append("hard_stratum isn't stated for every pile: those piles count as never having entered it")
    quantity = trial.rows[0].quantity
    if quantity != spec.quantity:
        marks.append(f"records of {quantity} stand in for {spec.quantity}: never below it")
    strata = tuple(_fit_stratum(name, rows, use, spec) for name in STRATA
                   if (rows := tuple(row for row in trial.rows if bool(row.hard) == (name == "hard"))))
    energies = [row.energy_kj for row in trial.rows]
    known = [energy for energy in energies if energy is not None]
    law = None
    if any(one.fit is not None for one in strata):
        scatter = spec.scatter
        assert scatter is not None    # `law_for` refuses laws without one
        prior = LawPrior(between_site=scatter.between_site, within_site=scatter.within_site,
                         slope_sd=Prior.of_law(scatter.between_site, scatter.within_site).slope_sd, factor=use.factor,
                         parameters=dict(use.parameters), source=spec.source, scatter_source=scatter.source,
                         slope_source=SLOPE_SOURCE)
        law = SiteLaw(method=method, phase=use.phase, stage=use.stage, model=model, quantity=quantity,
                      distance="slope" if spec.distance == "slope" else "plan",
                      energy_kj=(min(known), max(known)) if known and len(known) == len(energies) else None,
                      pile_types=_types(trial.rows),
                      longest_m=max((row.length_m for row in trial.rows if row.length_m is not None), default=None),
                      prior=prior, strata=tuple(one.fit for one in strata if one.fit is not None))
    return Fitted(method, phase, use, spec, trial, strata, law, tuple(marks))


def _types(rows: Sequence[Row]) -> tuple[str, ...]:
    """Return the types of the piles; none where a record doesn't state its pile's."""
    found = {row.pile_type for row in rows}
    return tuple(sorted(name for name in found if name is not None)) if None not in found else ()


def records_of(rows: Sequence[Row], found: Published, reference_m: float) -> Records:
    """Return rows as the update takes them: log10 of the level over the published median, and so on."""
    level = np.log10(np.array([row.ppv_mm_s for row in rows]))
    return Records(level - found.log_median, np.log10(found.distance_m / reference_m),
                   numbered(np.array([row.pile for row in rows])),
                   np.array([CODES[row.reads] for row in rows], dtype=np.int8))


def _fit_stratum(ground: str, rows: tuple[Row, ...], use: LawUse, spec: ModelSpec) -> Stratum:
    found = published(rows, use, spec)
    reference = float(10.0 ** np.log10(found.distance_m).mean())
    records = records_of(rows, found, reference)
    scatter = spec.scatter
    assert scatter is not None    # `law_for` refuses laws without one
    prior = Prior.of_law(scatter.between_site, scatter.within_site)
    exact = records.exact
    line, scaled = _line(rows, found, exact)
    refused, marks = _checks(rows, found, records, line)
    if refused:
        return Stratum(ground, rows, found, records, reference, prior, None, line, scaled, None, tuple(refused),
                       tuple(marks))
    posterior = update(records, prior)
    exponent = float(found.exponent[exact].mean() + posterior.mean[1])
    if not STEEPEST <= exponent <= FLATTEST:
        refused.append(f"the updated exponent {exponent:.2f} lies outside {STEEPEST:g} to {FLATTEST:g}")
    if posterior.within > prior.within:
        marks.append(f"the records scatter more widely than the law says: {posterior.within:.2f} instead of "
                     f"{prior.within:.2f} within the site, which is taken over")
    surprise = abs(posterior.mean[0]) / prior.level_sd if prior.level_sd > 0 else 0.0
    if surprise > 2.0:
        marks.append(f"this ground lies {surprise:.1f} standard deviations from the published law: look for the cause")
    fit = None if refused else _written(ground, rows, found, records, reference, posterior, exponent, line)
    return Stratum(ground, rows, found, records, reference, prior, posterior, line, scaled, fit, tuple(refused),
                   tuple(marks))


def _written(ground: str, rows: Sequence[Row], found: Published, records: Records, reference_m: float,
             posterior: Posterior, exponent: float, line: Line | None) -> StratumFit:
    shown = [float(f"{value:.6g}") for value in 10.0**found.log_median]
    data = Data(pile=tuple(row.pile for row in rows), distance_m=tuple(float(f"{d:.6g}") for d in found.distance_m),
                ppv_mm_s=tuple(row.ppv_mm_s for row in rows), reads=tuple(row.reads for row in rows),
                published_mm_s=tuple(shown))
    covariance = posterior.covariance
    return StratumFit(ground=ground, reference_m=reference_m, level_shift=float(posterior.mean[0]),
                      slope_shift=float(posterior.mean[1]),
                      covariance=(float(covariance[0, 0]), float(covariance[0, 1]), float(covariance[1, 1])),
                      within_site=posterior.within, exponent=exponent,
                      line_exponent=None if line is None or not decided(records, found) else line.slope, data=data)


def decided(records: Records, found: Published) -> bool:
    """Return whether the records lie at enough distances, far enough apart, to tell an exponent by themselves."""
    levels = np.sort(found.distance_m[records.exact])
    return bool(len(levels) and distances(levels) >= LEAST_DISTANCES and levels[-1] >= LEAST_SPREAD * levels[0])


def _line(rows: Sequence[Row], found: Published, exact: NDArray[np.bool_]) -> tuple[Line | None, bool]:
    """Return the line through the records that read a level, and whether it runs over the scaled distance."""
    energy = np.array([np.nan if row.energy_kj is None else row.energy_kj for row in rows])[exact]
    scaled = bool(len(energy) and np.isfinite(energy).all() and energy.max() > ONE_ENERGY * energy.min())
    x = np.log10(found.distance_m[exact]) - (0.5 * np.log10(energy * 1000.0) if scaled else 0.0)
    if exact.sum() < LEAST_TO_FIT or np.ptp(x) < 1e-9:
        return None, scaled
    y = np.log10(np.array([row.ppv_mm_s for row in rows])[exact])
    piles = np.array([row.pile for row in rows])[exact]
    return fit_line(np.asarray(x), y, numbered(piles)), scaled


def _checks(rows: Sequence[Row], found: Published, records: Records,
            line: Line | None) -> tuple[list[str], list[str]]:
    """Return why records can't be used at all, and what else to know of them."""
    exact = records.exact
    count = int(exact.sum())
    refused: list[str] = []
    marks: list[str] = []
    if count < LEAST_TO_FIT:
        refused.append(f"{count} record{'s' if count != 1 else ''} with a level; a site law needs {LEAST_TO_FIT}")
        return refused, marks
    levels = np.sort(found.distance_m[exact])
    if distances(levels) == 1:
        marks.append("all records lie at one distance: the decay stays the published law's")
    elif levels[-1] < LEAST_SPREAD * levels[0]:
        marks.append(f"the farthest record is {levels[-1] / levels[0]:.2g} times as far as the nearest, not "
                     f"{LEAST_SPREAD:g}: the records alone don't tell the decay")
    if line is not None and not STEEPEST <= line.slope <= FLATTEST:
        wrong = "of the wrong sign" if line.slope >= 0 else f"outside {STEEPEST:g} to {FLATTEST:g}"
        text = f"the exponent of the records alone is {line.slope:.2f}, {wrong}"
        if decided(records, found):
            refused.append(text)
        else:
            marks.append(f"{text}; it isn't used")
    if len({row.pile for row, ok in zip(rows, exact, strict=True) if ok}) == 1:
        marks.append("all records are of one pile: how piles differ isn't known")
    if not found.in_range[exact].all():
        lost = int((~found.in_range[exact]).sum())
        marks.append(f"records outside the published law's valid distances: {lost}")
    if not exact.all():
        marks.append(f"records that give only a bound: {int((~exact).sum())}; they count in the update, not in the "
                     "line")
    return refused, marks


def _with_slopes_compared(found: Sequence[Fitted]) -> tuple[Fitted, ...]:
    """Return the fits with a word on whether several methods, phases or strata decay alike."""
    lines = [(one, stratum.line) for one in found for stratum in one.strata
             if stratum.line is not None and not stratum.scaled]
    if len(lines) < 2:
        return tuple(found)
    x = [line.design[:, 1] for _, line in lines]
    y = [np.log10([row.ppv_mm_s for row in stratum.rows if row.reads == "level"]) for one in found
         for stratum in one.strata if stratum.line is not None and not stratum.scaled]
    chance = equal_slopes(x, y)
    if np.isnan(chance):
        return tuple(found)
    verdict = ("is not rejected: they may decay alike" if chance >= 0.05
               else "is rejected: they decay differently here")
    text = f"one exponent for all {len(lines)} lines {verdict} (chance {chance:.2g})"
    return tuple(replace(one, marks=(*one.marks, text)) for one in found)
