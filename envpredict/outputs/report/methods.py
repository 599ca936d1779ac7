"""The chapter on the candidate methods: what they are, the ground that they meet, what was rejected."""

from __future__ import annotations

from envpredict.methods.fields import CODE_MEANING
from envpredict.outputs.report.blocks import Block, Chapter, Column, Subheading, Table, Text
from envpredict.outputs.report.context import Context
from envpredict.outputs.report.wording import NOTHING, mark, mark_notes
from envpredict.outputs.texts import clean

FAMILIES = {"impact": "impact driving", "vibratory": "vibratory driving", "press": "pressing", "drill": "drilling"}
SIGNALS = {"transient": "transient: one pulse per blow", "continuous": "continuous", "quasi_static": "quasi-static"}


def feasibility(shown: Context) -> Chapter:
    """Return the candidates, how each suits the ground along the drives, and the options that were rejected."""
    blocks: list[Block] = [
        Text("The candidates are compared as the scenario names them; what it doesn't state comes from the catalogue."),
        _candidates(shown), Subheading("Suitability for the ground")]
    table = _suits(shown)
    if table is None:
        blocks.append(Text("No ground was given along the drives: suitability can't be judged.", "missing"))
    else:
        blocks += [Text("The ground classes that the drives pass through, and what the catalogue holds of each method "
                        "there. A method that isn't feasible alone in a class that the drive meets needs the aid "
                        "named, "
                        "another method, or a trial: nothing here shows that it reaches the toe level."), table]
    blocks += _stuck(shown)
    blocks += [Subheading("Options rejected"), *_rejected(shown)]
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


def _suits(shown: Context) -> Table | None:
    met = classes_met(shown)
    known = [name for name in met if name != "unknown"]
    if not known:
        return None
    bases: set[str] = set()
    rows = []
    for choice in shown.methods:
        cells = [clean(choice.title)]
        for name in known:
            suit = {str(key): value for key, value in choice.method.suits.items()}.get(name)
            if suit is None:
                cells.append("not in the catalogue")
                continue
            bases.add(suit.basis)
            aid = f": {clean(suit.aid, 90)}" if suit.aid else ""
            cells.append(f"{suit.code}{aid}{mark(suit.basis)}")
        rows.append(tuple(cells))
    width = 128.0 / len(known)
    columns = (Column("Method", 42), *(Column(name.replace("_", " "), width) for name in known))
    codes = "; ".join(f"{code}: {meaning}" for code, meaning in CODE_MEANING.items())
    notes = [f"{codes}."]
    if "unknown" in met:
        notes.append("Part of the drives passes through ground whose class isn't known: find it out.")
    return Table("Suitability by ground class", columns, tuple(rows), (*notes, *mark_notes(bases)))


def _stuck(shown: Context) -> list[Block]:
    """Return what the run says of drives beyond what a method is held feasible in."""
    runs = shown.assessment.detail.get("methods") or {}
    return [Text(f"{clean(choice.title)}: {note}.", "missing")
            for choice in shown.methods if choice.id in runs for note in runs[choice.id].notes]


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
