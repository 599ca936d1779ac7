"""A series judged by a rule, with everything that the rule says beside its number: predictions and records alike."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.errors import Incommensurable
from envpredict.core.quantities import POSITIONS, QUANTITIES
from envpredict.core.series import LevelSeries
from envpredict.engine.chances.day_rules import judge_allowance, judge_days
from envpredict.engine.chances.judge import Comparison, Judgement, judge
from envpredict.limits.persistence import Counted, Lasting, triggered
from envpredict.limits.values import DayAllowance

if TYPE_CHECKING:
    from envpredict.limits.rule import Rule

Floats = NDArray[np.float64]
Dates = NDArray[np.datetime64]


def comparison_of(rule: Rule) -> Comparison:
    """Return how the rule compares a level with its limit."""
    return Comparison(rule.exceeds == "at_or_above", rule.rounding == "whole_half_up")


def in_season(rule: Rule, dates: Dates) -> NDArray[np.bool_]:
    """Return, per date, whether the rule holds on it: always, unless it has a season."""
    if rule.season is None or not len(dates):
        return np.ones(len(dates), dtype=bool)
    return rule.season.holds(dates)


def counted(rule: Rule) -> list[Counted | Lasting]:
    """Return the day rules that count exceedances."""
    return [one for one in rule.persistence if isinstance(one, Lasting) or one.counts == "exceedance"]


def counts_days(rule: Rule) -> bool:
    """Tell whether the rule is triggered by a number of days rather than by a single exceedance."""
    return bool(counted(rule)) or isinstance(rule.value, DayAllowance)


def counting(rule: Rule) -> str:
    """Return in words how the rule counts days and in which window, or an empty text where it doesn't."""
    if isinstance(rule.value, DayAllowance):
        how = "a day above a higher step counts for the lower ones too" if rule.value.nested else "by bands"
        return f"days above rising levels are counted over the whole programme, {how}"
    return f"counted: {' or '.join(map(str, counted(rule)))}" if counted(rule) else ""


def spared(rule: Rule, dates: Dates) -> str:
    """Return why a rule on the days of work doesn't hold for the programme; an empty text where it does.

    `dates`: the days of work. A rule that counts days of work rather than exceedances holds once the programme alone
    triggers any of its counts.
    """
    work = tuple(one for one in rule.persistence if isinstance(one, Counted) and one.counts == "work")
    days = np.asarray(np.unique(dates))
    if not work or bool(triggered(work, np.ones(len(days), dtype=bool), days)):
        return ""
    return f"the rule holds for {' or '.join(map(str, work))}; the programme has fewer"


def out_of_reach(rule: Rule, dates: Dates) -> str:
    """Return why no level on these days of work in the rule's period could trigger it; an empty text where one could.

    A rule that counts days with an exceedance can't be triggered by a programme that has fewer days than it asks for.
    """
    days = np.asarray(np.unique(dates))
    rules = tuple(counted(rule))
    if not rules or not len(days) or bool(triggered(rules, np.ones(len(days), dtype=bool), days)):
        return ""
    return (f"the works are too short for the rule: it counts exceedances {' or '.join(map(str, rules))}, more than "
            "there are days of work in its period")


def check_alike(series: LevelSeries, rule: Rule) -> None:
    """Raise Incommensurable unless a series holds the rule's own quantity at the rule's own place.

    What differs is converted before, by a declared conversion that the finding names, or not compared at all.
    """
    if rule.quantity is None:
        raise Incommensurable(f"rule '{rule.id}' limits hours, not levels", "judge it by the programme")
    if series.quantity != rule.quantity:
        given, asked = QUANTITIES[series.quantity].symbol, QUANTITIES[rule.quantity].symbol
        raise Incommensurable(f"{given} can't be compared with a limit on {asked}", "convert it by a declared model")
    if series.position != rule.place:
        raise Incommensurable(f"a level {POSITIONS[series.position]} can't be compared with a limit "
                              f"{POSITIONS[rule.place]}", "take the declared step between the two places first")


def judge_rule(series: LevelSeries, rule: Rule, limit: Floats, design_exceedance: float) -> tuple[Judgement, Floats]:
    """Return the judgement of every point (P) of a series by a rule, and the limit that governs each.

    `limit` (P,): the rule's value for each point, NaN where it has none; an allowance of days brings its own. Applied
    are the rule's season, its rounding, whether reaching the value counts, and its counts of days. Raises
    Incommensurable if quantity or place of series and rule differ.
    """
    check_alike(series, rule)
    here = series.take(in_season(rule, series.slots.day)) if rule.season is not None else series
    comparison = comparison_of(rule)
    if isinstance(rule.value, DayAllowance):
        judgement, steps = judge_allowance(here, rule.value, design_exceedance, comparison)
        limit = np.where(np.isnan(limit), np.nan, steps)
        judgement = replace(judgement, p_exceed=np.where(np.isnan(limit), np.nan, judgement.p_exceed))
    elif counted(rule):
        judgement = judge_days(here, limit, design_exceedance, counted(rule), comparison)
    else:
        judgement = judge(here, limit, design_exceedance, comparison)
    if comparison.whole_db:
        judgement = replace(judgement, design=comparison.shown(judgement.design))
    return judgement, limit
