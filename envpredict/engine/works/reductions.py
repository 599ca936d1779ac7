"""Reductions that a scenario adopts: what each changes in a candidate, with effect, source and basis.

A reduction acts in one of three ways: it changes what is calculated (another method, an energy, a frequency, hours),
it multiplies velocities by a published factor, or it lowers the sound power of plant by a published insertion loss.
Factors and losses are combined no further than their sources support (`methods.stack`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from envpredict.core.citation import Citation, weakest
from envpredict.core.errors import Problem
from envpredict.engine.works.overrides import STATED
from envpredict.engine.works.shifts import Window
from envpredict.methods.fields import Rate, Spread
from envpredict.methods.schema import NoiseEffect, Reduction, VibrationEffect
from envpredict.methods.stack import STACKING, Stacked, applies, insertion_loss_db, vibration_factor

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.core.registry import Registry
    from envpredict.engine.works.choices import MethodChoice
    from envpredict.methods.fields import LawUse
    from envpredict.methods.schema import Method, Plant
    from envpredict.scenario.types import MethodEntry, ReductionEntry

REDUCTION_COLUMNS: dict[str, str] = {
    "method": "identifier of the candidate method",
    "reduction": "identifier of the reduction",
    "title": "its title",
    "effect": "what it does in the calculation",
    "caution": "what to mind",
    "source": "place of the effect, with its verify mark",
    "basis": "how the effect is known",
}
NEEDS = {"energy": "energy_kj", "frequency": "frequency_hz", "hours": "shift", "respite": "shift"}
"""What a reduction of each setting must be given, for nobody publishes it."""
ENERGY_PER_METRE = Citation("our judgement", None, "blows per metre grow as the energy per blow falls: the energy per "
                            "metre is kept; the added blows take their time", "estimate")
SPREAD_OF_LOSS = Citation("our judgement", None, "an insertion loss lies anywhere between its best and its least value",
                          "estimate")


@dataclass(frozen=True, slots=True)
class Adopted:
    """A reduction as a scenario adopts it: the catalogue's entry with the values stated, and those alone."""

    entry: Reduction
    stated: Mapping[str, Any]


def adopted(method: MethodEntry, entries: Sequence[ReductionEntry],
            catalogue: Registry[Reduction]) -> tuple[Adopted, ...]:
    """Return the reductions that a scenario adopts for a candidate, with the effects that it states itself."""
    return tuple(Adopted(_stated(catalogue[one.id], one.overrides), one.overrides) for one in entries
                 if not one.methods or method.id in one.methods)


def _stated(reduction: Reduction, stated: Mapping[str, Any]) -> Reduction:
    """Return a reduction with the effects that a scenario states in the place of the published ones."""
    source = STATED if stated.get("source") is None else Citation("the scenario", None, str(stated["source"]), "read")
    changes: dict[str, Any] = {}
    factor, loss = stated.get("vibration_factor"), stated.get("insertion_loss_db")
    if factor is not None:
        phase = "all" if reduction.vibration is None else reduction.vibration.phase
        changes["vibration"] = VibrationEffect(factor=factor, best=factor, least=factor, phase=phase, citation=source)
    if loss is not None:
        on = "all_plant" if reduction.noise is None else reduction.noise.on
        changes["noise"] = NoiseEffect(insertion_loss_db=loss, best_db=loss, least_db=loss, on=on, citation=source)
    return reduction.model_copy(update=changes)


def fits(reduction: Reduction, candidate: MethodEntry, methods: Registry[Method]) -> bool:
    """Return whether a reduction can be used with a candidate, as it is or as the method that it becomes."""
    return candidate.method in reduction.becomes or applies(reduction, methods[candidate.method])


def entry_with(entry: MethodEntry, reductions: Sequence[Adopted], methods: Registry[Method]) -> MethodEntry:
    """Return a candidate's entry with the method, energy and frequency that its reductions give it."""
    overrides = dict(entry.overrides)
    for one in reductions:
        becomes = one.entry.becomes.get(entry.method)
        if becomes is not None:
            fitting = {law.model for law in methods[becomes].laws}
            if overrides.get("model") not in fitting:
                overrides.pop("model", None)
            entry = replace(entry, method=becomes, title=entry.title or methods[becomes].title)
        if not applies(one.entry, methods[entry.method]):
            continue
        for setting, key in (("energy", "energy_kj"), ("frequency", "frequency_hz")):
            if one.entry.setting == setting and one.stated.get(key) is not None:
                overrides[key] = one.stated[key]
    return replace(entry, overrides=overrides)


def slowed(method: Method, ratio: float) -> Method:
    """Return an impact method at an energy `ratio` times smaller: more blows per metre, and the time that they take."""
    table, pace = method.blows_per_m, method.blow_rate_per_min
    if table is None or pace is None or ratio <= 1.0:
        return method
    blows = {name: Spread(low=one.low * ratio, likely=one.likely * ratio, high=one.high * ratio,
                          citation=ENERGY_PER_METRE) for name, one in table.items()}
    rates = {}
    for name, rate in method.rates.items():
        added = {speed: (ratio - 1.0) * count / (60.0 * pace.likely) for speed, count in
                 (("slow", table[name].high), ("likely", table[name].likely), ("fast", table[name].low))}
        rates[name] = Rate(**{speed: 1.0 / (1.0 / getattr(rate, speed) + hours) for speed, hours in added.items()},
                           citation=ENERGY_PER_METRE)
    return method.model_copy(update={"blows_per_m": blows, "rates": rates})


def reduced(choice: MethodChoice, before: MethodEntry, reductions: Sequence[Adopted],
            methods: Registry[Method]) -> MethodChoice:
    """Return a candidate with its reductions in force: hours, pauses, more blows, smaller velocities, quieter plant.

    `before`: the candidate's entry without its reductions; the choice was made from `entry_with` them.
    """
    if not reductions:
        return choice
    fitting = [one.entry for one in reductions if applies(one.entry, choice.method)]
    energy = choice.method.energy
    full_kj = before.overrides.get("energy_kj") or (None if energy is None else energy.default_kj)
    method = choice.method
    if full_kj is not None and choice.energy_j is not None and any(one.setting == "energy" for one in fitting):
        method = slowed(method, float(full_kj) * 1000.0 / choice.energy_j)
    factors = {phase: vibration_factor(fitting, method, phase) for phase in ("all", "running", "start_stop")}
    return replace(
        choice, method=method, laws=tuple(_damped(law, factors[law.phase], fitting) for law in choice.laws),
        start_stop_gain=factors["start_stop"].value / factors["running"].value,
        plant=tuple((use, _quieter(choice.id, item, fitting, method)) for use, item in choice.plant),
        hours=_window(reductions, "hours") or choice.hours, pause=_pause(reductions),
        reductions=tuple(one.id for one in fitting),
        told=tuple(_told(choice, one, before, methods) for one in reductions))


def _window(reductions: Sequence[Adopted], setting: str) -> Window | None:
    shifts = [one.stated["shift"] for one in reductions if one.entry.setting == setting and one.stated.get("shift")]
    return Window.between(float(shifts[-1]["from"]), float(shifts[-1]["to"])) if shifts else None


def _pause(reductions: Sequence[Adopted]) -> tuple[float, float] | None:
    window = _window(reductions, "respite")
    return None if window is None else window.spans[0]


def _damped(law: LawUse, found: Stacked, reductions: Sequence[Reduction]) -> LawUse:
    """Return a law with the factor of the reductions in its own, and their basis in its citation."""
    if found.value == 1.0:
        return law
    effects = [one.vibration for one in reductions if one.title in found.used and one.vibration is not None]
    bases = [law.citation.basis, *(effect.citation.basis for effect in effects)]
    bases += [STACKING.basis] if len(effects) > 1 else []
    names = " and ".join(found.used)
    citation = replace(law.citation, place=f"{law.citation.place}; times {found.value:.2f} by {names}",
                       basis=weakest(bases))
    return law.model_copy(update={"factor": law.factor * found.value, "citation": citation,
                                  "why": f"{law.why} Times {found.value:.2f}: {names}."})


def _quieter(candidate: str, plant: Plant, reductions: Sequence[Reduction], method: Method) -> Plant:
    """Return an item of plant with the losses on it: the largest on the source, and the largest on the path."""
    places = ["all_plant", *(["pile_head"] if plant.height == "pile_head" else []), *(["pack"] if plant.pack else [])]
    at_source = max((insertion_loss_db(reductions, method, on) for on in places), key=lambda one: one.value)
    # a screen's loss follows from its geometry; only one that is stated outright counts here
    stated = [one for one in reductions if one.noise is not None and one.noise.citation.document == STATED.document]
    on_path = insertion_loss_db(stated, method, "path")
    highest = insertion_loss_db(reductions, method, "maximum")
    if highest.value > 0.0 and plant.max_minus_mean_db is not None:
        above = max(plant.max_minus_mean_db - highest.value, 0.0)
        plant = plant.model_copy(update={"max_minus_mean_db": above, "id": _own(plant, candidate)})
    loss = at_source.value + on_path.value
    if loss == 0.0:
        return plant
    used = {*at_source.used, *on_path.used}
    effects = [one.noise for one in reductions if one.title in used and one.noise is not None]
    names = " and ".join(sorted(used))
    citation = replace(plant.citation, place=f"{plant.citation.place}; less {loss:g} dB by {names}",
                       basis=weakest([plant.citation.basis, *(effect.citation.basis for effect in effects)]))
    # a value that lies anywhere between two ends scatters by their distance over the root of twelve
    spread = [(effect.best_db - effect.least_db) / np.sqrt(12.0) for effect in effects]
    u_db = float(np.sqrt(plant.u_db**2 + sum(part**2 for part in spread)))
    quieter = plant.at_level(plant.lwa_db - loss, citation, u_db)
    return quieter.model_copy(update={"id": _own(plant, candidate), "title": f"{plant.title}, {names}"})


def _own(plant: Plant, candidate: str) -> str:
    """Return the id of an item that is the candidate's own."""
    return plant.id if plant.id.endswith(f"@{candidate}") else f"{plant.id}@{candidate}"


def _effects(choice: MethodChoice, one: Adopted, before: MethodEntry) -> list[tuple[str, Citation]]:
    """Return what a reduction does to a candidate in words, each with its source."""
    entry, stated, source = one.entry, one.stated, one.entry.citation
    found: list[tuple[str, Citation]] = []
    becomes = entry.becomes.get(before.method)
    if becomes is not None:
        found.append((f"'{before.method}' becomes '{becomes}', predicted and judged as such", source))
    if entry.setting == "energy" and choice.energy_j is not None:
        found.append((f"{choice.energy_j / 1000:g} kJ per blow; more blows for the same depth", source))
    if entry.setting == "frequency" and stated.get("frequency_hz") is not None:
        found.append((f"runs at {stated['frequency_hz']:g} Hz", source))
    if entry.setting in ("hours", "respite") and stated.get("shift") is not None:
        hours = [f"{value / 3600:02.0f}:{value % 3600 / 60:02.0f}" for value in (stated["shift"]["from"],
                                                                                 stated["shift"]["to"])]
        found.append((f"{'works' if entry.setting == 'hours' else 'rests'} from {hours[0]} to {hours[1]}", source))
    if entry.vibration is not None:
        effect = entry.vibration
        when = {"all": "", "running": " while running", "start_stop": " at start and stop"}
        found.append((f"velocities{when[effect.phase]} times {effect.factor:g} ({effect.best:g} to {effect.least:g})",
                      effect.citation))
    if entry.noise is not None and (entry.setting != "screen" or entry.noise.citation.document == STATED.document):
        loss = entry.noise
        found.append((f"{loss.insertion_loss_db:g} dB ({loss.least_db:g} to {loss.best_db:g}) on "
                      f"{loss.on.replace('_', ' ')}", loss.citation))
    return found


def _told(choice: MethodChoice, one: Adopted, before: MethodEntry, methods: Registry[Method]) -> tuple[str, ...]:
    """Return one row of `REDUCTION_COLUMNS` for a reduction that a candidate was given."""
    entry = one.entry
    usable = applies(entry, choice.method) or fits(entry, before, methods)
    found = _effects(choice, one, before) if usable else []
    said = "; ".join(text for text, _ in found)
    if not usable:
        said = f"not for {choice.method.title}: nothing changes"
    elif not found:
        said = entry.unknown or {"screen": "its effect follows from its geometry",
                                 "receiver": "changes no level"}.get(entry.setting, "no credit is taken")
    citations = [citation for _, citation in found] or [entry.citation]
    return (choice.id, entry.id, entry.title, said, entry.caution, "; ".join(dict.fromkeys(map(str, citations))),
            weakest(citation.basis for citation in citations))


def frame(choices: Sequence[MethodChoice]) -> pd.DataFrame:
    """Return what every reduction does to every candidate that was given it, columns `REDUCTION_COLUMNS`."""
    import pandas as pd

    return pd.DataFrame([row for choice in choices for row in choice.told], columns=list(REDUCTION_COLUMNS))


def problems(where: str, one: Adopted, candidates: Sequence[MethodEntry], methods: Registry[Method]) -> list[Problem]:
    """Return what is wrong with a reduction as it's adopted: a value that it needs, or one that means nothing."""
    entry, stated, found = one.entry, one.stated, []
    need = NEEDS.get(entry.setting)
    if need is not None and stated.get(need) is None:
        found.append(Problem(where, f"'{entry.id}' needs {need}: nobody publishes it", f"state {need}"))
    for setting, key in NEEDS.items():
        shared = key == need or (key == "shift" and entry.setting in ("hours", "respite"))
        if stated.get(key) is not None and entry.setting != setting and not shared:
            found.append(Problem(where, f"{key} says nothing of '{entry.id}'", f"take {key} out"))
    if stated.get("screen") is not None and stated.get("insertion_loss_db") is not None:
        found.append(Problem(where, "a screen's geometry and its insertion loss are both given", "keep one of them"))
    if entry.setting == "energy" and stated.get("energy_kj") is not None:
        for candidate in candidates:
            energy = methods[candidate.method].energy
            full = candidate.overrides.get("energy_kj") or (None if energy is None else energy.default_kj)
            if full is not None and applies(entry, methods[candidate.method]) and stated["energy_kj"] > full:
                found.append(Problem(where, f"energy_kj {stated['energy_kj']:g} lies above the {full:g} kJ of "
                                     f"'{candidate.id}'", "a reduction lowers the energy"))
    return list(dict.fromkeys(found))
