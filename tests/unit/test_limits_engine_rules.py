"""A series judged by a whole rule: against a naive count day by day, and what must never be compared."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from limits_site import made_up, prepared, scenario, with_set

from envpredict.core.errors import Incommensurable
from envpredict.core.series import LevelSeries, Slots
from envpredict.engine import hours_rules
from envpredict.engine.chances.judge import Comparison, judge
from envpredict.engine.chances.judge_rule import check_alike, judge_rule, out_of_reach, spared
from envpredict.engine.hours_rules import level_for_hours
from envpredict.limits.outcome import Missing, NotGoverned
from envpredict.limits.rule import Rule
from envpredict.limits.values import HoursByMargin

NOISE = 'effect = "noise"\nquantity = "laeq_db"\nunit = "dB"\nplace = "facade"\n'
HOURS = 'effect = "noise"\nplace = "boundary"\nvalue = { kind = "hours_only", work = "allowed" }\n'
FIXED = 'value = { kind = "fixed", rows = [{ level = 65 }] }\n'


def rule(text: str) -> Rule:
    return made_up(NOISE + text).rules[0]


def records(levels: np.ndarray, dates: np.ndarray, quantity: str = "laeq_db", position: str = "facade") -> LevelSeries:
    """Measured levels: one point, one slot per level, no scatter."""
    count = len(levels)
    nothing = np.zeros((1, count))
    slots = Slots(dates.astype("datetime64[D]"), np.zeros(count), np.ones(count), np.full(count, "x"))
    return LevelSeries(quantity, position, slots, levels[None], nothing, nothing, nothing == 0.0)


def chance(levels: np.ndarray, dates: np.ndarray, one: Rule) -> float:
    found, _ = judge_rule(records(levels, dates), one, np.array([65.0]), 0.05)
    return float(found.p_exceed[0])


# --- against a naive re-implementation -------------------------------------------------------------------------------

def naive_exceeds(level: float, limit: float, at_or_above: bool, whole: bool) -> bool:
    level = np.floor(level + 0.5) if whole else level
    return bool(level >= limit if at_or_above else level > limit)


def naive(days: dict[int, list[float]], how: dict[str, Any]) -> bool:
    """Walk through the days one by one; a day counts once."""
    flagged = {day for day, levels in days.items()
               if any(naive_exceeds(level, 65.0, how["at_or_above"], how["whole"]) for level in levels)}
    if how["need"] is None:
        return bool(flagged)
    for start in days:
        window = [day for day in flagged if start <= day < start + how["window"]]
        if len(window) >= how["need"]:
            return True
    return False


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 40), st.integers(600, 700).map(lambda tenths: tenths / 10.0)), min_size=1,
                max_size=30),
       st.booleans(), st.booleans(), st.one_of(st.none(), st.integers(1, 6)), st.integers(1, 20))
def test_records_are_judged_as_a_walk_through_the_days_would(entries: list[tuple[int, float]], at_or_above: bool,
                                                             whole: bool, need: int | None, window: int) -> None:
    text = FIXED + ('exceeds = "at_or_above"\n' if at_or_above else "")
    text += 'rounding = "whole_half_up"\n' if whole else ""
    if need is not None:
        text += (f'persistence = [{{ kind = "count", days = {need}, compare = "at_least", window = {window}, '
                 'unit = "calendar_days" }]\n')
    days: dict[int, list[float]] = {}
    for day, level in entries:
        days.setdefault(day, []).append(level)
    dates = np.datetime64("2027-03-01") + np.array([day for day, _ in entries]).astype("timedelta64[D]")
    levels = np.array([level for _, level in entries])
    how = {"at_or_above": at_or_above, "whole": whole, "need": need, "window": window}
    assert chance(levels, dates, rule(text)) == float(naive(days, how))


@settings(max_examples=120, deadline=None)
@given(st.lists(st.integers(550, 800).map(lambda tenths: tenths / 10.0), min_size=1, max_size=25), st.booleans())
def test_an_allowance_of_days_is_judged_as_counting_bands_would(levels: list[float], nested: bool) -> None:
    steps = [(60.0, 6), (65.0, 3), (70.0, 1), (75.0, 0)]
    text = ("value = { kind = \"day_allowance\", steps = [" + ", ".join(f"[{a}, {b}]" for a, b in steps)
            + f"], nested = {str(nested).lower()} }}\n")
    dates = np.datetime64("2027-03-01") + np.arange(len(levels)).astype("timedelta64[D]")
    found, limit = judge_rule(records(np.array(levels), dates), rule(text), np.array([60.0]), 0.05)
    broken = False
    for number, (step, most) in enumerate(steps):
        top = steps[number + 1][0] if number + 1 < len(steps) and not nested else np.inf
        broken |= sum(step < level <= top for level in levels) > most
    assert float(found.p_exceed[0]) == float(broken)
    # the margin's sign says the same
    assert (limit[0] - found.design[0] >= 0.0) == (not broken)


def test_days_in_a_band_of_its_own_may_be_fewer_than_those_above_it() -> None:
    # 4 days at 66: too many for the band 65 to 70 (3), whatever lies in the other bands
    dates = np.datetime64("2027-03-01") + np.arange(9).astype("timedelta64[D]")
    text = 'value = { kind = "day_allowance", steps = [[60, 5], [65, 3]], nested = NESTED }\n'
    levels = np.array([66.0] * 3 + [62.0] * 5 + [50.0])
    # 8 days above 60 break the nested allowance; counted by bands, 5 and 3 days are just allowed
    assert chance(levels, dates, rule(text.replace("NESTED", "true"))) == 1.0
    assert chance(levels, dates, rule(text.replace("NESTED", "false"))) == 0.0


# --- what a rule says beside its number ------------------------------------------------------------------------------

def test_rounding_to_whole_decibels() -> None:
    # by hand: 65.4 rounds to 65 and meets 65; 65.5 rounds to 66 and doesn't
    day = np.array(["2027-03-01"], dtype="datetime64[D]")
    whole = rule(FIXED + 'rounding = "whole_half_up"\n')
    assert [chance(np.array([level]), day, whole) for level in (65.4, 65.5)] == [0.0, 1.0]
    reached = rule(FIXED + 'rounding = "whole_half_up"\nexceeds = "at_or_above"\n')
    assert [chance(np.array([level]), day, reached) for level in (64.4, 64.5)] == [0.0, 1.0]
    # a limit that follows the background needn't be whole: 64.98 is exceeded by 65, that is from 64.5 on
    found = judge(records(np.array([64.5]), day), np.array([64.98]), 0.05, Comparison(whole_db=True))
    assert found.p_exceed[0] == 1.0


def test_reaching_the_limit_counts_only_where_the_rule_says_so() -> None:
    day = np.array(["2027-03-01"], dtype="datetime64[D]")
    assert chance(np.array([65.0]), day, rule(FIXED)) == 0.0
    assert chance(np.array([65.0]), day, rule(FIXED + 'exceeds = "at_or_above"\n')) == 1.0
    # also where the comparison is made in logarithms
    for value in (0.3, 1.0, 1e-5, 10.0):
        series = records(np.array([value]), day, "ppv_component", "floor")
        assert judge(series, np.array([value]), 0.05, Comparison(at_or_above=True)).p_exceed[0] == 1.0
        assert judge(series, np.array([value]), 0.05).p_exceed[0] == 0.0


def test_the_margin_of_a_rounding_rule_is_in_whole_decibels_and_agrees_with_the_chance() -> None:
    day = np.array(["2027-03-01"], dtype="datetime64[D]")
    whole = rule(FIXED + 'rounding = "whole_half_up"\n')
    for median in np.arange(55.0, 70.0, 0.37):
        series = records(np.array([median]), day)
        predicted = LevelSeries(series.quantity, series.position, series.slots, series.median,
                                np.full((1, 1), 3.0), np.full((1, 1), 1.0), series.in_range)
        found, _ = judge_rule(predicted, whole, np.array([65.0]), 0.05)
        assert found.design[0] == np.floor(found.design[0])
        assert (65.0 - found.design[0] >= 0.0) == (found.p_exceed[0] <= 0.05)


def test_only_days_of_the_season_count() -> None:
    winter = rule(FIXED + 'season = { from = "09-01", to = "04-30" }\n')
    for day, expected in (("2027-04-30", 1.0), ("2027-05-01", 0.0), ("2027-08-31", 0.0), ("2027-09-01", 1.0)):
        assert chance(np.array([70.0]), np.array([day], dtype="datetime64[D]"), winter) == expected


def test_a_rule_for_long_works_spares_short_ones() -> None:
    long_works = rule(FIXED + 'persistence = [{ kind = "count", days = 10, compare = "at_least", window = 15, '
                              'unit = "calendar_days", counts = "work" }]\n')
    nine, ten = (np.datetime64("2027-03-01") + np.arange(count).astype("timedelta64[D]") for count in (9, 10))
    assert "at least 10 days of work in any 15" in spared(long_works, nine)
    assert spared(long_works, np.repeat(ten, 3)) == ""
    # it isn't the exceedances that are counted: a single one is enough
    assert chance(np.array([70.0]), nine[:1], long_works) == 1.0


def test_a_count_of_exceedances_is_out_of_reach_for_works_with_fewer_days() -> None:
    lasting = rule(FIXED + 'persistence = [{ kind = "lasting", months = 1 }]\n')
    # from 1 March a month lasts until 31 March, both days included
    short, long = (np.array(["2027-03-01", end], dtype="datetime64[D]") for end in ("2027-03-30", "2027-03-31"))
    assert "too short for the rule: it counts exceedances for 1 month or longer" in out_of_reach(lasting, short)
    assert out_of_reach(lasting, long) == ""
    ten = rule(FIXED + 'persistence = [{ kind = "count", days = 10, compare = "at_least", window = 15, '
                       'unit = "calendar_days" }]\n')
    nine = np.datetime64("2027-03-01") + np.arange(9).astype("timedelta64[D]")
    assert out_of_reach(ten, np.repeat(nine, 4)) != ""
    assert out_of_reach(ten, np.append(nine, np.datetime64("2027-03-12"))) == ""
    assert out_of_reach(rule(FIXED), nine[:1]) == ""


def test_unlike_things_are_never_compared() -> None:
    day = np.array(["2027-03-01"], dtype="datetime64[D]")
    one = rule(FIXED)
    for series, what in ((records(np.array([70.0]), day, "lafmax_db"), "LAFmax can't be compared with a limit on LAeq"),
                         (records(np.array([70.0]), day, position="free_field"), "away from reflecting surfaces"),
                         (records(np.array([5.0]), day, "ppv_component", "foundation"), "can't be compared")):
        with pytest.raises(Incommensurable, match=what):
            judge_rule(series, one, np.array([65.0]), 0.05)
    hours = made_up(HOURS).rules[0]
    with pytest.raises(Incommensurable, match="limits hours, not levels"):
        check_alike(records(np.array([70.0]), day), hours)


# --- hours -----------------------------------------------------------------------------------------------------------

def test_hours_by_margin_become_the_level_at_which_the_hours_are_still_allowed() -> None:
    # Hong Kong's steps (from memory): 12 h a day up to the base level, 5 h to 10 dB above, 3 h beyond
    value = HoursByMargin.model_validate({"kind": "hours_by_margin", "rows": ({"level": 85.0},),
                                          "steps": ((0.0, 12.0), (10.0, 5.0)), "beyond_hours": 3.0})
    assert level_for_hours(value, 85.0, 12.0) == 85.0
    assert level_for_hours(value, 85.0, 6.0) == 85.0
    assert level_for_hours(value, 85.0, 5.0) == 95.0
    assert isinstance(level_for_hours(value, 85.0, 3.0), NotGoverned)
    never = level_for_hours(value, 85.0, 13.0)
    assert isinstance(never, Missing)
    assert "shorten the shift" in never.why


def test_hours_are_broken_or_kept_class_by_class() -> None:
    run, methods = prepared(scenario())
    period = 'periods = [{ id = "day", label = "day", days = ["all"], from = "09:00", to = "18:00" }]\n'
    tight = made_up('classes = ["building"]\n' + period + HOURS)
    run = with_set(run, tight)
    columns = hours_rules.findings(run, methods[0], tight, tight.rules[0])[0].columns
    uses, words = np.asarray(columns["use"]), np.asarray(columns["likelihood"])
    assert set(words[uses == "dwelling"]) == {"breach"}
    assert set(words[uses == "railway"]) == {"not_applicable"}
    assert "outside the allowed hours" in columns["reason"][0]
    assert "no value for class 'other'" in columns["reason"][list(uses).index("railway")]
