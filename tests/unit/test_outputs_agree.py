"""One walk over what a reader sees: every number of report, workbook, layers, map and CSV is one of the findings.

The expected number is taken from the findings and compared with the printed text by the digits that the text shows;
none of the code that words numbers is used here. Which finding governs is found again in another way.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyogrio
import pytest
from demo_assessment import assessment as demo
from reading_outputs import PageReader, ReadTable, map_findings, sheets, word_tables

from envpredict.engine.results import Assessment
from envpredict.outputs.registry import load_outputs

SEVERITY = ("not_applicable", "unlikely", "cannot_judge", "possible", "likely", "breach")
SYMBOLS = {"breach": "■", "likely": "▲", "possible": "◆", "cannot_judge": "?", "unlikely": "●", "not_applicable": "–"}
LETTERS = {"read": "", "memory": "m", "practice": "p", "estimate": "e"}
NAMES = ("report.html", "report.docx", "workbook.xlsx", "layers.gpkg", "findings.csv", "risk_map.html")


@pytest.fixture(scope="module")
def assessed() -> Assessment:
    return demo()


@pytest.fixture(scope="module")
def folder(assessed: Assessment, tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("outputs")
    outputs = load_outputs()
    for name in NAMES:
        outputs[name].write(assessed, made / name)
    return made


@pytest.fixture(scope="module")
def page(folder: Path) -> PageReader:
    return PageReader((folder / "report.html").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def governing(assessed: Assessment) -> dict[tuple[str, str, str], dict[str, Any]]:
    """The finding that governs each receptor, method and effect, found by walking the rows one by one."""
    best: dict[tuple[str, str, str], tuple[tuple[float, float, float], dict[str, Any]]] = {}
    for row in assessed.findings.to_dict("records"):
        key = (row["receptor"], row["method"], row["effect"])
        chance = -1.0 if math.isnan(row["p_exceed"]) else row["p_exceed"]
        margin = math.inf if math.isnan(row["margin_db"]) else row["margin_db"]
        rank = (SEVERITY.index(row["likelihood"]), chance, -margin)
        if key not in best or rank > best[key][0]:
            best[key] = (rank, row)
    return {key: row for key, (_, row) in best.items()}


def split_mark(text: str) -> tuple[str, str]:
    """Return a printed number and the letter of its verify mark."""
    found = re.fullmatch(r"(.*?)(?:\s\[([mpe])\])?", text)
    assert found is not None
    return found[1], found[2] or ""


def check_number(text: str, value: float) -> None:
    """Hold a printed number to a value: half a unit of its last digit."""
    if text == "–":
        assert not math.isfinite(value)
        return
    digits = len(text.partition(".")[2].partition("e")[0])
    scale = 10.0 ** int(text.partition("e")[2] or 0)
    assert abs(float(text) - value) <= (0.5 * 10.0**-digits + 1e-9) * scale, (text, value)


def check_level(text: str, value: float) -> None:
    """Hold a printed level, three digits or whole dB, to a value; trailing zeros may be left out."""
    if text == "–":
        assert not math.isfinite(value)
        return
    tolerance = max(0.5, 0.0) if float(text) == round(float(text)) and abs(value) >= 100 else 0.00501 * abs(value)
    assert abs(float(text) - value) <= max(tolerance, 0.5 * 10.0 ** -len(text.partition(".")[2])), (text, value)


def check_chance(text: str, value: float) -> None:
    """Hold a printed chance to a value."""
    text = text.replace("\u00a0", " ")
    if text == "–":
        assert math.isnan(value)
    elif text == "<1 %":
        assert value <= 0.005
    elif text == ">99 %":
        assert value >= 0.995
    else:
        assert abs(float(text.removesuffix(" %")) - 100.0 * value) <= 0.5 + 1e-9


def tables(page: PageReader, chapter: str) -> list[ReadTable]:
    return [table for table in page.tables if table.chapter == chapter]


def test_details_are_the_governing_findings(page: PageReader, assessed: Assessment,
                                            governing: dict[tuple[str, str, str], dict[str, Any]]) -> None:
    effects = list(dict.fromkeys(assessed.findings["effect"]))
    effects.sort(key=["damage", "people", "noise"].index)
    pairs = [(choice.id, effect) for choice in assessed.methods for effect in effects]
    found = tables(page, "details")
    assert len(found) == len(pairs)
    walked = 0
    for table, (method, effect) in zip(found, pairs, strict=True):
        assert table.rows
        for cells in table.rows:
            cell = dict(zip(table.head, cells, strict=True))
            row = governing[cell["Receptor"], method, effect]
            check_level(cell["Distance, m"], distance_m(assessed, row)) if cell["Pile"] != "–" else None
            if cell["Pile"] != "–":
                assert cell["Pile"] == row["governing_pile"]
            assert cell["Period"] == row["period"]
            check_detail(cell, row)
            walked += 1
    assert walked > 200


def check_detail(cell: dict[str, str], row: dict[str, Any]) -> None:
    decibel = row["unit"].startswith("dB")
    limit, limit_mark = split_mark(cell["Limit"])
    if limit != "–":
        value, _, unit = limit.replace("\u00a0", " ").partition(" ")
        assert unit == row["unit"]
        assert limit_mark in LETTERS.values()
        (check_number if decibel else check_level)(value, row["limit"])
    for name, column, basis in (("Median", "predicted_median", "median_basis"),
                                ("Design level", "predicted_design", "basis")):
        text, letter = split_mark(cell[name])
        (check_number if decibel else check_level)(text, row[column])
        assert letter == ("" if text == "–" else LETTERS[row[basis]])
    if cell["Margin, dB"] == "–":
        assert math.isnan(row["margin_db"])
    else:     # cut towards the worse: never above the finding, and less than a unit of the last digit below it
        step = 1.0 if decibel else 0.1
        assert -1e-9 <= row["margin_db"] - float(cell["Margin, dB"]) < step + 1e-9
    text, letter = split_mark(cell["Chance"])
    check_chance(text, row["p_exceed"])
    assert letter == ("" if text == "–" else LETTERS[row["basis"]])
    assert cell[""] == SYMBOLS[row["likelihood"]]
    if cell["Other laws"] != "–":
        low, high = split_mark(cell["Other laws"])[0].split("–")
        (check_number if decibel else check_level)(low, row["other_laws_low"])
        (check_number if decibel else check_level)(high, row["other_laws_high"])
    if cell["Days above"] != "–":
        expected, low, high = re.fullmatch(r"([\d.]+) \((\d+)–(\d+)\)", cell["Days above"]).groups()  # type: ignore[union-attr]
        check_number(expected, row["days_above"])
        assert (float(low), float(high)) == (row["days_above_low"], row["days_above_high"])
    assert cell["Range"] == ("" if row["in_range"] else "out")


def distance_m(assessed: Assessment, row: dict[str, Any]) -> float:
    """Return the plan distance from a finding's receptor to its governing pile."""
    receptors, piles = assessed.receptors.set_index("id"), assessed.scenario.piles.set_index("id")
    if row["governing_pile"] == "":
        return math.nan
    return float(receptors.geometry[row["receptor"]].distance(piles.geometry[row["governing_pile"]]))


def test_every_receptor_stands_under_every_method(page: PageReader, assessed: Assessment,
                                                  governing: dict[tuple[str, str, str], dict[str, Any]]) -> None:
    titles = {choice.title: choice.id for choice in assessed.methods}
    effects = {"damage to structures": "damage", "vibration felt by people": "people", "noise": "noise"}
    for chapter, everybody in (("all_receptors", True), ("results", False)):
        matrices = [table for table in tables(page, chapter) if table.head[0] == "Receptor"]
        assert len(matrices) == 3
        for table in matrices:
            effect = effects[table.caption.split(": ")[1]]
            if everybody:
                spoken = {key[0] for key, row in governing.items()
                          if key[2] == effect and row["likelihood"] != "not_applicable"}
                assert {row[0] for row in table.rows} == spoken
                assert len(table.rows) == len(spoken)
            for cells in table.rows:
                for title, cell in zip(table.head[3:], cells[3:], strict=True):
                    check_verdict(cell, governing[cells[0], titles[title], effect])


def check_verdict(cell: str, row: dict[str, Any]) -> None:
    text, letter = split_mark(cell)
    symbol, _, rest = text.partition(" ")
    assert symbol.split("\u00a0")[0] == SYMBOLS[row["likelihood"]]
    number = re.search(r"[<>]?\d+\u00a0%$", rest)
    if row["likelihood"] == "not_applicable" or math.isnan(row["p_exceed"]):
        assert number is None
    else:
        assert number is not None
        check_chance(number[0], row["p_exceed"])
        assert letter == LETTERS[row["basis"]]


def counted(cell: str) -> Counter[str]:
    """Return the counts that a cell of symbols tells."""
    back = {symbol: word for word, symbol in SYMBOLS.items()}
    return Counter({back[symbol]: int(count) for symbol, count in re.findall(r"([■▲◆?●–])\u00a0(\d+)", cell)})


def test_counts_are_those_of_the_findings(page: PageReader, assessed: Assessment,
                                          governing: dict[tuple[str, str, str], dict[str, Any]]) -> None:
    titles = {choice.title: choice.id for choice in assessed.methods}
    overview = tables(page, "summary")[0]
    method = ""
    for cells in overview.rows:
        if cells[0]:
            method = titles[cells[0]]
            assert int(split_mark(cells[2])[0]) == assessed.programme[method]["day"].nunique()
        rows = [row for key, row in governing.items() if key[1:] == (method, cells[3])]
        found = Counter(row["likelihood"] for row in rows)
        assert [int(cell) for cell in cells[4:10]] == [found[word] for word in reversed(SEVERITY)]
        highest = max((row["p_exceed"] for row in rows if not math.isnan(row["p_exceed"])), default=math.nan)
        check_chance(split_mark(cells[10])[0], highest)
    by_limit = [table for table in tables(page, "results") if table.head[0] == "Limit"]
    seen = 0
    for table in by_limit:
        for cells in table.rows:
            for title, cell in zip(table.head[2:], cells[2:], strict=True):
                rows = assessed.findings[(assessed.findings["method"] == titles[title])
                                         & (assessed.findings["period"] == cells[1])]
                matches = [Counter(group["likelihood"]) for _, group in rows.groupby(["limit_set", "rule"])]
                assert counted(cell) in matches
                seen += sum(counted(cell).values())
    assert seen > 1000


def test_word_file_and_page_hold_the_same_tables(page: PageReader, folder: Path) -> None:
    word = word_tables(folder / "report.docx")
    html = [table for table in page.tables if table.rows]
    assert [table.caption for table in word] == [table.caption for table in html]
    for ours, theirs in zip(word, html, strict=True):
        assert ours.head == theirs.head
        assert ours.rows == theirs.rows


def test_workbook_holds_every_finding_to_the_last_bit(folder: Path, assessed: Assessment) -> None:
    book = sheets(folder / "workbook.xlsx")
    head, *rows = book["Findings"]
    names = [str(name).partition(" [")[0] for name in head]
    findings = assessed.findings
    told = {math.inf: "infinite", -math.inf: "-infinite"}
    assert len(rows) == len(findings)
    for name in findings.columns:
        mine = [row[names.index(name)] for row in rows]
        for cell, value in zip(mine, findings[name].tolist(), strict=True):
            if isinstance(value, float):
                assert cell == (None if math.isnan(value) else told.get(value, value))
            else:
                assert cell == (value if value != "" else None)


def test_workbook_names_what_governs(folder: Path, assessed: Assessment,
                                     governing: dict[tuple[str, str, str], dict[str, Any]]) -> None:
    book = sheets(folder / "workbook.xlsx")
    head, *rows = book["By effect"]
    names = [str(name).partition(" [")[0] for name in head]
    assert len(rows) == len(governing)
    for cells in rows:
        row = dict(zip(names, cells, strict=True))
        expected = governing[row["receptor"], row["method"], row["effect"]]
        for name in ("likelihood", "limit_set", "rule", "period"):
            assert row[name] == expected[name]
        for name in ("p_exceed", "margin_db", "predicted_median", "limit"):
            if math.isfinite(expected[name]):
                assert row[name] == expected[name]
            else:
                assert row[name] == (None if math.isnan(expected[name]) else "infinite")
    head, *rows = book["Governing"]
    assert len(rows) == len(assessed.receptors) * len(assessed.methods)
    names = [str(name).partition(" [")[0] for name in head]
    for cells in rows:
        row = dict(zip(names, cells, strict=True))
        ranks = [SEVERITY.index(governing[row["receptor"], row["method"], effect]["likelihood"])
                 for effect in ("damage", "people", "noise")]
        assert SEVERITY.index(row["likelihood"]) == max(ranks)
        for effect in ("damage", "people", "noise"):
            expected = governing[row["receptor"], row["method"], effect]
            assert row[f"{effect}_likelihood"] == expected["likelihood"]


def test_layers_hold_what_governs(folder: Path, assessed: Assessment,
                                  governing: dict[tuple[str, str, str], dict[str, Any]]) -> None:
    for choice in assessed.methods:
        layer = pyogrio.read_dataframe(folder / "layers.gpkg", layer=f"receptors_{choice.id}")
        assert layer["id"].tolist() == assessed.receptors["id"].tolist()
        for record in layer.to_dict("records"):
            row = governing[record["id"], choice.id, record["effect"]]
            assert record["likelihood"] == row["likelihood"]
            for name in ("p_exceed", "margin_db", "predicted_median", "predicted_design", "limit", "days_above"):
                assert record[name] == row[name] or (np.isnan(record[name]) and not np.isfinite(row[name]))


def test_csv_holds_every_finding_to_six_digits(folder: Path, assessed: Assessment) -> None:
    read = pd.read_csv(folder / "findings.csv", comment="#", keep_default_na=False, na_values=[""])
    assert len(read) == len(assessed.findings)
    for name in ("p_exceed", "margin_db", "predicted_median", "predicted_design", "limit", "days_above"):
        np.testing.assert_allclose(read[name], assessed.findings[name], rtol=1.01e-5 / 2, equal_nan=True)


MAP_TOLERANCES = {"margin_db": 0.1, "scatter": 0.005, "p_exceed": 0.0005, "p_one_pile": 0.0005, "days_above": 0.05,
                  "days_above_low": 0.05, "days_above_high": 0.05}
"""Half a unit of the last digit that the map shows; a margin that misses by less than that isn't shown as 0."""
SAME = ("effect", "period", "quantity", "position", "model", "limit_set", "rule", "clause", "class", "unit",
        "median_basis", "basis", "likelihood", "governing_pile", "governing_day", "reason")


def test_the_map_holds_every_finding_to_the_digits_that_it_shows(folder: Path, assessed: Assessment) -> None:
    """The demonstration has a protected habitat, whose piles and days the map leaves out."""
    secret = set(assessed.receptors.loc[assessed.receptors["use"] == "habitat", "id"])
    assert secret
    waiting: dict[tuple[str, ...], list[dict[str, Any]]] = {}
    key = ("receptor", "method", "limit_set", "rule", "period", "quantity", "position", "class")
    for row in assessed.findings.to_dict("records"):
        waiting.setdefault(tuple("" if row[name] is None else str(row[name]) for name in key), []).append(row)
    shown = map_findings(folder / "risk_map.html", [choice.id for choice in assessed.methods])
    assert len(shown) == len(assessed.findings)
    for cell in shown:
        row = waiting[tuple(str(cell[name]) for name in key)].pop()
        kept = cell["receptor"] in secret
        for name in SAME:
            if not (kept and name.startswith("governing")):
                assert cell[name] == ("" if row[name] is None else row[name]), name
        assert not kept or cell["governing_pile"] == cell["governing_day"] == ""
        assert cell["in_range"] == row["in_range"]
        for name, off in MAP_TOLERANCES.items():
            check_shown(cell[name], row[name], off)
        for name in ("predicted_median", "predicted_design", "limit", "other_laws_low", "other_laws_high"):
            check_shown(cell[name], row[name], 0.05 if cell["decibel"] else 0.005 * abs(row[name]))
    assert not any(waiting.values())


def check_shown(number: float | None, value: float, off: float) -> None:
    """Hold a number of the map to a value; what isn't there is told as nothing, and a miss never as a hit."""
    if number is None:
        assert not math.isfinite(value)
    elif math.isinf(number):
        assert number == value
    else:
        assert abs(number - value) <= off + 1e-9
        assert not (value < 0.0 <= number)
