"""Runs a follower until it's told to end, and says in words what a replay found."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from envpredict.core.cautions import INVENTED, NOT_A_SAFETY_SYSTEM
from envpredict.core.errors import EnvpredictError
from envpredict.monitoring.replay.engine import assumptions
from envpredict.monitoring.replay.events import KINDS, Event, plan_id
from envpredict.monitoring.replay.follow import ROOM, Follower, SilentBy
from envpredict.monitoring.replay.journal import Journal
from envpredict.monitoring.replay.triggers import untriggered

if TYPE_CHECKING:
    from envpredict.monitoring.plan_schema import Plan

POLL_S = 0.2
"""Seconds between two looks at the files."""


def follow(plan: Plan, folder: Path, events: Path, say: Callable[[str], None], *, silent_by: SilentBy = "wall",
           idle_s: float | None = None, room: int = ROOM) -> None:
    """Follow the CSV files of a folder and append what they tell to a file of events, until interrupted.

    `idle_s`: end by itself when nothing was added for so long. `say` is called with each message for people. Raises
    EnvpredictError where plan, records or events can't be used.
    """
    if not folder.is_dir():
        raise EnvpredictError(f"no records at {folder}", "name a folder in which noise.csv or vibration.csv grow")
    with Journal(events, plan_id(plan)) as journal:
        follower = Follower(plan, folder, journal, say, silent_by, room)
        follower.begin()
        for note in notes(plan):
            say(note)
        since = time.monotonic()
        while True:
            told = follower.step()
            now = time.monotonic()
            if told is not None:
                since = now
                if told:
                    say(f"{told} event{'s' if told > 1 else ''}; {held(follower.stops.held)}")
            elif idle_s is not None and now - since >= idle_s:
                return
            else:
                time.sleep(POLL_S)


def notes(plan: Plan) -> list[str]:
    """Return what is assumed where the plan is silent, and which criteria raise no alarm."""
    return [*assumptions(plan), *(said for station in plan.stations for said in untriggered(plan, station))]


def held(stops: Sequence[str] | dict[str, tuple[str, int]]) -> str:
    """Say whether work is stopped."""
    if not stops:
        return "no stop holds"
    return f"WORK IS STOPPED by {len(stops)} event{'s' if len(stops) > 1 else ''}: {', '.join(list(stops)[:6])}"


def summary(plan: Plan, events: Sequence[Event], stops: Sequence[str], said: Sequence[str]) -> str:
    """Return what a replay found, for people."""
    counts = Counter(event.event for event in events)
    found = ", ".join(f"{counts[kind]} {kind}" for kind in KINDS if counts[kind]) or "no event"
    lines = [f"Replay of: {plan.title}", *([INVENTED] if plan.invented else []), f"{found}; {held(stops)}"]
    strange = [event for event in events if event.works == ()]
    lines += [f"unexplained by the diary: {event.event} at {event.station}, {event.reason} (id {event.id})"
              for event in strange]
    lines += [f"note: {note}" for note in said]
    return "\n".join([*lines, NOT_A_SAFETY_SYSTEM])
