"""The sheets of the workbook as plain tables: names, columns with units, rows; nothing of a spreadsheet's file."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import pandas as pd

from envpredict.core.citation import BASIS_MEANING, VERIFY_MARK
from envpredict.core.quantities import POSITIONS, QUANTITIES
from envpredict.engine.results import EFFECTS, FINDING_COLUMNS, LIKELIHOOD_MEANING, SEVERITY
from envpredict.engine.works.feasibility import decided
from envpredict.engine.works.programme import EVENT_COLUMNS
from envpredict.limits.base import STATUS_MEANING
from envpredict.outputs.findings_file import findings_file
from envpredict.outputs.view import View, catalogue_of, comparable, plain_texts

if TYPE_CHECKING:
    from envpredict.core.citation import Basis, Citation
    from envpredict.engine.results import Assessment

MOST_ROWS = 200_000
"""The rows of a sheet; what lies beyond stands in another file, and the sheet says so."""
SEE_UNIT = "in the row's unit"
UNITS: dict[str, str] = {
    "scatter": "log10 units or dB", "margin_db": "dB", "p_exceed": "0 to 1", "p_one_pile": "0 to 1",
    "days_above": "days", "days_above_low": "days", "days_above_high": "days", "distance_m": "m", "on_time_s": "s",
    "blows": "number", "energy_j": "J", "toe_from_m": "m", "toe_to_m": "m", "rig": "number", "floors": "number",
    "depth_m": "m", "east": "m", "north": "m", "piles": "number", "within": "number", "need_db": "dB",
    "loudest_share": "0 to 1", "share_of_wall": "0 to 1", "days": "days", "days_slow": "days", "days_fast": "days",
    "spoil_m3": "m3", "spoil_low_m3": "m3", "spoil_high_m3": "m3", "over_limit_db": "dB", "scatter_db": "dB",
    "share": "0 to 1", "share_se": "0 to 1", "share_there": "0 to 1", "verdicts": "number", "p_sampled": "0 to 1",
    "p_se": "0 to 1", "level_sd_db": "dB", "changes": "0 to 1",
    **dict.fromkeys(("doubt_first", "doubt_se", "level_first", "level_total"), "1"),
    "receptor_days": "days", "needed_db": "dB", "needed_factor": "1", **dict.fromkeys(SEVERITY, "number"),
}
"""Units of number columns; a column of findings that isn't named here is in the unit of its row."""
WIDE = {"reason": 60, "name": 24, "receptor": 12, "method": 24, "model": 22, "limit_set": 20, "clause": 22,
        "period": 20}


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its head with the unit, and its width in characters."""

    head: str
    width: float = 14.0


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet: `rows` yields tuples of text, numbers, truths or None; `total` counts the rows there would be.

    `rest` tells where rows beyond `MOST_ROWS` stand; `frozen` is the number of columns that stay in view.
    """

    name: str
    columns: tuple[Column, ...]
    rows: Iterable[tuple[Any, ...]]
    total: int
    rest: str = "findings.csv"
    frozen: int = 1


def head(name: str, kind: str) -> str:
    """Return a column's head: its name, for numbers with the unit."""
    return f"{name} [{UNITS.get(name, SEE_UNIT)}]" if kind == "number" else name


def of_frame(name: str, frame: pd.DataFrame, kinds: Mapping[str, str], *, rest: str = "findings.csv",
             frozen: int = 1) -> Sheet:
    """Return a frame's columns as a sheet; `kinds` tells which are numbers."""
    names = [str(key) for key in frame.columns]
    columns = tuple(Column(head(key, kinds.get(key, "text")), WIDE.get(key, 14)) for key in names)
    shown = frame.iloc[:MOST_ROWS]
    return Sheet(name, columns, _tuples(shown), len(frame), rest, frozen)


def _tuples(frame: pd.DataFrame) -> Iterator[tuple[Any, ...]]:
    shown = plain_texts(frame)
    return zip(*(shown[key].tolist() for key in shown.columns), strict=True)


def verify(basis: str) -> str:
    """Return the verify mark of a basis in words; empty where nothing has to be verified."""
    return next((mark for known, mark in VERIFY_MARK.items() if known == basis), "")


def _with_marks(frame: pd.DataFrame) -> pd.DataFrame:
    """Return findings with the verify marks of their bases beside them."""
    marks = {name: verify(name) for name in (*BASIS_MEANING, "")}
    return frame.assign(verify=frame["basis"].map(marks))


FINDING_KINDS = {**{name: kind for name, (kind, _) in FINDING_COLUMNS.items()}, "distance_m": "number"}


def sheets(view: View) -> tuple[Sheet, ...]:
    """Return every sheet of the workbook in its order, the notes first."""
    assessment = view.assessment
    body = (governing(view), by_effect(view), findings(assessment), receptors(view), programme(assessment),
            methods(assessment), *comparisons(assessment), *unknowns(assessment), *checks(assessment), laws(assessment),
            plant(assessment), reductions(assessment), limits(assessment), sources(assessment))
    return (notes(assessment, body), *body)


def notes(assessment: Assessment, body: Iterable[Sheet]) -> Sheet:
    """Return the cautions, what each sheet holds, and what the words and columns mean."""
    rows = [("caution", "", text) for text in assessment.cautions]
    rows += [("draft because", "", text) for text in assessment.drafts]
    rows += [("assumed", "", text) for text in assessment.warnings]
    for sheet in body:
        beyond = f"; {sheet.total - MOST_ROWS} more rows stand in {sheet.rest}" if sheet.total > MOST_ROWS else ""
        rows.append(("sheet", sheet.name, f"{SHEET_MEANING[sheet.name]}; {sheet.total} rows{beyond}"))
    rows += [("likelihood", word, meaning) for word, meaning in LIKELIHOOD_MEANING.items()]
    rows += [("basis", basis, f"{meaning}. Mark: {verify(basis) or 'none'}")
             for basis, meaning in BASIS_MEANING.items()]
    rows += [("column", name, meaning) for name, (_, meaning) in FINDING_COLUMNS.items()]
    rows += [("column", "distance_m", "plan distance from the receptor to the governing pile"),
             ("column", "verify", "what has to be done before anybody relies on the number: by its weakest input")]
    return Sheet("Notes", (Column("kind", 16), Column("name", 22), Column("text", 120)), rows, len(rows), frozen=0)


SHEET_MEANING: dict[str, str] = {
    "Governing": "one row per receptor and method: the finding that governs it over all effects, and each effect's",
    "By effect": "one row per receptor, method and effect: the finding that governs it",
    "Findings": "every finding: receptor by method by limit by period",
    "Receptors": "the receptors as the scenario gives them, east and north of a point inside, in the scenario's metres",
    "Programme": "every pass of every pile with each item of plant, local time with its offset",
    "Methods": "the candidates",
    "Laws": "the equations that may predict each candidate's vibration",
    "Plant": "what each candidate works with, as sources of sound",
    "Compared": "the candidates side by side; nothing is weighed and nothing is recommended",
    "Compared by effect": "the candidates side by side, effect by effect: worst receptor, counts, what would comply",
    "Compared by pair": "which of two candidates is lower in which respect, and how sure that is",
    "Unknowns": "what the verdicts hang on: share of the doubt that would go if it were known, and what makes it known",
    "Unknowns by verdict": "the studied verdicts: chance with everything sampled, and what each hangs most on",
    "Unknowns, shares": "Sobol indices, one row per studied verdict and unknown",
    "Feasibility": "whether each candidate reaches the toe: the check that decides, by section and aspect",
    "Movement": "flags of ground movement beside foundations, pipes and tracks",
    "Noise needs": "insertion loss on all plant that would meet the hardest limit at each receptor",
    "Reductions": "the reductions in force and what each does in the calculation",
    "Limits": "the adopted rules",
    "Sources": "every source that the run used, and the inputs' hashes",
}


def governing(view: View) -> Sheet:
    """Return one row per receptor and method, with the likelihood and chance of every effect beside it."""
    from envpredict.engine.govern import governing as govern

    chosen = _with_marks(govern(view.governing, ("receptor", "method")))
    frame = chosen.set_index(["receptor", "method"])
    kinds = dict(FINDING_KINDS)
    for effect in view.effects:
        mine = view.of(effect).set_index(["receptor", "method"])
        frame[f"{effect}_likelihood"] = mine["likelihood"]
        frame[f"{effect}_p_exceed"] = mine["p_exceed"]
        kinds[f"{effect}_p_exceed"] = "number"
        UNITS.setdefault(f"{effect}_p_exceed", UNITS["p_exceed"])
    frame = frame.reset_index()
    first = ["receptor", "use", "method", "effect", "likelihood", "p_exceed", "margin_db"]
    return of_frame("Governing", frame[[*first, *(name for name in frame.columns if name not in first)]], kinds,
                    frozen=3)


def by_effect(view: View) -> Sheet:
    """Return one row per receptor, method and effect."""
    return of_frame("By effect", _with_marks(view.governing), FINDING_KINDS, rest=findings_file(view.assessment),
                    frozen=3)


def findings(assessment: Assessment) -> Sheet:
    """Return every finding, up to the most rows that a sheet holds."""
    table = _with_marks(assessment.findings.iloc[:MOST_ROWS])
    return replace(of_frame("Findings", table, FINDING_KINDS, rest=findings_file(assessment), frozen=3),
                   total=len(assessment.findings))


def receptors(view: View) -> Sheet:
    """Return the receptors with a point inside each, and the distance to the nearest pile."""
    frame = view.assessment.receptors
    points = frame.geometry.representative_point()
    works = view.assessment.scenario.piles.union_all()
    table = pd.DataFrame(frame.drop(columns=frame.geometry.name))
    table = table.assign(east=points.x.round(2), north=points.y.round(2),
                         distance_m=frame.geometry.distance(works).round(2))
    kinds = dict.fromkeys(("floors", "depth_m", "east", "north", "distance_m"), "number")
    return of_frame("Receptors", table, kinds, rest="layers.gpkg", frozen=2)


def programme(assessment: Assessment) -> Sheet:
    """Return the programmes of all methods."""
    frames = [events for events in assessment.programme.values() if len(events)]
    if not frames:
        return Sheet("Programme", tuple(Column(name) for name in EVENT_COLUMNS), (), 0)
    frame = pd.concat([events.assign(start=events["start"].map(_stamp), end=events["end"].map(_stamp))
                       for events in frames], ignore_index=True)
    kinds = dict.fromkeys(("rig", "on_time_s", "blows", "energy_j", "toe_from_m", "toe_to_m"), "number")
    return of_frame("Programme", frame[list(EVENT_COLUMNS)], kinds, rest="the library's assessment.programme", frozen=5)


def _stamp(moment: Any) -> str:
    """Return a moment with its offset; a spreadsheet's own dates know no time zone."""
    return str(moment.isoformat(timespec="seconds"))


def methods(assessment: Assessment) -> Sheet:
    """Return the candidates, each with its energy, signal, band, and days of work."""
    rows = []
    for choice in assessment.methods:
        band = choice.method.frequency
        days = assessment.programme[choice.id]["day"].nunique()
        source = choice.energy_source
        rows.append((choice.id, choice.title, choice.method.family, choice.signal,
                     None if choice.energy_j is None else choice.energy_j / 1000.0,
                     "" if source is None else str(source), "" if source is None else source.basis,
                     band.low_hz, band.likely_hz, band.high_hz, str(band.citation), band.basis,
                     ", ".join(choice.sections) or "all", int(days), ", ".join(choice.stated)))
    columns = (Column("method", 26), Column("title", 36), Column("family"), Column("signal"), Column("energy [kJ]"),
               Column("energy source", 50), Column("energy basis"), Column("frequency low [Hz]"),
               Column("frequency likely [Hz]"), Column("frequency high [Hz]"), Column("frequency source", 50),
               Column("frequency basis"), Column("sections"), Column("working days [days]"),
               Column("stated by the scenario", 24))
    return Sheet("Methods", columns, rows, len(rows))


def comparisons(assessment: Assessment) -> tuple[Sheet, ...]:
    """Return the candidates side by side, where the run kept what that needs."""
    if not comparable(assessment):
        return ()
    from envpredict.outputs.comparison import frames

    names = {"methods": "Compared", "effects": "Compared by effect", "pairs": "Compared by pair"}
    return tuple(of_frame(names[name], table, {key: kind for key, (kind, _) in columns.items()},
                          rest=f"comparison_{name}.csv") for name, (table, columns) in frames(assessment).items())


def unknowns(assessment: Assessment) -> tuple[Sheet, ...]:
    """Return what the verdicts hang on, where that was studied."""
    study = assessment.detail.get("unknowns")
    if study is None:
        return ()
    from envpredict.outputs.unknowns import tables

    names = {"unknowns": "Unknowns", "unknowns_verdicts": "Unknowns by verdict", "unknowns_shares": "Unknowns, shares"}
    return tuple(of_frame(names[name], table, {key: kind for key, (kind, _) in columns.items()}, rest="the library")
                 for name, (table, columns) in tables(study).items())


def checks(assessment: Assessment) -> tuple[Sheet, ...]:
    """Return feasibility by section, flags of ground movement and needed insertion losses, where the run has them."""
    detail = assessment.detail
    made = []
    if detail.get("feasibility") is not None and len(detail["feasibility"]):
        table = decided(detail["feasibility"], ("method", "section", "aspect"))
        made.append(of_frame("Feasibility", table, {"depth_m": "number", "piles": "number"}, rest="feasibility.csv"))
    for name, key, numbers in (("Movement", "movement", ("distance_m", "within")),
                               ("Noise needs", "noise_needs", ("margin_db", "need_db", "loudest_share", "blow_sel_db",
                                                               "blow_lafmax_db", "pile_blows", "pile_sel_db"))):
        if detail.get(key) is not None:
            made.append(of_frame(name, detail[key], dict.fromkeys(numbers, "number"), rest="the library"))
    return tuple(made)


def reductions(assessment: Assessment) -> Sheet:
    """Return the reductions in force, one row per candidate and reduction."""
    rows = [(*row, verify(row[-1])) for choice in assessment.methods for row in choice.told]
    columns = (Column("method", 26), Column("reduction", 26), Column("title", 40), Column("effect", 60),
               Column("caution", 50), Column("source", 60), Column("basis"), Column("verify", 28))
    return Sheet("Reductions", columns, rows, len(rows))


def laws(assessment: Assessment) -> Sheet:
    """Return the laws of every candidate with their ranges, scatter and sources."""
    models = catalogue_of(assessment).models
    rows = []
    for choice in assessment.methods:
        for law in choice.laws:
            if law.model not in models:
                continue
            spec = models[law.model]
            scatter = spec.scatter
            limits_ = "; ".join(f"{name} {limits}" for name, limits in spec.validity.items() if limits.stated)
            settings = ", ".join(f"{name} = {value}" for name, value in law.parameters.items())
            rows.append((choice.id, law.role, law.phase, spec.id, spec.title, spec.quantity, spec.statistic,
                         spec.distance, limits_, None if scatter is None else scatter.between_site,
                         None if scatter is None else scatter.within_site, law.factor, settings,
                         *_cited(spec.source, spec.basis), law.why))
    columns = (Column("method", 26), Column("role"), Column("phase"), Column("model", 26), Column("title", 50),
               Column("quantity", 18), Column("statistic"), Column("distance"), Column("valid range", 50),
               Column("scatter shared [log10 units]"), Column("scatter own [log10 units]"), Column("factor [1]"),
               Column("settings", 30), Column("source", 60), Column("basis"), Column("verify", 28), Column("why", 60))
    return Sheet("Laws", columns, rows, len(rows))


def _cited(citation: Citation, basis: Basis) -> tuple[str, str, str]:
    return str(citation), basis, verify(basis)


def plant(assessment: Assessment) -> Sheet:
    """Return the plant of every candidate with its sound power and time at work."""
    rows = []
    for choice in assessment.methods:
        for use, item in choice.plant:
            rows.append((choice.id, item.id, item.title, use.count, item.lwa_db, item.lwa_low_db, item.lwa_high_db,
                         *item.octaves_db, item.level_type, item.u_db, str(item.height), use.on_time_fraction,
                         *_cited(item.citation, item.citation.basis), str(item.spectrum_citation), str(item.u_citation),
                         str(use.citation)))
    bands = ("63 Hz", "125 Hz", "250 Hz", "500 Hz", "1 kHz", "2 kHz", "4 kHz", "8 kHz")
    columns = (Column("method", 26), Column("plant", 26), Column("title", 40), Column("count [number]"),
               Column("LWA [dB re 1 pW]"), Column("LWA low [dB]"), Column("LWA high [dB]"),
               *(Column(f"LW {band} [dB]", 10) for band in bands), Column("level type"), Column("u [dB]"),
               Column("height [m, or pile_head]"), Column("on-time [0 to 1]"), Column("source", 60), Column("basis"),
               Column("verify", 28), Column("spectrum source", 50), Column("source of u", 40),
               Column("on-time source", 50))
    return Sheet("Plant", columns, rows, len(rows))


def limits(assessment: Assessment) -> Sheet:
    """Return the adopted rules with the range of values that they lead to here."""
    sets = catalogue_of(assessment).limit_sets
    confirmed = assessment.scenario.limits.confirmed
    values = assessment.findings.groupby(["limit_set", "rule"], sort=False)["limit"]
    low, high = values.min(), values.max()
    rows = []
    for effect, names in assessment.scenario.limits.by_effect().items():
        for name in names:
            found, by = sets[name], confirmed.get(name)
            said = f"{by.by}, {by.date.isoformat()}, edition {by.edition}" if by else ""
            for rule in found.rules_for(effect):
                unit = QUANTITIES[rule.quantity].unit if rule.quantity else ""
                key = (name, rule.id)
                rows.append((EFFECTS[effect], name, found.document, found.edition, rule.id, rule.title, rule.clause,
                             rule.quantity or "", POSITIONS[rule.place],
                             float(low[key]) if key in low.index else None,
                             float(high[key]) if key in high.index else None, unit,
                             "; ".join(period.label for period in rule.periods),
                             "; ".join(str(one) for one in rule.persistence),
                             STATUS_MEANING[rule.status or found.status], said,
                             "; ".join(str(citation) for citation in rule.citations), rule.basis, verify(rule.basis)))
    columns = (Column("effect", 22), Column("limit_set", 22), Column("document", 18), Column("edition"),
               Column("rule", 18), Column("title", 44), Column("clause", 24), Column("quantity", 18),
               Column("judged", 44), Column("lowest value here [in the row's unit]"),
               Column("highest value here [in the row's unit]"), Column("unit"), Column("periods", 30),
               Column("day rule", 34), Column("status", 44), Column("confirmed by", 34), Column("sources", 80),
               Column("basis"), Column("verify", 28))
    return Sheet("Limits", columns, rows, len(rows), frozen=2)


def sources(assessment: Assessment) -> Sheet:
    """Return the sources, versions and hashes of a run."""
    provenance = assessment.provenance
    rows = [("source", text, "") for text in provenance.sources]
    rows += [("limit set", text, "") for text in provenance.limit_sets]
    rows += [("input, SHA-256", name, digest) for name, digest in provenance.inputs.items()]
    rows += [("version", name, version) for name, version in (("envpredict", provenance.version),
                                                              *provenance.packages.items())]
    return Sheet("Sources", (Column("kind", 18), Column("text", 120), Column("value", 70)), rows, len(rows))
