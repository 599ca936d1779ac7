"""envpredict predict."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("predict")
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option("--out", "folder", required=True, type=click.Path(path_type=Path), help="New folder for the results.")
@click.option("--replace", is_flag=True, help="Swap an earlier result for the new one once that is complete.")
@click.option("--strict", is_flag=True, help="End with exit code 1 if a governing prediction is out of range.")
@click.option("--grids", is_flag=True, help="Write the level grids too, as GeoTIFF files in a folder 'grids'.")
@click.option("--unknowns", is_flag=True, help="Sample what isn't known: what the verdicts hang on, in the report.")
def command(scenario: Path, folder: Path, replace: bool, strict: bool, grids: bool, unknowns: bool) -> None:
    r"""Predict levels and verdicts for a SCENARIO and write map, report, workbook, layers, charts, findings and record.

    \b
    Example:
      envpredict predict scenarios/quay_wall --out out
    """
    from envpredict.cli._progress import steps
    from envpredict.cli._summary import out_of_range, summary
    from envpredict.engine.assess import assess
    from envpredict.engine.intake import read_scenario
    from envpredict.engine.sensitivity.tables import with_unknowns
    from envpredict.outputs.write import check_target, write_assessment

    check_target(folder, replace=replace)
    read = read_scenario(scenario)
    with steps() as tell:
        assessment = assess(read, progress=tell)
        if unknowns:
            tell("sampling what isn't known", 1.0)
            assessment = with_unknowns(assessment)
        tell("writing", 1.0)
        write_assessment(assessment, folder, replace=replace, grids=grids)
    click.echo(summary(assessment, folder))
    if strict:
        out_of_range(assessment)
