"""feasibility.csv and movement.csv: which method reaches the toe where, and which way the ground may move."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from envpredict.engine.works.feasibility import decided
from envpredict.outputs.findings_csv import text_columns_harmless
from envpredict.outputs.registry import output

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.results import Assessment


def by_section(assessment: Assessment) -> pd.DataFrame:
    """Return what decides each check of every method in every section of the wall, the worst pile of each.

    Columns: those of `engine.works.feasibility.FEASIBILITY_COLUMNS`, and `piles`, how many it decides for.
    """
    return decided(assessment.detail["feasibility"], ("method", "section", "aspect"))


def _write(assessment: Assessment, table: pd.DataFrame, path: Path) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        for caution in assessment.cautions:
            file.write(f"# {caution}\n")
        text_columns_harmless(table).to_csv(file, index=False, lineterminator="\n", float_format="%.6g")


@output("feasibility.csv", "whether each method reaches the toe in each section: verdict, rule, depth, stratum, aid")
def write_feasibility(assessment: Assessment, path: Path) -> None:
    """Write the feasibility by section as UTF-8 text with comma-separated values, the cautions on top."""
    _write(assessment, by_section(assessment), path)


@output("movement.csv", "flags of ground movement by method and section, beside foundations, pipes and tracks")
def write_movement(assessment: Assessment, path: Path) -> None:
    """Write the flags of ground movement as UTF-8 text with comma-separated values, the cautions on top."""
    _write(assessment, assessment.detail["movement"], path)
