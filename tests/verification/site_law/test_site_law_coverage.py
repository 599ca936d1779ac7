"""Simulated sites: does the level that one pile exceeds with 5 % hold 95 % of new piles? Does an update ever widen?

Every site is drawn from the prior that the update is given: ground, decay, piles, points. Seeded; the tolerance is
three standard errors of the share counted.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from envpredict.monitoring.site_law.regression import fit_line
from envpredict.monitoring.site_law.update import BELOW, EXACT, Posterior, Prior, Records, update

PRIOR = Prior(0.30, 0.20, 0.20)
Z95 = 1.6448536269514722
PILES, POINTS_M = 3, np.array([5.0, 10.0, 20.0])
REFERENCE_M = 10.0
NEW_M = np.array([2.5, 10.0, 40.0])
"""New piles at the ends of the records' reach and in its middle."""


def site(rng: np.random.Generator, share: float | None) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Return log10 of levels over the published median, u, piles of the records, and of one new pile at each place."""
    part = rng.uniform() if share is None else share
    level, slope = rng.normal(0, PRIOR.level_sd), rng.normal(0, PRIOR.slope_sd)
    u, pile = np.log10(np.tile(POINTS_M, PILES) / REFERENCE_M), np.repeat(np.arange(PILES), len(POINTS_M))
    effect = rng.normal(0, np.sqrt(part) * PRIOR.within, PILES)[pile]
    records = level + slope * u + effect + rng.normal(0, np.sqrt(1 - part) * PRIOR.within, len(u))
    new = level + slope * np.log10(NEW_M / REFERENCE_M) + rng.normal(0, PRIOR.within, len(NEW_M))
    return records, u, pile, new


def three_errors(count: int) -> float:
    return 3.0 * float(np.sqrt(0.95 * 0.05 / count))


def covered(count: int, seed: int, share: float | None,
            censor: Callable[[np.ndarray, np.ndarray], np.ndarray] | None) -> tuple[np.ndarray, list[Posterior], float]:
    """Return, per new place, the share of sites whose new pile stays below the band; the posteriors; part censored."""
    rng = np.random.default_rng(seed)
    hits, found, lost = np.zeros(len(NEW_M)), [], 0.0
    u_new = np.log10(NEW_M / REFERENCE_M)
    for _ in range(count):
        level, u, pile, new = site(rng, share)
        reads = np.zeros(len(u), dtype=np.int8)
        if censor is not None:
            trigger = censor(level, u)
            reads = np.where(level < trigger, BELOW, EXACT).astype(np.int8)
            level = np.maximum(level, trigger)
        posterior = update(Records(level, u, pile, reads), PRIOR)
        hits += new <= posterior.shift(u_new) + Z95 * np.hypot(posterior.between(u_new), posterior.within)
        found.append(posterior)
        lost += float((reads == BELOW).mean()) / count
    return hits / count, found, lost


@pytest.mark.parametrize("share", [None, 0.0, 0.5, 0.9], ids=["any share", "no pile effect", "half", "nearly all"])
def test_the_band_holds_95_percent_of_new_piles(share: float | None) -> None:
    held, _, _ = covered(2000, 101, share, None)
    assert held == pytest.approx(np.full(len(NEW_M), 0.95), abs=three_errors(2000))


@pytest.mark.parametrize(("share", "trigger"), [(None, 0.0), (0.5, 0.25)], ids=["about half censored", "most censored"])
def test_the_band_holds_95_percent_with_censored_records(share: float | None, trigger: float) -> None:
    held, _, lost = covered(500, 202, share, lambda level, u: np.full(len(u), trigger))
    assert 0.3 < lost < 0.9
    assert held == pytest.approx(np.full(len(NEW_M), 0.95), abs=three_errors(500))


def test_leaving_out_what_stayed_below_the_trigger_would_be_wrong() -> None:
    # the same sites with triggered records alone: the update is lifted, which is why bounds must be given
    rng = np.random.default_rng(303)
    lifted = []
    for _ in range(300):
        level, u, pile, _ = site(rng, 0.5)
        keep = level >= 0.0
        if not keep.any():
            continue
        exact = update(Records(level[keep], u[keep], pile[keep], np.zeros(keep.sum(), dtype=np.int8)), PRIOR)
        reads = np.where(keep, EXACT, BELOW).astype(np.int8)
        lifted.append(exact.mean[0] - update(Records(np.maximum(level, 0.0), u, pile, reads), PRIOR).mean[0])
    assert np.mean(lifted) > 0.05
    assert min(lifted) > -1e-6


def test_the_update_never_widens_on_average() -> None:
    before = np.hypot(PRIOR.level_sd, PRIOR.within)
    for records in (1, 3, 9):
        rng = np.random.default_rng(404)
        between, total, within = [], [], []
        reach_m = np.geomspace(0.5 * POINTS_M[0], 2.0 * POINTS_M[-1], 9)
        for _ in range(800):
            level, u, pile, _ = site(rng, None)
            posterior = update(Records(level[:records], u[:records], pile[:records],
                                       np.zeros(records, dtype=np.int8)), PRIOR)
            at = posterior.between(np.log10(reach_m / REFERENCE_M))
            between.append(at)
            within.append(posterior.within)
            total.append(np.hypot(at, posterior.within))
        assert (np.mean(between, axis=0) < PRIOR.level_sd).all()
        assert (np.mean(total, axis=0) < before).all()
        # the scatter within the site never shrinks, and seldom grows
        assert min(within) == PRIOR.within
        assert np.mean(np.array(within) > PRIOR.within) <= 0.08


def test_records_that_scatter_more_than_the_law_says_widen_the_scatter_within_the_site() -> None:
    rng = np.random.default_rng(505)
    u = np.log10(np.tile([5.0, 10.0, 20.0, 40.0], 6) / 14.0)
    wide = update(Records(rng.normal(0, 0.45, 24), u, np.arange(24), np.zeros(24, dtype=np.int8)), PRIOR)
    assert wide.within == pytest.approx(0.45, rel=0.35)
    assert wide.within > 1.5 * PRIOR.within


@pytest.mark.parametrize("of_pile", [0.0, 0.08, 0.2], ids=["no pile effect", "some", "most of it"])
def test_the_prediction_band_of_the_line_holds_95_percent(of_pile: float) -> None:
    rng = np.random.default_rng(606)
    count, piles = 2000, 6
    x, pile = np.log10(np.tile([5.0, 10.0, 20.0, 40.0], piles)), np.repeat(np.arange(piles), 4)
    hits = np.zeros(3)
    at = np.log10(np.array([2.5, 14.0, 80.0]))
    for _ in range(count):
        y = 1.0 - 1.2 * x + rng.normal(0, of_pile, piles)[pile] + rng.normal(0, 0.1, len(x))
        new = 1.0 - 1.2 * at + rng.normal(0, of_pile, 3) + rng.normal(0, 0.1, 3)
        hits += new <= fit_line(x, y, pile).upper(at)
    assert hits / count == pytest.approx(np.full(3, 0.95), abs=three_errors(count))
