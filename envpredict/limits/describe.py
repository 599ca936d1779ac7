"""A limit set in words: whole rules with values, places, conditions and sources, readable as text and as Markdown."""

from __future__ import annotations

from collections.abc import Iterator

from envpredict.core.citation import VERIFY_MARK, Basis
from envpredict.core.quantities import POSITIONS, QUANTITIES
from envpredict.limits.base import SIGNAL_MEANING, STATUS_MEANING, Selector
from envpredict.limits.classes import NONE, ClassRow
from envpredict.limits.periods import Period
from envpredict.limits.rule import GATE_MEANING, Rule
from envpredict.limits.schema import LimitSet
from envpredict.limits.values import (
    BackgroundCategory,
    BackgroundPlus,
    CategoryRow,
    DayAllowance,
    Fixed,
    FixedRow,
    HoursByMargin,
    HoursOnly,
    NetRow,
    PlusRow,
    Product,
    Shape,
)

BETWEEN = {"linear": "straight lines on linear axes", "loglog": "straight lines on logarithmic axes",
           "stepped": "steps, each from its frequency up to the next; at an edge the smaller value"}


def describe(found: LimitSet) -> str:
    """Return a whole set as Markdown: what it is, its classes, how receptors are classed, every rule, every source."""
    lines = [f"## {found.id}", "", f"{found.title}.", ""]
    lines += [f"- {name}: {text}" for name, text in _head(found) if text]
    for axis in found.all_axes:
        lines += ["", "Classes:" if not found.axes else f"Classes, {axis.title}:", ""]
        lines += [f"- `{name}`: {meaning}" for name, meaning in axis.classes.items()]
        lines += ["", "A receptor's class is that of the first line that fits:", ""]
        lines += [f"{n}. {_row(row)}" for n, row in enumerate(axis.class_map, 1)]
    for rule in found.rules:
        lines += ["", *_rule(rule, found)]
    return "\n".join(lines) + "\n"


def marked(basis: Basis) -> str:
    """Return a basis with its verify mark."""
    return f"{basis} ({VERIFY_MARK[basis]})" if VERIFY_MARK[basis] else basis


def _head(found: LimitSet) -> list[tuple[str, str]]:
    return [
        ("document", f"{found.document}, edition {found.edition}, {found.body}"),
        ("dated", found.dated),
        ("country", "international" if found.country == "INT" else found.country),
        ("status", STATUS_MEANING[found.status]),
        ("speaks of", ", ".join(found.effects)),
        ("superseded by", found.superseded_by),
        ("known as", marked(found.basis)),
        ("asks for", ", ".join(found.facts)),
        ("note", found.note),
    ]


def _row(row: ClassRow) -> str:
    when = " and ".join(f"{fact} = {' or '.join(words)}" for fact, words in row.when.items()) or "anything else"
    return f"{when}: " + (f"not governed, {row.reason}" if row.class_id == NONE else f"`{row.class_id}`")


def _rule(rule: Rule, found: LimitSet) -> Iterator[str]:
    yield f"### {found.id}: {rule.id}"
    yield ""
    yield f"{rule.title[0].upper()}{rule.title[1:]} ({rule.clause})."
    yield ""
    if rule.quantity:
        quantity = QUANTITIES[rule.quantity]
        yield f"- judges {rule.effect}: {quantity.symbol}, {quantity.unit} (`{rule.quantity}`), {POSITIONS[rule.place]}"
    else:
        yield f"- judges {rule.effect}: hours and days of work"
    for name, text in _conditions(rule):
        if text:
            yield f"- {name}: {text}"
    over = "at or above" if rule.exceeds == "at_or_above" else "above"
    yield f"- limit, exceeded {over} it:" if rule.quantity else "- rule:"
    yield from (f"  - {line}" for line in _value(rule))
    for part in (*rule.persistence, *rule.adjustments):
        where = ", ".join(f"`{name}`" for name in getattr(part, "period", ()))
        note = f" ({part.note})" if part.note else ""
        yield f"- {f'{where}: ' if where else ''}{part}{note}"
    weaker = [f"{name} {marked(basis)}" for name, basis in rule.basis_of.items()]
    if weaker:
        yield f"- known otherwise than the source: {', '.join(weaker)}"
    yield f"- whole rule known as: {marked(rule.basis)}"
    yield "- sources: " + "; ".join(f"{citation}{f' ({citation.note})' if citation.note else ''}"
                                    for citation in rule.citations)


def _conditions(rule: Rule) -> list[tuple[str, str]]:
    season = f"{rule.season.start} to {rule.season.end} (month-day)" if rule.season else ""
    return [
        ("for vibration that is", "; ".join(f"{word} ({SIGNAL_MEANING[word]})" for word in rule.vibration)),
        ("for methods", ", ".join(rule.families)),
        ("for classes", ", ".join(rule.classes)),
        ("status", STATUS_MEANING[rule.status] if rule.status else ""),
        ("role", f"{GATE_MEANING[rule.gate]} (with the rules of group {rule.group})" if rule.gate else ""),
        ("when", "; ".join(_period(period) for period in rule.periods)),
        ("season", season),
        ("rounding", "to whole dB, halves up" if rule.rounding != "none" else ""),
        ("if exceeded", rule.consequence),
        ("note", rule.note),
    ]


def _period(period: Period) -> str:
    how = {"block": "", "rolling": ", from any moment", "operation": ""}[period.averaging]
    mean = f", average of {_time(period.averaging_s)}{how}" if period.averaging_s else ""
    mean = ", average over the time of work" if period.averaging == "operation" else mean
    return f"{period.label}{mean} (`{period.id}`)"


def _time(seconds: int) -> str:
    return f"{seconds / 3600:g} h" if seconds >= 3600 else f"{seconds / 60:g} min"


def _value(rule: Rule) -> Iterator[str]:
    value, unit = rule.value, rule.unit if rule.unit != "1" else ""
    if isinstance(value, Fixed):
        for row in value.rows:
            yield _for(row) + _fixed(value, row, unit) + _tail(row)
        if value.shape is not None:
            yield f"the curve: {_shape(value.shape, value.factor)}"
    elif isinstance(value, Product):
        yield " x ".join(factor.symbol for factor in value.factors)
        for factor in value.factors:
            yield f"{factor.symbol} by {factor.axis}: " + ", ".join(f"`{k}` {v:g}" for k, v in factor.values.items())
    elif isinstance(value, DayAllowance):
        for level, days in value.steps:
            yield f"above {level:g} {unit} on at most {days} days"
        yield "a day above a higher step counts for the lower ones too" if value.nested else "each band counts alone"
    elif isinstance(value, HoursOnly):
        yield f"work is {value.work} within the hours above"
        if value.max_hours_per_day:
            yield f"at most {value.max_hours_per_day:g} h a day"
        if value.max_consecutive_days:
            yield f"at most {value.max_consecutive_days} days in a row"
    else:
        yield from _relative(value, unit)


def _relative(value: BackgroundCategory | BackgroundPlus | HoursByMargin, unit: str) -> Iterator[str]:
    for row in value.rows:
        yield _for(row) + _relative_row(value, row, unit) + _tail(row)
    if isinstance(value, BackgroundCategory):
        yield (f"category by the baseline LAeq rounded to {value.round_to_db:g} dB (halves {value.half}): A below the "
               f"A value, B at it, C above it; above the C value the total may rise by {value.total_rise_db:g} dB")
    if isinstance(value, HoursByMargin):
        for margin, hours in value.steps:
            yield f"{hours:g} h a day up to {margin:g} dB above that level"
        yield f"{value.beyond_hours:g} h a day beyond"


def _relative_row(value: object, row: Selector, unit: str) -> str:
    if isinstance(row, CategoryRow):
        return f"A {row.a_db:g}, B {row.b_db:g}, C {row.c_db:g} {unit}"
    if isinstance(row, NetRow):
        return f"margin over {row.level:g} {unit}"
    if isinstance(row, PlusRow) and isinstance(value, BackgroundPlus):
        floor = f", not below {row.floor_db:g} {unit}" if row.floor_db is not None else ""
        judged = "the site's own level" if value.compare == "site" else "the total of background and site"
        return f"background {value.measure.replace('la', 'LA')} + {row.plus_db:g} dB for {judged}{floor}"
    return ""


def _fixed(value: Fixed, row: FixedRow, unit: str) -> str:
    if row.points is None:
        return f"{(row.level or 0.0) * value.factor:.4g} {unit}".strip()
    shown = ", ".join(f"{level * value.factor:.4g} at {frequency:.4g} Hz" for frequency, level in row.points)
    return f"{shown} ({unit})" + (f", {_shape(row.shape, value.factor)}" if row.shape else "")


def _shape(shape: Shape, factor: float) -> str:
    displacement = (shape.displacement_mm or 0.0) * factor
    below = {"missing": "no value below", "hold": "first value below",
             "displacement": f"displacement of {displacement:.4g} mm (zero to peak) below"}[shape.below]
    above = {"missing": "no value above", "hold": "last value above"}[shape.above]
    return f"{BETWEEN[shape.between]}; {below}, {above}"


def _for(row: Selector) -> str:
    classes = [] if row.classes == ("any",) else [f"`{name}`" for name in row.classes]
    days = [f"more than {row.over_days} days"] if row.over_days is not None else []
    days += [f"up to {row.to_days} days"] if row.to_days is not None else []
    words = [*classes, *(f"`{name}`" for name in row.period), *row.vibration, *days]
    return ", ".join(words) + ": " if words else ""


def _tail(row: Selector) -> str:
    own = row.basis or (row.source.basis if row.source else None)
    parts = [text for text in (row.note, marked(own) if own else "") if text]
    return f" ({'; '.join(parts)})" if parts else ""
