"""The published law, updated by what was measured on the site (Bayes).

Model, in logarithms to base 10: record = published median + level shift + slope shift x log10(distance / reference) +
pile + rest. The level shift is the law's error on this ground (standard deviation: the law's scatter between sites);
the slope shift lets the decay on this ground differ; pile and rest together are the law's scatter within a site, and
how they share it isn't known: every share is taken as equally likely beforehand and weighed by the records. For a given
share the update has a closed form; records that tell no more than "below" or "above" a level are integrated over by
quadrature (`censored`). The scatter within the site is never made smaller; it grows where the records scatter more
widely than the law says.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

from envpredict.core.citation import Citation
from envpredict.monitoring.site_law.weighted import Floats, Piles, inner_sums, repeated, sums

SLOPE_SD = 0.2
SLOPE_SOURCE = Citation("our judgement", None, "standard deviation of the decay's exponent from site to site, from the "
                        "spread of the published exponents (0.85 to 1.5)", "estimate")
MOST_SHARED = 0.9
SHARE_SOURCE = Citation("our judgement", None, "every share of the pile in the variance within a site, from 0 to "
                        f"{MOST_SHARED:g}, is equally likely before the records speak; the rest is each point's own",
                        "estimate")
METHOD_SOURCE = Citation("standard statistics", None, "conjugate normal update of a linear model with random effects",
                         "memory", note="checked by simulation, and against two libraries in its limits")
WIDER_CHANCE = 0.05
"""The scatter within a site is taken from the records where the law's own would give as wide a one this rarely."""
_X, _W = np.polynomial.legendre.leggauss(8)
SHARES, SHARE_WEIGHTS = MOST_SHARED * 0.5 * (_X + 1.0), 0.5 * _W

EXACT, BELOW, ABOVE = 0, -1, 1
"""How a record reads: the level itself, a level it stayed below (a trigger), a level it exceeded (clipped)."""
Reads = NDArray[np.int8]


@dataclass(frozen=True, slots=True)
class Prior:
    """Standard deviations in log10 units before the records: of level and slope from site to site, and within a site.

    An infinite one says that nothing is known beforehand.
    """

    level_sd: float
    slope_sd: float
    within: float

    @classmethod
    def of_law(cls, between_site: float, within_site: float) -> Prior:
        """Return the prior of a law; a law that claims little scatter between sites is given no wider slope."""
        return cls(between_site, min(SLOPE_SD, between_site), within_site)

    @property
    def precision(self) -> Floats:
        """Return the precisions (2, 2) of level and slope."""
        return np.diag([0.0 if math.isinf(sd) else 1.0 / sd**2 for sd in (self.level_sd, self.slope_sd)])


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """Level shift and slope shift after the records.

    `mean` (2,), `covariance` (2, 2); `within`: the scatter within the site as used; `pile_share`: the expected share of
    the pile in it; `log_evidence`: logarithm of the records' density, up to a constant of the prior.
    """

    mean: Floats
    covariance: Floats
    within: float
    pile_share: float
    log_evidence: float

    def shift(self, u: Floats) -> Floats:
        """Return the shift of the law's median at u = log10(distance / reference), any shape."""
        return np.asarray(self.mean[0] + self.mean[1] * u)

    def between(self, u: Floats) -> Floats:
        """Return the standard deviation of what all piles share, at u, any shape."""
        at = np.stack([np.ones_like(u), u], axis=-1)
        return np.asarray(np.sqrt(np.einsum("...i,ij,...j->...", at, self.covariance, at)))


@dataclass(frozen=True, slots=True, eq=False)
class Records:
    """What is measured, against what was predicted; every array (n,).

    `residual`: log10 of the level over the published median; `u`: log10(distance / reference); `pile`: numbers;
    `reads`: EXACT, BELOW or ABOVE.
    """

    residual: Floats
    u: Floats
    pile: Piles
    reads: Reads

    @property
    def design(self) -> Floats:
        """Return the design (n, 2) of level and slope."""
        design = np.ones((len(self.u), 2))
        design[:, 1] = self.u
        return design

    @property
    def exact(self) -> NDArray[np.bool_]:
        """Return which records read the level itself."""
        return np.asarray(self.reads == EXACT)


def update(records: Records, prior: Prior) -> Posterior:
    """Return the posterior of level and slope shift. Raises ValueError for no records at all."""
    if not len(records.residual):
        raise ValueError("there are no records to update with")
    within = max(prior.within, wider_within(records, prior.within))
    used = Prior(prior.level_sd, prior.slope_sd, within)
    shares, weights = (SHARES, SHARE_WEIGHTS) if repeated(records.pile) else (np.zeros(1), np.ones(1))
    found: list[Posterior] = []
    for share in shares:
        found.append(given_share(records, used, float(share), found[-1] if found else None))
    evidence = np.array([one.log_evidence for one in found]) + np.log(weights)
    top = float(evidence.max())
    chance = np.exp(evidence - top)
    chance = chance / chance.sum()
    means = np.array([one.mean for one in found])
    mean = chance @ means
    apart = means - mean
    covariance = np.einsum("k,kij->ij", chance, np.array([one.covariance for one in found]))
    covariance += np.einsum("k,ki,kj->ij", chance, apart, apart)
    return Posterior(mean, covariance, within, float(chance @ shares),
                     top + float(np.log(np.exp(evidence - top).sum())))


def given_share(records: Records, prior: Prior, share: float, near: Posterior | None = None) -> Posterior:
    """Return the posterior for one share of the pile in the scatter within the site; `near`: that of a near share."""
    if records.exact.all():
        return _closed(records, prior, share)
    from envpredict.monitoring.site_law.censored import integrated

    return integrated(records, prior, share, near)


def _closed(records: Records, prior: Prior, share: float) -> Posterior:
    found = sums(records.design, records.residual, records.pile, share)
    variance = prior.within**2
    precision = prior.precision + found.xx / variance
    covariance = np.asarray(np.linalg.inv(precision), dtype=float)
    mean = covariance @ found.xy / variance
    misfit = found.yy / variance - mean @ precision @ mean
    proper = [math.log(sd**2) for sd in (prior.level_sd, prior.slope_sd) if math.isfinite(sd)]
    log_evidence = -0.5 * (found.log_det + found.count * math.log(2 * math.pi * variance)
                           + float(np.linalg.slogdet(precision)[1]) + sum(proper) + float(misfit))
    return Posterior(np.asarray(mean), covariance, prior.within, share, log_evidence)


def wider_within(records: Records, within: float) -> float:
    """Return the scatter within the site by the records alone, where it's wider than the law's beyond chance; else 0.

    Level and slope are left free. Only records that read a level count; of all shares of the pile the one that makes
    the scatter look smallest decides.
    """
    exact = records.exact
    if exact.sum() < 4:
        return 0.0
    pile = np.unique(records.pile[exact], return_inverse=True)[1].ravel()
    design = records.design[exact]
    parameters = 2 if np.ptp(records.u[exact]) > 1e-9 else 1
    freedom = int(exact.sum()) - parameters
    shares = SHARES if repeated(pile) else np.zeros(1)
    inner, _ = inner_sums(design[:, :parameters], records.residual[exact], pile, shares)
    xx, xy = inner[:, :-1, :-1], inner[:, :-1, -1]
    left = inner[:, -1, -1] - (xy * np.linalg.solve(xx, xy[..., None])[..., 0]).sum(axis=1)
    least = max(float(left.min()), 0.0)
    if float(chdtrc(freedom, least / within**2)) >= WIDER_CHANCE:
        return 0.0
    return float(math.sqrt(least / freedom))
