"""What the verdicts hang on, as files: tables and picture for `compare`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from envpredict.core.citation import BASIS_MEANING
from envpredict.engine.sensitivity.tables import SHARE_COLUMNS, UNKNOWN_COLUMNS, VERDICT_COLUMNS
from envpredict.outputs.findings_csv import text_columns_harmless

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from envpredict.engine.sensitivity.tables import Study

NOTES = (
    "share: how much of the doubt p (1 - p) about exceeding goes on average once the unknown is known: the first-order "
    "Sobol index of exceeding, over all studied verdicts together.",
    "changes: the chance that knowing it moves the verdict that it moves most to another of unlikely (below the design "
    "exceedance), possible and likely (50 % and more).",
    "Shares don't add up to 100 %: part of the doubt goes only if several things are known at once.",
    "It says nothing of receptors and limits that aren't studied, nor of what is held fixed.",
)


def tables(study: Study) -> dict[str, tuple[pd.DataFrame, dict[str, tuple[str, str]]]]:
    """Return the tables of a study by name, each with its columns' kinds (text, number, truth) and meanings."""
    return {"unknowns": (study.unknowns, UNKNOWN_COLUMNS), "unknowns_verdicts": (study.verdicts, VERDICT_COLUMNS),
            "unknowns_shares": (study.shares, SHARE_COLUMNS)}


def write_unknowns(study: Study, folder: Path, cautions: Sequence[str]) -> None:
    """Write a study's tables into a folder, each with the cautions on top, and its picture as SVG and PNG."""
    from envpredict.outputs.charts.draw import finished
    from envpredict.outputs.charts.style import our_style
    from envpredict.outputs.charts.unknowns import sketch

    held = tuple(f"held: {text}" for text in study.held)
    left_out = tuple(f"left out: {text}" for text in study.left_out)
    notes = (*cautions, *NOTES, study.differs, study.sampled, *held, *left_out, study.convergence,
             *(f"{basis}: {text}" for basis, text in BASIS_MEANING.items()))
    for name, (table, _) in tables(study).items():
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            file.writelines(f"# {note}\n" for note in notes)
            text_columns_harmless(table).to_csv(file, index=False, lineterminator="\n", float_format="%.6g")
    if bool((study.unknowns["share"] > 0.0).any()):
        with our_style():
            chart = finished(sketch(study))
        (folder / "unknowns.svg").write_bytes(chart.svg)
        (folder / "unknowns.png").write_bytes(chart.png)
