"""Limits that somebody has compared with their document: told in reasons, lifting DRAFT, and loud where they differ."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from scenario_folder import Folder

from envpredict.core.citation import VERIFY_MARK
from envpredict.core.errors import ScenarioProblems
from envpredict.engine.assess import assess
from envpredict.engine.catalogue import load_catalogue
from envpredict.engine.confirmed import not_entered, stated_values
from envpredict.engine.intake import read_scenario
from envpredict.outputs.run_record import record

SETS = load_catalogue().limit_sets
RECALLED = "bs_5228_2_2009"


def confirming(set_id: str, values: str = "", edition: str = "2009+A1:2014") -> str:
    return (f'[limits.confirmed.{set_id}]\nby = "A reviewer"\ndate = 2027-01-15\nedition = "{edition}"\n'
            f"values = {{ {values} }}\n")


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    """The starter with one recalled set on vibration alone."""
    found = Folder(tmp_path / "site").toml('people = ["bs_5228_2_2009"]', 'people = ["din_4150_2_1999"]')
    found.toml('damage = ["bs_7385_2_1993"]\n', "").toml('noise = ["bs_5228_1_2009"]\n', "")
    return found.features("receptors.geojson",
                          lambda features: [one["properties"].update(area="residential") for one in features])


def every_value(set_id: str, without: str = "") -> str:
    """Return entries for every value of a set as shipped, as somebody would write them who has read the document."""
    stated = {str(one): one.values[0] for one in stated_values(SETS[set_id])}
    return ", ".join(f'"{name}" = {value:.10g}' for name, value in stated.items() if name != without)


def test_a_confirmation_of_every_value_is_told_in_the_reasons_and_lifts_the_mark_and_the_draft(folder: Folder) -> None:
    before = assess(read_scenario(folder.path), grids=False)
    assert before.drafts
    assert any("DRAFT" in caution for caution in before.cautions)
    marked = before.findings[before.findings["reason"].str.contains(f"limit: {VERIFY_MARK['memory']}", regex=False)]
    assert len(marked)
    folder.add(confirming("din_4150_2_1999", every_value("din_4150_2_1999"), "1999-06"))
    after = assess(read_scenario(folder.path), grids=False)
    assert after.drafts == ()
    assert not any("DRAFT" in caution for caution in after.cautions)
    again = after.findings.loc[marked.index]
    said = "limit: confirmed by A reviewer, 2027-01-15, edition 1999-06"
    assert again["reason"].str.contains(said, regex=False).all()
    assert not again["reason"].str.contains(f"limit: {VERIFY_MARK['memory']}", regex=False).any()
    assert again["p_exceed"].equals(marked["p_exceed"])
    kept = json.loads(json.dumps(record(after)))["limits_confirmed"]["din_4150_2_1999"]
    assert (kept["by"], kept["date"], kept["edition"]) == ("A reviewer", "2027-01-15", "1999-06")
    assert kept["values"]["work_3_r over_26 to_78"] == 0.6


@pytest.mark.parametrize(("values", "left"), [
    ("", 7), ('"work_3_r to_78" = 0.6', 7), (every_value("din_4150_2_1999", "work_3_r over_26 to_78"), 1),
], ids=["a name alone", "one value", "all values but one"])
def test_a_recalled_value_in_use_that_nobody_entered_keeps_mark_and_draft(folder: Folder, values: str,
                                                                          left: int) -> None:
    folder.add(confirming("din_4150_2_1999", values, "1999-06"))
    found = assess(read_scenario(folder.path), grids=False)
    # eight rules rest on memory, the numbers of seven of them do
    assert len(found.drafts) == left
    assert any("DRAFT" in caution for caution in found.cautions)
    rows = found.findings[found.findings["reason"].str.contains("compared in part by A reviewer", regex=False)]
    assert len(rows)
    assert rows["reason"].str.contains("values in use that weren't entered: 'work", regex=False).all()
    assert rows["reason"].str.contains(f"limit: {VERIFY_MARK['memory']}", regex=False).all()


def test_only_values_of_classes_that_occur_are_in_use() -> None:
    limit_set = SETS["din_4150_2_1999"]
    rule = limit_set.rule("work_o")
    housing = not_entered(limit_set, rule, {"residential"}, {})
    assert housing
    assert not any("industrial" in name.split() for name in housing)
    assert any("industrial" in name.split() for name in not_entered(limit_set, rule, {"industrial"}, {}))


def test_another_edition_is_said(folder: Folder) -> None:
    folder.add(confirming("din_4150_2_1999", edition="2025-01"))
    reasons = assess(read_scenario(folder.path)).findings["reason"]
    assert reasons.str.contains("edition 2025-01 (the set is of 1999-06)", regex=False).any()


@pytest.mark.parametrize(("set_id", "values", "what"), [
    ("din_4150_2_1999", '"work_o residential" = 6',
     ("you read 6 in the document, the shipped set holds 5", "'work_o mixed residential special to_78'",
      "one of them is wrong")),
    ("din_4150_2_1999", "work_o = 5", ("'work_o' names 2 different values", "say which: 'work_o industrial")),
    ("din_4150_2_1999", "wrok_o = 5", ("'wrok_o' names no value of the set", "its values are 'lasting_u")),
])
def test_an_entered_value_that_differs_is_a_problem_that_names_both(folder: Folder, set_id: str, values: str,
                                                                    what: tuple[str, ...]) -> None:
    folder.add(confirming(set_id, values))
    with pytest.raises(ScenarioProblems) as caught:
        read_scenario(folder.path)
    told = str(caught.value)
    for text in ("key 'limits.confirmed.din_4150_2_1999.values.", *what):
        assert text in told


def test_a_rounded_value_is_the_same(folder: Folder) -> None:
    # the standard's interpolated 0.73 and 0.47 (read on a help page) against 0.7333 and 0.4667 as shipped
    folder.add(confirming("din_4150_2_1999", '"work_1_u to_2" = 0.73, "work_1_u to_6" = 0.467'))
    assert "din_4150_2_1999" in read_scenario(folder.path).limits.confirmed


def test_every_number_of_every_set_can_be_named() -> None:
    assert len(SETS) > 60
    for limit_set in SETS.values():
        stated = stated_values(limit_set)
        for one in stated:
            alike = [other for other in stated if set(one.words) <= set(other.words)]
            exact = [other for other in alike if set(other.words) == set(one.words)]
            assert {other.values for other in exact} == {one.values}, f"{limit_set.id}: {one}"
