"""Is the public path as fast as its arithmetic? Ratios within one run, so that the machine's speed doesn't matter.

Run with `pytest tests/benchmarks`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from time import perf_counter

import numba
import numpy as np

from envpredict.models.noise.iso9613_1_1993 import octave_absorption_db_m
from envpredict.models.noise.iso9613_2_1996 import flat_attenuation

PAIRS = 1_000_000


def best_of(repeats: int, *works: Callable[[], object]) -> list[float]:
    """Return the shortest time of each piece of work in s, run in turns after one run that isn't counted."""
    times: list[list[float]] = [[] for _ in works]
    for turn in range(repeats + 1):
        for work, taken in zip(works, times, strict=True):
            start = perf_counter()
            work()
            if turn:
                taken.append(perf_counter() - start)
    return [min(taken) for taken in times]


@numba.njit
def bare(dp, hs, hr, gs, gr, gm, alpha, out):  # type: ignore[no-untyped-def]
    """Write Adiv + Aatm + Agr as a plain loop: no checks, no broadcasting, nothing kept from pair to pair."""
    for i in range(dp.size):
        near, far = 1.0 - math.exp(-dp[i] / 50.0), 1.0 - math.exp(-2.8e-6 * dp[i] * dp[i])
        d2 = dp[i] * dp[i] + (hs[i] - hr[i]) ** 2
        d, spread = math.sqrt(d2), 10.0 * math.log10(d2) + 11.0
        ends = 30.0 * (hs[i] + hr[i])
        q = 0.0 if dp[i] <= ends else 1.0 - ends / dp[i]
        for band in range(8):
            out[i, band] = spread + alpha[band] * d - 3.0 * q * (1.0 if band == 0 else 1.0 - gm[i])
        for side in range(2):
            h, g = (hs[i], gs[i]) if side == 0 else (hr[i], gr[i])
            h2 = h * h
            out[i, 0] -= 1.5
            out[i, 1] += -1.5 + g * (1.5 + 3.0 * math.exp(-0.12 * (h - 5.0) ** 2) * near
                                     + 5.7 * math.exp(-0.09 * h2) * far)
            out[i, 2] += -1.5 + g * (1.5 + 8.6 * math.exp(-0.09 * h2) * near)
            out[i, 3] += -1.5 + g * (1.5 + 14.0 * math.exp(-0.46 * h2) * near)
            out[i, 4] += -1.5 + g * (1.5 + 5.0 * math.exp(-0.9 * h2) * near)
            for band in range(5, 8):
                out[i, band] -= 1.5 * (1.0 - g)


def test_a_million_unscreened_pairs_cost_at_most_twice_the_bare_loop() -> None:
    rng = np.random.default_rng(5)
    dp, hs, hr = rng.uniform(5.0, 1000.0, PAIRS), rng.uniform(1.0, 20.0, PAIRS), rng.uniform(1.5, 15.0, PAIRS)
    gs, gr, gm = rng.random((3, PAIRS))
    alpha = octave_absorption_db_m()
    out = np.empty((PAIRS, 8))

    def public() -> np.ndarray:
        return flat_attenuation(dp, hs, hr, source_porosity=gs, receptor_porosity=gr, middle_porosity=gm)

    def plain() -> None:
        # the result's memory is part of the work in both
        bare(dp, hs, hr, gs, gr, gm, alpha, np.empty((PAIRS, 8)))

    bare(dp, hs, hr, gs, gr, gm, alpha, out)
    np.testing.assert_allclose(public(), out, rtol=0, atol=1e-9)
    ours, theirs = best_of(5, public, plain)
    print(f"1e6 pairs x 8 bands: {1e3 * ours:.0f} ms, bare loop {1e3 * theirs:.0f} ms, ratio {ours / theirs:.2f}")
    assert ours <= 2.0 * theirs
