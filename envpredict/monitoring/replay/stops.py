"""Stops that hold until a named person lets the work go on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from envpredict.monitoring.replay.events import Event, event_id


class Stops:
    """The stops that hold, by their ids: station and moment of each."""

    def __init__(self, plan: str) -> None:
        self.plan = plan
        self.held: dict[str, tuple[str, int]] = {}

    def take(self, events: Iterable[Event]) -> None:
        """Hold the stops among events."""
        for event in events:
            if event.event == "stop":
                self.held[event.id] = (event.station, event.t or 0)

    def restart(self, row: Mapping[str, Any], where: str) -> tuple[list[Event], str]:
        """Return the restarts that an entry of the log means, and what is wrong with it where it means none.

        An entry answers the stop that it names, or every stop that holds at its station; the stop must be older.
        """
        if row["by"] is None or row["t"] is None:
            return [], f"{where}: a restart without a name or a time counts for nothing"
        wanted, moment = row["event_id"], int(row["t"])
        answered = {name: at for name, at in self.held.items()
                    if (name == wanted if wanted is not None else at[0] == row["station_id"]) and at[1] <= moment}
        if not answered:
            return [], f"{where}: no stop holds that this restart would answer"
        found = []
        for name, (station, _) in answered.items():
            del self.held[name]
            slot = (moment, moment)
            reason = str(row["remark"] or "no evidence is noted")
            found.append(Event(event_id(self.plan, station, f"restart/{name}", slot), "restart", moment, station,
                               "restart", slot, reason, by=str(row["by"]), stops=name, file=where))
        return found, ""

    def state(self) -> dict[str, list[Any]]:
        """Return what a restart of the program needs."""
        return {name: list(at) for name, at in sorted(self.held.items())}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up a state."""
        self.held = {name: (str(at[0]), int(at[1])) for name, at in state.items()}
