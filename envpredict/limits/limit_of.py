"""How the number of a rule is found: row, curve, product or background, with the basis of what was used."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from envpredict.core.citation import Basis, weakest
from envpredict.limits.adjust import WorksDays
from envpredict.limits.background import category_limit_db, category_of, plus_limit_db
from envpredict.limits.base import Selector
from envpredict.limits.outcome import LimitValue, Missing, NotGoverned
from envpredict.limits.values import (
    BackgroundCategory,
    BackgroundPlus,
    CategoryRow,
    Fixed,
    FixedRow,
    HoursByMargin,
    NetRow,
    PlusRow,
    Product,
    select,
)

if TYPE_CHECKING:
    from envpredict.limits.rule import Rule


@dataclass(frozen=True, slots=True)
class Case:
    """What chooses a row beside the class: period, the method's signal, number of days."""

    period_id: str | None
    signal: str | None
    days: float | None


Band = tuple[float | None, float | None, float | None]
FACADE_DB = 3.0
"""Reflection of a facade 1 m behind the point: read in Hong Kong's memorandum on noise from percussive piling."""
_CURVE_ONLY = ("interpolation", "outside")


def plain_value(rule: Rule, class_id: str, band: Band, case: Case) -> LimitValue | Missing | NotGoverned:
    """Return the limit of a rule that doesn't follow the background."""
    value = rule.value
    if isinstance(value, Product):
        return _product(rule, value, class_id, case)
    if isinstance(value, Fixed):
        fixed = select(value.rows, class_id, case.period_id, case.signal, case.days)
        if not isinstance(fixed, FixedRow):
            return fixed
        found = _fixed(rule, value, fixed, band, case)
    elif isinstance(value, HoursByMargin):
        row = select(value.rows, class_id, case.period_id, case.signal, case.days)
        if not isinstance(row, NetRow):
            return row
        found = LimitValue(row.level, rule.unit, _basis(rule, row, case), rule.citations,
                           note=_note(rule.note, row.note, "the margin over it sets the hours of work per day"))
    elif isinstance(value, BackgroundCategory | BackgroundPlus):
        return Missing("background", "background level at the receptor: the limit follows from it")
    else:
        return Missing("value", f"a rule of kind {value.kind} has no single number")
    return found if isinstance(found, Missing) else _by_works_days(rule, found, case)


def _fixed(rule: Rule, value: Fixed, row: FixedRow, band: Band, case: Case) -> LimitValue | Missing:
    curve = value.curve(row)
    if curve is None:
        assert row.level is not None
        return LimitValue(row.level * value.factor, rule.unit, _basis(rule, row, case), rule.citations,
                          note=_note(rule.note, row.note))
    low, high, likely = band
    low = likely if low is None else low
    high = likely if high is None else high
    if low is None or high is None:
        return Missing("frequency", "band of frequencies of the method: the limit depends on it")
    lowest, where = (float(part) for part in curve.lowest(low, high))
    if math.isnan(lowest):
        return Missing("frequency", f"the document gives no value for all of {low:g} to {high:g} Hz (its curve runs "
                                    f"from {curve.edges[0]:g} to {curve.edges[-1]:g} Hz)")
    used = [] if curve.printed(where) else ["outside" if not curve.edges[0] <= where <= curve.edges[-1]
                                           else "interpolation"]
    at_likely = None if likely is None else float(curve.at(likely))
    return LimitValue(lowest, rule.unit, _basis(rule, row, case, used), rule.citations, where,
                      None if at_likely is None or math.isnan(at_likely) else at_likely, _note(rule.note, row.note))


def _product(rule: Rule, value: Product, class_id: str, case: Case) -> LimitValue | Missing:
    names = class_id.split("+")
    total, shown, bases = 1.0, [], []
    for factor in value.factors:
        name = next((name for name in names if name in factor.values), None)
        if name is None:
            return Missing(factor.axis, f"the factor {factor.symbol} depends on it")
        total *= factor.values[name]
        shown.append(f"{factor.symbol} {factor.values[name]:g}")
        bases += [factor.basis or (factor.source.basis if factor.source else rule.sources[0].basis)]
    return LimitValue(total, rule.unit, weakest([*bases, _basis(rule, None, case)]), rule.citations,
                      note=_note(rule.note, " x ".join(shown)))


def background_value(rule: Rule, class_id: str, measured: tuple[float | None, float | None], baseline_position: str,
                     case: Case) -> LimitValue | Missing | NotGoverned:
    """Return the limit of a rule that follows the background, on the site's own level at the rule's place."""
    value = rule.value
    if not isinstance(value, BackgroundCategory | BackgroundPlus):
        return Missing("value", "the rule doesn't follow the background: ask for its plain limit")
    measure = value.measure if isinstance(value, BackgroundPlus) else "laeq"
    level = measured[measure == "la90"]
    if level is None or math.isnan(level):
        return Missing(f"{measure}_db", f"background {measure.replace('la', 'LA')} of the same period at the receptor")
    if baseline_position not in ("facade", "free_field"):
        return Missing("position", "whether the baseline was measured at a facade or in the free field")
    shift = FACADE_DB * ((rule.place == "facade") - (baseline_position == "facade"))
    baseline = level + shift
    moved = f"baseline {level:g} dB {'raised' if shift > 0 else 'lowered'} by {abs(shift):g} dB to the rule's place"
    if isinstance(value, BackgroundCategory):
        row = select(value.rows, class_id, case.period_id, case.signal, case.days)
        if not isinstance(row, CategoryRow):
            return row
        limit = float(category_limit_db(baseline, row.a_db, row.b_db, row.c_db, total_rise_db=value.total_rise_db,
                                        step_db=value.round_to_db, half=value.half))
        category = str(category_of(baseline, row.a_db, row.c_db, step_db=value.round_to_db, half=value.half))
        said = (f"above category C: the total may rise by {value.total_rise_db:g} dB" if category == "over"
                else f"category {category}")
        found = LimitValue(limit, rule.unit, _basis(rule, row, case), rule.citations,
                           note=_note(rule.note, row.note, said, moved if shift else ""))
    else:
        plus = select(value.rows, class_id, case.period_id, case.signal, case.days)
        if not isinstance(plus, PlusRow):
            return plus
        limit = float(plus_limit_db(baseline, plus.plus_db, plus.floor_db, compare=value.compare))
        said = f"baseline {baseline:g} dB plus {plus.plus_db:g} dB"
        found = LimitValue(limit, rule.unit, _basis(rule, plus, case), rule.citations,
                           note=_note(rule.note, plus.note, said, moved if shift else ""))
    return _by_works_days(rule, found, case)


def _by_works_days(rule: Rule, found: LimitValue, case: Case) -> LimitValue | Missing:
    shifts = [a for a in rule.adjustments if isinstance(a, WorksDays) and a.holds_in(case.period_id)]
    if not shifts:
        return found
    if case.days is None:
        if any(shift.add_db < 0 for shift in shifts):
            return Missing("days", "number of days of work: the limit falls with it")
        return _with(found, 0.0, "the relaxation for short works is not applied: their length isn't known")
    chosen = [shift for shift in shifts if shift.fits(case.days)]
    return _with(found, sum(shift.add_db for shift in chosen), "; ".join(str(shift) for shift in chosen))


def _with(found: LimitValue, add: float, note: str) -> LimitValue:
    return LimitValue(found.value + add, found.unit, found.basis, found.citations, found.frequency_hz, found.at_likely,
                      _note(found.note, note))


def _basis(rule: Rule, row: Selector | None, case: Case, used: list[str] | None = None) -> Basis:
    """Return the weakest basis of what a number rests on; interpolation and adjustments count only where used."""
    own = None if row is None else row.basis or (row.source.basis if row.source else None)
    value = own or rule.basis_of.get("value") or rule.sources[0].basis
    others = [basis for part, basis in rule.basis_of.items()
              if part != "value" and (part not in _CURVE_ONLY or part in (used or []))]
    moved = [a.known for a in rule.adjustments if a.used_in(case.period_id, case.signal)]
    days = [day_rule.basis for day_rule in rule.persistence]
    return weakest([value, *others, *(b for b in (*moved, *days) if b is not None)])


def _note(*parts: str) -> str:
    return "; ".join(part for part in parts if part)
