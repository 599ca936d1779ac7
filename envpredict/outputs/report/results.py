"""The chapters of results: likelihoods by limit and by receptor, and the pictures."""

from __future__ import annotations

from typing import Any

import pandas as pd

from envpredict.engine.results import EFFECTS
from envpredict.outputs.charts import charts
from envpredict.outputs.findings_file import findings_file
from envpredict.outputs.report.blocks import Block, Cell, Chapter, Column, Picture, Subheading, Table, Text
from envpredict.outputs.report.context import Context
from envpredict.outputs.report.job import CHANCE_NOTE
from envpredict.outputs.report.unknowns import UNKNOWNS, hangs_on
from envpredict.outputs.report.wording import NOTHING, SYMBOL_NOTE, count_words, mark_notes, number, verdict
from envpredict.outputs.texts import clean
from envpredict.outputs.view import counts

MOST_AFFECTED = 20
METHODS_WITH_WORDS = 5
"""With more methods side by side a cell holds the likelihood's symbol alone."""
METHODS_ACROSS = 6
"""Methods side by side in one table; more go into further tables."""


def results(shown: Context) -> Chapter:
    """Return, per effect, how many receptors each limit meets with which likelihood, and the most affected ones."""
    design = 100.0 * shown.scenario.design_exceedance
    blocks: list[Block] = [
        Text(f"Verdicts are made for a design exceedance of {design:g} %: below it an exceedance is called unlikely, "
             f"from there to 50 % possible, above likely. {CHANCE_NOTE}"),
        Text("Levels of sound are given in whole dB. A number marked with a letter rests on at least one input that "
             f"has to be verified. Every finding with its reason stands in {findings_file(shown.assessment)}.", "note")]
    for effect in shown.view.effects:
        affected = shown.view.affected(effect)
        shown_here = affected[:MOST_AFFECTED]
        caption = f"The {len(shown_here)} most affected of {len(affected)} receptors: {EFFECTS[effect]}"
        blocks += [Subheading(EFFECTS[effect].capitalize()), *_by_limit(shown, effect),
                   *matrix(shown, effect, shown_here, caption,
                           short=len(shown.view.methods) > METHODS_WITH_WORDS)]
    blocks.append(Text("All receptors follow in an appendix, and for the most affected ones the numbers behind each "
                       "likelihood."))
    blocks += hangs_on(shown)
    return Chapter("results", "Results by receptor and method", tuple(blocks))


def _across(shown: Context) -> list[tuple[str, ...]]:
    methods = shown.view.methods
    return [methods[start:start + METHODS_ACROSS] for start in range(0, len(methods), METHODS_ACROSS)]


def _by_limit(shown: Context, effect: str) -> list[Block]:
    findings = shown.assessment.findings
    mine = findings[findings["effect"] == effect]
    keys = mine[["limit_set", "rule", "period"]].drop_duplicates()
    groups: dict[Any, pd.DataFrame] = dict(iter(mine.groupby(["limit_set", "rule", "period", "method"], sort=False)))
    tables: list[Block] = []
    for methods in _across(shown):
        rows = []
        for set_id, rule_id, period in keys.itertuples(index=False):
            found = [groups.get((set_id, rule_id, period, method), mine.iloc[:0]) for method in methods]
            if all((rows_["likelihood"] == "not_applicable").all() for rows_ in found):
                continue
            rows.append((f"{shown.rule_title(set_id, rule_id)}\n{shown.document(set_id)}", clean(period),
                         *(count_words(counts(rows_)) for rows_ in found)))
        width = 102.0 / len(methods)
        columns = (Column("Limit", 44), Column("Period", 24),
                   *(Column(clean(shown.view.title(method), 60), width) for method in methods))
        tables.append(Table(f"Receptors by likelihood under each limit: {EFFECTS[effect]}", columns, tuple(rows),
                            (f"{SYMBOL_NOTE}. Limits that govern nothing here are left out.",)))
    return tables


def matrix(shown: Context, effect: str, receptors: tuple[str, ...], caption: str, *,
           short: bool = False) -> list[Block]:
    """Return tables of receptors against methods: the likelihood and chance of the governing finding of an effect.

    `short` shows the likelihood by its symbol alone.
    """
    mine = shown.view.of(effect)
    found = {(str(row["receptor"]), str(row["method"])): row for row in mine.to_dict("records")}
    use = dict(zip(shown.assessment.receptors["id"].astype(str), shown.assessment.receptors["use"], strict=True))
    near = mine.groupby("receptor")["distance_m"].min()
    tables: list[Block] = []
    for methods in _across(shown):
        rows = []
        for name in receptors:
            cells: list[Cell | str] = [clean(name, 24), str(use[name]).replace("_", " "),
                                       NOTHING if name in shown.view.hidden_places() else
                                       number(float(near.get(name, float("nan"))))]
            for method in methods:
                row = found.get((name, method))
                cells.append(NOTHING if row is None else verdict(str(row["likelihood"]), row["p_exceed"],
                                                                 str(row["basis"]), short=short))
            rows.append(tuple(cells))
        width = 124.0 / len(methods)
        columns = (Column("Receptor", 16), Column("Use", 17), Column("Nearest, m", 13, "right"),
                   *(Column(clean(shown.view.title(method), 60), width) for method in methods))
        tables.append(Table(caption, columns, tuple(rows),
                            ("Nearest: plan distance to the governing pile, the shortest over the methods. "
                             f"{SYMBOL_NOTE}.",
                             *mark_notes(mine["basis"]))))
    return tables


def pictures(shown: Context) -> Chapter:
    """Return the plan, the maps and the charts."""
    drawn = charts(shown.assessment)
    blocks: list[Block] = [Text("The pictures show the same numbers as the tables. The page risk_map.html beside this "
                                "report holds the map to look into.")]
    # what the verdicts hang on is shown beside its table
    blocks += [Picture(chart) for chart in drawn if chart.id != UNKNOWNS]
    if not any(chart.id == "chance_by_day" for chart in drawn):
        blocks.append(Text("This run holds no chances by day: that picture is left out.", "note"))
    return Chapter("pictures", "Maps and charts", tuple(blocks))


def governed(rows: pd.DataFrame) -> pd.DataFrame:
    """Return the findings that a rule governs: those that aren't `not_applicable`."""
    return rows[rows["likelihood"] != "not_applicable"]
