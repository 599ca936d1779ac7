"""Follows growing records: each new complete line goes through the plan's triggers once, whatever happens between."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from envpredict.core.errors import EnvpredictError, InputProblems, Problem
from envpredict.monitoring.records.civil import Clock
from envpredict.monitoring.records.columns import STREAMED
from envpredict.monitoring.records.context import time_zone
from envpredict.monitoring.records.csv_file import CsvFile
from envpredict.monitoring.records.faults import Faults
from envpredict.monitoring.records.rows import Rows, joined
from envpredict.monitoring.records.settings import Export, Settings, read_settings
from envpredict.monitoring.records.small import SmallTable, read_small
from envpredict.monitoring.records.stamps import Millis
from envpredict.monitoring.replay.diary import WorksDiary, tolerance_ms
from envpredict.monitoring.replay.engine import Engine
from envpredict.monitoring.replay.engine import Settings as EngineSettings
from envpredict.monitoring.replay.events import Event, event_id, plan_id
from envpredict.monitoring.replay.feed import Batch, Feed
from envpredict.monitoring.replay.journal import Journal
from envpredict.monitoring.replay.stops import Stops

if TYPE_CHECKING:
    from envpredict.monitoring.plan_schema import Plan

NEVER = -(2**62)
ROOM = 1 << 24
"""Bytes of each file that are read between two states."""
SilentBy = Literal["wall", "records"]
"""What tells that a logger is silent: the machine's clock, or the other stations' records (for old records)."""


@dataclass(frozen=True, slots=True)
class Numbered:
    """An event at its place among the rows of a step; -1 comes before all of them."""

    at: int
    event: Event


class Follower:
    """Takes what has been added to the records of a folder, step by step."""

    def __init__(self, plan: Plan, folder: Path, journal: Journal, say: Callable[[str], None],
                 silent_by: SilentBy = "wall", room: int = ROOM) -> None:
        problems: list[Problem] = []
        self.plan, self.folder, self.journal, self.say = plan, folder, journal, say
        self.silent_by, self.room = silent_by, room
        self.settings = read_settings(folder, problems)
        zone = time_zone(plan, problems)
        if problems:
            raise InputProblems(problems, "plan and records")
        self.zone, self.plan_id = zone, plan_id(plan)
        engine = EngineSettings.of(plan, Clock(zone, self.settings.holidays))
        self.diary = WorksDiary(SmallTable("works", "works.csv", ()), tolerance_ms(plan))
        self.engines = {station.id: Engine(engine, station, self._look) for station in plan.stations}
        self.kinds = {station.id: station.kind for station in plan.stations}
        self.stops = Stops(self.plan_id)
        self.feeds: dict[str, Feed] = {}
        self.newest = NEVER
        self.answered: set[int] = set()
        self.bad_run: dict[str, int] = {}
        self._small: dict[str, tuple[tuple[int, int], SmallTable]] = {}

    def _look(self, station: str, start: int, end: int) -> tuple[str, ...] | None:
        return self.diary(station, start, end)

    def begin(self) -> None:
        """Take up the state of an earlier run, if there was one."""
        state = self.journal.begin()
        if state is None:
            return
        self.newest, self.answered = int(state["newest"]), set(map(int, state["answered"]))
        self.bad_run = {str(name): int(line) for name, line in state["bad_run"].items()}
        self.stops.restore(state["stops"])
        for name, engine in self.engines.items():
            engine.restore(state["engines"][name])
        self._find()
        for name, held in state["feeds"].items():
            if name not in self.feeds:
                raise EnvpredictError(f"{name} isn't in {self.folder} any more", "put it back")
            self.feeds[name].restore(held)

    def step(self) -> int | None:
        """Take what is new and write what it tells; return the number of events, None where nothing was new."""
        self._find()
        grown = [feed.fill(self.room) for feed in self.feeds.values()]
        until = min((feed.horizon for feed in self.feeds.values()), default=2**62)
        batches = {name: feed.take(until) for name, feed in self.feeds.items()}
        restarts = self._restarts(until)
        found = self._told(batches, restarts)
        overdue = self._overdue() if until == 2**62 and self.silent_by == "wall" else []
        if not any(grown) and not restarts and not overdue and not any(len(one.rows) for one in batches.values()):
            return None
        self.stops.take(overdue)
        count = self.journal.append((event.id, event.line(self.zone)) for event in [*found, *overdue])
        self.journal.save(self._state())
        return count

    def _find(self) -> None:
        """Look for files that weren't there before."""
        for table, path, export in sources(self.folder, self.settings):
            name = path.relative_to(self.folder).as_posix()
            if name not in self.feeds:
                self.feeds[name] = Feed(CsvFile(table, path, name, export))

    def _table(self, name: str) -> SmallTable:
        """Return a small table as it stands now; what is wrong with it is said and left out."""
        path = self.folder / f"{name}.csv"
        stat = path.stat() if path.exists() else None
        mark = (0, 0) if stat is None else (stat.st_mtime_ns, stat.st_size)
        if name not in self._small or self._small[name][0] != mark:
            faults = Faults()
            table = read_small(name, self.folder, faults, growing=True)
            for problem in faults.problems():
                self.say(f"left out: {problem}")
            bad = {int(line) for lines in faults.lines for line in lines}
            rows = tuple(row for row in table.rows if row["line"] not in bad)
            self._small[name] = (mark, SmallTable(name, table.file, rows))
        return self._small[name][1]

    def _restarts(self, until: int) -> list[Any]:
        log = self._table("log")
        found = [row for row in log.rows if row["kind"] == "restart" and row["line"] not in self.answered
                 and row["t"] <= until]
        self.answered |= {int(row["line"]) for row in found}
        return sorted(found, key=lambda row: (row["t"], row["line"]))

    def _told(self, batches: dict[str, Batch], restarts: Sequence[Any]) -> list[Event]:
        """Return what new rows and restarts tell, in the order of the rows."""
        self.diary = WorksDiary(self._table("works"), self.diary.tolerance)
        order, reached = self._order(batches)
        cuts = [int(row["t"]) for row in restarts]
        numbered = self._unreadable(batches, order)
        for station in self.engines:
            numbered += self._station(station, batches, order, reached, cuts)
        numbered.sort(key=lambda one: (one.at, one.event.order))
        found: list[Event] = []
        for row in restarts:
            limit = int(np.searchsorted(reached[1:], int(row["t"]), side="right"))
            before = [one.event for one in numbered if one.at < limit]
            numbered = [one for one in numbered if one.at >= limit]
            self.stops.take(before)
            events, wrong = self.stops.restart(row, self._table("log").where(row))
            if wrong:
                self.say(wrong)
            found += before + events
        rest = [one.event for one in numbered]
        self.stops.take(rest)
        return found + rest

    def _order(self, batches: dict[str, Batch]) -> tuple[dict[str, np.ndarray], Millis]:
        """Return the place of every row among the rows of all files, and how far records reached before each place.

        The order is that of the keys, then of the files' names, then of the lines; so it's the same however the files
        are cut into steps.
        """
        names = sorted(batches)
        keys = np.concatenate([np.zeros(0, dtype=np.int64), *(batches[name].keys for name in names)])
        file = np.concatenate([np.zeros(0, dtype=np.int64),
                               *(np.full(len(batches[name].rows), at) for at, name in enumerate(names))])
        line = np.concatenate([np.zeros(0, dtype=np.int64), *(batches[name].rows.line for name in names)])
        end = np.concatenate([np.zeros(0, dtype=np.int64), *(batches[name].rows.end for name in names)])
        start = np.concatenate([np.zeros(0, dtype=np.int64), *(batches[name].rows.start for name in names)])
        sorted_ = np.lexsort((line, file, keys))
        place = np.empty(len(keys), dtype=np.int64)
        place[sorted_] = np.arange(len(keys))
        if len(keys) and self.newest == NEVER:
            for engine in self.engines.values():
                engine.silence.begin(int(start[sorted_[0]]))
        reached = np.maximum.accumulate(np.concatenate([[self.newest], end[sorted_]]))
        self.newest = int(reached[-1])
        parts = np.split(place, np.cumsum([len(batches[name].rows) for name in names])[:-1]) if names else []
        return dict(zip(names, parts, strict=True)), reached

    def _station(self, station: str, batches: dict[str, Batch], order: dict[str, np.ndarray], reached: Millis,
                 cuts: Sequence[int]) -> list[Numbered]:
        """Return what one station's new rows tell, and whether it has fallen silent."""
        engine = self.engines[station]
        rows, place = _rows_of(station, self.kinds[station], batches, order)
        found: list[Numbered] = []
        ahead = np.maximum(np.maximum.accumulate(rows.end), engine.arrivals.newest) if len(rows) else rows.end
        edges = [0, *np.searchsorted(ahead, cuts, side="right").tolist(), len(rows)]
        last = -1
        for number, (begin, end) in enumerate(pairwise(edges)):
            if number:
                engine.restart()
            if end == begin:
                continue
            mine = place[begin:end]
            for told in engine.push(rows.take(np.arange(begin, end)), reached[mine]):
                at = int(mine[told.row])
                if told.after is not None:
                    known = int(np.searchsorted(reached[1:], told.event.t or 0, side="right"))
                    at = min(at, max(known, (int(mine[told.after]) if told.after >= 0 else last) + 1))
                found.append(Numbered(at, told.event))
            last = int(mine[engine.silence.last_row]) if engine.silence.last_row >= 0 else last
        down = engine.silence.expire(int(reached[-1])) if len(reached) > 1 else None
        if down is not None:
            at = max(int(np.searchsorted(reached[1:], down.at, side="right")), last + 1)
            found += [Numbered(at, event) for event in engine.down(down)]
        return found

    def _unreadable(self, batches: dict[str, Batch], order: dict[str, np.ndarray]) -> list[Numbered]:
        """Return an event for the first of each run of lines that can't be read, or that name no known station."""
        found = []
        for name, batch in batches.items():
            for said in batch.said:
                self.say(said)
            unknown = [number for number, station in enumerate(batch.rows.stations)
                       if self.kinds.get(station) != self.feeds[name].file.table]
            strange = batch.rows.line[np.isin(batch.rows.station, unknown)] if unknown else batch.bad[:0]
            for line in np.unique(np.concatenate([batch.bad, strange])).tolist():
                last = self.bad_run.get(name, -1)
                self.bad_run[name] = line
                if line == last + 1:
                    continue
                row = int(np.searchsorted(batch.rows.line, line))
                at = int(order[name][row - 1]) if row else -1
                key = batch.key_at(row)
                slot = (key, key) if key > NEVER else (0, 0)
                rule = f"monitor_down/unreadable/{name}:{line}"
                reason = "a record that can't be read" if line in batch.bad else "a record of a station not in the plan"
                found.append(Numbered(at, Event(event_id(self.plan_id, "", rule, slot), "monitor_down",
                                                key if key > NEVER else None, "", rule, slot, reason,
                                                file=f"{name}, line {line}")))
        return found

    def _overdue(self) -> list[Event]:
        """Return the stations that are silent by the machine's clock."""
        now = round(time.time() * 1000.0)
        found = []
        for engine in self.engines.values():
            down = engine.silence.expire(now)
            if down is not None:
                found += engine.down(down)
        return sorted(found, key=lambda event: event.order)

    def _state(self) -> dict[str, Any]:
        return {"newest": self.newest, "answered": sorted(self.answered), "bad_run": self.bad_run,
                "feeds": {name: feed.state() for name, feed in sorted(self.feeds.items())},
                "engines": {name: engine.state() for name, engine in sorted(self.engines.items())},
                "stops": self.stops.state()}


def _rows_of(station: str, kind: str, batches: dict[str, Batch],
             order: dict[str, np.ndarray]) -> tuple[Rows, np.ndarray]:
    """Return a station's rows of all files in the order in which they count, with their places."""
    parts, places = [], []
    for name, batch in batches.items():
        if batch.rows.table == kind and station in batch.rows.stations:
            mine = np.flatnonzero(batch.rows.station == batch.rows.stations.index(station))
            parts.append(batch.rows.take(mine).of(station))
            places.append(order[name][mine])
    rows = joined(parts, kind)
    place = np.concatenate([np.zeros(0, dtype=np.int64), *places])
    sorted_ = np.argsort(place, kind="stable")
    return rows.take(sorted_), place[sorted_]


def sources(folder: Path, settings: Settings) -> list[tuple[str, Path, Export]]:
    """Return the CSV files of a folder that can be followed."""
    found = []
    for table in STREAMED:
        exports = settings.exports(table) or (Export(file=f"{table}.csv"),)
        for export in exports:
            found += [(table, path, export) for path in sorted(folder.glob(export.file)) if path.suffix == ".csv"]
    return found
