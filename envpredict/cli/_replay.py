"""What `envpredict replay` does with a plan that has been read."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

from envpredict.core.errors import EnvpredictError

if TYPE_CHECKING:
    from envpredict.monitoring.plan_schema import Plan
    from envpredict.monitoring.replay.follow import SilentBy


def replayed(plan: Plan, folder: Path, out: Path | None) -> None:
    """Replay complete records: events to a new file or to the output, what people should know to the error stream."""
    from envpredict.monitoring.files import write_whole
    from envpredict.monitoring.records.read import read_records
    from envpredict.monitoring.replay.batch import replay
    from envpredict.monitoring.replay.run import summary

    records = read_records(folder)
    found = replay(plan, records)
    lines = "".join(f"{event.line(str(plan.clock.time_zone))}\n" for event in found.events)
    if out is None:
        click.echo(lines, nl=False)
    else:
        write_whole(out, lines.encode("utf-8"))
    said = [*map(str, records.notes), *found.notes]
    click.echo(summary(plan, found.events, found.held, said), err=True)


def followed(plan: Plan, folder: Path, out: Path | None, silent_by: str, idle_exit: float | None) -> None:
    """Follow growing records until interrupted."""
    from envpredict.core.cautions import NOT_A_SAFETY_SYSTEM
    from envpredict.monitoring.replay.run import follow

    if out is None:
        raise EnvpredictError("--follow needs a file for the events", "add --out events.jsonl")
    click.echo(NOT_A_SAFETY_SYSTEM, err=True)
    with suppress(KeyboardInterrupt):
        follow(plan, folder, out, lambda text: click.echo(text, err=True), silent_by=cast("SilentBy", silent_by),
               idle_s=idle_exit)
