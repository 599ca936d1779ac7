"""The readable text of a plan and of an audit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from envpredict.core.cautions import CAUTIONS, INVENTED, LOCAL_RULES, NOT_A_SAFETY_SYSTEM, STOP_WORK
from envpredict.core.citation import VERIFY_MARK
from envpredict.monitoring.audit import OUTCOME_WORDS, OUTCOMES, AuditReport, RuleResult
from envpredict.monitoring.audit_checks import said
from envpredict.monitoring.blocks import Block, Bullets, Document, Heading, Notice, Paragraph, SitePlan, Table
from envpredict.monitoring.plan_fields import DAY_WORDS, Row
from envpredict.monitoring.plan_schema import LISTS, SECTIONS, Plan, meaning
from envpredict.monitoring.plan_toml import NEVER_ALONE
from envpredict.scenario.types import WEEKDAYS

CHAPTERS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("The works", ("works", "methods", "activities", "permitted_hours", "phases")),
    ("Limits", ("limit_sets", "criteria")),
    ("Levels, and what follows", ("levels", "responses", "people", "authority", "investigation", "prediction_check",
                                  "day_counting", "count_windows")),
    ("Where and how it's measured", ("stations", "proxies", "instruments", "calibration", "weather", "clock", "data")),
    ("Before the works", ("baseline", "surveys", "trial")),
    ("Records, reports and neighbours", ("works_log", "reports", "community", "complaints", "independence", "review")),
    ("What was predicted", ("predictions",)),
    ("Receptors", ("receptors",)),
    ("Values filled in by the draft", ("defaults",)),
)
"""The chapters after the first, and the tables of the plan that each holds."""
LEFT_OUT: dict[str, tuple[str, ...]] = {
    "criteria": ("rule", "limit_set", "receptors", "note", "counts_days"), "instruments": ("source_content_hz",),
    "works": ("line",),
}
"""Columns that stand in the plan's file alone, so that a table fits on a page; notes stand below the table."""
PARTED: dict[str, dict[str, tuple[str, ...]]] = {
    "criteria": {
        "what is limited": ("id", "effect", "receptor_class", "quantity", "weighting", "position", "value",
                            "consented_value", "unit", "basis"),
        "when it holds": ("id", "period", "days", "starts", "ends", "averaging_s"),
    },
    "stations": {
        "place": ("id", "kind", "receptor", "x", "y", "position", "floor", "height_m", "reflector_m", "correction_db",
                  "indicative", "photo"),
        "measurement": ("id", "instrument", "quantities", "axes", "per_axis", "interval_s", "waveform", "coupling",
                        "surface", "level_within_deg"),
        "limits judged": ("id", "criteria"),
    },
}
"""Lists that are printed as several tables, each with a part of the columns."""
NOTES: dict[str, str] = {"criteria": "note"}
"""Columns that are printed as a list below their table."""
SHOWN = 12
"""Entries of one cell that are printed."""
ROWS_SHOWN = 150
"""Rows of one table that are printed."""


def plan_document(plan: Plan) -> Document:
    """Return a plan as a document: what must be settled, when work stops, then chapter by chapter."""
    blocks: list[Block] = [Notice(NEVER_ALONE)]
    if plan.invented:
        blocks.insert(0, Notice(INVENTED))
    blocks += _open(plan)
    blocks += _stop_work(plan)
    for title, tables in CHAPTERS:
        inside = [block for name in tables for block in _table(plan, name)]
        if not inside:
            continue
        blocks.append(Heading(title))
        if "stations" in tables and any(station.x is not None for station in plan.stations):
            blocks.append(SitePlan("Stations and receptors"))
        blocks += inside
    blocks += [Heading("What the numbers are not"), Bullets(CAUTIONS)]
    about = [f"Revision {plan.revision}" if plan.revision else "", str(plan.issued_on or ""),
             f"answered for by {plan.prepared_by}" if plan.prepared_by else ""]
    return Document(plan.title, ", ".join(filter(None, about)), tuple(blocks))


def _open(plan: Plan) -> Iterator[Block]:
    if not plan.open_points:
        return
    yield Heading("What must be settled first")
    yield Paragraph("This is a draft. It may be used only when each of these points is settled.")
    yield Table(("Rule", "Open"), tuple((point.rule or "", point.what) for point in plan.open_points))


def _stop_work(plan: Plan) -> Iterator[Block]:
    yield Heading("When work stops")
    yield Notice(STOP_WORK)
    rows = _pairs(plan, "stop_work")
    if rows:
        yield Table(("Stop-work", "Stated"), rows)
    else:
        yield Notice("This plan doesn't state which work stops, who orders it and who lets it go on. It must not be "
                     "used without that.")


def _pairs(plan: Plan, name: str) -> tuple[tuple[str, str], ...]:
    """Return the stated keys of a section with their meaning."""
    part = getattr(plan, name)
    stated = {key: getattr(part, key) for key in SECTIONS[name].model_fields
              if getattr(part, key) not in (None, ()) and key not in LEFT_OUT.get(name, ())}
    return tuple((str(SECTIONS[name].model_fields[key].description), said(value)) for key, value in stated.items())


Rows = tuple[tuple[str, ...], ...]


def _table(plan: Plan, name: str) -> Iterator[Block]:
    title = meaning(name)[0].upper() + meaning(name)[1:]
    if name in SECTIONS:
        if pairs := _pairs(plan, name):
            yield Table((title, "Stated"), pairs)
        return
    entries: Sequence[Row] = getattr(plan, name)
    if not entries:
        return
    hidden = LEFT_OUT.get(name, ())
    shown = tuple(key for key in LISTS[name].model_fields if key not in hidden)
    for part, wanted in PARTED.get(name, {"": shown}).items():
        keys = [key for key in wanted if any(getattr(entry, key) not in (None, ()) for entry in entries)]
        rows: Rows = tuple(tuple(_cell(key, getattr(entry, key)) for key in keys) for entry in entries[:ROWS_SHOWN])
        columns = tuple(key.replace("_", " ") for key in keys)
        if name == "levels":
            units = {criterion.id: criterion.unit or "" for criterion in plan.criteria}
            columns, rows = (*columns, "unit"), tuple((*row, units[row[0]]) for row in rows)
        yield Table(columns, rows, f"{title}: {part}" if part else title)
    if len(entries) > ROWS_SHOWN:
        yield Paragraph(f"The first {ROWS_SHOWN} of {len(entries)}; all stand in the plan's file.")
    if name in NOTES:
        notes = [(entry, getattr(entry, NOTES[name])) for entry in entries if getattr(entry, NOTES[name])]
        yield Bullets(tuple(f"{getattr(entry, entry.unique[0])}: {note}" for entry, note in notes))


def _cell(key: str, value: Any) -> str:
    if value in (None, ()):
        return ""
    if key == "basis":
        return f"{value}" + (f" ({VERIFY_MARK[value]})" if VERIFY_MARK.get(value) else "")
    if key == "days":
        return days_said(value)
    if isinstance(value, tuple) and len(value) > SHOWN:
        return f"{said(value[:SHOWN])} and {len(value) - SHOWN} more"
    return said(value)


def days_said(days: Sequence[str]) -> str:
    """Return days in short: 'every day', 'mon to fri', 'mon to fri, holiday'."""
    if set(days) == set(DAY_WORDS):
        return "every day"
    runs: list[list[str]] = []
    for day in WEEKDAYS:
        if day in days and runs and runs[-1][-1] == WEEKDAYS[WEEKDAYS.index(day) - 1]:
            runs[-1].append(day)
        elif day in days:
            runs.append([day])
    texts = [f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(run) for run in runs]
    return ", ".join([*texts, *(["holiday"] if "holiday" in days else [])])


def audit_document(report: AuditReport) -> Document:
    """Return an audit as a document: the verdict, what fails, what isn't stated, what passes, what wasn't looked at."""
    blocks: list[Block] = [Notice(INVENTED)] if report.invented else []
    blocks += [Notice(report.verdict()), Paragraph(f"Compared with: {', '.join(report.against)}.")]
    titles = {"fail": "What fails", "not_stated": "What isn't stated", "pass": "What passes"}
    for outcome in OUTCOMES:
        found = report.rules(outcome)
        blocks += [Heading(titles[outcome])] if found else []
        if found and outcome == "pass":
            passing: Rows = tuple((one.rule.id, one.rule.checked, one.rule.severity, _evidence(one)) for one in found)
            blocks.append(Table(("Rule", "Checked", "Severity", "Evidence"), passing))
        elif found:
            blocks += [block for one in found for block in _result(one)]
    if report.unchecked:
        rows: Rows = tuple((rule, what) for rule, what in report.unchecked)
        blocks += [Heading("What wasn't looked at, since no records were given"),
                   Table(("Rule", "What records would show"), rows)]
    blocks += [Heading("The rules and where they come from"), _sources(report),
               Notice(f"{NOT_A_SAFETY_SYSTEM} A plan that passes may still be wrong for its site. {LOCAL_RULES}")]
    return Document(f"Audit of: {report.title}", f"{len(report.results)} rules", tuple(blocks))


def _result(one: RuleResult) -> Iterator[Block]:
    yield Heading(f"{one.rule.id} {one.rule.checked}", 2)
    yield Paragraph(f"{OUTCOME_WORDS[one.outcome].capitalize()}. Severity: {one.rule.severity}"
                    + (", and a plan that doesn't state it can't be used. " if one.rule.essential else ". ")
                    + f"It passes when {one.rule.passes_when}.")
    grave = [seen for seen in one.evidence if seen.verdict in ("broken", "missing")]
    rows = tuple(("wrong" if seen.verdict == "broken" else "not stated", seen.where, seen.said)
                 for seen in grave[:ROWS_SHOWN])
    yield Table(("", "Where", "What stands there"), rows)
    if len(grave) > ROWS_SHOWN:
        yield Paragraph(f"The first {ROWS_SHOWN} of {len(grave)}; all stand in the table of the audit.")


def _evidence(one: RuleResult) -> str:
    texts = [str(seen) for seen in one.evidence[:3]]
    more = f"; and {len(one.evidence) - 3} more" if len(one.evidence) > 3 else ""
    return ("" if one.applies else "nothing to check: ") + "; ".join(texts) + more


def _sources(report: AuditReport) -> Table:
    rows = []
    for one in sorted(report.results, key=lambda result: result.rule.id):
        settings = "; ".join(f"{setting.meaning}: {setting}" for setting in one.rule.settings.values())
        rows.append((one.rule.id, one.rule.passes_when, settings, one.rule.source))
    return Table(("Rule", "Passes when", "Values compared with", "Source"), tuple(rows))
