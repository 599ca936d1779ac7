"""Rules: which methods they govern, which row answers, how bases and adjustments come through."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from envpredict.limits.background import category_limit_db, category_of, plus_limit_db, rounded_to, site_for_rise_db
from envpredict.limits.load import load_limit_sets
from envpredict.limits.outcome import LimitValue, Missing, NotGoverned
from envpredict.limits.rule import Rule

SOURCE = {"document": "Standard (invented)", "place": "Table 1", "basis": "read"}


def rule(value: dict[str, Any], **more: Any) -> Rule:
    fields = {"id": "r", "title": "t", "clause": "c", "effect": "damage", "quantity": "ppv_component", "unit": "mm/s",
              "place": "foundation", "source": SOURCE, "value": value}
    return Rule.model_validate(fields | more, strict=False)


def test_signal_family_and_class_are_governed() -> None:
    found = rule({"kind": "fixed", "rows": [{"class": "a", "level": 5.0}]}, vibration=["transient"],
                 families=["impact"])
    assert found.governs("transient", class_id="a", family="impact") is True
    for answer in (found.governs("continuous"), found.governs("quasi_static"), found.governs(class_id="b"),
                   found.governs("transient", family="press")):
        assert isinstance(answer, NotGoverned)
        assert not answer
    anything = rule({"kind": "fixed", "rows": [{"level": 5.0}]})
    assert anything.governs("continuous", class_id="whatever", family="drill") is True


def test_pressing_is_judged_as_continuous() -> None:
    found = rule({"kind": "fixed", "rows": [{"level": 5.0}]}, vibration=["continuous"])
    assert found.governs("quasi_static") is True
    assert isinstance(found.governs("transient"), NotGoverned)


def test_rows_by_days_vibration_and_period() -> None:
    rows = [{"class": "a", "to_days": 14, "level": 80.0},
            {"class": "a", "over_days": 14, "to_days": 140, "level": 75.0},
            {"class": "a", "over_days": 140, "level": 70.0}]
    found = rule({"kind": "fixed", "rows": rows})
    values = [found.limit("a", days=days) for days in (14, 15, 140, 141)]
    assert [value.value for value in values if isinstance(value, LimitValue)] == [80.0, 75.0, 75.0, 70.0]
    missing = found.limit("a")
    assert isinstance(missing, Missing)
    assert missing.fact == "days"
    assert isinstance(found.limit("b", days=3), NotGoverned)
    by_signal = rule({"kind": "fixed", "rows": [{"vibration": ["transient"], "level": 8.0},
                                                {"vibration": ["continuous"], "level": 4.0}]})
    assert isinstance(by_signal.limit("a"), Missing)
    slow = by_signal.limit("a", signal="continuous")
    assert isinstance(slow, LimitValue)
    assert slow.value == 4.0


def test_a_curve_needs_a_band() -> None:
    found = rule({"kind": "fixed", "shape": {"between": "linear"}, "rows": [{"points": [[4.0, 5.0], [20.0, 13.0]]}]},
                 basis={"interpolation": "memory", "outside": "estimate"})
    missing = found.limit("any")
    assert isinstance(missing, Missing)
    assert missing.fact == "frequency"
    outside = found.limit("any", 2.0, 10.0)
    assert isinstance(outside, Missing)
    assert "4 to 20 Hz" in outside.why
    likely = found.limit("any", None, None, 12.0)
    assert isinstance(likely, LimitValue)
    assert (likely.value, likely.basis, likely.at_likely) == (9.0, "memory", 9.0)
    corner = found.limit("any", 4.0, 20.0)
    assert isinstance(corner, LimitValue)
    assert (corner.value, corner.basis) == (5.0, "read")


def test_the_weakest_part_marks_the_rule() -> None:
    rows = [{"class": "a", "level": 5.0}, {"class": "b", "level": 6.0, "basis": "practice"},
            {"class": "c", "level": 7.0, "source": {**SOURCE, "basis": "estimate"}}]
    found = rule({"kind": "fixed", "rows": rows})
    bases = [value.basis for name in "abc" if isinstance(value := found.limit(name), LimitValue)]
    assert bases == ["read", "practice", "estimate"]
    assert found.basis == "estimate"
    assert len(found.citations) == 2
    placed = rule({"kind": "fixed", "rows": rows}, basis={"place": "memory"})
    first = placed.limit("a")
    assert isinstance(first, LimitValue)
    assert first.basis == "memory"


def test_adjustments_count_only_where_they_are_made() -> None:
    found = rule({"kind": "fixed", "rows": [{"level": 60.0}]}, effect="noise", quantity="lar_db", unit="dB",
                 place="free_field", adjustments=[
                     {"kind": "impulse", "add_db": 5.0, "basis": "estimate"},
                     {"kind": "tone", "up_to_db": 5.0, "basis": "estimate"},
                     {"kind": "daily_hours", "steps": [[2.0, -10.0]], "period": "night", "basis": "memory"}])
    cases = {("transient", "day"): "estimate", ("continuous", "day"): "read", ("continuous", "night"): "memory"}
    for (signal, period), basis in cases.items():
        value = found.limit("any", period_id=period, signal=signal)
        assert isinstance(value, LimitValue)
        assert value.basis == basis
    assert found.level_shift_db("transient", "day", 1.0) == 5.0
    assert found.level_shift_db("continuous", "night", 1.0) == -10.0
    assert found.level_shift_db("continuous", "day", 1.0) == 0.0


def test_short_works_relax_and_unknown_length_does_not() -> None:
    found = load_limit_sets()["se_nfs_2004_15"].rule("outside")
    values = [found.limit("home", period_id="day", days=days) for days in (61, 62, None)]
    numbers = [value.value for value in values if isinstance(value, LimitValue)]
    assert numbers == [65.0, 60.0, 60.0]
    unknown = values[2]
    assert isinstance(unknown, LimitValue)
    assert "not applied" in unknown.note


def test_background_rules_ask_for_their_own_measure() -> None:
    sydney = load_limit_sets()["au_nsw_icng_2009"].rule("noise_affected")
    found = sydney.limit_from_background("residence", "standard_week", None, 40.0, "free_field")
    assert isinstance(found, LimitValue)
    assert found.value == 50.0
    missing = sydney.limit_from_background("residence", "standard_week", 50.0, None, "free_field")
    assert isinstance(missing, Missing)
    assert missing.fact == "la90_db"
    # a baseline taken at a facade is 3 dB lower in the free field
    lowered = sydney.limit_from_background("residence", "outside_rest", None, 43.0, "facade")
    assert isinstance(lowered, LimitValue)
    assert lowered.value == 45.0
    fixed = load_limit_sets()["wales_2023_256"].rule("noise")
    assert isinstance(fixed.limit_from_background("dwelling", "hour", 50.0, 40.0, "facade"), Missing)


baselines = st.floats(20.0, 100.0)


@given(st.lists(baselines, min_size=1, max_size=20))
def test_categories_as_told_one_by_one(levels: list[float]) -> None:
    limits = category_limit_db(levels, 65.0, 70.0, 75.0)
    for level, limit in zip(levels, limits, strict=True):
        # the document's own words, on the level rounded to 5 dB with halves down
        lower = 5 * int(level // 5)
        rounded = lower if level - lower <= 2.5 else lower + 5
        if rounded > 75:
            total = 10 * np.log10(10 ** (level / 10) + 10 ** (limit / 10))
            assert total == pytest.approx(level + 3.0)
        else:
            assert limit == (65.0 if rounded < 65 else 70.0 if rounded == 65 else 75.0)


@given(baselines, st.floats(0.5, 20.0))
def test_a_rise_of_the_total(level: float, rise: float) -> None:
    site = float(site_for_rise_db(level, rise))
    assert 10 * np.log10(10 ** (level / 10) + 10 ** (site / 10)) == pytest.approx(level + rise)


def test_background_functions_pass_nan_and_round() -> None:
    assert np.isnan(category_limit_db(np.nan, 65.0, 70.0, 75.0))
    assert category_of([np.nan, 60.0, 65.0, 75.0, 80.0], 65.0, 75.0).tolist() == ["", "A", "B", "C", "over"]
    assert rounded_to([62.5, 67.5], 5.0, "down").tolist() == [60.0, 65.0]
    assert rounded_to([62.5, 67.5], 5.0, "up").tolist() == [65.0, 70.0]
    assert plus_limit_db([40.0, 70.0], 5.0, 65.0, compare="site").tolist() == [65.0, 75.0]


def test_values_of_a_whole_set() -> None:
    found = load_limit_sets()["bs_7385_2_1993"].values({"use": "dwelling", "structure": "masonry"}, (15.0, 60.0, 25.0),
                                                       signal="continuous", family="vibratory")
    assert isinstance(found["transient"], NotGoverned)
    assert isinstance(found["continuous"], LimitValue)
    assert found["continuous"].value == 10.0
    unknown = load_limit_sets()["bs_7385_2_1993"].values({"use": "dwelling"})
    assert all(isinstance(answer, Missing) for answer in unknown.values())
