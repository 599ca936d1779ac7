"""Methods side by side as tables: for the workbook, as files of a run, and as a folder of their own."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from envpredict.core.citation import BASIS_MEANING
from envpredict.engine.compared.compare import EFFECT_COLUMNS, METHOD_COLUMNS, Comparison, compare
from envpredict.engine.compared.pairs import CHANCE, PAIR_COLUMNS
from envpredict.outputs.findings_csv import text_columns_harmless
from envpredict.outputs.once import once
from envpredict.outputs.registry import output
from envpredict.outputs.view import plain_texts
from envpredict.outputs.write import write_folder

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from envpredict.engine.compared.with_reductions import SideBySide
    from envpredict.engine.results import Assessment
    from envpredict.engine.sensitivity.tables import Study

NOTES = (
    "Nothing is weighed and nothing is recommended.",
    f"One method is called lower than another only where the chance of that is {CHANCE:g} or more, each at its own "
    "worst receptor, the error of a law or an item of plant that both stand on counted once and all others as "
    "independent; else they tie.",
    "An estimate, another method's law or a law out of its range is never called lower.",
    "A method that isn't shown to reach the toe displaces no other.",
    "over_limit_db: median of the worst slot less its limit. needed_db: how much lower that receptor must be, so that "
    "its chance of an exceedance falls to the design exceedance.",
)


def comparison(assessment: Assessment) -> Comparison:
    """Return the candidates of a run side by side, made at the first call."""
    return once(assessment, _compared)


def _compared(assessment: Assessment) -> Comparison:
    # the findings are cut up a few hundred times: their texts as plain objects are cut several times as fast
    return compare(replace(assessment, findings=plain_texts(assessment.findings)))


def frames(assessment: Assessment) -> dict[str, tuple[pd.DataFrame, dict[str, tuple[str, str]]]]:
    """Return the tables of the comparison by name, each with its columns' kinds (text, number, truth) and meanings."""
    found = comparison(assessment)
    return {"methods": (found.methods, METHOD_COLUMNS), "effects": (found.effects, EFFECT_COLUMNS),
            "pairs": (found.pairs, PAIR_COLUMNS)}


def _write(path: Path, table: pd.DataFrame, notes: Sequence[str]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        for note in notes:
            file.write(f"# {note}\n")
        text_columns_harmless(table).to_csv(file, index=False, lineterminator="\n", float_format="%.6g")


@output("comparison_methods.csv", "methods side by side: feasible, days, spoil, evidence, and which no other one beats")
def write_methods(assessment: Assessment, path: Path) -> None:
    """Write the candidates, one row each, as comma-separated values with the cautions on top."""
    _write(path, comparison(assessment).methods, (*assessment.cautions, *NOTES))


@output("comparison_effects.csv", "methods side by side, effect by effect: worst receptor, counts, what would comply")
def write_effects(assessment: Assessment, path: Path) -> None:
    """Write the candidates effect by effect as comma-separated values with the cautions on top."""
    _write(path, comparison(assessment).effects, (*assessment.cautions, *NOTES))


def write_comparison(found: SideBySide, folder: Path, study: Study | None = None) -> Path:
    """Write a comparison into a new folder, all or nothing, and return it: tables, and the picture as SVG and PNG.

    `study`: what the verdicts hang on, with tables and a picture of its own. Raises InputProblems if the folder exists,
    OutputFailure if it can't be written.
    """
    from envpredict.outputs.comparison_chart import drawn
    from envpredict.outputs.unknowns import write_unknowns

    notes = (*found.assessment.cautions, *NOTES, *(f"{basis}: {text}" for basis, text in BASIS_MEANING.items()))

    def fill(target: Path) -> None:
        tables = {"methods": found.comparison.methods, "effects": found.comparison.effects,
                  "pairs": found.comparison.pairs}
        if len(found.comparison.combined):
            tables |= {"combined_findings": found.comparison.combined}
            tables |= {f"programme_{name}": one for name, one in found.comparison.programmes.items()}
        if found.change is not None:
            tables |= {"before_after": found.change.table, "reductions": found.change.reductions}
        for name, table in tables.items():
            _write(target / f"{name}.csv", table, notes)
        chart = drawn(found.comparison)
        (target / "comparison.svg").write_bytes(chart.svg)
        (target / "comparison.png").write_bytes(chart.png)
        if study is not None:
            write_unknowns(study, target, found.assessment.cautions)

    return write_folder(folder, fill)
