"""Sobol' indices against functions whose indices are known exactly, against printed values, and against SciPy.

- Ishigami function, a = 7, b = 0.1 (Ishigami and Homma 1990, in the documentation of scipy.stats.sobol_indices): the
  exact indices follow from its variances; the printed values S1 = 0.3139, S2 = 0.4424, S3 = 0, ST1 = 0.5576,
  ST2 = 0.4424, ST3 = 0.2437 are those of Saltelli et al., Global Sensitivity Analysis: The Primer (2008), from memory.
- Sobol's g function with a = (0, 1, 4.5, 9, 99, 99, 99, 99): partial variances (1/3) / (1 + a)^2 (Saltelli and Sobol
  1995); printed first-order indices 0.7162, 0.1790, 0.0237, 0.0072, from memory.
- The same evaluations given to scipy.stats.sobol_indices, an independent implementation: equal to the last digits.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from envpredict.engine.sensitivity.draws import Draws, triangular
from envpredict.engine.sensitivity.indices import Batches, moments

Floats = NDArray[np.float64]
Function = Callable[[Floats], Floats]
A = np.array([0.0, 1.0, 4.5, 9.0, 99.0, 99.0, 99.0, 99.0])


def ishigami(x: Floats) -> Floats:
    """Inputs (3, n) uniform between 0 and 1, stretched to -pi..pi."""
    one, two, three = (2.0 * x - 1.0) * np.pi
    return np.sin(one) + 7.0 * np.sin(two) ** 2 + 0.1 * three**4 * np.sin(one)


def sobol_g(x: Floats) -> Floats:
    return np.prod((np.abs(4.0 * x - 2.0) + A[:, None]) / (1.0 + A[:, None]), axis=0)


def evaluated(function: Function, inputs: int, samples: int, batch: int) -> tuple[Floats, Floats, Floats]:
    a, b = Draws(inputs, samples).batch(batch)
    crossed = []
    for number in range(inputs):
        mixed = a.copy()
        mixed[number] = b[number]
        crossed.append(function(mixed))
    return function(a), function(b), np.stack(crossed)


def batches(function: Function, inputs: int, samples: int = 4096, count: int = 8) -> Batches:
    found = Batches()
    for number in range(count):
        at_a, at_b, at_ab = evaluated(function, inputs, samples, number)
        found.add(moments(at_a[None], at_b[None], at_ab[:, None]))
    return found


def test_ishigami() -> None:
    # exact: V1 = (1 + b pi^4 / 5)^2 / 2, V2 = a^2 / 8, V13 = b^2 pi^8 (1/18 - 1/50)
    v1, v2 = 0.5 * (1.0 + 0.1 * np.pi**4 / 5.0) ** 2, 49.0 / 8.0
    v13 = 0.01 * np.pi**8 * (1.0 / 18.0 - 1.0 / 50.0)
    whole = v1 + v2 + v13
    exact_first, exact_total = [v1 / whole, v2 / whole, 0.0], [(v1 + v13) / whole, v2 / whole, v13 / whole]
    assert np.round(exact_first, 4).tolist() == [0.3139, 0.4424, 0.0]          # as printed
    assert np.round(exact_total, 4).tolist() == [0.5576, 0.4424, 0.2437]
    found = batches(ishigami, 3)
    assert found.variance()[0] == pytest.approx(whole, rel=2e-3)
    assert found.first()[:, 0] == pytest.approx(exact_first, abs=0.005)
    assert found.total()[:, 0] == pytest.approx(exact_total, abs=0.005)
    # the standard errors tell the truth: within four of them
    assert (np.abs(found.first()[:, 0] - exact_first) < 4.0 * found.first_se()[:, 0] + 1e-4).all()


def test_sobols_g_function() -> None:
    part = (1.0 / 3.0) / (1.0 + A) ** 2
    whole = np.prod(1.0 + part) - 1.0
    exact_first = part / whole
    exact_total = part * np.prod(1.0 + part) / (1.0 + part) / whole
    assert np.round(exact_first[:4], 4).tolist() == [0.7162, 0.179, 0.0237, 0.0072]
    found = batches(sobol_g, 8)
    assert found.first()[:, 0] == pytest.approx(exact_first, abs=0.005)
    assert found.total()[:, 0] == pytest.approx(exact_total, abs=0.005)


def test_the_same_evaluations_through_scipy() -> None:
    at_a, at_b, at_ab = evaluated(ishigami, 3, 1024, 0)
    reference = stats.sobol_indices(func={"f_A": at_a[None], "f_B": at_b[None], "f_AB": at_ab[:, None]}, n=1024)
    ours = Batches([moments(at_a[None], at_b[None], at_ab[:, None])])
    assert ours.total()[:, 0] == pytest.approx(np.ravel(reference.total_order), rel=1e-9)
    assert ours.first()[:, 0] == pytest.approx(np.ravel(reference.first_order), rel=1e-9, abs=1e-12)


def test_two_errors_of_a_level_share_its_variance() -> None:
    # y = 3 e1 + 4 e2: shares 9/25 and 16/25, and the exceedance of its median is even odds
    def level(x: Floats) -> Floats:
        return 3.0 * stats.norm.ppf(x[0]) + 4.0 * stats.norm.ppf(x[1])

    found = batches(level, 2, samples=1024)
    assert found.first()[:, 0] == pytest.approx([0.36, 0.64], abs=0.01)
    # what knowing one takes from the doubt about exceeding the median: for two normals the variance of
    # Phi(3 e1 / 4) is asin(0.36) / (2 pi) (orthant probability of a bivariate normal with correlation 0.36)
    above = batches(lambda x: (level(x) > 0.0).astype(float), 2, samples=4096)
    expected = np.arcsin([0.36, 0.64]) / (2.0 * np.pi) / 0.25
    assert above.first()[:, 0] == pytest.approx(expected, abs=0.02)
    assert above.mean()[0] == pytest.approx(0.5, abs=0.002)


def test_triangular_draws_against_scipy() -> None:
    uniform = (np.arange(999) + 0.5) / 999
    for low, likely, high in ((0.2, 0.4, 0.9), (0.2, 0.2, 0.9), (0.2, 0.9, 0.9)):
        expected = stats.triang.ppf(uniform, (likely - low) / (high - low), loc=low, scale=high - low)
        assert triangular(uniform, low, likely, high) == pytest.approx(expected)
    assert triangular(uniform, 3.0, 3.0, 3.0).tolist() == [3.0] * 999
