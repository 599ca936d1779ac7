"""The line through trial records against hand-worked digits, SciPy and statsmodels."""

from __future__ import annotations

import csv
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
import statsmodels.formula.api as smf
from scipy import stats
from statsmodels.stats.anova import anova_lm

from envpredict.monitoring.site_law.diagnostics import curvature_chance, section_chance
from envpredict.monitoring.site_law.press_screen import rank_correlation
from envpredict.monitoring.site_law.regression import equal_slopes, fit_line
from envpredict.monitoring.site_law.weighted import sums

DISTANCE_M = np.array([5, 5, 10, 10, 20, 20, 40, 40], dtype=float)
LEVEL_MM_S = np.array([9.0, 6.0, 3.8, 2.6, 1.5, 1.1, 0.62, 0.40])
PRINTED = list(csv.DictReader((Path(__file__).parent / "synthetic_trial.csv").open(encoding="utf-8")))


def half_a_digit(printed: str) -> float:
    return 0.5 * 10.0 ** -len(printed.partition(".")[2])


@pytest.mark.parametrize("row", PRINTED, ids=[f"{row['quantity']} {row['at_m']}".strip() for row in PRINTED])
def test_the_synthetic_trial_comes_out_to_its_printed_digits(row: dict[str, str]) -> None:
    line = fit_line(np.log10(DISTANCE_M), np.log10(LEVEL_MM_S))
    x = np.log10(np.array([float(row["at_m"] or 1.0)]))
    found = {"intercept": line.intercept, "coefficient": 10.0**line.intercept, "slope": line.slope,
             "residual_sd": line.residual_sd, "student_t": stats.t.ppf(0.95, line.freedom(x)[0]),
             "median": 10.0 ** line.median(x)[0], "upper": 10.0 ** line.upper(x)[0]}
    assert found[row["quantity"]] == pytest.approx(float(row["printed"]), abs=half_a_digit(row["printed"]))


def noisy(seed: int, piles: int, points: int, of_pile: float, of_point: float) -> tuple[np.ndarray, ...]:
    rng = np.random.default_rng(seed)
    x = np.log10(np.tile(np.geomspace(4.0, 40.0, points), piles))
    pile = np.repeat(np.arange(piles), points)
    y = 1.5 - 1.2 * x + rng.normal(0, of_pile, piles)[pile] + rng.normal(0, of_point, len(x))
    return x, y, pile


@pytest.mark.parametrize("seed", range(5))
def test_least_squares_agrees_with_scipy_and_statsmodels(seed: int) -> None:
    x, y, _ = noisy(seed, 12, 1 + seed, 0.0, 0.2)
    if np.ptp(x) == 0:
        x = x + np.linspace(0, 0.5, len(x))
    line = fit_line(x, y)
    simple = stats.linregress(x, y)
    assert (line.slope, line.intercept) == pytest.approx((simple.slope, simple.intercept), rel=1e-10)
    assert np.sqrt(np.diag(line.covariance)) == pytest.approx([simple.intercept_stderr, simple.stderr], rel=1e-10)
    model = sm.OLS(y, sm.add_constant(x)).fit()
    assert line.covariance == pytest.approx(model.cov_params(), rel=1e-9)
    assert line.slope_limits(0.9) == pytest.approx(model.conf_int(alpha=0.1)[1], rel=1e-9)
    new = np.linspace(0.3, 2.0, 7)
    # one-sided 95 % is the upper end of a two-sided 90 %
    band = model.get_prediction(sm.add_constant(new)).summary_frame(alpha=0.1)
    assert line.upper(new, 0.05) == pytest.approx(band["obs_ci_upper"].to_numpy(), rel=1e-9)


def test_the_chance_of_exceedance_turns_the_band_round() -> None:
    line = fit_line(np.log10(DISTANCE_M), np.log10(LEVEL_MM_S))
    x = np.log10(np.array([7.0, 15.0, 60.0]))
    for chance in (0.5, 0.05, 0.01):
        assert line.exceedance(x, line.upper(x, chance)) == pytest.approx(np.full(3, chance))


def statsmodels_mixed(x: np.ndarray, y: np.ndarray, pile: np.ndarray) -> object:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return sm.MixedLM(y, sm.add_constant(x), groups=pile).fit(reml=True)


@pytest.mark.parametrize(("seed", "piles", "points", "of_pile"),
                         [(1, 7, 4, 0.15), (2, 5, 3, 0.25), (3, 12, 3, 0.1), (4, 6, 5, 0.3)])
def test_the_pile_as_a_random_effect_agrees_with_statsmodels(seed: int, piles: int, points: int,
                                                              of_pile: float) -> None:
    x, y, pile = noisy(seed, piles, points, of_pile, 0.1)
    line, model = fit_line(x, y, pile), statsmodels_mixed(x, y, pile)
    assert (line.intercept, line.slope) == pytest.approx(model.fe_params, rel=1e-5)
    assert np.sqrt(np.diag(line.covariance)) == pytest.approx(model.bse_fe, rel=1e-3)
    variance = line.residual_sd**2
    assert variance * line.pile_share == pytest.approx(float(np.asarray(model.cov_re)[0, 0]), rel=1e-3)
    assert variance * (1 - line.pile_share) == pytest.approx(model.scale, rel=1e-3)


def test_weighted_sums_agree_with_generalised_least_squares_of_statsmodels() -> None:
    x, y, pile = noisy(8, 4, 3, 0.2, 0.1)
    keep = np.array([0, 1, 2, 3, 4, 6, 9, 10])      # piles with 3, 2, 1 and 2 records
    x, y, pile = x[keep], y[keep], pile[keep]
    share = 0.37
    covariance = (1 - share) * np.eye(len(x)) + share * (pile[:, None] == pile[None, :])
    found = sums(sm.add_constant(x), y, pile, share)
    model = sm.GLS(y, sm.add_constant(x), sigma=covariance).fit()
    assert found.solution == pytest.approx(model.params, rel=1e-9)
    assert np.linalg.inv(found.xx) == pytest.approx(model.normalized_cov_params, rel=1e-9)
    assert found.residual == pytest.approx(model.ssr, rel=1e-9)
    assert found.log_det == pytest.approx(np.linalg.slogdet(covariance)[1])


def test_without_repeated_piles_the_random_effect_changes_nothing() -> None:
    x, y, _ = noisy(5, 9, 1, 0.0, 0.2)
    x = x + np.linspace(0, 0.8, 9)
    alone, named = fit_line(x, y), fit_line(x, y, np.arange(9))
    assert named.upper(x) == pytest.approx(alone.upper(x), rel=1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_the_test_of_equal_slopes_agrees_with_statsmodels(seed: int) -> None:
    rng = np.random.default_rng(seed)
    x = [np.log10(rng.uniform(4, 40, size)) for size in (6, 9, 7)]
    y = [1.0 - (1.1 + 0.2 * seed * n) * one + rng.normal(0, 0.15, len(one)) for n, one in enumerate(x)]
    table = pd.DataFrame({"x": np.concatenate(x), "y": np.concatenate(y),
                          "g": np.repeat(["a", "b", "c"], [len(one) for one in x])})
    compared = anova_lm(smf.ols("y ~ x + C(g)", table).fit(), smf.ols("y ~ x * C(g)", table).fit())
    assert equal_slopes(x, y) == pytest.approx(compared["Pr(>F)"].iloc[1], rel=1e-8)


def test_the_test_of_curvature_agrees_with_statsmodels() -> None:
    x, y, _ = noisy(6, 5, 4, 0.0, 0.1)
    y = y + 0.4 * (x - x.mean()) ** 2
    model = sm.OLS(y, np.column_stack([np.ones_like(x), x, x**2])).fit()
    assert curvature_chance(x, y) == pytest.approx(model.pvalues[2], rel=1e-6)


def test_the_test_of_sections_agrees_with_statsmodels() -> None:
    rng = np.random.default_rng(9)
    values, sections = rng.normal(0, 1, 14), ["A"] * 5 + ["B"] * 6 + ["C"] * 3
    table = pd.DataFrame({"v": values, "s": sections})
    assert section_chance(values, sections) == pytest.approx(
        anova_lm(smf.ols("v ~ C(s)", table).fit())["PR(>F)"].iloc[0], rel=1e-9)


def test_the_rank_correlation_agrees_with_scipy() -> None:
    rng = np.random.default_rng(4)
    for size in (6, 7):
        x, y = rng.normal(0, 1, size), rng.normal(0, 1, size)
        rho, chance = rank_correlation(x, y)
        assert rho == pytest.approx(stats.spearmanr(x, y).statistic)
        # Spearman's is Pearson's correlation of the ranks: vectorised, SciPy's exact test takes no time
        ranks = stats.rankdata(y) - (size + 1) / 2
        exact = stats.permutation_test((x,), lambda one, axis, other=ranks: (
            stats.rankdata(one, axis=axis) * other).sum(axis=axis), permutation_type="pairings", n_resamples=np.inf,
            vectorized=True)
        assert chance == pytest.approx(exact.pvalue)


def test_a_line_needs_three_records_and_two_distances() -> None:
    with pytest.raises(ValueError, match="needs 3 records"):
        fit_line(np.array([0.0, 1.0]), np.array([1.0, 0.0]))
    with pytest.raises(ValueError, match="same distance"):
        fit_line(np.ones(4), np.arange(4.0))
