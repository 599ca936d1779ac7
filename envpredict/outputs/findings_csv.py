"""findings.csv: every finding, one row each, with the cautions as comment lines on top."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from envpredict.outputs.findings_file import CSV, beyond_csv
from envpredict.outputs.registry import output

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.results import Assessment

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def harmless(value: object) -> object:
    """Return a cell that no spreadsheet program takes for a formula: such texts get an apostrophe in front."""
    return f"'{value}" if isinstance(value, str) and value.startswith(FORMULA_STARTS) else value


def text_columns_harmless(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the frame with every text cell made harmless."""
    changed = {}
    for name in frame.columns:
        if frame[name].dtype == object or str(frame[name].dtype).startswith("str"):
            # few texts occur often: each is looked at once, and most columns hold none that has to change
            harmed = {text: harmless(text) for text in frame[name].unique() if harmless(text) is not text}
            if harmed:
                changed[name] = frame[name].map(lambda text, known=harmed: known.get(text, text))
    return frame.assign(**changed)


def _as_text(assessment: Assessment) -> bool:
    return not beyond_csv(assessment)


@output(CSV, "every finding: receptor x method x limit x period, with chance, margin, basis and reason", due=_as_text)
def write(assessment: Assessment, path: Path) -> None:
    """Write the findings as UTF-8 text with comma-separated values; lines that begin with # carry the cautions."""
    with path.open("w", encoding="utf-8", newline="") as file:
        for caution in assessment.cautions:
            file.write(f"# {caution}\n")
        text_columns_harmless(assessment.findings).to_csv(file, index=False, lineterminator="\n", float_format="%.6g")
