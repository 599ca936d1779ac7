"""Where press records show ground harder than the boreholes, and whether they go with the vibration on this site.

No published relation between press force and vibration is claimed or used: steps are compared with other steps of the
same site, and the rank correlation with the vibration records is shown only where chance alone would rarely give it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from envpredict.core.citation import Citation
from envpredict.engine.geometry import coordinates
from envpredict.engine.learned.site_law import HarderGround
from envpredict.monitoring.site_law.describe import wrapped
from envpredict.monitoring.site_law.press_records import MEASURES, Press, by_stratum, press_of, read_works

if TYPE_CHECKING:
    from envpredict.monitoring.site_law.fit import Fitted
    from envpredict.scenario.types import Scenario

Floats = NDArray[np.float64]
LEAST_STEPS = 5
TWICE, QUARTER = 2.0, 0.25
LEAST_RUN_M = 0.5
SCREEN = Citation(
    "our judgement", None, f"harder than the boreholes: over {LEAST_RUN_M:g} m or more, force or torque as in the "
    "upper three quarters of the steps in the hard stratum, or, where none was pressed into it, "
    f"{TWICE:g} times the median of all steps; or a rate below {QUARTER:g} of the median", "estimate")
LEAST_PAIRS = 6
RARE = 0.05
SEED = 20_270_301
RESAMPLES = 9_999


@dataclass(frozen=True, slots=True, eq=False)
class Screened:
    """What press records come to: `text` in words, `harder` for the site law, `press` the steps (None: none there)."""

    text: str
    harder: tuple[HarderGround, ...]
    hashes: dict[str, str]
    press: Press | None


def screened(works: Path, scenario: Scenario, found: Sequence[Fitted]) -> Screened:
    """Return what the press records of a works diary show. Raises InputProblems as `read_works` and `press_of` do."""
    table, hashes = read_works(works)
    press = press_of(table, scenario)
    if press is None:
        return Screened(f"Press records: {table.file} holds no force, torque or rate of penetration.", (), hashes, None)
    harder = harder_ground(press, scenario)
    lines = ["Press records beside the strata (no published relation to vibration is claimed):",
             *(f"  {line}" for line in by_stratum(press))]
    lines += [f"  HARDER THAN THE BOREHOLES: {one.why}; predictions flagged for {len(one.piles)} piles: "
              f"{', '.join(one.piles[:10])}{', ...' if len(one.piles) > 10 else ''}" for one in harder]
    if not harder:
        lines.append("  nowhere harder than the boreholes show")
    lines += [f"    ({SCREEN})", *(f"  {line}" for line in correlations(press, found))]
    return Screened("\n".join(wrapped(lines)) + "\n", harder, hashes, press)


def _thresholds(press: Press) -> dict[str, tuple[float, str]]:
    """Return, per measure, the value from which (or, for rates, to which) a step counts as hard, and by what."""
    found: dict[str, tuple[float, str]] = {}
    for name in press.measured:
        values = press.values[name]
        rising = MEASURES[name][2]
        hard = values[(press.word == "hard") & np.isfinite(values)]
        known = values[np.isfinite(values)]
        if rising and len(hard) >= LEAST_STEPS:
            found[name] = float(np.quantile(hard, 0.25)), "as in the hard stratum"
        elif len(known) >= LEAST_STEPS:
            factor = TWICE if rising else QUARTER
            bound = "at least" if rising else "at most"
            found[name] = factor * float(np.median(known)), f"{bound} {factor:g} times the median of all steps"
    return found


def _runs(hit: NDArray[np.bool_], top: Floats, base: Floats) -> list[tuple[int, int]]:
    """Return first and last step of every unbroken run of hits that is long enough."""
    runs = []
    first: int | None = None
    for number in range(len(hit) + 1):
        if number < len(hit) and hit[number]:
            first = number if first is None else first
        elif first is not None:
            if base[number - 1] - top[first] >= LEAST_RUN_M - 1e-9:
                runs.append((first, number - 1))
            first = None
    return runs


def harder_ground(press: Press, scenario: Scenario) -> tuple[HarderGround, ...]:
    """Return where pressed piles found ground harder than the boreholes say, with the piles that this concerns.

    It concerns every pile to which such a pressed pile is the nearest pressed one, and not farther than the borehole.
    """
    thresholds = _thresholds(press)
    proved: dict[int, tuple[float, float, str]] = {}
    for number in np.unique(press.number):
        mine = np.flatnonzero(press.number == number)
        for name, (limit, why) in thresholds.items():
            title, unit, rising = MEASURES[name]
            values = press.values[name][mine]
            with np.errstate(invalid="ignore"):
                beyond = values >= limit if rising else values <= limit
            hit = beyond & (press.word[mine] != "hard")
            for first, last in _runs(hit, press.from_m[mine], press.to_m[mine]):
                extreme = values[first:last + 1].max() if rising else values[first:last + 1].min()
                top, base = float(press.from_m[mine[first]]), float(press.to_m[mine[last]])
                ground = press.stratum[mine[first]] or "ground below its end"
                proved.setdefault(int(number), (top, base, (
                    f"pile {press.pile[mine[0]]}: {title} {extreme:.4g} {unit} from {top:g} to {base:g} m ({why}), "
                    f"where borehole {press.borehole[mine[first]]} shows {ground}")))
    concerned = _concerned(press, scenario)
    ids = scenario.piles["id"].astype(str).to_numpy()
    return tuple(HarderGround(piles=tuple(ids[concerned[number]].tolist()), from_m=top, to_m=base, why=why)
                 for number, (top, base, why) in proved.items())


def _concerned(press: Press, scenario: Scenario) -> dict[int, NDArray[np.intp]]:
    """Return, for each pressed pile, the piles that it tells more of than their borehole does."""
    from envpredict.engine.works.soil import drives, read_ground

    at = coordinates(scenario.piles.geometry)
    pressed = np.unique(press.number)
    apart = np.hypot(at[:, None, 0] - at[None, pressed, 0], at[:, None, 1] - at[None, pressed, 1])
    nearest = apart.argmin(axis=1)
    ground = read_ground(scenario)
    assert ground is not None    # `press_of` refuses a scenario without strata
    holes = ground.boreholes[["x", "y"]].to_numpy(dtype=float)[drives(scenario, ground).borehole]
    nearer = apart.min(axis=1) <= np.hypot(*(at - holes).T)
    own = apart.min(axis=1) < 1e-6
    return {int(number): np.flatnonzero((nearest == order) & (nearer | own)) for order, number in enumerate(pressed)}


def correlations(press: Press, found: Sequence[Fitted]) -> list[str]:
    """Return whether the hardest reading of each pile goes with its vibration, held against the updated law."""
    rest = _residuals(found)
    pairs = [name for name in press.piles if name in rest]
    if len(pairs) < LEAST_PAIRS:
        return [f"with vibration: {len(pairs)} piles have both records; {LEAST_PAIRS} are needed to tell anything"]
    vibration = np.array([rest[name] for name in pairs])
    tried = []
    for name in press.measured:
        title, _, rising = MEASURES[name]
        of_pile = [press.values[name][press.pile == pile] for pile in pairs]
        if any(not np.isfinite(values).any() for values in of_pile):
            continue
        worst = np.array([np.nanmax(values) if rising else np.nanmin(values) for values in of_pile])
        rho, chance = rank_correlation(worst, vibration)
        tried.append((chance, title, rho))
    lines = []
    for order, (chance, title, rho) in enumerate(sorted(tried)):
        # Holm's rule: the more measures are tried, the rarer a correlation must be to be shown as one
        if chance * (len(tried) - order) >= RARE:
            lines += [f"with vibration: no correlation that chance wouldn't give ({name})" for _, name, _ in
                      sorted(tried)[order:]]
            break
        lines.append(f"with vibration: {title} goes with the level on this site (rank correlation {rho:.2f}, "
                     f"{len(pairs)} piles, chance {chance:.2g}); shown, not used in any prediction")
    return lines


def _residuals(found: Sequence[Fitted]) -> dict[str, float]:
    """Return, per pile, the mean of log10 of its levels over the updated law."""
    by_pile: dict[str, list[float]] = {}
    for one in found:
        for stratum in one.strata:
            if stratum.posterior is None:
                continue
            rest = stratum.records.residual - stratum.posterior.shift(stratum.records.u)
            for row, value in zip(stratum.rows, rest, strict=True):
                if row.reads == "level":
                    by_pile.setdefault(row.pile, []).append(float(value))
    return {pile: float(np.mean(values)) for pile, values in by_pile.items()}


def rank_correlation(x: Floats, y: Floats) -> tuple[float, float]:
    """Return Spearman's rank correlation and its two-sided chance by permutation: exact for few, seeded for many.

    x, y: (n,), at least three. A constant x or y has no correlation: 0 and 1.
    """
    if np.ptp(x) == 0.0 or np.ptp(y) == 0.0:
        return 0.0, 1.0
    rx, ry = stats.rankdata(x), stats.rankdata(y)
    result = stats.permutation_test(
        (rx,), lambda one: float(np.corrcoef(one, ry)[0, 1]), permutation_type="pairings", n_resamples=RESAMPLES,
        rng=np.random.default_rng(SEED), vectorized=False)
    return float(result.statistic), float(result.pvalue)
