"""Tiles on a real scheduler and its workers, on loopback: workers and scheduler are killed on the way."""

from __future__ import annotations

import re
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from test_tiles import different, site, whole

from envpredict.core.errors import InputProblems, OutputFailure
from envpredict.engine.assess import assess
from envpredict.engine.tiled import cluster, share
from envpredict.engine.tiled.means import Means

pytest.importorskip("distributed", reason="needs the extra [cluster]")
LOCAL = ["--host", "127.0.0.1"]


class Cluster:
    """A scheduler and its workers, processes of their own."""

    def __init__(self, workers: int) -> None:
        self.scheduler = subprocess.Popen(
            [sys.executable, "-m", "distributed.cli.dask_scheduler", *LOCAL, "--port", "0", "--dashboard-address",
             "127.0.0.1:0"], stderr=subprocess.PIPE, text=True)
        log = self.scheduler.stderr
        assert log is not None
        found = next(match for match in (re.search(r"tcp://127\.0\.0\.1:\d+", line) for line in log) if match)
        self.address = found.group()
        threading.Thread(target=log.read, daemon=True).start()
        self.workers = [subprocess.Popen(
            [sys.executable, "-m", "distributed.cli.dask_worker", self.address, *LOCAL, "--nthreads", "1",
             "--no-dashboard", "--no-nanny"], stderr=subprocess.DEVNULL) for _ in range(workers)]

    def end(self) -> None:
        """End every process."""
        for process in (*self.workers, self.scheduler):
            process.kill()
            process.wait()


@pytest.fixture
def start(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[int], Cluster]]:
    """Return what starts a cluster of some workers, for tiles of two receptors."""
    monkeypatch.setattr(share, "tile_size", lambda _shared, _means: 2)
    running: list[Cluster] = []

    def started(workers: int) -> Cluster:
        running.append(Cluster(workers))
        return running[-1]

    yield started
    for one in running:
        one.end()


def test_a_worker_killed_in_mid_run_changes_nothing(start: Callable[[int], Cluster]) -> None:
    mine = start(2)

    def kill(_text: str, done: float) -> None:
        if done > 0.2:
            mine.workers[0].kill()

    assert not different(assess(site(), kill, grids=False, means=Means(cluster=mine.address)), whole())
    assert mine.workers[0].poll() is not None


def test_a_killed_scheduler_ends_the_run_and_a_later_one_goes_on(tmp_path: Path,
                                                                 start: Callable[[int], Cluster]) -> None:
    mine = start(1)
    again: dict[str, Any] = {"cache": tmp_path, "resume": True}

    def kill(_text: str, done: float) -> None:
        if done > 0.4:
            mine.scheduler.kill()

    with pytest.raises(OutputFailure, match="was lost") as error:
        assess(site(), kill, grids=False, means=Means(cluster=mine.address, **again))
    assert error.value.exit_code == 3
    assert "--resume" in error.value.hint
    left = list(tmp_path.rglob("tile_*"))
    assert left
    told: list[float] = []
    found = assess(site(), lambda _text, done: told.append(done), grids=False, means=Means(**again))
    assert not different(found, whole())
    assert told[0] == pytest.approx(len(left) / len(share.cut(len(site().receptors), 2)))


def test_no_scheduler_and_no_workers_are_told(start: Callable[[int], Cluster], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster, "WAIT_S", 1)
    with pytest.raises(InputProblems, match="no scheduler answers"):
        assess(site(), grids=False, means=Means(cluster="tcp://127.0.0.1:1"))
    with pytest.raises(InputProblems, match="no scheduler answers"):
        assess(site(), grids=False, means=Means(cluster="nowhere at all"))
    with pytest.raises(InputProblems, match="has no workers"):
        assess(site(), grids=False, means=Means(cluster=start(0).address))


def test_a_worker_of_another_version_is_refused(start: Callable[[int], Cluster],
                                                monkeypatch: pytest.MonkeyPatch) -> None:
    mine = start(1)
    real = cluster.program
    monkeypatch.setattr(cluster, "program", lambda: "mine")

    def versions(client: Any, address: str) -> None:
        client.run = lambda _function: {"tcp://127.0.0.1:9": real()}
        checked(client, address)

    checked = cluster._check_versions
    monkeypatch.setattr(cluster, "_check_versions", versions)
    with pytest.raises(InputProblems, match="another envpredict"):
        assess(site(), grids=False, means=Means(cluster=mine.address))
