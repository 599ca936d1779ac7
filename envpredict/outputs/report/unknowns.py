"""What the verdicts hang on: the part of the results that tells which trial or measurement to buy next."""

from __future__ import annotations

from typing import TYPE_CHECKING

from envpredict.outputs.charts import charts
from envpredict.outputs.report.blocks import Block, Bullets, Column, Picture, Subheading, Table, Text
from envpredict.outputs.report.context import Context
from envpredict.outputs.report.wording import NOTHING, mark, mark_notes
from envpredict.outputs.texts import clean

if TYPE_CHECKING:
    from envpredict.engine.sensitivity.tables import Study

MOST = 12
UNKNOWNS = "unknowns"
"""The chart's identifier."""
HEADING = "What the verdicts hang on"
HOW_TO_GET = ("Which borehole, trial or measurement would move the verdicts most was not studied in this run. "
              "`envpredict predict SCENARIO --out FOLDER --unknowns` adds it here, as a chart and to the workbook; "
              "`envpredict compare SCENARIO --unknowns` prints it.")


def hangs_on(shown: Context) -> list[Block]:
    """Return the answer, the weightiest unknowns with what would make them known, and how that was found."""
    study: Study | None = shown.assessment.detail.get("unknowns")
    if study is None:
        return [Subheading(HEADING), Text(HOW_TO_GET, "note")]
    # the numbered lines of the answer are a list of their own between its first and its last sentence
    numbered = tuple(line.split(". ", 1)[1] for line in study.answer if line[:1].isdigit() and line[1:3] == ". ")
    first, last = study.answer[0], study.answer[-1]
    blocks: list[Block] = [Subheading(HEADING), Text(clean(first, None))]
    blocks += [Bullets(tuple(clean(line, None) for line in numbered))] if numbered else []
    blocks += [Text(clean(last, None))] if len(study.answer) > 1 and not last[:1].isdigit() else []
    if bool((study.unknowns["share"] > 0.0).any()):
        blocks.append(_table(shown, study))
    blocks += [Picture(chart) for chart in charts(shown.assessment) if chart.id == UNKNOWNS]
    told = " ".join((study.differs, study.sampled, f"Held fixed: {'; '.join(study.held)}.",
                     *(f"Left out: {text}." for text in study.left_out), study.convergence))
    return [*blocks, Text(clean(told, None), "note")]


def _table(shown: Context, study: Study) -> Table:
    weighty = study.unknowns[study.unknowns["share"] > 0.0].head(MOST)
    rows = []
    for row in weighty.to_dict("records"):
        title = f"{clean(row['title'], 90)}{'' if row['in_findings'] else ' *'}"
        method = str(row["method"])
        where = f"{row['effect']} at {clean(row['receptor'], 24)}, {shown.method_number(method)}" if method else NOTHING
        rows.append((title, f"{100 * row['share']:.1f}", where, f"{100 * row['share_there']:.0f}",
                     f"{100 * row['changes']:.0f}", str(row["learn"]),
                     f"{clean(row['spread'], 120)}{mark(str(row['basis']))}"))
    columns = (Column("What isn't known", 34), Column("Share of all doubt, %", 14, "right"), Column("Moves most", 25),
               Column("Share of doubt there, %", 14, "right"),
               Column("Chance that this verdict changes, %", 16, "right"), Column("What would make it known", 36),
               Column("Its distribution", 31))
    notes = ("* held at its likely value in the findings' chances. A verdict changes where its chance passes from one "
             "of unlikely, possible and likely to another.", *mark_notes(weighty["basis"]))
    return Table("The share of the doubt that would go on average if one thing were known", columns, tuple(rows), notes)
