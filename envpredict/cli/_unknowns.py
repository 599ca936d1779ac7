"""What `envpredict compare --unknowns` prints: what the verdicts hang on, within 100 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import TYPE_CHECKING

from envpredict.core.errors import InputProblems, Problem

if TYPE_CHECKING:
    from envpredict.engine.sensitivity.study import Options
    from envpredict.engine.sensitivity.tables import Study

WIDTH = 100
TITLE = 52
SHOWN = 10


def options(asked: bool, samples: int | None, hold: tuple[str, ...]) -> Options | None:
    """Return how unknowns are to be sampled, None where nobody asks for it. Raises InputProblems for bad options."""
    from envpredict.engine.sensitivity.study import Options

    if not asked:
        stray = [name for name, given in (("--samples", samples is not None), ("--hold", bool(hold))) if given]
        if stray:
            raise InputProblems([Problem(name, "says how unknowns are sampled, but --unknowns isn't given",
                                         "add --unknowns") for name in stray], "the command")
        return None
    found = Options(hold=hold) if samples is None else Options(samples=samples, hold=hold)
    found.check()
    return found


def report(study: Study) -> str:
    """Return the answer, the weightiest unknowns, the verdicts, what is held, and how sure the numbers are."""
    return "\n".join(_lines(study))


def _lines(study: Study) -> Iterator[str]:
    yield from ("", "What the verdicts hang on")
    for line in study.answer:
        yield from _wrapped(line)
    yield from ("", *unknowns_table(study), "", *verdicts_table(study), "")
    yield from _wrapped("share: of the doubt p (1 - p) in all verdicts, what goes on average once it is known, with "
                        "twice its standard error; there: the same of the verdict that it moves most; changes: the "
                        "chance that knowing it moves that verdict to another of unlikely, possible and likely.")
    yield from _wrapped("* not in the findings' chances: they hold it at its likely value.")
    yield from _wrapped(study.differs)
    yield from _wrapped(study.sampled)
    yield from _wrapped(f"Held fixed: {'; '.join(study.held)}.")
    for text in study.left_out:
        yield from _wrapped(f"Left out: {text}.")
    yield from _wrapped(study.convergence)


def unknowns_table(study: Study) -> Iterator[str]:
    """Yield the weightiest unknowns, each with its share of all doubt and the verdict that it moves most."""
    yield f"{'unknown':<{TITLE}} {'share':>6} {'+-':>4}  {'most at':<8} {'there':>5} {'changes':>7}  verify"
    shown = study.unknowns[study.unknowns["share"] > 0.0].head(SHOWN)
    for row in shown.to_dict("records"):
        title = f"{row['title']}{'' if row['in_findings'] else ' *'}"
        mark = "" if row["basis"] == "read" else str(row["basis"])
        yield (f"{_short(title, TITLE):<{TITLE}} {100 * row['share']:>4.1f} % {200 * row['share_se']:>4.1f}  "
               f"{_short(str(row['receptor']), 8):<8} {100 * row['share_there']:>3.0f} % "
               f"{100 * row['changes']:>5.0f} %  {mark}")
    rest = int((study.unknowns["share"] > 0.0).sum()) - len(shown)
    if rest > 0:
        yield f"  and {rest} more with smaller shares: see the tables that --out writes"


def verdicts_table(study: Study) -> Iterator[str]:
    """Yield the studied verdicts: chance in the findings, chance with everything sampled, and what moves it most."""
    yield f"{'verdict':<42} {'finding':>7} {'sampled':>8} {'+-':>4}  hangs most on"
    for row in study.verdicts.to_dict("records"):
        name = f"{row['method']}: {row['effect']} at {row['receptor']}"
        most = f"{100 * row['share']:.0f} % {row['unknown']}" if row["unknown"] else "-"
        yield (f"{_short(name, 42):<42} {100 * row['p_exceed']:>5.1f} % {100 * row['p_sampled']:>6.1f} % "
               f"{200 * row['p_se']:>4.1f}  {_short(most, 34)}")


def _short(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 1] + "…"


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent="  ", break_long_words=False)

