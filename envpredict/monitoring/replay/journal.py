"""The events file and its state: a line is on the disk before the state says so, and nothing is written twice."""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path
from types import TracebackType
from typing import IO, Any

from envpredict.core.errors import EnvpredictError, OutputFailure
from envpredict.monitoring.replay.events import read_line

FORMAT = 1


class Journal:
    """An events file that only grows, with the state beside it in `<file>.state`.

    The state is replaced by a whole new file after the lines are on the disk. A line that was torn when the program was
    killed is cut off; lines that the state doesn't know yet are recognised by their ids and not written again.
    """

    def __init__(self, path: Path, plan: str) -> None:
        self.path, self.plan = path, plan
        self.state_path = path.with_name(path.name + ".state")
        self.written: set[str] = set()
        self._file: IO[bytes] | None = None
        self._size = 0

    def __enter__(self) -> Journal:
        try:
            self._file = self.path.open("a+b")
        except OSError as error:
            raise OutputFailure(f"{self.path} can't be written: {error.strerror or error}",
                                "check that its folder exists and may be written to") from error
        _lock(self._file, self.path)
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        if self._file is not None:
            self._file.close()

    def begin(self) -> Mapping[str, Any] | None:
        """Return the state to go on from, None at the first start; the events file is made sound first."""
        assert self._file is not None
        state = self._read_state()
        known = 0 if state is None else int(state["events_bytes"])
        size = os.fstat(self._file.fileno()).st_size
        if size < known:
            raise EnvpredictError(f"{self.path} is shorter than its state says: lines were taken out",
                                  "put the file back, or begin anew with another events file")
        self._file.seek(known)
        rest = self._file.read()
        whole = rest.rfind(b"\n") + 1
        if whole < len(rest):
            self._file.truncate(known + whole)
            os.fsync(self._file.fileno())
        self.written = set()
        for number, line in enumerate(rest[:whole].splitlines(), 1):
            try:
                self.written.add(str(read_line(line.decode("utf-8"))["id"]))
            except ValueError as error:
                raise EnvpredictError(f"{self.path} holds a line that isn't an event: {number} after byte {known}",
                                      "put the file back, or begin anew with another events file") from error
        self._size = known + whole
        self._file.seek(0, os.SEEK_END)
        return state

    def _read_state(self) -> Mapping[str, Any] | None:
        if not self.state_path.exists():
            return None
        try:
            state: Mapping[str, Any] = json.loads(self.state_path.read_text(encoding="utf-8"))
            if state["format"] != FORMAT:
                raise ValueError(f"format {state['format']}, not {FORMAT}")
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise EnvpredictError(f"{self.state_path} can't be read: {error}",
                                  "begin anew with another events file") from None
        if state["plan"] != self.plan:
            raise EnvpredictError("the plan has changed since these events were written",
                                  "begin anew with another events file: ids and levels would no longer be the plan's")
        return state

    def append(self, lines: Iterable[tuple[str, str]]) -> int:
        """Write events (id, line) that aren't in the file yet, on the disk when it returns; return how many."""
        assert self._file is not None
        new = [line for name, line in lines if name not in self.written]
        if new:
            data = "".join(f"{line}\n" for line in new).encode("utf-8")
            try:
                self._file.write(data)
                self._file.flush()
                os.fsync(self._file.fileno())
            except OSError as error:
                raise OutputFailure(f"{self.path} can't be written: {error.strerror or error}",
                                    "make room; events go on from here at the next start") from error
            self._size += len(data)
        return len(new)

    def save(self, state: Mapping[str, Any]) -> None:
        """Replace the state by a new one, whole or not at all."""
        text = json.dumps({"format": FORMAT, "plan": self.plan, "events_bytes": self._size, **state})
        try:
            with tempfile.NamedTemporaryFile("w", encoding="utf-8", dir=self.path.parent, delete=False,
                                             prefix=f".{self.state_path.name}.") as fresh:
                fresh.write(text)
                fresh.flush()
                os.fsync(fresh.fileno())
            Path(fresh.name).replace(self.state_path)
            _sync_folder(self.path.parent)
        except OSError as error:
            raise OutputFailure(f"{self.state_path} can't be written: {error.strerror or error}",
                                "make room; events go on from here at the next start") from error
        self.written = set()


def _sync_folder(folder: Path) -> None:
    """Put a folder's entries on the disk, where the system can."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _lock(file: IO[bytes], path: Path) -> None:
    """Keep a second replay off the file, where the system can."""
    try:
        import fcntl
    except ImportError:
        return
    try:
        fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        raise EnvpredictError(f"{path} is being written by another replay",
                              "end that one, or name another file") from None
