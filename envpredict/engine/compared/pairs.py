"""Which of two candidates is lower, respect by respect, and which candidates no other one beats.

Levels scatter, so a smaller number isn't yet a lower level: one is called lower only where the chance of that is at
least 0.8, else the two tie. The error of a law or of an item of plant that both stand on counts once: it moves both. A
level that rests on an estimate, on another method's law or on a law out of its range is never called lower. Days are
called fewer only where the slow rates of one beat the fast rates of the other.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import pandas as pd

CHANCE = 0.8
"""The least chance at which one level is called lower than another (ours)."""
DAYS = "days"
PAIR_COLUMNS: dict[str, tuple[str, str]] = {
    "respect": ("text", "what is compared: an effect, or days"),
    "method": ("text", "identifier of one candidate"),
    "other": ("text", "identifier of the other"),
    "p_lower": ("number", "chance that the first is lower, each at its own worst receptor; missing for days"),
    "lower": ("truth", "the first is called lower"),
    "why_not": ("text", "why it isn't, where its number is the smaller"),
}
SHOWN_FEASIBLE = frozenset({"feasible", "feasible_with_aid"})
"""Verdicts of a candidate that may displace another: one that isn't shown to reach the toe displaces nothing."""


def chance_lower(over_db: float, scatter_db: float, other_db: float, other_scatter_db: float, shared_db: float = 0.0,
                 other_shared_db: float = 0.0) -> float:
    """Return the chance that one level lies lower against its limit than another, from medians and scatters in dB.

    `shared_db`, `other_shared_db`: the parts of the two scatters that are one error, which moves both levels together;
    all else counts as independent. NaN where a number is missing.
    """
    from scipy.special import ndtr

    variance = scatter_db**2 + other_scatter_db**2 - 2.0 * shared_db * other_shared_db
    spread = float(np.sqrt(np.maximum(variance, 0.0)))
    if not np.isfinite([over_db, other_db, spread]).all():
        return np.nan
    if spread == 0.0:
        return float(over_db < other_db)
    return float(ndtr((other_db - over_db) / spread))


def pairs(methods: pd.DataFrame, effects: pd.DataFrame) -> pd.DataFrame:
    """Return every ordered pair of candidates in every respect, columns `PAIR_COLUMNS`.

    `methods`: rows with method and days; `effects`: one row per candidate and effect with level, scatter, doubt, and
    what the shared part of the scatter stands on.
    """
    import pandas as pd

    names = methods["method"].tolist()
    rows: list[tuple[Any, ...]] = []
    for effect in dict.fromkeys(effects["effect"]):
        level = effects[effects["effect"] == effect].set_index("method")
        for name in names:
            rows += [_of_effect(str(effect), level, name, other) for other in names if other != name]
    likely, slow, fast = (dict(zip(names, methods[column].to_numpy(dtype=float).tolist(), strict=True))
                          for column in ("days", "days_slow", "days_fast"))
    for name in names:
        for other in names:
            if other != name:
                fewer = slow[name] < fast[other]
                near = not fewer and likely[name] < likely[other]
                rows.append((DAYS, name, other, np.nan, fewer, "the rates' ranges overlap" if near else ""))
    return pd.DataFrame(rows, columns=list(PAIR_COLUMNS))


def _of_effect(effect: str, level: pd.DataFrame, name: str, other: str) -> tuple[Any, ...]:
    if name not in level.index or other not in level.index:
        return effect, name, other, np.nan, False, ""
    a, b = (level.loc[one, ["over_limit_db", "scatter_db"]].to_numpy(dtype=float).tolist() for one in (name, other))
    source, beside = (str(level.at[one, "stands_on"]) for one in (name, other))
    both = level.loc[[name, other], "shared_db"].to_numpy(dtype=float) * (source != "" and source == beside)
    chance = chance_lower(*a, *b, *both.tolist())
    shaky = str(level.at[name, "shaky"])
    if not chance > 0.5:
        return effect, name, other, chance, False, ""
    if shaky:
        return effect, name, other, chance, False, f"its level is shaky: {shaky}"
    return effect, name, other, chance, chance >= CHANCE, "" if chance >= CHANCE else f"a tie below {CHANCE:g}"


def dominates(two: pd.DataFrame, name: str, other: str) -> tuple[str, ...]:
    """Return the respects in which one candidate is lower while it's higher in none; empty where it doesn't beat it."""
    ahead = two[(two["method"] == name) & (two["other"] == other) & two["lower"]]["respect"]
    behind = two[(two["method"] == other) & (two["other"] == name)]
    # what an unproven level might win isn't known to be lost: it counts as higher for whoever would displace it
    lost = behind["lower"] | behind["why_not"].str.startswith("its level is shaky")
    return () if lost.any() else tuple(ahead)


def standing(methods: pd.DataFrame, two: pd.DataFrame) -> dict[str, list[Any]]:
    """Return, per candidate, whether no other one beats it (`in_set`) and why (`standing`).

    Only a candidate that is shown to reach the toe, and works on at least as much of the wall, can displace another;
    one that can't reach the toe is in no set.
    """
    verdict = dict(zip(methods["method"], methods["feasible"], strict=True))
    reach = dict(zip(methods["method"], methods["share_of_wall"], strict=True))
    in_set, said = [], []
    for name in methods["method"]:
        beaten = [(other, respects) for other in methods["method"]
                  if other != name and verdict[other] in SHOWN_FEASIBLE and reach[other] >= reach[name] - 1e-9
                  and (respects := dominates(two, other, name))]
        feasible = verdict[name] != "not_feasible"
        in_set.append(feasible and not beaten)
        if not feasible:
            said.append("not feasible alone on the whole of its piles")
        elif beaten:
            said.append("; ".join(f"{other} is lower in {', '.join(respects)} and higher in nothing"
                                  for other, respects in beaten))
        else:
            said.append("no other candidate is lower in one respect and higher in none")
    return {"in_set": in_set, "standing": said}
