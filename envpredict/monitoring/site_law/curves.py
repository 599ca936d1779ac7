"""The curves of a site law over distance: published, updated, and the line through the records alone."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.learned.site_law import SiteLaw, StratumFit
from envpredict.monitoring.site_law.regression import fit_line
from envpredict.monitoring.site_law.weighted import numbered

Floats = NDArray[np.float64]
Z95 = 1.6448536269514722
"""The level that one pile exceeds with a chance of 5 %, in standard deviations above the median."""
ONE_ENERGY = 1.05
"""Energies that differ less than this count as one: the line through the records then runs over distance alone."""


def published_at(fit: StratumFit, distance_m: Floats) -> Floats:
    """Return log10 of the published median at distances: along its mean decay through what it says at the records.

    Records may differ in ground and energy; a curve through their mean stands for them.
    """
    at = np.log10(np.asarray(fit.data.distance_m))
    level = float(np.log10(np.asarray(fit.data.published_mm_s)).mean())
    return np.asarray(level + (fit.exponent - fit.slope_shift) * (np.log10(distance_m) - float(at.mean())))


def curves(law: SiteLaw, fit: StratumFit, distance_m: Floats) -> dict[str, tuple[Floats, Floats]]:
    """Return log10 of the median and of the level that one pile exceeds with 5 %, by the name of the curve."""
    prior, median = law.prior, published_at(fit, distance_m)
    shifted = median + fit.shift(distance_m)
    found = {"published": (median, median + Z95 * np.hypot(prior.between_site, prior.within_site)),
             "updated": (shifted, shifted + Z95 * np.hypot(fit.between(distance_m), fit.within_site))}
    exact = fit.data.exact
    x = np.log10(np.asarray(fit.data.distance_m)[exact])
    one_energy = law.energy_kj is None or law.energy_kj[1] <= ONE_ENERGY * law.energy_kj[0]
    if one_energy and np.ptp(x) > 1e-9:
        piles = numbered(np.asarray(fit.data.pile)[exact])
        line = fit_line(x, np.log10(np.asarray(fit.data.ppv_mm_s)[exact]), piles)
        found["records alone"] = (line.median(np.log10(distance_m)), line.upper(np.log10(distance_m)))
    return found


def status(fit: StratumFit) -> str:
    """Return in words whether the records suffice."""
    lacks = fit.lacks()
    if lacks:
        return f"PROVISIONAL: {', '.join(lacks)}. It shifts predictions, but 'unlikely' doesn't rest on it"
    return "SUFFICIENT: 'unlikely' may rest on it, within its reach"
