"""The limit sets that are shipped: one per document and year, each rule with its value, its place and how it is known.

A summary for finding one's way: the files in `envpredict/limits/sets/` hold every number with its source. Whatever
isn't `read` must be compared with the document before it is adopted.
"""

from __future__ import annotations

from envpredict.core.quantities import POSITIONS, QUANTITIES
from envpredict.engine.catalogue import load_catalogue
from envpredict.limits.base import STATUS_MEANING, Selector
from envpredict.limits.periods import Period
from envpredict.limits.rule import Rule
from envpredict.limits.schema import LimitSet
from envpredict.limits.values import FixedRow
from envpredict.outputs.reference.markdown import facts, sections, table, values

TITLE = "Limit sets"
SELECTORS = ("classes", "period", "vibration", "over_days", "to_days", "source", "basis", "note")


def _selected(row: Selector) -> str:
    days = [f"over {row.over_days} days"] if row.over_days is not None else []
    days += [f"up to {row.to_days} days"] if row.to_days is not None else []
    words = [*(() if row.classes == ("any",) else row.classes), *row.period, *row.vibration, *days]
    return ", ".join(words) + ": " if words else ""


def _row(row: Selector) -> str:
    if isinstance(row, FixedRow) and row.points is not None:
        shown = ", ".join(f"{value:g} at {frequency:g} Hz" for frequency, value in row.points)
    elif isinstance(row, FixedRow):
        shown = f"{row.level:g}"
    else:
        shown = values(row, SELECTORS)
    return _selected(row) + shown


def _value(rule: Rule) -> str:
    rows = getattr(rule.value, "rows", ())
    rest = values(rule.value, ["rows", "shape", "factors"])
    factors = [f"{factor.symbol} by {factor.axis}: "
               + ", ".join(f"{name} {value:g}" for name, value in factor.values.items())
               for factor in getattr(rule.value, "factors", ())]
    return "; ".join([rest, *map(_row, rows), *factors])


def _period(period: Period) -> str:
    return f"{period.label} {period.start} to {period.end}"


def _rule(rule: Rule) -> tuple[object, ...]:
    quantity = QUANTITIES[rule.quantity] if rule.quantity else None
    what = f"{quantity.symbol}, {quantity.unit}" if quantity else "hours of work"
    return (rule.id, rule.clause, rule.effect, what, POSITIONS[rule.place], rule.vibration,
            "; ".join(map(_period, rule.periods)), _value(rule),
            "; ".join(map(str, (*rule.persistence, *rule.adjustments))), rule.basis)


def _section(found: LimitSet) -> str:
    classes = [(name, meaning) for axis in found.all_axes for name, meaning in axis.classes.items()]
    head = ["rule", "clause", "effect", "quantity", "judged", "vibration", "when", "value", "days and adjustments",
            "basis"]
    return sections([
        f"## {found.id}",
        f"{found.title}.",
        facts([("document", found.document), ("body", found.body), ("edition", found.edition),
               ("country", found.country), ("status", STATUS_MEANING[found.status]), ("as of", found.dated),
               ("superseded by", found.superseded_by), ("asks for", tuple(found.facts)), ("note", found.note)]),
        table(["class", "meaning"], classes),
        table(head, [_rule(rule) for rule in found.rules]),
        "Sources:",
        "\n".join(f"- {text}" for text in dict.fromkeys(str(place) for rule in found.rules
                                                        for place in rule.citations)),
    ])


def body() -> str:
    """Return the list of sets, and one section on each."""
    sets = load_catalogue().limit_sets
    rows = [(f"[{found.id}](#{found.id})", found.title, found.country, found.edition, found.effects, found.basis)
            for found in sets.values()]
    head = ["limit set", "title", "country", "edition", "effects", "basis"]
    return sections([table(head, rows), *(_section(found) for found in sets.values())])
