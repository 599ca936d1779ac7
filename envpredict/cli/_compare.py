"""What `envpredict compare` prints: methods side by side within 100 columns."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from envpredict.engine.compared.pairs import CHANCE
from envpredict.engine.results import EFFECTS
from envpredict.methods.suitability import VERDICT_MEANING

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.compared.compare import Comparison
    from envpredict.engine.compared.with_reductions import BeforeAfter

WIDTH = 100
NAME = 25
WORDS = (("unlikely", "unl.", 5), ("possible", "pos.", 5), ("likely", "lik.", 5), ("breach", "brk.", 4),
         ("cannot_judge", "open", 4), ("not_applicable", "n/a", 4))
"""The likelihoods that receptors are counted by: word, head, width."""


def _rows(table: pd.DataFrame) -> list[Any]:
    """Return the rows of a table, each with its cells as attributes."""
    return list(table.itertuples())


def _short(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 1] + "…"


def _wrapped(first: str, text: str, indent: int = 4) -> list[str]:
    return textwrap.wrap(f"{first}{text}", WIDTH, subsequent_indent=" " * indent, break_long_words=False) or [""]


def _number(value: float, form: str, nothing: str = "-") -> str:
    return nothing if math.isnan(value) else format(value, form)


def methods_table(found: Comparison) -> list[str]:
    """Return feasibility, days, spoil, evidence and standing of every method."""
    lines = [f"{'method':<{NAME}} {'reaches the toe':<18} {'days (fast-slow)':>17} {'spoil m3':>9}  "
             f"{'velocity/sound from':<22} set"]
    for row in _rows(found.methods):
        days = f"{row.days} ({row.days_fast}-{row.days_slow})"
        evidence = f"{row.evidence_vibration}/{row.evidence_noise}"
        lines.append(f"{_short(row.method, NAME):<{NAME}} {row.feasible.replace('_', ' '):<18} {days:>17} "
                     f"{_number(row.spoil_m3, '.0f'):>9}  {evidence:<22} {'yes' if row.in_set else 'no'}")
    return lines


def effect_table(found: Comparison, effect: str) -> list[str]:
    """Return worst receptor, chance, counts and need of every method for one effect; sound by period too."""
    rows = found.effects[found.effects["effect"] == effect]
    heads = " ".join(f"{head:>{width}}" for _, head, width in WORDS)
    lines = [f"{'method':<{NAME}} {'worst at':<8} {'chance':>6} {'over dB':>11} {heads} {'r-days':>6} {'need':>5}"]
    for method in dict.fromkeys(rows["method"]):
        mine = rows[rows["method"] == method]
        parts = mine[mine["period"] != ""]
        judged = parts[parts["over_limit_db"].notna()]
        for row in (*_rows(mine[mine["period"] == ""]), *(_rows(judged) if len(judged) > 1 else ())):
            name = f"  {row.period}" if row.period else method
            over = "-" if row.over_limit_db != row.over_limit_db else f"{row.over_limit_db:+.1f} ({row.scatter_db:.1f})"
            counts = " ".join(f"{getattr(row, word):>{width}}" for word, _, width in WORDS)
            chance = "-" if row.p_exceed != row.p_exceed else f"{100 * row.p_exceed:.0f} %"
            lines.append(f"{_short(name, NAME):<{NAME}} {_short(str(row.receptor), 8):<8} {chance:>6} {over:>11} "
                         f"{counts} {row.receptor_days:>6.0f} {_number(row.needed_db, '.1f'):>5}")
    return lines


def needs(found: Comparison) -> Iterator[str]:
    """Yield what would make each method comply, effect by effect, with the measures that have a published effect."""
    for method in found.methods["method"]:
        yield f"  {method}"
        for row in _rows(found.whole[found.whole["method"] == method]):
            yield from _wrapped(f"    {row.effect}: ", row.needed, 6)
            if row.needed_db == row.needed_db and row.needed_db > 0:
                yield from _wrapped("      published: ", row.measures or "no measure with a published effect", 8)


def order(found: Comparison) -> Iterator[str]:
    """Yield, respect by respect, which methods are called lower than which, and who stands in the set."""
    lower = found.pairs[found.pairs["lower"]]
    for respect in dict.fromkeys(found.pairs["respect"]):
        rows = lower[lower["respect"] == respect]
        told = [f"{name} below {', '.join(part['other'])}" for name, part in rows.groupby("method", sort=False)]
        yield from _wrapped(f"  {respect}: ", "; ".join(told) or "all tie")
    for row in _rows(found.methods):
        yield from _wrapped(f"  {'in the set' if row.in_set else 'not in it'}: ", f"{row.method}, {row.standing}")


def report(title: str, found: Comparison, change: BeforeAfter | None, cautions: Sequence[str]) -> str:
    """Return the whole comparison as text."""
    lines = _wrapped("", f"{title}: methods side by side. Nothing is weighed and nothing is recommended.", 0)
    lines += ["", *methods_table(found)]
    for row in _rows(found.methods):
        part = "" if row.share_of_wall > 0.9999 else f"works on {100 * row.share_of_wall:.0f} % of the wall's piles; "
        lines += _wrapped(f"  {row.method}: ", f"{part}{VERDICT_MEANING[row.feasible]}; {row.why}")
    present = set(found.effects["effect"])
    for effect, name in EFFECTS.items():
        if effect in present:
            lines += ["", name[0].upper() + name[1:], *effect_table(found, effect)]
    lines += ["", *_wrapped("", "over dB: median over the limit at the worst receptor, its scatter in brackets; unl., "
                                "pos., lik., brk., open, n/a: receptors at which an exceedance is unlikely, possible "
                                "or likely, hours are broken, nothing can be judged, no rule governs; r-days: expected "
                                "days above, over all receptors; need: dB by which the worst receptor must fall.", 0)]
    lines += ["", "What would make each comply", *needs(found)]
    lines += ["", *_wrapped("", f"Which is lower (only where the chance is {CHANCE:g} or more at each one's worst "
                                "receptor; an estimate, a proxy or a law out of range never is; fewer days only where "
                                "the rates' ranges don't overlap)", 0), *order(found)]
    if change is not None:
        lines += ["", *before_after(change)]
    return "\n".join([*lines, "", *_cautions(cautions)])


def before_after(change: BeforeAfter) -> Iterator[str]:
    """Yield what the reductions do, and the worst receptors without and with them."""
    yield "With reductions"
    idle = change.reductions["effect"].str.startswith("not for ")
    for row in _rows(change.reductions[~idle]):
        said = f"{row.effect.rstrip('.')} [{row.basis}]. {row.caution}"
        yield from _wrapped(f"  {row.method}, {row.reduction}: ", said)
    for name, rows in change.reductions[idle].groupby("reduction", sort=False):
        yield from _wrapped(f"  {name}: ", f"can't be used with {', '.join(rows['method'])}")
    moved = change.table[~change.table["change"].isin(["+0.0 dB", "-0.0 dB", "+0 d", "-"])]
    yield from ("", f"{'method':<{NAME}} {'respect':<10} {'before':>20} {'after':>20} {'change':>12}")
    for row in _rows(change.table[change.table["method"].isin(moved["method"])]):
        yield (f"{_short(row.method, NAME):<{NAME}} {row.respect:<10} {row.before:>20} {row.after:>20} "
               f"{row.change:>12}")
    still = [name for name in dict.fromkeys(change.table["method"]) if name not in set(moved["method"])]
    if still:
        yield from _wrapped("  unchanged: ", ", ".join(still))


def _cautions(cautions: Sequence[str]) -> list[str]:
    return [line for caution in cautions for line in _wrapped("! ", caution, 2)]

