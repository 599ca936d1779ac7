"""The chapter on limits: what was adopted, its status, the values applied, and who must still confirm what."""

from __future__ import annotations

from collections import Counter

import pandas as pd

from envpredict.core.citation import BASIS_MEANING
from envpredict.core.quantities import POSITIONS, QUANTITIES
from envpredict.engine.results import EFFECTS
from envpredict.limits.base import STATUS_MEANING
from envpredict.outputs.report.blocks import Block, Bullets, Chapter, Column, Subheading, Table, Text
from envpredict.outputs.report.context import Context
from envpredict.outputs.report.wording import NOTHING, given, is_decibel, level, mark, mark_notes, number, unit_words
from envpredict.outputs.texts import clean

MOST_VALUES = 120


def limits(shown: Context) -> Chapter:
    """Return the adopted sets, the values that they lead to here, and what is unconfirmed."""
    blocks: list[Block] = [
        Text("The scenario names its limit sets; there is no default. They are examples until the authority names its "
             "own, and the authority's consent decides.") if shown.scenario.own.limits is None else
        Text("The scenario names its limit sets, a local authority's own among them."),
        _sets(shown), Subheading("Who must confirm"), *_open(shown), Subheading("The rules"),
        _rules(shown), Subheading("Values applied to the receptors"), _values(shown)]
    return Chapter("limits", "Limits adopted", tuple(blocks))


def _sets(shown: Context) -> Table:
    rows = []
    bases: set[str] = set()
    confirmed = shown.scenario.limits.confirmed
    for effect, names in shown.scenario.limits.by_effect().items():
        for name in names:
            found = shown.catalogue.limit_sets[name]
            by = confirmed.get(name)
            said = f"{clean(by.by, 60)}, {by.date.isoformat()}, edition {clean(by.edition, 40)}" if by else "nobody"
            bases.add(found.basis)
            old = f"; superseded by {found.superseded_by}" if found.superseded_by else ""
            rows.append((EFFECTS[effect], f"{found.title}{mark(found.basis)}\n({name})",
                         f"{shown.document(name)}, {found.body}, {found.country}{old}", STATUS_MEANING[found.status],
                         said))
    columns = (Column("Effect", 22), Column("Limit set", 46), Column("Document", 42), Column("Status", 34),
               Column("Confirmed by", 26))
    return Table("Limit sets", columns, tuple(rows), mark_notes(bases))


def _open(shown: Context) -> list[Block]:
    drafts = shown.assessment.drafts
    if not drafts:
        return [Text("Every adopted limit was read in its document, or somebody confirmed it as the table says.")]
    return [Text(f"{len(drafts)} adopted rules are recalled or inferred and nobody has compared them with their "
                 "document. "
                 "Before submission the competent person compares each with the edition in force, and the scenario "
                 "records by whom, when and which values stand there:", "missing"),
            Bullets(tuple(f"{clean(text, None)}{f' ({times} rules)' if times > 1 else ''}"
                          for text, times in Counter(drafts).items()), "missing")]


def limit_text(value: float, unit: str) -> str:
    """Return a limit: whole decibels, other values without trailing zeros."""
    if is_decibel(unit) or not given(value):
        return level(value, unit)
    text = number(value)
    return text.rstrip("0").rstrip(".") if "." in text else text


def _values(shown: Context) -> Table:
    findings = shown.assessment.findings
    judged = findings[findings["limit"].notna() & (findings["likelihood"] != "not_applicable")]
    keys = ["effect", "limit_set", "rule", "period", "class", "limit", "unit"]
    groups = judged.groupby(keys, sort=False)["receptor"].nunique().reset_index()
    shared = groups.groupby(keys[:5], sort=False).size()
    rows = []
    for key, count in shared.items():
        assert isinstance(key, tuple)
        mine = groups[(groups[keys[:5]] == pd.Series(key, index=keys[:5])).all(axis=1)]
        low, high, unit = mine["limit"].min(), mine["limit"].max(), str(mine["unit"].iloc[0])
        text = limit_text(low, unit) if count == 1 else f"{limit_text(low, unit)} to {limit_text(high, unit)}"
        rule = shown.catalogue.limit_sets[key[1]].rule(key[2])
        rows.append((EFFECTS[key[0]], shown.rule_number(key[1], key[2]), f"{rule.title}, {shown.document(key[1])}",
                     str(key[3]),
                     shown.catalogue.limit_sets[key[1]].meaning(str(key[4])),
                     f"{text} {unit_words(unit)}{mark(rule.basis)}", str(int(mine["receptor"].sum()))))
    bases = {shown.catalogue.limit_sets[key[1]].rule(key[2]).basis for key in shared.index}
    columns = (Column("Effect", 20), Column("No.", 9), Column("Rule, document", 50), Column("Period", 20),
               Column("Class", 32), Column("Value", 22, "right"), Column("Receptors", 17, "right"))
    more = (f"{len(rows) - MOST_VALUES} more stand in the workbook.",) if len(rows) > MOST_VALUES else ()
    notes = ("Where a value depends on frequency, the least favourable in the method's band is taken; where it follows "
             "the existing sound or the method, the range over receptors and methods is shown.", *more,
             *mark_notes(bases))
    return Table("Values applied", columns, tuple(rows[:MOST_VALUES]), notes)


def _rules(shown: Context) -> Table:
    rows = []
    bases: set[str] = set()
    for set_id, rule_id in shown.rules:
        rule = shown.catalogue.limit_sets[set_id].rule(rule_id)
        what = QUANTITIES[rule.quantity].symbol if rule.quantity else "hours of work"
        days = "; ".join(str(one) for one in rule.persistence) or NOTHING
        bases.add(rule.basis)
        rows.append((shown.rule_number(set_id, rule_id), f"{rule.title}{mark(rule.basis)}",
                     f"{shown.document(set_id)}: {rule.clause}", what, POSITIONS[rule.place], days,
                     shown.references.of(*rule.citations)))
    columns = (Column("No.", 9), Column("Rule", 42), Column("Document, clause", 34), Column("Quantity", 21),
               Column("Judged", 30), Column("Day rule", 22), Column("Sources", 14))
    return Table("Rules", columns, tuple(rows), ("S: number in the chapter Sources.", *mark_notes(bases), "Unmarked: "
                                                                                                          f"{BASIS_MEANING['read']}."))
