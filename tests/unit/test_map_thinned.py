"""A page of more receptors than it draws: the worst are drawn, the others counted in cells, and the page says so."""

from __future__ import annotations

import re
from collections import Counter

import numpy as np
import pandas as pd
import pytest
from browser.synthetic import CANDIDATES, assess

from envpredict.engine.govern import governing
from envpredict.engine.results import Assessment
from envpredict.outputs.map import thin
from envpredict.outputs.map.pack import Block
from envpredict.outputs.map.payload import collect
from envpredict.outputs.map.shapes import PAGE_CRS, Origin
from envpredict.outputs.map.style import ORDER

DRAWN = 80


@pytest.fixture
def few(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(thin, "MOST_DRAWN", DRAWN)


@pytest.fixture(scope="module")
def made() -> Assessment:
    return assess(400)


class Kept(Block):
    """A block that keeps what it is given."""

    def __init__(self) -> None:
        super().__init__()
        self.given: dict[str, np.ndarray] = {}

    def add(self, name: str, values: object, kind: str) -> None:
        self.given[name] = np.asarray(values)
        super().add(name, self.given[name], kind)


def test_nothing_changes_up_to_the_most(made: Assessment) -> None:
    found = thin.thin(made, show_protected=False)
    assert found.whole
    assert found.shown(made) is made
    assert thin.left_out(made) == []
    assert collect(made, private_names=True, show_protected=False).head["rest"] is None


def test_no_receptor_that_is_counted_is_worse_or_as_bad_and_nearer_than_one_drawn(few: None, made: Assessment) -> None:
    found = thin.thin(made, show_protected=False)
    worst = made.findings["likelihood"].map(ORDER.index).groupby(made.findings["receptor"]).max()
    table = pd.DataFrame({"worst": made.receptors["id"].map(worst), "drawn": found.drawn,
                          "away": made.receptors.geometry.distance(made.scenario.piles.union_all())})
    placed = table[made.receptors["use"].ne("habitat")]
    drawn, rest = placed[placed["drawn"]], placed[~placed["drawn"]]
    assert table["drawn"].sum() == DRAWN
    assert rest["worst"].max() <= drawn["worst"].min()
    same = rest["worst"] == drawn["worst"].min()
    assert rest.loc[same, "away"].min() >= drawn.loc[drawn["worst"] == drawn["worst"].min(), "away"].max()


def test_a_habitat_whose_place_stays_out_is_listed_and_in_no_cell(few: None, made: Assessment) -> None:
    habitat = made.receptors["use"].eq("habitat").to_numpy()
    assert habitat.any()
    assert thin.thin(made, show_protected=False).drawn[habitat].all()


@pytest.mark.parametrize("effect", ["governing", "noise", "damage"])
def test_drawn_and_counted_are_all_there_are(few: None, made: Assessment, effect: str) -> None:
    found, block = thin.thin(made, show_protected=False), Kept()
    centre = made.receptors.geometry.to_crs(PAGE_CRS).iloc[0].centroid
    thin.write_rest(block, made, found, Origin(round(centre.x), round(centre.y)))
    rows = made.findings if effect == "governing" else made.findings[made.findings["effect"] == effect]
    told = governing(rows, ("receptor", "method"))
    rest = set(made.receptors["id"][~found.drawn])
    for number, one in enumerate(CANDIDATES):
        want = Counter(told.loc[told["method"].eq(one.id) & told["receptor"].isin(rest), "likelihood"])
        want["none"] = len(rest) - sum(want.values())
        counted = block.given[f"rest.{number}.{effect}"].reshape(-1, len(ORDER))
        assert {word: int(n) for word, n in zip(ORDER, counted.sum(axis=0), strict=True) if n} == +want
        assert (counted.sum(axis=1) > 0).all(), "a cell stands for somebody"


def test_the_page_and_the_record_state_the_rule_with_its_numbers(few: None, made: Assessment) -> None:
    head = collect(made, private_names=True, show_protected=False).head
    sentence = head["rest"]["sentence"]
    assert re.search(r"Of 400 receptors 80 are drawn .* The other 320 are counted .* cells of 100 m", sentence)
    assert thin.left_out(made) == [sentence]
    assert head["daily"]["held"], "days of the drawn ones are there"


def test_lines_are_those_of_all_receptors(few: None, made: Assessment, monkeypatch: pytest.MonkeyPatch) -> None:
    thinned = collect(made, private_names=True, show_protected=False).head["contours"]
    monkeypatch.setattr(thin, "MOST_DRAWN", 10_000)
    assert collect(made, private_names=True, show_protected=False).head["contours"] == thinned
