"""Least squares where records of one pile resemble each other: sums with every pile's covariance taken out.

The covariance of the records is `variance x [(1 - share) I + share J]` within a pile and nothing between piles; `share`
is the part of the variance that all records of one pile have in common.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Piles = NDArray[np.intp]
LARGEST_SHARE = 0.99
"""Beyond it the records of a pile would be one and the same, and their covariance couldn't be turned round."""


@dataclass(frozen=True, slots=True, eq=False)
class Sums:
    """Sums weighted with the inverse of the covariance for unit variance.

    `xx` (p, p), `xy` (p,), `yy`: of design and response; `log_det`: of the covariance for unit variance.
    """

    xx: Floats
    xy: Floats
    yy: float
    log_det: float
    count: int

    @property
    def solution(self) -> Floats:
        """Return the weighted least squares coefficients (p,)."""
        return np.asarray(np.linalg.solve(self.xx, self.xy))

    @property
    def residual(self) -> float:
        """Return the weighted residual sum of squares of that solution."""
        return max(float(self.yy - self.xy @ self.solution), 0.0)


def sums(design: Floats, response: Floats, pile: Piles, share: float) -> Sums:
    """Return the sums for a share; design (n, p), response (n,), pile (n,) numbers from 0.

    Raises ValueError for a share outside 0 to `LARGEST_SHARE`.
    """
    inner, log_det = inner_sums(design, response, pile, np.array([share]))
    return Sums(inner[0, :-1, :-1], inner[0, :-1, -1], float(inner[0, -1, -1]), float(log_det[0]), len(response))


def inner_sums(design: Floats, response: Floats, pile: Piles, shares: Floats) -> tuple[Floats, Floats]:
    """Return, for shares (S,), the sums of design and response together (S, p + 1, p + 1), and log determinants (S,).

    Raises ValueError for a share outside 0 to `LARGEST_SHARE`.
    """
    if not (shares.min() >= 0.0 and shares.max() <= LARGEST_SHARE):
        raise ValueError(f"share must lie between 0 and {LARGEST_SHARE}, not {shares.min():g} to {shares.max():g}")
    number = np.bincount(pile).astype(float)
    both = np.concatenate([design, response[:, None]], axis=1)
    each = np.stack([np.bincount(pile, weights=column) for column in both.T], axis=1)
    worked, own = number[number > 0], 1.0 - shares[:, None]
    taken = shares[:, None] / (own + shares[:, None] * number)
    inner = (both.T @ both - (taken[:, None, :] * each.T) @ each) / own[..., None]
    log_det = (len(response) - len(worked)) * np.log(own[:, 0]) + np.log(own + shares[:, None] * worked).sum(axis=1)
    return np.asarray(inner), np.asarray(log_det)


def numbered(piles: NDArray[np.str_]) -> Piles:
    """Return the number of each record's pile, from 0."""
    return np.unique(piles, return_inverse=True)[1].ravel().astype(np.intp)


def repeated(pile: Piles) -> bool:
    """Return whether any pile has several records."""
    return len(pile) > 0 and int(np.bincount(pile).max()) > 1
