"""envpredict plan."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("plan")
@click.argument("scenario", required=False, type=click.Path(path_type=Path))
@click.option("--out", "folder", type=click.Path(path_type=Path), help="New folder for the drafted plan.")
@click.option("--method", "methods", multiple=True, help="Only for this candidate method; may be given again.")
@click.option("--template", type=click.Path(path_type=Path), help="New spreadsheet file for an empty plan.")
def command(scenario: Path | None, folder: Path | None, methods: tuple[str, ...], template: Path | None) -> None:
    r"""Draft a monitoring plan for a SCENARIO: stations, levels, who is told, when work stops. Edit it by hand.

    \b
    Example:
      envpredict plan scenarios/quay_wall --method press_in_auger --out plan
      envpredict plan --template plan.xlsx
    """
    from envpredict.cli import _plan

    if template is not None:
        click.echo(_plan.template(template))
    if scenario is not None and folder is not None:
        click.echo(_plan.draft(scenario, folder, methods))
    elif template is None or scenario is not None or folder is not None:
        raise click.UsageError("give SCENARIO and --out FOLDER, or --template FILE")
