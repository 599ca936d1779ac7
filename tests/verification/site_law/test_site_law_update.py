"""The update of a published law against closed forms, least squares and brute force."""

from __future__ import annotations

import math

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from envpredict.monitoring.site_law.censored import _Likelihood, _summed, integrated
from envpredict.monitoring.site_law.source_level import posterior_level
from envpredict.monitoring.site_law.update import ABOVE, BELOW, EXACT, Prior, Records, given_share, update

FLAT = Prior(math.inf, math.inf, 0.2)


def records(residual: np.ndarray, u: np.ndarray, pile: np.ndarray | None = None,
            reads: np.ndarray | None = None) -> Records:
    number = np.arange(len(u)) if pile is None else pile
    return Records(residual, u, number.astype(np.intp), np.zeros(len(u), dtype=np.int8) if reads is None else reads)


def sample(seed: int, piles: int = 4, points: int = 3) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    u, pile = np.tile(np.linspace(-0.45, 0.45, points), piles), np.repeat(np.arange(piles), points)
    return 0.15 - 0.1 * u + rng.normal(0, 0.1, piles)[pile] + rng.normal(0, 0.1, len(u)), u, pile


def test_one_record_is_the_textbook_update_of_a_normal_mean() -> None:
    # posterior precision is the sum of the precisions, the mean weighted with them (any textbook on Bayes)
    found = update(records(np.array([0.3]), np.array([0.0])), Prior(0.25, 0.2, 0.2))
    weight = 1 / 0.25**2 + 1 / 0.2**2
    assert found.mean[0] == pytest.approx(0.3 / 0.2**2 / weight)
    assert found.covariance[0, 0] == pytest.approx(1 / weight)
    assert found.mean[1] == 0.0
    assert found.covariance[1, 1] == pytest.approx(0.2**2)


@pytest.mark.parametrize("seed", range(3))
def test_a_flat_prior_is_least_squares(seed: int) -> None:
    y, u, _ = sample(seed)
    found = update(records(y, u), FLAT)
    model = sm.OLS(y, sm.add_constant(u)).fit()
    assert found.mean == pytest.approx(model.params, rel=1e-10)
    # the scatter within the site is known here, so it takes the place of the residual one
    assert found.covariance == pytest.approx(model.normalized_cov_params * 0.2**2, rel=1e-10)


@pytest.mark.parametrize("share", [0.0, 0.3, 0.8])
def test_a_flat_prior_with_pile_effects_is_generalised_least_squares(share: float) -> None:
    y, u, pile = sample(7)
    found = given_share(records(y, u, pile), FLAT, share)
    covariance = 0.2**2 * ((1 - share) * np.eye(len(u)) + share * (pile[:, None] == pile[None, :]))
    model = sm.GLS(y, sm.add_constant(u), sigma=covariance).fit()
    assert found.mean == pytest.approx(model.params, rel=1e-9)
    assert found.covariance == pytest.approx(model.normalized_cov_params, rel=1e-9)


@pytest.mark.parametrize("share", [0.0, 0.5])
def test_the_evidence_is_the_density_of_the_records(share: float) -> None:
    y, u, pile = sample(3)
    prior = Prior(0.25, 0.2, 0.2)
    design = sm.add_constant(u)
    covariance = 0.2**2 * ((1 - share) * np.eye(len(u)) + share * (pile[:, None] == pile[None, :]))
    covariance = covariance + design @ np.diag([0.25**2, 0.2**2]) @ design.T
    assert given_share(records(y, u, pile), prior, share).log_evidence == pytest.approx(
        stats.multivariate_normal(np.zeros(len(u)), covariance).logpdf(y), rel=1e-10)


def test_the_share_of_the_pile_is_weighed_by_the_records() -> None:
    rng = np.random.default_rng(11)
    u, pile = np.tile(np.linspace(-0.4, 0.4, 4), 12), np.repeat(np.arange(12), 4)
    alike = rng.normal(0, 0.2, 12)[pile] + rng.normal(0, 0.02, 48)
    unlike = rng.normal(0, 0.2, 48)
    prior = Prior(0.25, 0.2, 0.2)
    assert update(records(alike, u, pile), prior).pile_share > 0.85
    assert update(records(unlike, u, pile), prior).pile_share < 0.35
    # records of one pile that resemble each other tell less of the ground
    assert update(records(alike, u, pile), prior).covariance[0, 0] > 2 * update(
        records(unlike, u, pile), prior).covariance[0, 0]


@pytest.mark.parametrize("share", [0.0, 0.6])
def test_the_quadrature_agrees_with_the_closed_form_where_nothing_is_censored(share: float) -> None:
    y, u, pile = sample(5)
    prior = Prior(0.25, 0.2, 0.2)
    whole, closed = integrated(records(y, u, pile), prior, share), given_share(records(y, u, pile), prior, share)
    assert whole.mean == pytest.approx(closed.mean, abs=1e-9)
    assert whole.covariance == pytest.approx(closed.covariance, abs=1e-9)
    assert whole.log_evidence == pytest.approx(closed.log_evidence, abs=1e-8)


@pytest.mark.parametrize("share", [0.0, 0.5])
def test_the_grid_agrees_with_the_quadrature_that_follows_the_posterior(share: float) -> None:
    y, u, pile = sample(5)
    code = np.where(y < 0.1, BELOW, EXACT).astype(np.int8)
    some, prior = records(np.maximum(y, 0.1), u, pile, code), Prior(0.25, 0.2, 0.2)
    likelihood, sd = _Likelihood(some, 0.2, share), np.array([0.25, 0.2])
    mean, covariance, _ = _summed(lambda shifts: likelihood(shifts) - 0.5 * ((shifts / sd) ** 2).sum(axis=1),
                                  *likelihood.start(sd))
    followed = integrated(some, prior, share)
    assert mean == pytest.approx(followed.mean, abs=1e-5)
    assert covariance == pytest.approx(followed.covariance, abs=1e-5)


def test_records_that_contradict_one_another_still_have_an_update() -> None:
    rng = np.random.default_rng(77)
    for _ in range(40):
        u, code = rng.choice([-0.4, 0.0, 0.4], 6), rng.choice([BELOW, ABOVE, EXACT], 6).astype(np.int8)
        found = update(records(rng.normal(0, 0.3, 6), u, rng.integers(0, 3, 6), code), Prior(0.25, 0.2, 0.2))
        assert np.isfinite(found.mean).all()
        assert (found.between(np.array([-0.4, 0.0, 0.4])) < 0.3).all()


def test_a_trigger_far_above_every_level_tells_nothing() -> None:
    y, u, pile = sample(5)
    prior = Prior(0.25, 0.2, 0.2)
    loose = records(np.append(y, 5.0), np.append(u, 0.4), np.append(pile, 9),
                    np.append(np.zeros(len(u)), BELOW).astype(np.int8))
    assert update(loose, prior).mean == pytest.approx(update(records(y, u, pile), prior).mean, abs=1e-5)


@pytest.mark.parametrize(("reads", "share"), [((EXACT, BELOW, BELOW, EXACT, BELOW, ABOVE), 0.0),
                                              ((EXACT, BELOW, BELOW, EXACT, BELOW, ABOVE), 0.5),
                                              ((BELOW,) * 6, 0.5), ((EXACT, EXACT, EXACT, BELOW, BELOW, BELOW), 0.9)])
def test_censored_records_agree_with_brute_force(reads: tuple[int, ...], share: float) -> None:
    # the posterior by definition: draws of everything unknown from the prior, weighed with the records' density
    u, pile = np.array([-0.4, 0.0, 0.4] * 2), np.array([0, 0, 0, 1, 1, 1])
    y, code = np.array([0.10, 0.05, 0.02, 0.25, 0.12, 0.15]), np.array(reads, dtype=np.int8)
    prior, within = Prior(0.25, 0.2, 0.2), 0.2
    rng = np.random.default_rng(20)
    level, slope = rng.normal(0, 0.25, 2_000_000), rng.normal(0, 0.2, 2_000_000)
    weight = np.zeros(len(level))
    for number in range(2):
        effect = rng.normal(0, math.sqrt(share) * within, len(level))
        for k in np.flatnonzero(pile == number):
            room = (y[k] - level - slope * u[k] - effect) / (math.sqrt(1 - share) * within)
            weight += (stats.norm.logpdf(room) if code[k] == EXACT else stats.norm.logcdf(-code[k] * room))
    chance = np.exp(weight - weight.max())
    chance /= chance.sum()
    mean = np.array([chance @ level, chance @ slope])
    spread = np.sqrt([chance @ (level - mean[0]) ** 2, chance @ (slope - mean[1]) ** 2])
    noise = 1.0 / math.sqrt(1.0 / (chance**2).sum())      # one over the root of the effective number of draws
    found = given_share(records(y, u, pile, code), prior, share)
    assert found.mean == pytest.approx(mean, abs=5 * noise * spread.max() + 1e-4)
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx(spread, abs=5 * noise * spread.max() + 1e-4)


def test_the_censored_line_agrees_with_maximum_likelihood_where_the_prior_is_flat() -> None:
    # with many records the posterior mean lies at the maximum of the likelihood of a censored regression (Tobit)
    from scipy import optimize

    rng = np.random.default_rng(31)
    u = rng.uniform(-0.5, 0.5, 300)
    y = 0.2 - 0.4 * u + rng.normal(0, 0.2, 300)
    low = y < 0.15
    y = np.where(low, 0.15, y)
    code = np.where(low, BELOW, EXACT).astype(np.int8)

    def loss(beta: np.ndarray) -> float:
        rest = (y - beta[0] - beta[1] * u) / 0.2
        return -float(stats.norm.logpdf(rest[~low]).sum() + stats.norm.logcdf(rest[low]).sum())

    best = optimize.minimize(loss, [0.0, 0.0], method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-10})
    found = given_share(records(y, u, None, code), FLAT, 0.0)
    assert found.mean == pytest.approx(best.x, abs=2e-3)


def test_the_measured_level_of_plant_follows_the_formula_by_hand() -> None:
    # L0 118, u0 5; four levels, mean 112, sm 2: (118/25 + 4*112/4) / (1/25 + 4/4) = 116.72 / 1.04, by hand
    level, u = posterior_level(118.0, 5.0, 112.0, 2.0, 4)
    assert level == pytest.approx(112.2308, abs=5e-5)
    assert u == pytest.approx(0.98058, abs=5e-6)
    assert posterior_level(118.0, 1e6, 112.0, 2.0, 4)[0] == pytest.approx(112.0)
    assert posterior_level(118.0, 1e-6, 112.0, 2.0, 4)[0] == pytest.approx(118.0)
