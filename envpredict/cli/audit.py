"""envpredict audit."""

from __future__ import annotations

import sys
from pathlib import Path

import click


@click.command("audit")
@click.argument("plan", type=click.Path(path_type=Path))
@click.option("--scenario", type=click.Path(path_type=Path), help="Also check the plan against this prediction.")
@click.option("--records", type=click.Path(path_type=Path), help="Also check what the records in this folder show.")
@click.option("--out", "folder", type=click.Path(path_type=Path), help="New folder for the audit as documents.")
def command(plan: Path, scenario: Path | None, records: Path | None, folder: Path | None) -> None:
    r"""Check a monitoring PLAN (plan.toml, its folder, or the filled spreadsheet) rule by rule, with evidence.

    Ends with exit code 1 if a rule fails or an essential one isn't stated.

    \b
    Examples:
      envpredict audit plan --scenario scenarios/quay_wall
      envpredict audit scenarios/river_wall/plan --records scenarios/river_wall/records
    """
    from envpredict.cli._target import new_folder
    from envpredict.engine.assess import assess
    from envpredict.engine.intake import read_scenario
    from envpredict.monitoring.audit import audit
    from envpredict.monitoring.plan_file import read_plan
    from envpredict.monitoring.statistics.shown import shown
    from envpredict.outputs.plan_document import write_audit

    if folder is not None:
        new_folder(folder, "an audit is kept with the plan as it was")
    read = read_plan(plan)
    assessment = assess(read_scenario(scenario)) if scenario is not None else None
    seen = shown(read, records, assessment)[1] if records is not None else None
    report = audit(read, assessment, seen)
    click.echo(report.text())
    if folder is not None:
        click.echo(f"Wrote {write_audit(report, folder)}.")
    sys.exit(0 if report.passed else 1)
