"""The judge, its reasons and what governs."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from envpredict.core.series import LevelSeries, Slots
from envpredict.engine.chances.day_rules import judge_allowance, judge_days, trigger_level
from envpredict.engine.chances.judge import judge, margin_db
from envpredict.engine.chances.reduce import worst_point
from envpredict.engine.findings import likelihoods, rounded
from envpredict.engine.govern import governing
from envpredict.engine.phrases import Phrases, coded
from envpredict.limits.persistence import Counted, Lasting, triggered
from envpredict.limits.values import DayAllowance


def series(median: np.ndarray, *, quantity: str = "laeq_db", shared: float = 3.0, own: float = 1.0,
           first: str = "2027-03-01") -> LevelSeries:
    points, slots = median.shape
    days = np.datetime64(first, "D") + np.arange(slots)
    return LevelSeries(quantity, "facade", Slots(days, np.zeros(slots), np.ones(slots), days.astype(str)), median,
                       np.full((points, slots), shared), np.full((points, slots), own),
                       np.ones((points, slots), dtype=bool))


def test_margin_is_positive_where_the_design_level_meets_the_limit() -> None:
    found = judge(series(np.array([[60.0, 62.0], [72.0, 74.0]])), np.array([75.0, 75.0]), 0.05)
    margin = margin_db(np.array([75.0, 75.0]), found.design, "decibel")
    assert (margin >= 0).tolist() == (found.p_exceed <= 0.05).tolist() == [True, False]


def test_linear_quantities_scatter_in_log10_units() -> None:
    # by hand: median 1 mm/s, limit 10^0.5, total scatter 0.5 -> one standard deviation
    found = judge(series(np.array([[1.0]]), quantity="ppv_component", shared=0.4, own=0.3), np.array([10.0**0.5]), 0.05)
    assert found.p_exceed[0] == pytest.approx(0.158655, abs=1e-5)
    assert found.scatter[0] == pytest.approx(0.5)


def test_records_are_judged_by_the_same_code_without_scatter() -> None:
    found = judge(series(np.array([[60.0, 66.0, 64.0]]), shared=0.0, own=0.0), np.array([65.0]), 0.05)
    assert (found.p_exceed[0], found.days[0], found.slot[0]) == (1.0, 1.0, 1)


def test_a_slot_without_a_prediction_makes_the_point_unknown() -> None:
    found = judge(series(np.array([[60.0, np.nan]])), np.array([75.0]), 0.05)
    assert found.unknown[0]
    assert np.isnan(found.p_exceed[0])


def test_likelihood_words_follow_the_chance() -> None:
    yes, no = np.ones(6, dtype=bool), np.zeros(6, dtype=bool)
    chance = np.array([0.049, 0.05, 0.5, 0.01, np.nan, 0.9])
    doubtful = np.array([False, False, False, True, False, True])
    words = likelihoods(yes, no, chance, no, doubtful, 0.05)
    assert words.tolist() == ["unlikely", "possible", "likely", "cannot_judge", "cannot_judge", "likely"]
    assert likelihoods(yes, yes, chance, no, doubtful, 0.05).tolist() == ["not_applicable"] * 6


def test_a_day_rule_of_one_day_is_the_plain_judgement() -> None:
    levels = series(np.linspace(60, 70, 10)[None])
    rule = Counted(kind="count", days=1, compare="at_least", window=15, unit="calendar_days")
    plain = judge(levels, np.array([75.0]), 0.05)
    counted = judge_days(levels, np.array([75.0]), 0.05, [rule])
    assert counted.p_exceed[0] == pytest.approx(plain.p_exceed[0], abs=0.03)
    assert counted.design[0] == pytest.approx(plain.design[0], abs=0.5)


@pytest.mark.parametrize("rule", [
    Counted(kind="count", days=3, compare="at_least", window=5, unit="calendar_days"),
    Counted(kind="count", days=3, compare="more_than", window=7, unit="calendar_days"),
    Counted(kind="count", days=2, compare="at_least", window=3, unit="working_days"),
    Counted(kind="count", days=4, compare="more_than", window=1, unit="months"),
    Lasting(kind="lasting", months=1),
])
def test_the_trigger_level_agrees_with_counting_day_by_day(rule: Counted | Lasting) -> None:
    # against a naive count: the rule is triggered at a limit just where the trigger level lies above it
    rng = np.random.default_rng(5)
    dates = np.unique(np.datetime64("2027-03-01") + rng.integers(0, 60, 30).astype("timedelta64[D]"))
    levels = rng.normal(70, 4, (40, len(dates)))
    found = trigger_level(levels, dates, [rule])
    for limit in (64.0, 68.0, 70.0, 72.0, 76.0):
        naive = np.array([bool(triggered((rule,), row > limit, dates)) for row in levels])
        assert ((found > limit) == naive).all()


def test_an_allowance_counts_days_above_each_step() -> None:
    allowance = DayAllowance(kind="day_allowance", steps=((60.0, 3), (70.0, 0)))
    quiet, _ = judge_allowance(series(np.full((1, 5), 50.0), shared=0.1, own=0.1), allowance, 0.05)
    often, steps = judge_allowance(series(np.full((1, 5), 65.0), shared=0.1, own=0.1), allowance, 0.05)
    loud, top = judge_allowance(series(np.full((1, 2), 75.0), shared=0.1, own=0.1), allowance, 0.05)
    assert (quiet.p_exceed[0], often.p_exceed[0], loud.p_exceed[0]) == (0.0, 1.0, 1.0)
    assert (steps[0], top[0]) == (60.0, 70.0)


def test_the_worst_floor_of_each_receptor_governs() -> None:
    level = np.array([[60.0, 71.0], [70.0, 50.0], [65.0, 71.0], [40.0, -np.inf]])
    assert worst_point(level, np.array([0, 0, 0, 1]), 2).tolist() == [[1, 0], [3, 3]]
    assert worst_point(level, None, 2).tolist() == [[1, 0], [1, 0]]
    with pytest.raises(ValueError, match="every receptor needs a point"):
        worst_point(level, np.array([0, 0, 2, 2]), 3)


def test_the_most_severe_finding_governs_then_the_highest_chance() -> None:
    frame = pd.DataFrame({
        "receptor": ["a"] * 4, "method": ["m"] * 4, "effect": ["noise"] * 4,
        "likelihood": ["unlikely", "cannot_judge", "possible", "possible"], "p_exceed": [0.01, np.nan, 0.2, 0.4],
        "margin_db": [3.0, np.nan, -1.0, -2.0]})
    assert governing(frame).index.tolist() == [3]
    assert governing(frame.iloc[:2])["likelihood"].tolist() == ["cannot_judge"]


def test_reasons_are_joined_per_row_and_said_once() -> None:
    told = Phrases(3)
    told.add(*coded(np.array(["a", "", "a"], dtype=object)))
    told.add_where(np.array([True, True, False]), "b")
    told.add_where(np.array([False, False, True]), "a")
    assert told.texts().tolist() == ["a; b", "b", "a"]


def test_numbers_are_written_with_six_significant_digits() -> None:
    assert rounded(np.array([0.0123456789, 123456.789, 0.0, np.inf])).tolist() == [0.0123457, 123457.0, 0.0, np.inf]
