"""envpredict compare."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("compare")
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option("--with", "reductions", multiple=True, metavar="R",
              help="Show before and after a reduction, ID or ID:key=value,... (may be repeated).")
@click.option("--screen", "screens", multiple=True, metavar="LINE",
              help="Show how high a screen along a line of the obstacles' layer must be for whom (may be repeated).")
@click.option("--unknowns", is_flag=True, help="Sample what isn't known and show what the verdicts hang on most.")
@click.option("--samples", type=int, help="With --unknowns: samples of a batch, a power of two.")
@click.option("--hold", multiple=True, metavar="KIND",
              help="With --unknowns: a kind of unknown held at its likely value (may be repeated).")
@click.option("--out", "folder", type=click.Path(path_type=Path), help="New folder for tables and picture.")
def command(scenario: Path, reductions: tuple[str, ...], screens: tuple[str, ...], folder: Path | None, unknowns: bool,
            samples: int | None, hold: tuple[str, ...]) -> None:
    r"""Put the candidate methods of a SCENARIO side by side: who reaches the toe, days, worst receptors, what it takes.

    Nothing is weighed and nothing recommended: methods that no other one beats are marked.

    \b
    Example:
      envpredict compare scenarios/quay_wall
      envpredict compare scenarios/quay_wall --with lower_energy:energy_kj=20 --with hammer_tower
      envpredict compare scenarios/quay_wall --unknowns
    """
    from envpredict.cli import _compare, _screens, _unknowns
    from envpredict.engine.compared.with_reductions import side_by_side
    from envpredict.engine.intake import read_scenario
    from envpredict.engine.sensitivity.tables import study
    from envpredict.outputs.comparison import write_comparison
    from envpredict.outputs.write import check_target

    options = _unknowns.options(unknowns, samples, hold)
    if folder is not None:
        check_target(folder, replace=False)
    found = side_by_side(read_scenario(scenario), reductions)
    click.echo(_compare.report(found.assessment.scenario.title, found.comparison, found.change,
                               found.assessment.cautions))
    if screens:
        click.echo(_screens.report(found.assessment, screens))
    hangs_on = None if options is None else study(found.assessment, options)
    if hangs_on is not None:
        click.echo(_unknowns.report(hangs_on))
    if folder is not None:
        click.echo(f"Wrote {write_comparison(found, folder, hangs_on)}.")
