"""The chapter on the candidate methods: what they are, the ground that they meet, what was rejected."""

from __future__ import annotations

from envpredict.core.citation import weakest
from envpredict.engine.works.feasibility import decided
from envpredict.outputs.comparison import NOTES as COMPARISON_NOTES
from envpredict.outputs.comparison import comparison
from envpredict.outputs.report.blocks import Block, Chapter, Column, Subheading, Table, Text
from envpredict.outputs.report.context import Context
from envpredict.outputs.report.wording import NOTHING, given, mark, mark_notes, marked, number
from envpredict.outputs.texts import clean
from envpredict.outputs.view import comparable

FAMILIES = {"impact": "impact driving", "vibratory": "vibratory driving", "press": "pressing", "drill": "drilling"}
SIGNALS = {"transient": "transient: one pulse per blow", "continuous": "continuous", "quasi_static": "quasi-static"}


def feasibility(shown: Context) -> Chapter:
    """Return the candidates, whether each reaches the toe, what moves the ground, and the options rejected."""
    blocks: list[Block] = [
        Text("The candidates are compared as the scenario names them; what it doesn't state comes from the catalogue."),
        _candidates(shown), Subheading("Whether each reaches the toe level"), *_reach(shown),
        Subheading("Movement of the ground"), *_movement(shown), Subheading("Methods side by side"), *_beside(shown),
        Subheading("Options rejected"), *_rejected(shown)]
    return Chapter("methods", "Methods and feasibility", tuple(blocks))


def _candidates(shown: Context) -> Table:
    rows = []
    bases: set[str] = set()
    for choice in shown.methods:
        method = choice.method
        energy = NOTHING
        if choice.energy_j is not None and choice.energy_source is not None:
            bases.add(choice.energy_source.basis)
            energy = f"{choice.energy_j / 1000.0:g}{mark(choice.energy_source.basis)}"
        band = method.frequency
        bases.add(band.basis)
        stated = ", ".join(choice.stated) or NOTHING
        rows.append((shown.method_number(choice.id), f"{clean(choice.title)}\n({clean(choice.id, 40)})",
                     FAMILIES[method.family], SIGNALS[choice.signal], energy,
                     f"{band.low_hz:g} to {band.high_hz:g}{mark(band.basis)}",
                     ", ".join(clean(section, 20) for section in choice.sections) or "all", stated))
    columns = (Column("No.", 9), Column("Method", 42), Column("Kind", 20), Column("Signal", 26),
               Column("Energy per blow or cycle, kJ", 22), Column("Dominant frequency, Hz", 20),
               Column("Sections", 14), Column("Stated by the scenario", 21))
    return Table("Candidate methods", columns, tuple(rows), mark_notes(bases))


def classes_met(shown: Context) -> tuple[str, ...]:
    """Return the catalogue's ground classes along the drives; empty where no ground is known."""
    run = shown.assessment.detail.get("run")
    if run is not None:
        words = run.drive.words("catalogue")[run.drive.within]
        return tuple(sorted({str(word) for word in words}))
    stated = shown.scenario.ground_defaults.ground_class
    return (stated,) if stated else ()


def _reach(shown: Context) -> list[Block]:
    """Return the check that decides in every section of the wall for every candidate."""
    checks = shown.assessment.detail.get("feasibility")
    if checks is None or checks.empty:
        return [Text("This run holds no checks of feasibility: nothing here shows that a method reaches the toe.",
                     "missing")]
    decisive = decided(checks)
    rows = []
    for row in decisive.to_dict("records"):
        depth = row["depth_m"]
        where = f"{depth:g} m, {clean(row['stratum'], 60)} ({clean(row['borehole'], 20)})" if given(depth) else NOTHING
        aid = clean(row["aid"], 160)
        rows.append((shown.method_number(str(row["method"])), clean(row["section"], 30), verdict_words(row["verdict"]),
                     str(row["piles"]), clean(row["aspect"]).replace("_", " "), where,
                     f"{clean(row['reason'], 240)}{f'; aid: {aid}' if aid else ''}{mark(str(row['basis']))}",
                     shown.references.of_texts(str(row["source"])) if row["source"] else NOTHING))
    columns = (Column("No.", 9), Column("Section", 15), Column("Verdict", 23), Column("Piles", 11, "right"),
               Column("Check", 17), Column("Where", 34), Column("Why", 47), Column("Source", 14))
    return [Text("The check that decides, at its worst pile; the number of piles for which it decides stands beside "
                 "it. "
                 "A method that isn't feasible alone needs the aid named, another method, or a trial: nothing here "
                 "shows that it reaches the toe level."),
            Table("Feasibility by section", columns, tuple(rows), mark_notes(decisive["basis"]))]


def verdict_words(verdict: object) -> str:
    """Return a verdict on feasibility in words."""
    return str(verdict).replace("_", " ")


def _movement(shown: Context) -> list[Block]:
    """Return the flags of ground movement that aren't clear."""
    flags = shown.assessment.detail.get("movement")
    if flags is None:
        return [Text("This run holds no flags of ground movement.", "missing")]
    raised = flags[flags["state"] != "clear"]
    if raised.empty:
        return [Text("No flag is raised: by the catalogue's rules no candidate moves the ground near a foundation, "
                     "pipe or track. That is no proof that it doesn't.")]
    hidden = shown.view.hidden_places()
    rows = []
    for row in raised.to_dict("records"):
        name = str(row["receptor"])
        far = NOTHING if name in hidden or not given(row["distance_m"]) else number(row["distance_m"])
        rows.append((shown.method_number(str(row["method"])), clean(row["section"], 30), clean(row["title"], 60),
                     verdict_words(row["state"]), clean(name, 24) or NOTHING, far, str(row["within"]),
                     f"{clean(row['reason'], 240)}{mark(str(row['basis']))}",
                     shown.references.of_texts(str(row["source"])) if row["source"] else NOTHING))
    columns = (Column("No.", 9), Column("Section", 14), Column("What may happen", 26), Column("State", 19),
               Column("Nearest", 15), Column("Distance, m", 15, "right"), Column("Assets", 12, "right"),
               Column("Why, and what to do", 46), Column("Source", 14))
    return [Text("Settlement, heave and lost ground can do damage without strong vibration. A flag is no prediction: "
                 "it "
                 "tells where to look, to measure and to build otherwise."),
            Table("Flags of ground movement that aren't clear", columns, tuple(rows),
                  ("Assets: foundations, pipes and tracks for which the flag isn't clear.",
                   *mark_notes(raised["basis"])))]


def _beside(shown: Context) -> list[Block]:
    """Return the candidates side by side; nothing is weighed."""
    if not comparable(shown.assessment):
        return [Text("This run keeps no intermediate values: the candidates aren't put side by side.", "note")]
    rows = []
    bases: set[str] = set()
    dug = {choice.id: choice.method.needs.spoil for choice in shown.methods}
    parts = {entry.id: entry.parts for entry in shown.scenario.combined}
    for row in comparison(shown.assessment).methods.to_dict("records"):
        # a candidate of several methods stands on the weakest of what they stand on
        names = parts.get(str(row["method"]), (str(row["method"]),))
        known = weakest(shown.days_basis(name) for name in names)
        ground = [one.basis for one in map(dug.get, names) if one is not None]
        bases |= {known, *ground}
        spoil = NOTHING if not ground or not row["spoil_high_m3"] else marked(
            f"{row['spoil_m3']:.0f} ({row['spoil_low_m3']:.0f} to {row['spoil_high_m3']:.0f})", weakest(ground))
        which = ", then ".join(shown.method_number(name) for name in names)
        rows.append((which, verdict_words(row["feasible"]), marked(str(row["days"]), known),
                     marked(f"{row['days_fast']} to {row['days_slow']}", known), spoil,
                     clean(row["evidence_vibration"]), clean(row["evidence_noise"]), clean(row["standing"], 120)))
    columns = (Column("No.", 9), Column("Reaches the toe", 25), Column("Days", 14, "right"),
               Column("Days, fast to slow", 20, "right"), Column("Spoil, m3", 22, "right"),
               Column("Vibration rests on", 21), Column("Noise rests on", 19), Column("Standing", 40))
    return [Table("Methods side by side", columns, tuple(rows),
                  (*COMPARISON_NOTES[:4], *mark_notes(bases)))]


def _rejected(shown: Context) -> list[Block]:
    stated = shown.scenario.submission.get("options_rejected") or []
    if not stated:
        return [Text("No rejected option is stated: which others were looked at, and why quieter ones fail.",
                     "missing")]
    rows = []
    for option in stated:
        name = str(option.get("method", ""))
        title = shown.catalogue.methods[name].title if name in shown.catalogue.methods else name
        rows.append((clean(title), clean(option.get("why", ""), None)))
    columns = (Column("Option", 60), Column("Why it was rejected, as the scenario states", 110))
    return [Table("Options rejected", columns, tuple(rows))]
