"""Rules that the works' length decides: judged for three programmes, the worst shown and said."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from demo_assessment import assessment as demo

from envpredict.engine.catalogue import load_catalogue
from envpredict.engine.findings import frame
from envpredict.engine.noise import rules as noise_rules
from envpredict.engine.results import SEVERITY
from envpredict.engine.traced.explain import explain
from envpredict.engine.works.programme import SPEEDS
from envpredict.engine.works.worst_programme import SAID, depends_on_length, of_finding

SETS = load_catalogue().limit_sets


@pytest.mark.parametrize(
    ("set_id", "rule", "expected"),
    [
        # BS 5228-1, E.3.3: a change that lasts a month or more; E.3.2 speaks of single days
        ("bs_5228_1_2009", "change", True), ("bs_5228_1_2009", "abc", False),
        # peak velocities are judged pile by pile, however long the works take
        ("din_4150_3_1999", "top_floor", False), ("bs_5228_2_2009", "complaints", False),
        # DIN 4150-2 gives its values by the number of days
        ("din_4150_2_1999", "lasting_u", True),
    ],
)
def test_which_rules_the_length_of_the_works_decides(set_id: str, rule: str, expected: bool) -> None:
    assert depends_on_length(SETS[set_id].rule(rule)) is expected


def test_the_worst_of_three_is_shown_and_named() -> None:
    assessed = demo()
    run, rule_set = assessed.detail["run"], SETS["bs_5228_1_2009"]
    rule = rule_set.rule("change")
    found = assessed.findings
    seen = 0
    for name, method in assessed.detail["methods"].items():
        paced = {speed: replace(method, passes=passes) for speed, passes in method.programmes.items()}
        three = {speed: frame(noise_rules.findings(run, paced[speed], rule_set, rule)) for speed in SPEEDS}
        shown = found[(found["method"] == name) & (found["rule"] == "change")].reset_index(drop=True)
        ranks = {speed: table["likelihood"].map(SEVERITY.index).to_numpy() for speed, table in three.items()}
        assert (shown["likelihood"].map(SEVERITY.index).to_numpy() == np.maximum.reduce(list(ranks.values()))).all()
        said = shown["reason"].map(lambda text: next((speed for speed in SPEEDS if SAID[speed] in text), ""))
        for speed in SPEEDS:
            mine = (said == speed).to_numpy()
            seen += int(mine.sum())
            same = pd.Series(three[speed]["p_exceed"])[mine].to_numpy()
            assert shown["p_exceed"][mine].to_numpy() == pytest.approx(same)
        # what can't be judged, or isn't governed, names no programme
        assert (said[shown["likelihood"].isin(["not_applicable", "cannot_judge"])] == "").all()
    assert seen > 50


def test_a_finding_of_the_slow_programme_is_traced_in_it() -> None:
    assessed = demo()
    found = assessed.findings
    slow = found[found["reason"].str.contains(SAID["slow"]) & (found["likelihood"] == "likely")].iloc[0]
    method = of_finding(assessed.detail["methods"][slow["method"]], slow)
    assert method.passes.speed == "slow"
    assert slow["governing_day"] in method.passes.day.astype(str)
    plain = found[~found["reason"].str.contains("the worst of the slow")].iloc[0]
    assert of_finding(assessed.detail["methods"][plain["method"]], plain).passes.speed == "likely"
    assert slow["receptor"] in explain(assessed, slow["receptor"], slow["method"])


def test_the_days_of_the_map_stay_those_of_the_likely_programme() -> None:
    assessed = demo()
    days = set(assessed.detail["days"].astype(str))
    worked = {day for events in assessed.programme.values() for day in events["day"]}
    assert days <= worked
