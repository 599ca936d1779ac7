"""envpredict compare."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("compare")
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option("--with", "reductions", multiple=True, metavar="R",
              help="Show before and after a reduction, ID or ID:key=value,... (may be repeated).")
@click.option("--out", "folder", type=click.Path(path_type=Path), help="New folder for tables and picture.")
def command(scenario: Path, reductions: tuple[str, ...], folder: Path | None) -> None:
    r"""Put the candidate methods of a SCENARIO side by side: who reaches the toe, days, worst receptors, what it takes.

    Nothing is weighed and nothing recommended: methods that no other one beats are marked.

    \b
    Example:
      envpredict compare scenarios/quay_wall
      envpredict compare scenarios/quay_wall --with lower_energy:energy_kj=20 --with hammer_tower
    """
    from envpredict.cli import _compare
    from envpredict.engine.compared.with_reductions import side_by_side
    from envpredict.engine.intake import read_scenario
    from envpredict.outputs.comparison import write_comparison
    from envpredict.outputs.write import check_target

    if folder is not None:
        check_target(folder, replace=False)
    found = side_by_side(read_scenario(scenario), reductions)
    click.echo(_compare.report(found.assessment.scenario.title, found.comparison, found.change,
                               found.assessment.cautions))
    if folder is not None:
        click.echo(f"Wrote {write_comparison(found, folder)}.")
