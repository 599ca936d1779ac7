"""envpredict replay."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("replay")
@click.argument("plan", type=click.Path(path_type=Path))
@click.argument("records", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="File for the events; else they're printed.")
@click.option("--follow", "growing", is_flag=True, help="Go on as the CSV files grow; needs --out.")
@click.option("--silent-by", type=click.Choice(["wall", "records"]), default="wall", show_default=True,
              help="With --follow: what shows that a logger is silent, the machine's clock or the other records.")
@click.option("--idle-exit", type=click.FloatRange(min=0.0), metavar="SECONDS",
              help="With --follow: end when nothing was added for so long.")
def command(plan: Path, records: Path, out: Path | None, growing: bool, silent_by: str,
            idle_exit: float | None) -> None:
    r"""Run RECORDS through the triggers of a PLAN, the oldest first, as one JSON line per event.

    Events: alert, action, stop, restart, monitor_down, late. This is no safety system.

    \b
    Examples:
      envpredict replay scenarios/river_wall/plan scenarios/river_wall/records
      envpredict replay plan records --follow --out events.jsonl
    """
    from envpredict.cli._replay import followed, replayed
    from envpredict.monitoring.plan_file import read_plan

    read = read_plan(plan)
    if growing:
        followed(read, records, out, silent_by, idle_exit)
    else:
        replayed(read, records, out)
