"""envpredict distance."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click


@click.command("distance")
@click.option("--method", required=True, help="Installation method, e.g. impact_hydraulic.")
@click.option("--ground", "ground_class", required=True, help="Ground class, e.g. dense_sand.")
@click.option("--limit", "limit_set", required=True, help="Limit set, e.g. din_4150_3_1999.")
@click.option("--model", help="One law of the method; its preferred ones if left out.")
@click.option("--use", default="dwelling", show_default=True, help="Use of the receptor.")
@click.option("--structure", default="masonry", show_default=True, help="Structure of the receptor.")
@click.option("--fact", "facts", multiple=True, metavar="NAME=WORD",
              help="Another fact that the set asks for, e.g. area=residential; may be given again.")
@click.option("--frequency-hz", type=click.FloatRange(min=0, min_open=True), help="Frequency, if known.")
@click.option("--energy-kj", type=click.FloatRange(min=0, min_open=True), help="Energy per blow or cycle.")
@click.option("--depth-m", type=click.FloatRange(min=0, min_open=True), default=1.0, show_default=True,
              help="Toe depth of the worst step, for laws on the distance to the toe.")
@click.option("--exceedance", type=click.FloatRange(0, 1, min_open=True, max_open=True), default=0.05,
              show_default=True, help="Chance that one pile exceeds the limit at this distance.")
@click.option("--days", type=click.IntRange(min=1), default=1, show_default=True,
              help="Days of work, for limits that depend on them.")
@click.option("--plot", type=click.Path(path_type=Path), help="New PNG or SVG file for the curve.")
def command(plot: Path | None, **asked: Any) -> None:
    r"""Tell the stand-off at which a vibration limit is met, per law, for one pile and without a scenario.

    \b
    Example:
      envpredict distance --method impact_hydraulic --ground dense_sand --limit din_4150_3_1999
    """
    from envpredict.cli import _distance

    question = _distance.question(**asked)
    answers = _distance.answers(question)
    click.echo(_distance.table(question, answers))
    if plot is not None:
        _distance.picture(question, answers, plot)
        click.echo(f"Wrote {plot}.")
