"""What the records themselves say against the fit: outliers, curvature, sections, single piles that carry it all."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from envpredict.monitoring.site_law.trial import lines_said
from envpredict.monitoring.site_law.update import Records, update

if TYPE_CHECKING:
    from envpredict.monitoring.site_law.fit import Stratum

Floats = NDArray[np.float64]
FAR = 3.0
RARE = 0.05
CARRIES = 1.25
"""A pile is named if the median without it would be higher or lower by more than this factor."""


def standardised(stratum: Stratum) -> Floats:
    """Return, for the records that read a level, how far they lie from the updated law in published scatters.

    The published scatter within a site is the yardstick: one far record would widen the records' own and hide behind
    it.
    """
    assert stratum.posterior is not None
    exact = stratum.records.exact
    rest = stratum.records.residual - stratum.posterior.shift(stratum.records.u)
    return np.asarray(rest[exact] / stratum.prior.within)


def diagnostics(stratum: Stratum) -> tuple[str, ...]:
    """Return what to look at, in words; nothing where the records don't speak against the fit."""
    if stratum.posterior is None:
        return ()
    return tuple(text for text in (_outliers(stratum), _curvature(stratum), _sections(stratum), _shape(stratum),
                                   _single_pile(stratum)) if text)


def _outliers(stratum: Stratum) -> str:
    far = np.abs(standardised(stratum)) > FAR
    if not far.any():
        return ""
    rows = [row for row, ok in zip(stratum.rows, stratum.records.exact, strict=True) if ok]
    lines = tuple(row.line for row, hit in zip(rows, far, strict=True) if hit)
    return f"{lines_said(lines)}: more than {FAR:g} scatters from the updated law: check distance, unit and remark"


def curvature_chance(x: Floats, y: Floats) -> float:
    """Return the chance of so curved a cloud by accident if it were straight; NaN where three distances are lacking."""
    if len(x) < 5 or len(np.unique(np.round(x, 6))) < 3:
        return float("nan")
    design = np.column_stack([np.ones_like(x), x, x**2])
    coefficients, rest, _, _ = np.linalg.lstsq(design, y, rcond=None)
    freedom = len(x) - 3
    squares = float(rest[0]) if rest.size else float(((y - design @ coefficients) ** 2).sum())
    if squares <= 0.0:
        return float("nan")
    error = np.sqrt(squares / freedom * np.linalg.inv(design.T @ design)[2, 2])
    return float(2.0 * stats.t.sf(abs(coefficients[2]) / error, freedom))


def _curvature(stratum: Stratum) -> str:
    exact = stratum.records.exact
    chance = curvature_chance(stratum.records.u[exact], stratum.records.residual[exact])
    if np.isnan(chance) or chance >= RARE:
        return ""
    return (f"the records curve away from a straight line (chance {chance:.2g}): the law's form may not fit this "
            "ground; don't read it between far and near records")


def section_chance(values: Floats, sections: list[str]) -> float:
    """Return the chance of so unequal section means by accident; NaN with fewer than two sections of two records."""
    groups = [values[np.array(sections) == name] for name in dict.fromkeys(sections)]
    groups = [group for group in groups if len(group) >= 2]
    return float(stats.f_oneway(*groups).pvalue) if len(groups) >= 2 else float("nan")


def _sections(stratum: Stratum) -> str:
    rows = [row for row, ok in zip(stratum.rows, stratum.records.exact, strict=True) if ok]
    chance = section_chance(standardised(stratum), [row.section or "" for row in rows])
    if np.isnan(chance) or chance >= RARE:
        return ""
    return f"sections differ (chance {chance:.2g}): fit the sections by themselves, each from a file of its own"


def _shape(stratum: Stratum) -> str:
    rest = standardised(stratum)
    if len(rest) < 8 or np.ptp(rest) < 1e-9:
        return ""
    chance = float(stats.shapiro(rest).pvalue)
    return "" if chance >= RARE else (f"the residuals aren't normal (Shapiro-Wilk, chance {chance:.2g}): chances far "
                                      "from the median are uncertain")


def _single_pile(stratum: Stratum) -> str:
    assert stratum.posterior is not None
    records = stratum.records
    found = []
    for number in np.unique(records.pile):
        keep = records.pile != number
        if records.exact[keep].sum() < 2:
            continue
        without = update(Records(records.residual[keep], records.u[keep], records.pile[keep], records.reads[keep]),
                         stratum.prior)
        factor = 10.0 ** abs(float(stratum.posterior.mean[0] - without.mean[0]))
        name = next(row.pile for row, pile in zip(stratum.rows, records.pile, strict=True) if pile == number)
        found.append((factor, name))
    if not found or max(found)[0] < CARRIES:
        return ""
    factor, name = max(found)
    return f"pile {name} carries the fit: without it the median would change by a factor of {factor:.2g}"
