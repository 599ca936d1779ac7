"""envpredict fit."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("fit")
@click.argument("records", type=click.Path(path_type=Path))
@click.option("--model", help="The published law to update, e.g. caltrans_impact.")
@click.option("--plant", help="The item of plant whose sound power to update, e.g. vibrator.")
@click.option("--scenario", type=click.Path(path_type=Path), help="Scenario that knows the piles, strata and own laws.")
@click.option("--works", type=click.Path(path_type=Path),
              help="Works diary with press records by depth; needs --scenario.")
@click.option("--phase", type=click.Choice(["all", "running", "start_stop"]), default="all", show_default=True,
              help="Phase of records that state none.")
@click.option("--with", "earlier", type=click.Path(path_type=Path), help="An earlier site law to carry along.")
@click.option("--out", type=click.Path(path_type=Path), help="New file for the site law.")
@click.option("--plot", type=click.Path(path_type=Path), help="New PNG or SVG file for the chart.")
def command(records: Path, model: str | None, plant: str | None, scenario: Path | None, works: Path | None,
            phase: str, earlier: Path | None, out: Path | None, plot: Path | None) -> None:
    r"""Fit a site law to trial RECORDS: a published law updated by what the first piles showed.

    RECORDS: a CSV file of trial records, or a folder of monitoring records (with --scenario).

    \b
    Example:
      envpredict fit trial.csv --model caltrans_impact --out site_law.toml --plot trial.png
    """
    from envpredict.cli import _fit

    asked = _fit.question(records, model, plant, scenario, works, phase, earlier, out, plot)
    click.echo(_fit.answer(asked))
