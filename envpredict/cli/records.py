"""envpredict records."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("records")
@click.argument("records", type=click.Path(path_type=Path))
@click.option("--plan", type=click.Path(path_type=Path), help="The monitoring plan that they belong to.")
@click.option("--scenario", type=click.Path(path_type=Path), help="Compare with this scenario's prediction.")
@click.option("--out", "folder", type=click.Path(path_type=Path), help="New folder for tables, charts and events.")
@click.option("--parquet", type=click.Path(path_type=Path), help="New folder for the same records as Parquet.")
def command(records: Path, plan: Path | None, scenario: Path | None, folder: Path | None,
            parquet: Path | None) -> None:
    r"""Read a folder of RECORDS, name what is wrong with them, and with --plan work out their statistics.

    \b
    Examples:
      envpredict records scenarios/river_wall/records --plan scenarios/river_wall/plan --out statistics
      envpredict records my_records --parquet my_store
    """
    from envpredict.cli._records import asked, described, statistics, stored

    question = asked(plan, scenario, folder, parquet)
    if parquet is not None:
        click.echo(stored(records, parquet))
    if plan is not None:
        click.echo(statistics(records, plan, question, folder))
    elif parquet is None:
        click.echo(described(records))
