"""envpredict check."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("check")
@click.argument("scenario", type=click.Path(path_type=Path))
def command(scenario: Path) -> None:
    r"""Read a SCENARIO folder and list every problem in one pass, each with its place and how to mend it.

    \b
    Example:
      envpredict check my_site
    """
    from envpredict.engine.intake import read_scenario

    read = read_scenario(scenario)
    click.echo(f"{read.title}: {len(read.piles)} piles, {len(read.receptors)} receptors, {len(read.methods)} methods, "
               f"limit sets {', '.join(read.limits.ids)}. No problem found.")
    for note in read.notes:
        click.echo(f"  assumed: {note}")
