"""envpredict predict."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click


@click.command("predict")
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option("--out", "folder", required=True, type=click.Path(path_type=Path), help="New folder for the results.")
@click.option("--replace", is_flag=True, help="Swap an earlier result for the new one once that is complete.")
@click.option("--strict", is_flag=True, help="End with exit code 1 if a governing prediction is out of range.")
@click.option("--grids", is_flag=True, help="Write the level grids too, as GeoTIFF files in a folder 'grids'.")
@click.option("--csv", "as_text", is_flag=True, help="Write findings.csv too where there are more than a million.")
@click.option("--unknowns", is_flag=True, help="Sample what isn't known: what the verdicts hang on, in the report.")
@click.option("--workers", default=1, show_default=True, help="Processes that compute side by side.")
@click.option("--memory-gb", default=2.0, show_default=True, help="Memory for what is computed at once, in GB.")
@click.option("--cluster", metavar="ADDRESS", help="Scheduler whose workers compute, as tcp://host:8786.")
@click.option("--tiles", type=click.Path(path_type=Path), help="Folder for finished tiles.  [default: OUT.tiles]")
@click.option("--resume", is_flag=True, help="Use the tiles that a broken-off run has finished.")
def command(scenario: Path, folder: Path, replace: bool, strict: bool, grids: bool, as_text: bool, unknowns: bool,
            tiles: Path | None, **given: Any) -> None:
    r"""Predict levels and verdicts for a SCENARIO and write map, report, workbook, layers, charts, findings and record.

    \b
    Example:
      envpredict predict scenarios/quay_wall --out out
      envpredict predict town --out out --workers 8 --memory-gb 12 --resume
    """
    from envpredict.cli._progress import steps
    from envpredict.cli._summary import out_of_range, summary
    from envpredict.engine.assess import assess
    from envpredict.engine.intake import read_scenario
    from envpredict.engine.sensitivity.tables import with_unknowns
    from envpredict.engine.tiled.kept import forget
    from envpredict.engine.tiled.means import Means
    from envpredict.outputs.early import import_beside
    from envpredict.outputs.findings_file import CSV
    from envpredict.outputs.write import check_target, write_assessment

    check_target(folder, replace=replace)
    means = Means(cache=tiles or folder.with_name(f"{folder.name}.tiles"), **given)
    read = read_scenario(scenario)
    import_beside()
    with steps() as tell:
        assessment = assess(read, tell, means=means)
        if unknowns:
            tell("sampling what isn't known", 1.0)
            assessment = with_unknowns(assessment)
        tell("writing", 1.0)
        write_assessment(assessment, folder, replace=replace, grids=grids, also=(CSV,) if as_text else ())
    forget(read, means)
    click.echo(summary(assessment, folder))
    if strict:
        out_of_range(assessment)
