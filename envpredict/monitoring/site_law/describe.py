"""A fit in words and numbers, for a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from envpredict.core.cautions import CAUTIONS
from envpredict.engine.learned.site_law import STRATA, SiteLaw, StratumFit
from envpredict.monitoring.site_law.curves import curves, published_at, status
from envpredict.monitoring.site_law.diagnostics import diagnostics
from envpredict.monitoring.site_law.fit import Fitted, Stratum
from envpredict.monitoring.site_law.source_level import MeasuredPlant
from envpredict.monitoring.site_law.trial import BACKGROUND_SOURCE, NEAR_BACKGROUND, LeftOut, lines_said

Floats = NDArray[np.float64]
WIDTH = 100


def shown_distances(fit: StratumFit) -> Floats:
    """Return a few distances inside the reach of the records, the least and the greatest among them."""
    low, high = fit.reach_m
    return np.unique(np.array([float(f"{distance:.3g}") for distance in np.geomspace(low, high, 6)]))


def wrapped(lines: Iterable[str]) -> list[str]:
    """Return lines cut to a terminal's width, their indent kept."""
    out: list[str] = []
    for line in lines:
        indent = " " * (len(line) - len(line.lstrip()))
        out += textwrap.wrap(line, WIDTH, subsequent_indent=indent + "  ", break_long_words=False) or [""]
    return out


def _table(law: SiteLaw, fit: StratumFit) -> list[str]:
    distance = shown_distances(fit)
    found = curves(law, fit, distance)
    lines = ["    mm/s: the median, and the level that one pile exceeds with a chance of 5 %",
             f"    {'distance':>9}" + "".join(f"{name:>22}" for name in found)]
    for number, at in enumerate(distance):
        cells = "".join(f"{10.0 ** median[number]:>12.3g} {10.0 ** upper[number]:>9.3g}"
                        for median, upper in found.values())
        lines.append(f"    {at:>7.3g} m{cells}")
    return lines


def _stratum_lines(stratum: Stratum, law: SiteLaw | None) -> list[str]:
    exact = stratum.records.exact
    levels = np.sort(stratum.published.distance_m[exact])
    reach = f", {levels[0]:.3g} to {levels[-1]:.3g} m" if len(levels) else ""
    lines = [f"  {STRATA[stratum.ground]}: {counted(int(exact.sum()), 'record')} with a level{reach}, "
             f"{int((~exact).sum())} with a bound, {counted(len({row.pile for row in stratum.rows}), 'pile')}"]
    line, fit, table = stratum.line, stratum.fit, []
    if line is not None:
        over = "(r / sqrt(W in J))" if stratum.scaled else "r"
        shared = f", {100 * line.pile_share:.0f} % of its variance common to a pile" if line.pile_share else ""
        lines.append(f"    line through the records alone: v = {10.0 ** line.intercept:.4g} {over}^{line.slope:.3g} "
                     f"mm/s, scatter {line.residual_sd:.3g} (log10){shared}")
    if fit is not None and law is not None:
        middle = np.asarray(fit.reference_m)
        before, after = 10.0 ** float(published_at(fit, middle)), 10.0 ** float(
            published_at(fit, middle) + fit.shift(middle))
        lines.append(f"    update: median at {fit.reference_m:.3g} m from {before:.3g} to {after:.3g} mm/s, exponent "
                     f"from {fit.exponent - fit.slope_shift:.2f} to {fit.exponent:.2f}, scatter between sites from "
                     f"{law.prior.between_site:.2f} to {float(fit.between(middle)):.2f}, within the site from "
                     f"{law.prior.within_site:.2f} to {fit.within_site:.2f} (log10)")
        low, high = fit.reach_m
        table = [*_table(law, fit), f"    reach: {low:.3g} to {high:.3g} m; beyond it the published law stands"]
    verdict = status(fit) if fit is not None else f"NOT USED: {'; '.join(stratum.refused)}"
    return [*wrapped(lines), *table,
            *wrapped(f"    {text}" for text in (*stratum.marks, *diagnostics(stratum), verdict))]


def counted(number: int, noun: str) -> str:
    """Return a number with its noun."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _left_out(left: Sequence[LeftOut], name: str) -> list[str]:
    lines = [f"  left out: {name}, {lines_said(one.lines)}: {one.why}" for one in left]
    return [*lines, *([f"    ({BACKGROUND_SOURCE})"] if any(one.why == NEAR_BACKGROUND for one in left) else [])]


def fit_text(found: Sequence[Fitted]) -> str:
    """Return the fits of a trial as text."""
    lines: list[str] = []
    for one in found:
        source = one.spec.source
        distance = "distance to the toe" if one.spec.distance == "slope" else "distance in plan"
        lines += wrapped([f"Site law of {one.method}, phase {one.phase}, from {one.spec.id} ({one.spec.title}), "
                           f"{distance}",
                           f"  published law: {source} [basis: {source.basis}]"])
        for stratum in one.strata:
            lines += _stratum_lines(stratum, one.law)
        lines += wrapped([*(f"  {mark}" for mark in one.marks), *_left_out(one.trial.left_out, one.trial.name)])
        lines.append("")
    return "\n".join(lines)


def cautions_text() -> str:
    """Return the cautions that end every output."""
    return "\n".join(wrapped(f"! {caution}" for caution in CAUTIONS))


def plant_text(found: MeasuredPlant) -> str:
    """Return the update of an item of plant as text."""
    fit = found.fit
    mean = float(np.mean(fit.measured_db))
    lacks = fit.lacks()
    verdict = (f"PROVISIONAL: {', '.join(lacks)}. It shifts predictions, but 'unlikely' doesn't rest on it" if lacks
               else "SUFFICIENT: 'unlikely' may rest on it")
    return "\n".join(wrapped([
        f"Sound power of {found.plant.title} ({fit.plant})",
        f"  published: {fit.prior_db:.1f} dB, u {fit.prior_u_db:.1f} dB; {fit.prior_source}",
        f"  measured here: {len(fit.measured_db)} levels, mean {mean:.1f} dB, standard deviation as used "
        f"{fit.measured_sd_db:.1f} dB",
        f"  updated: {fit.posterior_db:.1f} dB, u {fit.posterior_u_db:.1f} dB ({fit.formula})",
        *_left_out(found.left_out, found.name), f"  {verdict}", ""]))
