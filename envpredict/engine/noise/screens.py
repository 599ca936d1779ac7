"""How high a screen along a given line must be for each receptor that isn't content without it."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.errors import EnvpredictError
from envpredict.core.quantities import QUANTITIES
from envpredict.core.words import suggestion
from envpredict.engine.noise import rules as noise_rules
from envpredict.engine.sound.method import method_sound
from envpredict.engine.works import worst_programme

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.findings import Block
    from envpredict.engine.run import MethodRun, Run
    from envpredict.engine.sound.scene import Screens
    from envpredict.limits.schema import LimitSet, Rule

Ints = NDArray[np.int64]
SCREEN_COLUMNS: dict[str, str] = {
    "receptor": "identifier of the receptor",
    "method": "identifier of the candidate method",
    "screen": "identifier of the line along which the screen stands",
    "margin_db": "smallest margin of the limits on noise as predicted, in dB",
    "height_m": "least height of the steps tried at which every limit on noise is met; missing where none does",
    "margin_with_db": "smallest margin with the screen at that height, or at the highest one tried",
}
MOST_M, STEP_M = 12.0, 0.5


def screen_heights(run: Run, method: MethodRun, findings: pd.DataFrame, screen: str, *, most_m: float = MOST_M,
                   step_m: float = STEP_M) -> pd.DataFrame:
    """Return the height that a screen needs for every receptor whose noise limits a candidate doesn't meet.

    `screen`: id of an obstacle drawn as a line; heights from `step_m` to `most_m` in steps are searched by halves, and
    what is returned was predicted and judged at that height. Columns `SCREEN_COLUMNS`. Raises EnvpredictError for a
    line that isn't there.
    """
    import pandas as pd

    obstacles = run.scenario.obstacles
    known = [] if obstacles is None else obstacles["id"].astype(str)[obstacles.geom_type.str.contains("Line")].tolist()
    if screen not in known:
        raise EnvpredictError(f"no screen '{screen}' is drawn in the obstacles' layer", suggestion(screen, known))
    before = _margins(findings[findings["method"] == method.choice.id])
    ids = [str(name) for name in run.scenario.receptors["id"]]
    needing = np.array([row for row, name in enumerate(ids) if before.get(name, np.inf) < 0.0], dtype=np.int64)
    steps = np.arange(1, int(most_m / step_m + 1e-9) + 1)
    least: dict[int, tuple[float, float]] = {}
    _search(run, method, screen, needing, np.asarray(steps * step_m, dtype=np.float64), least)
    table = [(ids[row], method.choice.id, screen, round(before[ids[row]], 3), *least[int(row)]) for row in needing]
    return pd.DataFrame(table, columns=list(SCREEN_COLUMNS))


def _search(run: Run, method: MethodRun, screen: str, rows: Ints, heights: NDArray[np.float64],
            least: dict[int, tuple[float, float]]) -> None:
    """Search heights by halves, all receptors that ask for the same one together; fill `least`."""
    if not rows.size:
        return
    highest = margins_with(run, method, rows, {screen: float(heights[-1])})
    meets = highest >= 0.0
    least.update({int(row): (np.nan, round(float(margin), 3)) for row, margin in zip(rows, highest, strict=True)})
    waiting = [(rows[meets], highest[meets], -1, len(heights) - 1)]
    while waiting:
        some, margin, low, high = waiting.pop()
        if not some.size:
            continue
        if high - low == 1:
            least.update({int(row): (float(heights[high]), round(float(one), 3))
                          for row, one in zip(some, margin, strict=True)})
            continue
        middle = (low + high) // 2
        found = margins_with(run, method, some, {screen: float(heights[middle])})
        content = found >= 0.0
        waiting.append((some[content], found[content], low, middle))
        waiting.append((some[~content], margin[~content], middle, high))


def margins_with(run: Run, method: MethodRun, rows: Ints, screens: Screens) -> NDArray[np.float64]:
    """Return the smallest margin (n) of the limits on noise at some receptors, other screens standing for a candidate.

    `screens` stand beside those that stand for it already.
    """
    part = run.at(rows)
    sound = method_sound(part.sound, method.choice, part.drive, screens={**method.sound.screens, **screens})
    there = method.heard_as(part, sound)
    margins = np.full(len(rows), np.inf)
    for limit_set, rule in _noise_rules(run):
        judge = partial(_findings, part, limit_set, rule)
        for block in worst_programme.judged(there, rule, judge):
            margins = np.fmin(margins, np.asarray(block.columns["margin_db"], dtype=float))
    return margins


def _findings(part: Run, limit_set: LimitSet, rule: Rule, method: MethodRun) -> list[Block]:
    return noise_rules.findings(part, method, limit_set, rule)


def _noise_rules(run: Run) -> Iterator[tuple[LimitSet, Rule]]:
    for effect, names in run.scenario.limits.by_effect().items():
        for name in names:
            limit_set = run.catalogue.limit_sets[name]
            for rule in limit_set.rules_for(effect):
                if rule.quantity is not None and QUANTITIES[rule.quantity].effect == "noise":
                    yield limit_set, rule


def _margins(findings: pd.DataFrame) -> dict[str, float]:
    """Return the smallest margin of the findings on noise, by receptor."""
    noise = findings["quantity"].map({name: one.effect == "noise" for name, one in QUANTITIES.items()}).fillna(False)
    rows = findings[noise.astype(bool) & findings["margin_db"].notna()]
    return {str(name): float(margin) for name, margin in rows.groupby("receptor")["margin_db"].min().items()}
