"""A straight line through the logarithms, with the level that a new pile exceeds with a stated chance.

Each record of its own pile: ordinary least squares. Several records of a pile: a line with the pile as a random effect,
its variances by restricted maximum likelihood, its degrees of freedom by Satterthwaite's approximation.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from envpredict.core.citation import Citation
from envpredict.monitoring.site_law.weighted import LARGEST_SHARE, Floats, Piles, inner_sums, repeated, sums

SOURCE = Citation("standard statistics", None, "least squares, its prediction interval, restricted maximum likelihood, "
                  "Satterthwaite's degrees of freedom", "memory", note="checked against two libraries in the tests")
LEAST_RECORDS = 3
LOOKS, ZOOMS = 34, 8
"""Shares of the pile tried at once, and how often the best of them is looked at more closely: to 1e-10."""
EXACT_SD = 1e-9
"""Records that lie on the line to rounding have no variances to tell apart."""


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """A fitted line y = intercept + slope x, y and x logarithms to base 10.

    `covariance` (2, 2): of intercept and slope; `residual_sd`: of one record about the line, piles and points
    together; `pile_share`: part of that variance that a pile's records have in common; `piles`: how many there are.
    """

    intercept: float
    slope: float
    covariance: Floats
    residual_sd: float
    pile_share: float
    records: int
    piles: int
    design: Floats
    pile: Piles

    def median(self, x: Floats) -> Floats:
        """Return the line at x, any shape."""
        return np.asarray(self.intercept + self.slope * x)

    def upper(self, x: Floats, chance: float = 0.05) -> Floats:
        """Return the level that one new pile exceeds with the chance, one-sided; any shape of x.

        Raises ValueError for a chance outside 0 to 1.
        """
        if not 0.0 < chance < 1.0:
            raise ValueError(f"chance must lie between 0 and 1, not {chance:g}")
        spread, freedom = self._spread(np.asarray(x, dtype=float))
        return np.asarray(self.median(x) + stats.t.ppf(1.0 - chance, freedom) * spread)

    def exceedance(self, x: Floats, y: Floats) -> Floats:
        """Return the chance that one new pile exceeds the level y at x; arrays broadcast."""
        spread, freedom = self._spread(np.asarray(x, dtype=float))
        return np.asarray(stats.t.sf((y - self.median(x)) / spread, freedom))

    def freedom(self, x: Floats) -> Floats:
        """Return the degrees of freedom of the prediction at x."""
        return self._spread(np.asarray(x, dtype=float))[1]

    def slope_limits(self, confidence: float = 0.9) -> tuple[float, float]:
        """Return the two-sided confidence limits of the slope."""
        half = stats.t.ppf(0.5 + confidence / 2, self.records - 2) * np.sqrt(self.covariance[1, 1])
        return float(self.slope - half), float(self.slope + half)

    def _spread(self, x: Floats) -> tuple[Floats, Floats]:
        at = np.stack([np.ones_like(x), x], axis=-1)
        variance = self.residual_sd**2 + np.einsum("...i,ij,...j->...", at, self.covariance, at)
        exact = self.residual_sd < EXACT_SD or self.records == LEAST_RECORDS
        if exact or (self.pile_share == 0.0 and not repeated(self.pile)):
            return np.sqrt(variance), np.full(x.shape, float(self.records - 2))
        return np.sqrt(variance), _satterthwaite(self, at, variance)


def fit_line(x: Floats, y: Floats, pile: Piles | None = None) -> Line:
    """Return the line through records; x, y (n,) logarithms, pile (n,) numbers (None: each record its own pile).

    Raises ValueError for fewer than three records or a single x.
    """
    if len(x) < LEAST_RECORDS:
        raise ValueError(f"a line with a scatter needs {LEAST_RECORDS} records, there are {len(x)}")
    if np.ptp(x) < 1e-9:
        raise ValueError("all records have the same distance: a line has no slope there")
    group = np.arange(len(x), dtype=np.intp) if pile is None else pile
    design = np.column_stack([np.ones_like(x), x])
    count = len(np.unique(group))
    share = _share(design, y, group) if repeated(group) and count > 1 else 0.0
    found = sums(design, y, group, share)
    variance = found.residual / (len(x) - 2)
    intercept, slope = found.solution
    covariance = np.asarray(np.linalg.inv(found.xx) * variance, dtype=float)
    return Line(float(intercept), float(slope), covariance, float(np.sqrt(variance)), share, len(x), count, design,
                group)


def _share(design: Floats, y: Floats, pile: Piles) -> float:
    """Return the share of the variance that a pile's records have in common, by restricted maximum likelihood."""
    freedom = len(y) - design.shape[1]

    def criterion(shares: Floats) -> Floats:
        inner, log_det = inner_sums(design, y, pile, shares)
        xx, xy = inner[:, :-1, :-1], inner[:, :-1, -1]
        residual = inner[:, -1, -1] - (xy * np.linalg.solve(xx, xy[..., None])[..., 0]).sum(axis=1)
        return np.asarray(freedom * np.log(np.maximum(residual, 1e-300)) + log_det + np.linalg.slogdet(xx)[1])

    # the criterion may have a local minimum on the boundary: a coarse look first, then into the best valley
    low, high = 0.0, LARGEST_SHARE
    for _ in range(ZOOMS):
        shares = np.linspace(low, high, LOOKS)
        found = criterion(shares)
        best = int(np.argmin(found))
        low, high = shares[max(best - 1, 0)], shares[min(best + 1, LOOKS - 1)]
    return float(shares[best])


def _satterthwaite(line: Line, at: Floats, variance: Floats) -> Floats:
    """Return the degrees of freedom of the prediction variance at design rows (..., 2).

    The variances of the two variances are those of the expected restricted information; their effect on the prediction
    variance is taken by differences. A new pile's own variance counts with both of its parts.
    """
    n = len(line.pile)
    same = (line.pile[:, None] == line.pile[None, :]).astype(float)
    parts = np.array([line.residual_sd**2 * line.pile_share, line.residual_sd**2 * (1.0 - line.pile_share)])

    def coefficient_covariance(of_pile: float, of_point: float) -> Floats:
        covariance = of_pile * same + of_point * np.eye(n)
        return np.asarray(np.linalg.inv(line.design.T @ np.linalg.solve(covariance, line.design)))

    covariance = parts[0] * same + parts[1] * np.eye(n)
    inverse = np.linalg.inv(covariance)
    half = inverse @ line.design
    projection = inverse - half @ np.linalg.inv(line.design.T @ half) @ half.T
    derivatives = (projection @ same, projection)
    information = np.array([[0.5 * np.trace(one @ other) for other in derivatives] for one in derivatives])
    step = 1e-4 * parts.sum()
    gradient = []
    for number in range(2):
        up, down = parts.copy(), parts.copy()
        up[number] += step
        down[number] = max(down[number] - step, 0.0 if number == 0 else down[number] / 2)
        change = coefficient_covariance(*up) - coefficient_covariance(*down)
        gradient.append(1.0 + np.einsum("...i,ij,...j->...", at, change / (up[number] - down[number]), at))
    slope = np.stack(gradient, axis=-1)
    spread = np.einsum("...i,ij,...j->...", slope, np.linalg.pinv(information, hermitian=True), slope)
    return np.asarray(np.clip(2.0 * variance**2 / spread, 1.0, n - 2.0))


def equal_slopes(x: Sequence[Floats], y: Sequence[Floats]) -> float:
    """Return the chance of so unequal slopes by accident if all groups had one slope: the test of one slope for all.

    x, y: one array of logarithms per group, each with a line of its own under the alternative; F test of the residual
    sums of squares. NaN where the groups hold too few records or a group has a single distance.
    """
    groups = len(x)
    count = sum(len(one) for one in x)
    freedom = count - 2 * groups
    if groups < 2 or freedom < 1 or any(np.ptp(one) < 1e-9 for one in x):
        return float("nan")
    centred = [(one - one.mean(), other - other.mean()) for one, other in zip(x, y, strict=True)]
    sxx = np.array([(a**2).sum() for a, _ in centred])
    sxy = np.array([(a * b).sum() for a, b in centred])
    syy = np.array([(b**2).sum() for _, b in centred])
    own = float((syy - sxy**2 / sxx).sum())
    one_slope = float(syy.sum() - sxy.sum() ** 2 / sxx.sum())
    if own <= 0.0:
        return float("nan")
    return float(stats.f.sf((one_slope - own) / (groups - 1) / (own / freedom), groups - 1, freedom))
