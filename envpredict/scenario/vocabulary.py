"""Checks every word of scenario.toml that names something declared elsewhere."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from typing import Any

from envpredict.scenario.document import Document
from envpredict.scenario.problems import Findings
from envpredict.scenario.schema import ChoiceTable, GroundTable, LimitsTable, MethodTable
from envpredict.scenario.types import LIMIT_EFFECTS, Known

SUM_TOLERANCE_DB = 0.5
"""By how much a stated total may differ from its spectrum: both come rounded."""


def check_words(document: Document, known: Known, found: Findings) -> None:
    """Tell of every unknown identifier in methods, reductions, limits, ground and choices."""
    _methods(document, known, found)
    _reductions(document, known, found)
    if (ground := document.table("ground")) is not None:
        _ground(ground, known, found)
    if (limits := document.table("limits")) is not None:
        _limits(limits, known, found)
    if (choice := document.table("choice")) is not None:
        _choice(choice, document, known, found)
    _holidays(document, known, found)
    _unused(document, known, found)


def candidates(document: Document) -> list[str]:
    """Return the identifiers of the candidates that are one method each."""
    return [entry.id for entry in document.methods.values() if entry.parts is None]


def check_sections(document: Document, sections: Collection[str], found: Findings) -> None:
    """Tell of methods that are meant for a part of the wall that no pile belongs to."""
    for number, entry in document.methods.items():
        for section in entry.sections:
            if section not in sections:
                found.unknown(["methods", number, "sections"], "section", section, sections)


def _methods(document: Document, known: Known, found: Findings) -> None:
    seen: set[str] = set()
    for number, entry in document.methods.items():
        place: list[str | int] = ["methods", number]
        method = entry.method or entry.id
        if entry.parts is not None:
            _parts(entry, place, document, found)
        elif method not in known.methods:
            found.unknown([*place, "method" if entry.method else "id"], "method", method, known.methods)
        if entry.id in seen:
            found.key([*place, "id"], f"the candidate '{entry.id}' stands twice",
                      f'to compare one method with itself, write id = "{entry.id}_2", method = "{method}"')
        seen.add(entry.id)
        if entry.model is not None and entry.model not in known.models:
            found.unknown([*place, "model"], "model", entry.model, known.models)
        elif entry.model is not None and entry.model not in known.laws.get(method, {entry.model}):
            found.key([*place, "model"], f"model '{entry.model}' doesn't predict '{method}'",
                      f"its models are {', '.join(sorted(known.laws[method]))}")
        _plant(entry, number, document, known, found)


def _parts(entry: MethodTable, place: Sequence[str | int], document: Document, found: Findings) -> None:
    """Tell of parts that are no candidates of one method, or stand twice."""
    names = candidates(document)
    for part in dict.fromkeys(entry.parts or ()):
        if part not in names:
            found.unknown([*place, "parts"], "candidate method", part, names)
        if (entry.parts or []).count(part) > 1:
            found.key([*place, "parts"], f"the part '{part}' stands twice", "name each part once, in order of the work")


def _plant(entry: MethodTable, number: int, document: Document, known: Known, found: Findings) -> None:
    programme = document.table("programme")
    for item, plant in enumerate(entry.plant):
        place: list[str | int] = ["methods", number, "plant", item]
        if known.plant is not None and plant.id not in known.plant:
            found.unknown([*place, "id"], "plant", plant.id, known.plant)
        if plant.cycle_s is not None and programme is not None and plant.cycle_s > programme.shift.length_s:
            found.key([*place, "cycle_s"], f"a cycle of {plant.cycle_s:g} s is longer than the shift of "
                      f"{programme.shift.length_s} s", "a cycle is the time from one pile to the next, in seconds")
        if known.a_weighted_sum is not None and plant.octaves_db is not None and plant.lwa_db is not None:
            total = float(known.a_weighted_sum(plant.octaves_db))
            if abs(total - plant.lwa_db) > SUM_TOLERANCE_DB:
                found.key([*place, "octaves_db"], f"the spectrum sums to {total:.1f} dB(A), lwa_db says "
                          f"{plant.lwa_db:g}", "give unweighted octaves from 63 Hz to 8 kHz, or leave lwa_db out")


def _reductions(document: Document, known: Known, found: Findings) -> None:
    names = candidates(document)
    for number, entry in document.reductions.items():
        if entry.id not in known.reductions:
            found.unknown(["reductions", number, "id"], "reduction", entry.id, known.reductions)
        _each(["reductions", number, "methods"], "candidate method", entry.methods, names, found)


def _each(place: Iterable[str | int], kind: str, words: Iterable[str], known: Collection[str], found: Findings) -> None:
    for word in words:
        if word not in known:
            found.unknown([*place], kind, word, known)


def _ground(ground: GroundTable, known: Known, found: Findings) -> None:
    named = ground.ground_class
    if named is not None and known.ground_classes is not None and named not in known.ground_classes:
        found.unknown(["ground", "class"], "ground class", named, known.ground_classes)
    if named is None and ground.strata is None:
        found.note("ground: neither strata nor a class is stated; what depends on the ground can't be judged")


def _limits(limits: LimitsTable, known: Known, found: Findings) -> None:
    adopted = {effect: getattr(limits, effect) for effect in LIMIT_EFFECTS}
    if not any(adopted.values()):
        found.key(["limits"], "no limit set is named", "name at least one, as noise = [\"...\"]; "
                  "`envpredict list limits` shows what there is")
    for effect, names in adopted.items():
        _each(["limits", effect], "limit set", names, known.limit_sets, found)
        for name in names:
            effects = known.limit_effects.get(name)
            if effects is not None and effect not in effects:
                found.key(["limits", effect], f"limit set '{name}' has no rules for {effect}",
                          f"name it under {' or '.join(sorted(effects))}")
            if names.count(name) > 1:
                found.key(["limits", effect], f"limit set '{name}' is named twice", "name it once")
        if not names and effect in ("damage", "people", "noise"):
            found.note(f"limits: no set named for {effect}; there will be no verdict on it")
    every = {name for names in adopted.values() for name in names}
    _each(["limits", "confirmed"], "adopted limit set", limits.confirmed, every, found)


def _choice(choice: ChoiceTable, document: Document, known: Known, found: Findings) -> None:
    if known.noise_methods is not None and choice.noise not in known.noise_methods:
        found.unknown(["choice", "noise"], "noise method", choice.noise, known.noise_methods)
    _each(["choice", "models"], "candidate method", choice.models, candidates(document), found)
    for method, model in choice.models.items():
        _each(["choice", "models", method], "model", [model], known.models, found)


def _holidays(document: Document, known: Known, found: Findings) -> None:
    programme, limits = document.table("programme"), document.table("limits")
    if programme is None or limits is None or programme.holidays is not None:
        return
    needing = sorted({name for effect in LIMIT_EFFECTS for name in getattr(limits, effect)} & known.need_holidays)
    if needing:
        found.key(["programme"], f"holidays is missing, and {', '.join(needing)} can't be judged without it",
                  'give a country, holidays = "GB", or a list of dates, which may be empty')


def _unused(document: Document, known: Known, found: Findings) -> None:
    """Tell of what is stated and wouldn't be used."""
    entries: dict[str, dict[int, Any]] = {"methods": dict(document.methods), "reductions": dict(document.reductions)}
    for name in sorted(known.unused):
        table, _, key = name.partition(".")
        if table not in document.stated:
            continue
        stated: list[tuple[list[str | int], Any]] = [([table, n], entry) for n, entry in entries.get(table, {}).items()]
        stated += [([table], document.table(table))] if document.table(table) is not None else []
        places = [[*place, key] for place, entry in stated if key in entry.model_fields_set] if key else [[table]]
        for place in places:
            found.key(place, f"'{key or table}' isn't used by this version: it would change nothing", "take it out")
