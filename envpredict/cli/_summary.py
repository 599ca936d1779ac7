"""The table at the end of a run."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

from envpredict.core.errors import OutsideRange
from envpredict.engine.results import EFFECTS, Assessment

if TYPE_CHECKING:
    import pandas as pd

WORDS = ("unlikely", "possible", "likely", "breach", "cannot_judge", "not_applicable")
HEADINGS = ("unlikely", "possible", "likely", "breach", "can't judge", "n/a")
WIDTHS = tuple(max(6, len(heading) + 1) for heading in HEADINGS)
COLUMNS = 100
"""The width that everything said here keeps to."""


def _row(method: str, effect: str, rows: pd.DataFrame, title_width: int) -> str:
    import pandas as pd

    counts = rows["likelihood"].value_counts()
    worst = rows["p_exceed"].max()
    chance = "     -" if pd.isna(worst) else f"{100 * worst:5.0f} %"
    cells = "".join(f"{int(counts.get(word, 0)):>{wide}}" for word, wide in zip(WORDS, WIDTHS, strict=True))
    return f"{method:<{title_width}}  {effect:<10}{cells}  {chance}"


def table(assessment: Assessment) -> str:
    """Return, per method and effect, how many receptors are governed by each likelihood, and the highest chance."""
    governing = assessment.governing()
    width = max(len(choice.id) for choice in assessment.methods)
    headings = "".join(f"{name:>{wide}}" for name, wide in zip(HEADINGS, WIDTHS, strict=True))
    lines = [f"{'method':<{width}}  {'effect':<10}{headings}   worst"]
    for choice in assessment.methods:
        for effect in EFFECTS:
            rows = governing[(governing["method"] == choice.id) & (governing["effect"] == effect)]
            if len(rows):
                lines.append(_row(choice.id, effect, rows, width))
    return "\n".join(lines)


def summary(assessment: Assessment, folder: Path) -> str:
    """Return what a run found, in a terminal's width, with its cautions."""
    days = {choice.id: assessment.programme[choice.id]["day"].nunique() for choice in assessment.methods}
    worked = ", ".join(f"{method} {count}" for method, count in days.items())
    written = f"Wrote {folder}. Open {folder / 'risk_map.html'} and {folder / 'report.docx'}; charts is a folder."
    return "\n".join([
        wrapped(f"{assessment.scenario.title}: receptors by the finding that governs them; worst = highest chance that "
                "a limit is exceeded at least once"), table(assessment), wrapped(f"Working days: {worked}."),
        *(wrapped(caution, "! ") for caution in assessment.cautions), wrapped(written)])


def wrapped(text: str, mark: str = "") -> str:
    """Return a text in lines of at most `COLUMNS` characters; words, and so paths, are never broken."""
    return textwrap.fill(text, COLUMNS, initial_indent=mark, subsequent_indent=" " * len(mark), break_long_words=False,
                         break_on_hyphens=False)


def out_of_range(assessment: Assessment) -> None:
    """Raise OutsideRange if a governing prediction lies outside its law's valid range."""
    rows = assessment.findings
    outside = rows[~rows["in_range"].astype(bool) & rows["p_exceed"].notna()]
    if len(outside):
        names = outside["receptor"].unique()
        shown = ", ".join(names[:8]) + (", ..." if len(names) > 8 else "")
        raise OutsideRange(f"{len(outside)} findings at {len(names)} receptors rest on a law outside its valid range: "
                           f"{shown}", "choose another law for them in [choice], or judge them by a trial")
