"""Quasi-random draws: scrambled Sobol' sequences, a batch at a time, each batch with a scrambling of its own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from envpredict.core.errors import Problem

Floats = NDArray[np.float64]
SEED = 20_270_302
LEAST_SAMPLES, MOST_SAMPLES = 64, 1 << 16
_EDGE = 2.0**-40
"""A draw keeps this far from 0 and 1, where a normal quantile would be infinite."""


def samples_problem(samples: int) -> Problem | None:
    """Return what is wrong with the number of samples of a batch: Sobol' sequences balance at powers of two alone."""
    where = f"samples = {samples}"
    if not LEAST_SAMPLES <= samples <= MOST_SAMPLES:
        return Problem(where, f"a batch holds {LEAST_SAMPLES} to {MOST_SAMPLES} samples", "take 1024")
    if samples & (samples - 1) == 0:
        return None
    below = 1 << (samples.bit_length() - 1)
    return Problem(where, "isn't a power of two, and a Sobol' sequence is balanced only there",
                   f"take {max(below, LEAST_SAMPLES)} or {min(2 * below, MOST_SAMPLES)}")


@dataclass(frozen=True, slots=True)
class Draws:
    """Draws of `unknowns` inputs in batches of `samples`; equal seeds give equal draws."""

    unknowns: int
    samples: int
    seed: int = SEED

    def batch(self, number: int) -> tuple[Floats, Floats]:
        """Return the samples A and B (unknowns, samples) of a batch, uniform between 0 and 1."""
        # loading it takes longer than a small run does without it
        from scipy.stats import qmc

        rng = np.random.default_rng([self.seed, number])
        sequence = qmc.Sobol(2 * max(self.unknowns, 1), scramble=True, rng=rng)
        both = np.clip(sequence.random_base2(self.samples.bit_length() - 1).T, _EDGE, 1.0 - _EDGE)
        return np.ascontiguousarray(both[:self.unknowns]), np.ascontiguousarray(both[max(self.unknowns, 1):])


def normal(uniform: Floats) -> Floats:
    """Return standard normal draws from uniform ones."""
    return np.asarray(ndtri(uniform))


def triangular(uniform: Floats, low: float, likely: float, high: float) -> Floats:
    """Return draws of a triangular distribution from uniform ones; all `likely` where it has no width."""
    width = high - low
    if width <= 0.0:
        return np.full(uniform.shape, likely)
    split = (likely - low) / width
    left = low + np.sqrt(uniform * width * (likely - low))
    right = high - np.sqrt((1.0 - uniform) * width * (high - likely))
    return np.asarray(np.where(uniform <= split, left, right))
