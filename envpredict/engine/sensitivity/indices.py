"""Sobol' indices from the evaluations of a function at two independent samples and at their crossings.

A and B are independent samples of all inputs; AB_i is A with input i taken from B. First order (Saltelli et al. 2010):
the share of the output's variance that would go if input i became known. Total (Jansen 1999): the share that would be
left if everything else became known. Batches are added up as moments, so nothing grows with the number of samples.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import Citation

Floats = NDArray[np.float64]

FIRST_ORDER = Citation("Saltelli, Annoni, Azzini, Campolongo, Ratto and Tarantola, Variance based sensitivity analysis "
                       "of model output", 2010, "Table 2, estimator (b)", "read",
                       via="the documentation of scipy.stats.sobol_indices")
TOTAL_ORDER = Citation("Jansen, Analysis of variance designs for model output", 1999, "estimator of the total index",
                       "memory")


@dataclass(frozen=True, slots=True, eq=False)
class Moments:
    """Moments of one batch for K outputs and I inputs.

    `mean`, `square` (K) of A and B together; `first`, `total` (I, K): numerators of the indices.
    """

    mean: Floats
    square: Floats
    first: Floats
    total: Floats


def moments(at_a: Floats, at_b: Floats, at_ab: Floats) -> Moments:
    """Return the moments of a batch: at_a, at_b (K, n) the outputs at A and at B, at_ab (I, K, n) at the crossings."""
    both = np.concatenate([at_a, at_b], axis=-1)
    centre = both.mean(axis=-1, keepdims=True)
    first = ((at_b - centre) * (at_ab - at_a)).mean(axis=-1)
    total = 0.5 * ((at_a - at_ab) ** 2).mean(axis=-1)
    return Moments(both.mean(axis=-1), (both**2).mean(axis=-1), np.asarray(first), np.asarray(total))


@dataclass(slots=True, eq=False)
class Batches:
    """Batches of equal size, each with a scrambling of its own: their spread tells how sure the results are."""

    found: list[Moments] = field(default_factory=list)

    def add(self, batch: Moments) -> None:
        """Take up a batch."""
        self.found.append(batch)

    def __len__(self) -> int:
        return len(self.found)

    def mean(self) -> Floats:
        """Return the mean (K) of the outputs."""
        return np.asarray(np.mean([one.mean for one in self.found], axis=0))

    def mean_se(self) -> Floats:
        """Return the standard error (K) of the mean, from the batches; infinite with fewer than two."""
        if len(self) < 2:
            return np.full(self.found[0].mean.shape, np.inf)
        return np.asarray(np.std([one.mean for one in self.found], axis=0, ddof=1) / np.sqrt(len(self)))

    def variance(self) -> Floats:
        """Return the variance (K) of the outputs."""
        return _variance(self.found)

    def first(self) -> Floats:
        """Return the first-order indices (I, K); 0 where the output doesn't vary."""
        return _share("first", self.found)

    def total(self) -> Floats:
        """Return the total indices (I, K); 0 where the output doesn't vary."""
        return _share("total", self.found)

    def pooled(self, outputs: NDArray[np.intp]) -> tuple[Floats, Floats]:
        """Return, per input (I), the share of the summed variance of some outputs that its knowledge takes away.

        Outputs with more variance count more; the second array is its standard error by the jackknife over batches.
        """
        return _jackknife(lambda some: _pooled(some, outputs), self.found)

    def first_se(self) -> Floats:
        """Return the standard errors (I, K) of the first-order indices, by the jackknife over batches."""
        return _jackknife(lambda some: _share("first", some), self.found)[1]


def _variance(some: list[Moments]) -> Floats:
    mean = np.mean([one.mean for one in some], axis=0)
    return np.asarray(np.maximum(np.mean([one.square for one in some], axis=0) - mean**2, 0.0))


def _share(name: str, some: list[Moments]) -> Floats:
    variance = _variance(some)
    summed = np.mean([getattr(one, name) for one in some], axis=0)
    return np.asarray(np.where(variance > 1e-12, summed / np.where(variance > 1e-12, variance, 1.0), 0.0))


def _pooled(some: list[Moments], outputs: NDArray[np.intp]) -> Floats:
    variance = float(_variance(some)[outputs].sum())
    summed = np.mean([one.first for one in some], axis=0)[:, outputs].sum(axis=1)
    return np.asarray(summed / variance if variance > 1e-9 else np.zeros(len(summed)))


def _jackknife(of: Callable[[list[Moments]], Floats], some: list[Moments]) -> tuple[Floats, Floats]:
    value = np.asarray(of(some))
    count = len(some)
    if count < 2:
        return value, np.full(value.shape, np.inf)
    left = np.stack([of(some[:number] + some[number + 1:]) for number in range(count)])
    return value, np.asarray(np.sqrt((count - 1) / count * ((left - left.mean(axis=0)) ** 2).sum(axis=0)))
