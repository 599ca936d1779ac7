"""The update where some records tell only that a level stayed below a trigger, or went beyond an instrument's range.

Adaptive Gauss-Hermite quadrature over level and slope shift (Naylor and Smith 1982): the nodes follow mean and
covariance of the posterior until they settle; where they don't, a grid takes their place. The effect of each pile is
integrated out as well, in closed form for the records that read a level and for a single one that doesn't, else by
quadrature.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtr

from envpredict.core.citation import Citation
from envpredict.monitoring.site_law.weighted import Floats, sums

if TYPE_CHECKING:
    from envpredict.monitoring.site_law.update import Posterior, Prior, Records

SOURCE = Citation("Naylor and Smith, Applications of a method for the efficient computation of posterior distributions",
                  1982, "adaptive Gauss-Hermite quadrature", "memory", note="checked by simulation in the tests")
_Z, _W = np.polynomial.hermite_e.hermegauss(16)
_BOTH = np.outer(_W, _W).ravel() / (2.0 * math.pi)
_KEPT = _BOTH > 1e-11    # the corners of the square hold less than 1e-10 of the weight: a fifth of the work saved
_NODES = np.stack(np.meshgrid(_Z, _Z, indexing="ij"), axis=-1).reshape(-1, 2)[_KEPT]
_LOG_W = np.log(_BOTH[_KEPT]) + 0.5 * (_NODES**2).sum(axis=1) + math.log(2.0 * math.pi)
_PILE_Z, _PILE_W = np.polynomial.hermite_e.hermegauss(20)
_PILE_Z, _PILE_W = _PILE_Z[2:-2], _PILE_W[2:-2]    # likewise: the outermost hold less than 1e-9
_PILE_CHANCE = _PILE_W / math.sqrt(2.0 * math.pi)
_PILE_LOG_W = np.log(_PILE_CHANCE)
_SMALLEST = -600.0   # chances multiplied out stay above the smallest number there is, e^-708
_STEPS = 25
_SETTLED = 1e-6
_GRID, _ROUNDS = 61, 3
_REACH = 8.0         # standard deviations beyond which nothing is looked for
_NOTHING = 30.0      # a density smaller than the highest by this many powers of e adds nothing
Density = Callable[[Floats], Floats]
Moments = tuple[Floats, Floats, float]
WIDE = 100.0
"""Stands for an unknown level or slope where there's no prior: far wider than any ground differs from another."""


def integrated(records: Records, prior: Prior, share: float, near: Posterior | None = None) -> Posterior:
    """Return the posterior for one share of the pile, its moments by quadrature.

    `near`: the posterior for a neighbouring share, from which the quadrature may set out. Where it doesn't settle, as
    with records that contradict one another, the density is summed over a fine grid instead.
    """
    from envpredict.monitoring.site_law.update import Posterior

    likelihood = _Likelihood(records, prior.within, share)
    prior_sd = np.array([min(sd, WIDE) for sd in (prior.level_sd, prior.slope_sd)])

    def log_density(shifts: Floats) -> Floats:
        prior_log = -0.5 * ((shifts / prior_sd) ** 2).sum(axis=1) - np.log(2.0 * math.pi * prior_sd.prod())
        return np.asarray(likelihood(shifts) + prior_log)

    start = likelihood.start(prior_sd)
    found = _adapted(log_density, *(start if near is None else (near.mean, near.covariance)))
    mean, covariance, evidence = found if found is not None else _summed(log_density, *start)
    return Posterior(mean, covariance, prior.within, share, evidence)


def _adapted(log_density: Density, mean: Floats, covariance: Floats) -> Moments | None:
    """Return mean, covariance and log evidence by nodes that follow them, or None where they don't settle."""
    for _ in range(_STEPS):
        try:
            root = np.linalg.cholesky(covariance)
        except np.linalg.LinAlgError:
            return None
        shifts = mean + _NODES @ root.T
        terms = _LOG_W + log_density(shifts) + float(np.log(np.diag(root)).sum())
        last, last_covariance = mean, covariance
        mean, covariance, evidence = _moments(shifts, terms)
        if np.abs(mean - last).max() + np.abs(covariance - last_covariance).max() < _SETTLED:
            return mean, covariance, evidence
    return None


def _summed(log_density: Density, mean: Floats, covariance: Floats) -> Moments:
    """Return mean, covariance and log evidence by a grid, first over everything possible, then where density is."""
    spread = np.sqrt(np.diag(covariance))
    low, high = mean - _REACH * spread, mean + _REACH * spread
    for _ in range(_ROUNDS):
        axes = [np.linspace(low[number], high[number], _GRID) for number in range(2)]
        shifts = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 2)
        terms = log_density(shifts) + float(np.log([axis[1] - axis[0] for axis in axes]).sum())
        there = shifts[terms > terms.max() - _NOTHING]
        step = np.array([axis[1] - axis[0] for axis in axes])
        low, high = there.min(axis=0) - step, there.max(axis=0) + step
    return _moments(shifts, terms)


def _moments(shifts: Floats, terms: Floats) -> Moments:
    evidence = float(_log_sum(terms))
    chance = np.exp(terms - evidence)
    mean = chance @ shifts
    return np.asarray(mean), np.asarray((shifts - mean).T @ ((shifts - mean) * chance[:, None])), evidence


def _log_sum(terms: Floats) -> Floats:
    """Return the logarithm of the sum of exponentials over the last axis."""
    top = terms.max(axis=-1)
    return np.asarray(top + np.log(np.exp(terms - top[..., None]).sum(axis=-1)))


class _Likelihood:
    """Density of the records as a function of level and slope shift, the effects of the piles integrated out."""

    def __init__(self, records: Records, within: float, share: float) -> None:
        exact = records.exact
        self.variance = within**2
        self.of_pile, self.of_point = share * self.variance, (1.0 - share) * self.variance
        self.count = int(exact.sum())
        self.sums = sums(records.design[exact], records.residual[exact], records.pile[exact], share)
        self.piles = [_Pile(records, records.pile == number) for number in np.unique(records.pile[~exact])]

    def start(self, prior_sd: Floats) -> tuple[Floats, Floats]:
        """Return mean and covariance by prior and read levels alone, from which the quadrature sets out."""
        covariance = np.linalg.inv(np.diag(1.0 / prior_sd**2) + self.sums.xx / self.variance)
        return np.asarray(covariance @ self.sums.xy / self.variance), np.asarray(covariance, dtype=float)

    def __call__(self, shifts: Floats) -> Floats:
        """Return the log density at shifts (K, 2)."""
        found = self.sums
        squares = found.yy - 2.0 * shifts @ found.xy + np.einsum("ki,ij,kj->k", shifts, found.xx, shifts)
        scale = self.count * math.log(2.0 * math.pi * self.variance)
        log_density = -0.5 * (squares / self.variance + found.log_det + scale)
        for pile in self.piles:
            log_density = log_density + pile.log_chance(shifts, self.of_pile, self.of_point)
        return np.asarray(log_density)


class _Pile:
    """The records of one pile of which some don't read a level."""

    def __init__(self, records: Records, mine: NDArray[np.bool_]) -> None:
        exact, censored = mine & records.exact, mine & ~records.exact
        self.read, self.read_design = records.residual[exact], records.design[exact]
        self.bound, self.bound_design = records.residual[censored], records.design[censored]
        self.side = -records.reads[censored].astype(float)     # +1: below the bound, -1: above it

    def log_chance(self, shifts: Floats, of_pile: float, of_point: float) -> Floats:
        """Return, at shifts (K, 2), the log chance that what stayed below did and what went above did."""
        rest = (self.read[None, :] - shifts @ self.read_design.T).sum(axis=1)
        spread = of_point + len(self.read) * of_pile
        effect, left = of_pile * rest / spread, of_pile * of_point / spread
        room = self.bound[None, :] - shifts @ self.bound_design.T - effect[:, None]
        if len(self.bound) == 1:
            return np.asarray(log_ndtr(self.side * room / math.sqrt(of_point + left))[:, 0])
        shaken = room[:, :, None] - math.sqrt(left) * _PILE_Z[None, None, :]
        shaken *= self.side[None, :, None] / math.sqrt(of_point)
        if -0.5 * float(shaken.min()) ** 2 * len(self.bound) > _SMALLEST:
            return np.asarray(np.log(ndtr(shaken).prod(axis=1) @ _PILE_CHANCE))
        return _log_sum(log_ndtr(shaken).sum(axis=1) + _PILE_LOG_W[None, :])
