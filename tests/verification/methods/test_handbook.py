"""The handbook's tables, cell by cell, and the rules drawn from them.

Outside reference: a steel maker's piling handbook, 9th edition, Tables 11.2 and 11.3, as quoted on the driveability
page of a steel piling trade group (steelpilinggroup.org/guidance/construction/pile-driveability/), read at second
hand. The words stand in handbook_cells.csv; the codes beside them are ours: easy, suitable and normal are feasible, a
remedy or a difficulty is `with aid`, `not recommended` and `another machine required` are not feasible.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from envpredict.methods.load import load_counter_cases, load_handbook, load_methods
from envpredict.methods.suitability import Suitability, suitability

ROWS = list(csv.DictReader((Path(__file__).parent / "handbook_cells.csv").open(encoding="utf-8")))
CELLS = [(row, column) for row in ROWS for column in ("vibratory", "impact", "press_in")]
METHOD = {"vibratory": "vibratory_standard", "impact": "impact_hydraulic", "press_in": "press_in"}
SOIL = {"coarse": "dense_sand", "cohesive": "stiff_clay"}


def name(cell: tuple[dict[str, str], str]) -> str:
    return f"{cell[0]['table']} {cell[0]['band']} {cell[1]}"


def judge(table: str, column: str, value: float) -> Suitability:
    measure = {"coarse": "n", "cohesive": "cu_kpa"}[table]
    return suitability(load_methods()[METHOD[column]], SOIL[table], **{measure: value})


@pytest.mark.parametrize("cell", CELLS, ids=name)
def test_each_cell_reproduces(cell: tuple[dict[str, str], str]) -> None:
    row, column = cell
    shipped = next(band for band in load_handbook()[row["table"]].rows if band.band == row["band"])
    assert getattr(shipped, column).advice == row[column]
    assert getattr(shipped, column).code == row[f"{column}_code"]


@pytest.mark.parametrize("cell", CELLS, ids=name)
def test_each_cell_decides_where_its_strength_is_known(cell: tuple[dict[str, str], str]) -> None:
    row, column = cell
    found = judge(row["table"], column, float(row["value"]))
    assert found.code == row[f"{column}_code"]
    if column != "vibratory" or row["band"] != ">50":   # there the estimating rule with a jet says as much, and more
        assert found.rule == f"handbook {row['table']} {row['band']}"
        assert found.basis == "read"


def test_the_tables_have_no_more_cells_than_the_handbook() -> None:
    assert {(table.id, band.band) for table in load_handbook().values() for band in table.rows} == {
        (row["table"], row["band"]) for row in ROWS}


@pytest.mark.parametrize(("table", "edges"), [("coarse", (10, 20, 30, 40, 50)), ("cohesive", (15, 25, 50, 75, 100))])
def test_the_bands_meet_at_the_printed_edges(table: str, edges: tuple[int, ...]) -> None:
    bands = [row["band"] for row in ROWS if row["table"] == table]
    for number, edge in enumerate(edges):
        assert judge(table, "press_in", edge).rule.item().endswith(f" {bands[number]}")
        assert judge(table, "press_in", edge + 0.5).rule.item().endswith(f" {bands[number + 1]}")


@pytest.mark.parametrize(
    ("column", "soil", "strength", "verdict"),
    [
        # 150 sheets pressed into clay above 150 kPa without aid: read at steelpilinggroup.org/project/new-basement/
        ("press_in", "stiff_clay", {"cu_kpa": 160}, "needs_trial"),
        ("press_in", "stiff_clay", {"cu_kpa": 90}, "feasible_with_aid"),
        # a levee in sand: vibrators and a hammer failed, a press did it: read at enr.com/articles/9295
        ("press_in", "dense_sand", {"n": 60}, "needs_trial"),
        ("impact", "dense_sand", {"n": 60}, "needs_trial"),
        ("vibratory", "dense_sand", {"n": 60}, "needs_trial"),
        # pressed through medium dense gravel beside a live railway: read on steelpilinggroup.org
        ("press_in", "gravel_cobbles", {"n": 25}, "needs_trial"),
        ("press_in", "gravel_cobbles", {"n": 60}, "not_feasible"),
        # nothing contradicts the handbook here
        ("vibratory", "stiff_clay", {"cu_kpa": 160}, "not_feasible"),
        ("press_in", "boulders", {}, "not_feasible"),
    ],
)
def test_what_published_jobs_contradict_is_a_matter_of_trial(column: str, soil: str, strength: dict[str, float],
                                                             verdict: str) -> None:
    assert suitability(load_methods()[METHOD[column]], soil, **strength).verdict == verdict


def test_a_counter_case_names_its_job() -> None:
    found = suitability(load_methods()["press_in"], ["stiff_clay", "loose_sand"], cu_kpa=160.0, n=15.0)
    assert list(found.cases) == ["press_stiff_clay", ""]
    assert "150 U sheets" in load_counter_cases()["press_stiff_clay"].story
