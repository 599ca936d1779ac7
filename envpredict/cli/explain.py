"""envpredict explain."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("explain")
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option("--receptor", required=True, help="Identifier of the receptor.")
@click.option("--method", help="Identifier of one candidate method; all of them if left out.")
@click.option("--exceedance", "exceedances", multiple=True, type=click.FloatRange(0, 1, min_open=True, max_open=True),
              help="Also state the level of vibration that is exceeded with this chance; may be given again.")
def command(scenario: Path, receptor: str, method: str | None, exceedances: tuple[float, ...]) -> None:
    r"""Trace the governing findings of one receptor of a SCENARIO: inputs, equation, range, limit, margin.

    \b
    Example:
      envpredict explain scenarios/quay_wall --receptor H001 --method impact_hydraulic
    """
    from envpredict.engine.assess import assess
    from envpredict.engine.intake import read_scenario
    from envpredict.engine.traced.explain import explain

    click.echo(explain(assess(read_scenario(scenario)), receptor, method, exceedances))
