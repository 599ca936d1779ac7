"""The arithmetic of ISO 9613-2 per pair of source and receptor, compiled; the public functions check and shape.

Arguments arrive flat. A step of 0 beside an array means that its single value serves all pairs. `Path` is: plan
distance, heights of source and receptor in m; ground factors near the source, near the receptor, between.
"""

from __future__ import annotations

import math

import numpy as np

from envpredict.models.arguments import Floats
from envpredict.models.noise.compiled import compiled

Terms = tuple[float, float, float, float, float]
Path = tuple[Floats, Floats, Floats, Floats, Floats, Floats]
Steps = tuple[int, int, int, int, int, int]


@compiled
def height_terms(height_m: float) -> Terms:
    """Return what Table 3 makes of a height: two terms of a'(h) and one each of b'(h), c'(h), d'(h)."""
    square = height_m * height_m
    low = math.exp(-0.09 * square)
    return (3.0 * math.exp(-0.12 * (height_m - 5.0) ** 2), 5.7 * low, 8.6 * low, 14.0 * math.exp(-0.46 * square),
            5.0 * math.exp(-0.9 * square))


@compiled
def region(terms: Terms, porosity: float, near: float, far: float, out: Floats) -> None:
    """Write As or Ar of the eight octaves: near is 1 - exp(-dp/50), far is 1 - exp(-2.8e-6 dp^2)."""
    out[0] = -1.5
    out[1] = -1.5 + porosity * (1.5 + terms[0] * near + terms[1] * far)
    out[2] = -1.5 + porosity * (1.5 + terms[2] * near)
    out[3] = -1.5 + porosity * (1.5 + terms[3] * near)
    out[4] = -1.5 + porosity * (1.5 + terms[4] * near)
    out[5] = out[6] = out[7] = -1.5 * (1.0 - porosity)


@compiled
def middle_share(distance_m: float, source_m: float, receptor_m: float) -> float:
    """Return q of Table 3, the share of the path that lies in the middle region."""
    ends = 30.0 * (source_m + receptor_m)
    return 0.0 if distance_m <= ends else 1.0 - ends / distance_m


@compiled
def ground_pairs(path: Path, steps: Steps, out: Floats) -> None:
    """Write the ground terms of each pair into `out` (pairs, 3, 8): source, receptor, middle region."""
    for i in range(out.shape[0]):
        dp, hs, hr = path[0][i * steps[0]], path[1][i * steps[1]], path[2][i * steps[2]]
        gs, gr, gm = path[3][i * steps[3]], path[4][i * steps[4]], path[5][i * steps[5]]
        if math.isnan(dp + hs + hr + gs + gr + gm):
            out[i] = np.nan
            continue
        near, far = 1.0 - math.exp(-dp / 50.0), 1.0 - math.exp(-2.8e-6 * dp * dp)
        region(height_terms(hs), gs, near, far, out[i, 0])
        region(height_terms(hr), gr, near, far, out[i, 1])
        q = middle_share(dp, hs, hr)
        out[i, 2] = -3.0 * q * (1.0 - gm)
        out[i, 2, 0] = -3.0 * q


@compiled
def flat_pairs(path: Path, steps: Steps, alpha_db_m: Floats, alpha_step: int, out: Floats) -> None:
    """Write Adiv + Aatm + Agr of each pair into `out` (pairs, 8): flat ground, nothing in the way.

    The terms that depend on a height alone are kept until the height changes: pairs of one source share them.
    """
    at_source, at_receptor = np.empty(8), np.empty(8)
    known_s = known_r = np.nan
    terms_s = terms_r = (0.0, 0.0, 0.0, 0.0, 0.0)
    for i in range(out.shape[0]):
        dp, hs, hr = path[0][i * steps[0]], path[1][i * steps[1]], path[2][i * steps[2]]
        gs, gr, gm = path[3][i * steps[3]], path[4][i * steps[4]], path[5][i * steps[5]]
        if math.isnan(dp + hs + hr + gs + gr + gm):
            out[i] = np.nan
            continue
        if hs != known_s:
            known_s, terms_s = hs, height_terms(hs)
        if hr != known_r:
            known_r, terms_r = hr, height_terms(hr)
        near, far = 1.0 - math.exp(-dp / 50.0), 1.0 - math.exp(-2.8e-6 * dp * dp)
        region(terms_s, gs, near, far, at_source)
        region(terms_r, gr, near, far, at_receptor)
        q = middle_share(dp, hs, hr)
        square = dp * dp + (hs - hr) ** 2
        d, spread = math.sqrt(square), 10.0 * math.log10(square) + 11.0
        air = i * alpha_step
        out[i, 0] = spread + alpha_db_m[air, 0] * d + at_source[0] + at_receptor[0] - 3.0 * q
        for band in range(1, 8):
            out[i, band] = (spread + alpha_db_m[air, band] * d + at_source[band] + at_receptor[band]
                            - 3.0 * q * (1.0 - gm))
