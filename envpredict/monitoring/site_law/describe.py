"""A fit in words and numbers, for a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from envpredict.core.cautions import CAUTIONS
from envpredict.engine.site_law import STRATA
from envpredict.monitoring.site_law.diagnostics import diagnostics
from envpredict.monitoring.site_law.fit import Fitted, Stratum
from envpredict.monitoring.site_law.source_level import MeasuredPlant
from envpredict.monitoring.site_law.trial import BACKGROUND_SOURCE, LeftOut, lines_said

Floats = NDArray[np.float64]
WIDTH = 100
Z95 = 1.6448536269514722
"""The level that one pile exceeds with a chance of 5 %, in standard deviations above the median."""


def shown_distances(stratum: Stratum) -> Floats:
    """Return a few distances inside the reach of the records, the least and the greatest among them."""
    levels = np.sort(stratum.published.distance_m[stratum.records.exact])
    return np.unique(np.array([float(f"{d:.3g}") for d in np.geomspace(0.5 * levels[0], 2.0 * levels[-1], 6)]))


def published_at(stratum: Stratum, distance_m: Floats) -> Floats:
    """Return log10 of the published median along the mean decay at the records (a picture of the law, not the law).

    Records may differ in ground and energy; the curve runs through their mean.
    """
    exponent = float(stratum.published.exponent.mean())
    level = float(stratum.published.log_median.mean())
    middle = float(np.log10(stratum.published.distance_m).mean())
    return np.asarray(level + exponent * (np.log10(distance_m) - middle))


def curves(stratum: Stratum, distance_m: Floats) -> dict[str, tuple[Floats, Floats]]:
    """Return log10 of median and of the level that one pile exceeds with 5 %: published, updated, line alone."""
    prior, posterior = stratum.prior, stratum.posterior
    median = published_at(stratum, distance_m)
    found = {"published": (median, median + Z95 * np.hypot(prior.level_sd, prior.within))}
    if posterior is not None:
        u = np.log10(distance_m / stratum.reference_m)
        shifted = median + posterior.shift(u)
        found["updated"] = (shifted, shifted + Z95 * np.hypot(posterior.between(u), posterior.within))
    if stratum.line is not None and not stratum.scaled:
        x = np.log10(distance_m)
        found["records alone"] = (stratum.line.median(x), stratum.line.upper(x))
    return found


def _wrapped(lines: Iterable[str]) -> list[str]:
    out: list[str] = []
    for line in lines:
        indent = " " * (len(line) - len(line.lstrip()))
        out += textwrap.wrap(line, WIDTH, subsequent_indent=indent + "  ", break_long_words=False) or [""]
    return out


def status(stratum: Stratum) -> str:
    """Return whether the records suffice, in words."""
    if stratum.fit is None:
        return f"NOT USED: {'; '.join(stratum.refused)}"
    lacks = stratum.fit.lacks()
    if lacks:
        return f"PROVISIONAL: {', '.join(lacks)}. It shifts predictions, but `unlikely` doesn't rest on it"
    return "SUFFICIENT: `unlikely` may rest on it, within its reach"


def _table(stratum: Stratum) -> list[str]:
    distance = shown_distances(stratum)
    found = curves(stratum, distance)
    head = "".join(f"{name:>22}" for name in found)
    lines = [f"    {'distance':>9}{head}    median, and what one pile exceeds with 5 %, mm/s"]
    for number, at in enumerate(distance):
        cells = "".join(f"{10.0 ** median[number]:>12.3g} {10.0 ** upper[number]:>9.3g}"
                        for median, upper in found.values())
        lines.append(f"    {at:>7.3g} m{cells}")
    return lines


def _stratum_lines(stratum: Stratum) -> list[str]:
    exact = stratum.records.exact
    levels = np.sort(stratum.published.distance_m[exact])
    reach = f", {levels[0]:.3g} to {levels[-1]:.3g} m" if len(levels) else ""
    lines = [f"  {STRATA[stratum.ground]}: {int(exact.sum())} records with a level{reach}, "
             f"{int((~exact).sum())} with a bound, {len({row.pile for row in stratum.rows})} piles"]
    line, posterior = stratum.line, stratum.posterior
    if line is not None:
        over = "(r / sqrt(W in J))" if stratum.scaled else "r"
        shared = f", {100 * line.pile_share:.0f} % of its variance common to a pile" if line.pile_share else ""
        lines.append(f"    line through the records alone: v = {10.0 ** line.intercept:.4g} {over}^{line.slope:.3g} "
                     f"mm/s, scatter {line.residual_sd:.3g} (log10){shared}")
    if posterior is not None:
        middle, zero = np.asarray(stratum.reference_m), np.asarray(0.0)
        before = 10.0 ** float(published_at(stratum, middle))
        after = before * 10.0 ** float(posterior.mean[0])
        exponent = float(stratum.published.exponent[exact].mean())
        lines.append(f"    update: median at {stratum.reference_m:.3g} m from {before:.3g} to {after:.3g} mm/s, "
                     f"exponent from {exponent:.2f} to {exponent + posterior.mean[1]:.2f}, scatter between sites from "
                     f"{stratum.prior.level_sd:.2f} to {float(posterior.between(zero)):.2f}, within the site from "
                     f"{stratum.prior.within:.2f} to {posterior.within:.2f} (log10)")
    table = _table(stratum) if posterior is not None else []
    rest = [f"    {text}" for text in (*stratum.marks, *diagnostics(stratum))]
    reach_line = []
    if stratum.fit is not None:
        low, high = stratum.fit.reach_m
        reach_line = [f"    reach: {low:.3g} to {high:.3g} m; beyond it the published law stands"]
    return [*_wrapped(lines), *table, *_wrapped([*reach_line, *rest, f"    {status(stratum)}"])]


def _left_out(left: Sequence[LeftOut], name: str) -> list[str]:
    lines = [f"  left out: {name}, {lines_said(one.lines)}: {one.why}" for one in left]
    return [*lines, *([f"    ({BACKGROUND_SOURCE})"] if any("background" in one.why for one in left) else [])]


def fit_text(found: Sequence[Fitted]) -> str:
    """Return the fits of a trial as text, with the cautions."""
    lines: list[str] = []
    for one in found:
        source = one.spec.source
        distance = "distance to the toe" if one.spec.distance == "slope" else "distance in plan"
        lines += _wrapped([f"Site law of {one.method}, phase {one.phase}, from {one.spec.id} ({one.spec.title}), "
                           f"{distance}",
                           f"  published law: {source} [basis: {source.basis}]"])
        for stratum in one.strata:
            lines += _stratum_lines(stratum)
        lines += _wrapped([*(f"  {mark}" for mark in one.marks), *_left_out(one.trial.left_out, one.trial.name)])
        lines.append("")
    return "\n".join([*lines, *(line for caution in CAUTIONS for line in _wrapped([f"! {caution}"]))])


def plant_text(found: MeasuredPlant) -> str:
    """Return the update of an item of plant as text, with the cautions."""
    fit = found.fit
    mean = float(np.mean(fit.measured_db))
    lacks = fit.lacks()
    verdict = (f"PROVISIONAL: {', '.join(lacks)}. It shifts predictions, but `unlikely` doesn't rest on it" if lacks
               else "SUFFICIENT: `unlikely` may rest on it")
    return "\n".join(_wrapped([
        f"Sound power of {found.plant.title} ({fit.plant})",
        f"  published: {fit.prior_db:.1f} dB, u {fit.prior_u_db:.1f} dB; {fit.prior_source}",
        f"  measured here: {len(fit.measured_db)} levels, mean {mean:.1f} dB, standard deviation as used "
        f"{fit.measured_sd_db:.1f} dB",
        f"  updated: {fit.posterior_db:.1f} dB, u {fit.posterior_u_db:.1f} dB ({fit.formula})",
        *_left_out(found.left_out, found.name), f"  {verdict}", "", *(f"! {caution}" for caution in CAUTIONS)]))
