"""How long, or how often, each phase of a method shakes the ground: what doses and day strengths are made of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import Basis, Citation, weakest
from envpredict.core.quantities import QUANTITIES
from envpredict.engine.applied import rank
from envpredict.engine.blocks import clock_blocks
from envpredict.engine.vibration.convert import band_of, conversion, crest_factor
from envpredict.engine.works.programme import blow_counts, on_times
from envpredict.limits.adjust import RestHours
from envpredict.limits.outcome import Missing

if TYPE_CHECKING:
    from envpredict.engine.vibration.case import Case
    from envpredict.engine.vibration.field import LawField

Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]
EVENTS = 2
"""A vibrator's start and its stop: so many events for each pass."""
EVENT_S = 10.0
EVENT = Citation("our judgement", None, "a vibrator runs through the ground's resonance within 10 s at each start and "
                 "each stop", "estimate")


@dataclass(frozen=True, slots=True, eq=False)
class Exposure:
    """One part of what adds up: `entry` (C) numbers of the work's entries with their `weight` (C), seconds or blows.

    `log_factor` (F): log10 of the quantity for 1 mm/s over one second, or for one blow; minus infinity for laws that
    take no part. `basis` (F) ranks; `notes`, and `spoken` (F) how each law's velocity was turned.
    """

    entry: Numbers
    weight: Floats
    log_factor: Floats
    basis: Numbers
    notes: tuple[str, ...]
    spoken: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Factor:
    log10: float
    basis: Basis
    said: str


def exposures(case: Case) -> list[Exposure] | Missing:
    """Return the parts of a case: the work itself, and a vibrator's starts and stops; or what is missing."""
    quantity = case.rule.quantity or ""
    if quantity not in _FACTORS:
        return Missing("quantity", f"{QUANTITIES[quantity].symbol} isn't predicted for this method: judge it by "
                                   "measurement")
    fields = case.method.vibration.fields
    parts = []
    for swept in (False, True):
        taking = [(field.law.phase == "start_stop") == swept for field in fields]
        if any(taking):
            weight, notes = _events(case) if swept else _time_or_blows(case)
            if isinstance(weight, Missing):
                return weight
            parts.append(_part(case, np.array(taking), weight, notes))
    return parts


def _part(case: Case, taking: NDArray[np.bool_], weight: Floats, notes: tuple[str, ...]) -> Exposure:
    fields = case.method.vibration.fields
    factors = [_FACTORS[case.rule.quantity or ""](case, field) for field in fields]
    entry = np.flatnonzero(~(weight <= 0.0))
    log = np.where(taking, [one.log10 for one in factors], -np.inf)
    basis = np.where(taking, [rank(one.basis) for one in factors], 0).astype(np.int64)
    said = tuple(one.said if part else "" for one, part in zip(factors, taking.tolist(), strict=True))
    return Exposure(entry, weight[entry], log, basis, notes, said)


def _vdv(case: Case, field: LawField) -> _Factor:
    """Return the dose of 1 mm/s over one second, or of one blow: blows have an equation of their own."""
    models, method = case.run.catalogue.models, case.method.choice.method
    frequency = band_of(method, field.law.phase).likely_hz
    if method.signal == "transient":
        model = models["vdv_blows_from_ppv"]
        one = float(model(ppv_mm_s=1.0, frequency_hz=frequency, count=1.0))
        said = (f"VDV of blows as damped sines of {frequency:g} Hz, damping {model.defaults['damping_ratio']:g}, added "
                "by fourth powers; no estimate from rms values, which doesn't hold for blows")
        return _Factor(float(np.log10(one)), model.basis, said)
    model = models["vdv_steady_from_ppv"]
    crest, source = crest_factor(method.signal)
    one = float(model(ppv_mm_s=1.0, frequency_hz=frequency, duration_s=1.0, crest_factor=crest))
    said = (f"VDV estimated as 1.4 a t^0.25 ({frequency:g} Hz, crest factor {crest:.2f}; 26 % high for a pure sine), "
            "added by fourth powers")
    return _Factor(float(np.log10(one)), weakest([model.basis, source.basis]), said)


def _kb_ftr(case: Case, field: LawField) -> _Factor:
    """Return the strength of the assessment time of 1 mm/s over one second."""
    models, method = case.run.catalogue.models, case.method.choice.method
    strength = conversion(models, field.spec, "kb_fmax", method, field.law.phase)
    assert not isinstance(strength, Missing)
    model, length_s = models["kb_ftr_from_kb_fmax"], assessment_s(case)
    one = float(model(kb_fmax=1.0, on_time_s=1.0, period_s=length_s))
    said = "; ".join((*strength.notes, f"KB_FTr over {length_s / 3600:g} h, every interval of 30 s at its KB_Fmax"))
    return _Factor(strength.shift + float(np.log10(one)), weakest([strength.basis, model.basis]), said)


_FACTORS = {"vdv": _vdv, "kb_ftr": _kb_ftr}


def assessment_s(case: Case) -> float:
    """Return the assessment time of a case: the period's averaging time, else its length, else a day."""
    if case.period is None:
        return float(case.work.length_s[0]) if len(case.work.length_s) else 86_400.0
    return float(case.period.averaging_s or case.period.length_s)


def _time_or_blows(case: Case) -> tuple[Floats | Missing, tuple[str, ...]]:
    """Return the seconds at work, or the blows, of each entry of the work, with what they rest on."""
    choice, passes, work = case.method.choice, case.method.passes, case.work
    if choice.signal == "transient" and case.rule.quantity == "vdv":
        if choice.method.blows_per_m is None:
            return Missing("blows_per_m", "a dose of blows needs their number: state blows_per_m for the method"), ()
        stage_share = np.array(passes.stage_shares)[passes.stage_of]
        struck = passes.stage_of == len(passes.stages) - 1
        each = np.where(struck, blow_counts(choice, case.run.drive)[passes.pile] * passes.share / stage_share, 0.0)
        inside = work.seconds / (passes.end_s - passes.start_s)[work.one]
        total = float(np.nansum(each))
        return each[work.one] * inside, (f"{total:.0f} blows in the whole programme, by the method's blows per metre",)
    on = np.zeros(len(passes.pile))
    driving = [use.part == "drive" for use, _ in choice.plant]
    times = on_times(case.run.scenario, choice, passes, case.run.drive)
    for (_, seconds), drives in zip(times, driving, strict=True):
        if drives or not any(driving):
            on = np.maximum(on, seconds / (passes.end_s - passes.start_s))
    rest = _rest(case)
    seconds = (work.seconds + rest) * on[work.one]
    told = ("time at work: that of the plant that drives the pile",)
    return seconds, (*told, f"{float(rest.sum()) / 3600:.1f} h of work in hours of rest count more than once"
                     ) if rest.any() else told


def _rest(case: Case) -> Floats:
    """Return the seconds that each entry of the work counts more than once, for falling into hours of rest."""
    work, passes = case.work, case.method.passes
    more = np.zeros(len(work.one))
    for adjustment in case.rule.adjustments:
        if not isinstance(adjustment, RestHours) or not adjustment.holds_in(case.period_id):
            continue
        for hours in adjustment.hours:
            blocks = clock_blocks(passes, hours, case.run.scenario.programme.holidays, float(hours.length_s))
            # hours of rest lie inside the assessment time, so a pass has them in the day that it is worked
            more += (adjustment.factor - 1.0) * blocks.overlap_s.sum(axis=1)[work.one]
    return np.minimum(more, work.seconds * _most(case))


def _most(case: Case) -> float:
    """Return how often a second of work may count beside the once."""
    return max((one.factor - 1.0 for one in case.rule.adjustments if isinstance(one, RestHours)), default=0.0)


def _events(case: Case) -> tuple[Floats, tuple[str, ...]]:
    """Return the seconds of start and stop of each entry of the work."""
    from envpredict.models.vibration.din4150_2_1999 import INTERVAL_S

    passes, work = case.method.passes, case.work
    length = EVENT_S if case.rule.quantity == "vdv" else INTERVAL_S
    inside = work.seconds / (passes.end_s - passes.start_s)[work.one]
    return EVENTS * length * inside, (f"one start and one stop for each pass, {length:g} s each",)


def exposure_basis(case: Case) -> list[Basis]:
    """Return how well the times and numbers behind a case are known: they count for the finding, not for its median."""
    choice = case.method.choice
    found: list[Basis] = [EVENT.basis] if any(field.law.phase == "start_stop"
                                              for field in case.method.vibration.fields) else []
    found += [use.citation.basis for use, _ in choice.plant if use.part == "drive"]
    found += [spread.citation.basis for spread in (choice.method.blows_per_m or {}).values()]
    return found
