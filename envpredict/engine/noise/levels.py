"""The levels that a noise rule judges, in its own quantity and at its own place, or what is missing to have them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from envpredict.core.citation import Basis, Citation, weakest
from envpredict.core.quantities import QUANTITIES
from envpredict.engine.blocks import daily_hours, stretches
from envpredict.engine.chances.judge_rule import in_season
from envpredict.engine.noise.longterm import LONG_TERM, long_term
from envpredict.engine.noise.slots import AtReceptors, Heard, at_receptors, maxima, mean_levels
from envpredict.engine.sound.indoor import PlaceStep, step_to_place
from envpredict.engine.sound.method import MethodSound, method_sound
from envpredict.limits.adjust import Impulse, Tone
from envpredict.limits.outcome import Missing
from envpredict.models.noise.housing_rows import ANNEX_A
from envpredict.models.noise.impulse import ADJUSTMENTS

if TYPE_CHECKING:
    from envpredict.engine.run import MethodRun, Run
    from envpredict.limits.periods import Period
    from envpredict.limits.rule import Rule

NO_TIMES = Missing("periods", "the rule states no clock times over which its mean is taken")
MAXIMA = ("lafmax_db", "lasmax_db")
HOUSES = "houses of unknown height in the way take off what ISO 9613-2 Annex A.3 says, up to 10 dB"
LOUDEST = "averaging time shorter than a pile's cycle: its loudest interval"


@dataclass(frozen=True, slots=True, eq=False)
class RuleLevels:
    """What a rule judges at receptors; `notes` and `citations` tell what was added, `adjust_db` the rating part.

    `median_basis`: how the sound power is known that gives most of it, and for maxima how far it lies above the mean.
    """

    sound: MethodSound
    heard: Heard
    at: AtReceptors
    step: PlaceStep
    adjust_db: float
    notes: tuple[str, ...]
    citations: tuple[Citation, ...]
    median_basis: Basis


def _mean(run: Run, method: MethodRun, sound: MethodSound, period: Period | None) -> Heard | Missing:
    if period is None:
        return NO_TIMES
    return mean_levels(sound, method.passes, period, run.scenario.programme.holidays)


def _maxima(slow: bool) -> Callable[[Run, MethodRun, MethodSound, Period | None], Heard | Missing]:
    def heard(run: Run, method: MethodRun, sound: MethodSound, period: Period | None) -> Heard | Missing:
        some = stretches(method.passes, period, run.scenario.programme.holidays)
        return maxima(sound, method.passes, some, slow=slow)
    return heard


def _blow(run: Run, method: MethodRun, sound: MethodSound, period: Period | None) -> Heard | Missing:
    if all(item.blow_above_db is None for item in sound.items):
        return Missing("quantity", "no item of its plant gives blows whose exposure is known")
    some = stretches(method.passes, period, run.scenario.programme.holidays)
    return maxima(sound, method.passes, some, blow=True)


def _long(quantity: str) -> Callable[[Run, MethodRun, MethodSound, Period | None], Heard | Missing]:
    def heard(run: Run, method: MethodRun, sound: MethodSound, period: Period | None) -> Heard | Missing:
        found = long_term(sound, method.passes, LONG_TERM[quantity], run.scenario.programme.holidays)
        if found is not None:
            return found
        nothing = stretches(method.passes, None, ())
        return maxima(sound, method.passes, nothing.only(np.zeros(len(nothing), dtype=bool)))
    return heard


PREDICTED: dict[str, Callable[[Run, MethodRun, MethodSound, Period | None], Heard | Missing]] = {
    "laeq_db": _mean, "lar_db": _mean, "lafmax_db": _maxima(slow=False), "lasmax_db": _maxima(slow=True),
    "lae_db": _blow,
    **{name: _long(name) for name in LONG_TERM},
}
"""How each quantity of sound is predicted; one that isn't here is judged by measurement."""


def adjustments(run: Run, method: MethodRun, rule: Rule, period: Period | None) -> tuple[float, tuple[str, ...]]:
    """Return what is added to a level before a rule compares it, in dB, and that in words.

    The rule's own adjustments; where it judges a rating level, an impulse adjustment that the scenario states takes the
    place of the rule's, and a tone adjustment that it states is added, up to what the rule allows. A limit on LAeq has
    no adjustments but its own.
    """
    signal, period_id = method.choice.signal, None if period is None else period.id
    hours = None if period is None else daily_hours(method.passes, period, run.scenario.programme.holidays)
    total = rule.level_shift_db(signal, period_id, hours)
    notes = [f"{total:+g} dB by the rule's own adjustments"] if total else []
    if rule.quantity != "lar_db":
        return total, tuple(notes)
    mine = [one for one in rule.adjustments if one.holds_in(period_id)]
    impulse, tone = run.scenario.choice.get("impulse_db"), run.scenario.choice.get("tone_db")
    if impulse is not None and signal == "transient":
        own = sum(one.add_db for one in mine if isinstance(one, Impulse) and signal in one.vibration)
        total += impulse - own
        notes.append(f"impulses: {impulse:+g} dB, stated by the scenario"
                     + (f" in the place of {own:+g} dB" if own else ""))
    if tone is not None:
        most = min((one.up_to_db for one in mine if isinstance(one, Tone)), default=tone)
        total += min(tone, most)
        notes.append(f"tones: {min(tone, most):+g} dB, stated by the scenario")
    return total, tuple(notes)


def sound_at(run: Run, method: MethodRun, step: PlaceStep) -> MethodSound:
    """Return the candidate's sound where a rule's place has its points, made once: the boundary's for all parts."""
    if step.where == "receptors":
        return method.sound
    screens = method.sound.screens
    kept, key = run.sound.shared, (step.where, method.choice.id, tuple(sorted(screens.items())))
    if key not in kept:
        kept[key] = method_sound(run.sound, method.choice, run.drive, step.where, screens)
    found: MethodSound = kept[key]
    return found


def levels_of(run: Run, method: MethodRun, rule: Rule, period: Period | None) -> RuleLevels | Missing:
    """Return the levels that a rule judges for a candidate, or what is missing."""
    quantity = rule.quantity or ""
    if quantity not in PREDICTED:
        return Missing("quantity", f"{QUANTITIES[quantity].symbol if quantity in QUANTITIES else quantity} isn't "
                       "predicted: judge it by measurement")
    step = step_to_place(run.scenario, rule.place)
    if isinstance(step, Missing):
        return step
    sound = sound_at(run, method, step)
    heard = PREDICTED[quantity](run, method, sound, period)
    if isinstance(heard, Missing):
        return heard
    if rule.season is not None:
        heard = heard.take(in_season(rule, heard.slots.day))
    added, said = adjustments(run, method, rule, period)
    receptor = sound.points.receptor if step.where == "receptors" else None
    found = at_receptors(heard, receptor, run.receptor_count, quantity, rule.place, step.add_db + added, step.u_db)
    notes = [*step.notes, *said]
    citations = [*step.citations, *([ADJUSTMENTS] if said else [])]
    if heard.slots.label.size and period is not None and (heard.slots.label != period.label).any() and \
            quantity in ("laeq_db", "lar_db"):
        notes.append(LOUDEST)
    if sound.others and quantity in ("laeq_db", "lar_db"):
        names = ", ".join(source.plant.title for source, _ in sound.others)
        notes.append(f"other sources of the scenario are in the level: {names}")
    if sound.screens:
        notes.append("with the planned screens: " + ", ".join(f"{name} {height:g} m"
                                                               for name, height in sorted(sound.screens.items())))
    if run.sound.method.id == "octave" and not run.sound.scene(sound.screens).houses.plain:
        notes.append(HOUSES)
        citations.append(ANNEX_A)
    basis = sound.median_basis
    if quantity == "lae_db":
        loudest = max((item for item in sound.items if item.blow_above_db is not None),
                      key=lambda item: item.field.plant.lwa_db)
        sel = loudest.plant.sel_citation
        basis = weakest([loudest.field.plant.citation.basis, *([] if sel is None else [sel.basis])])
    if quantity in MAXIMA:
        loudest = max(sound.items, key=lambda item: item.field.plant.lwa_db + item.above_db)
        basis = weakest([loudest.field.plant.citation.basis, loudest.above_basis])
    return RuleLevels(sound, heard, found, step, added, tuple(notes), tuple(citations), basis)
