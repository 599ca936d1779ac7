"""Tiles shared out to processes of this machine.

Each process starts afresh and prepares the run for itself: nothing is inherited that a thread may hold. A script that
asks for several processes must therefore keep its own work under `if __name__ == "__main__":`.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from typing import TYPE_CHECKING

from envpredict.core.errors import OutputFailure
from envpredict.engine.sound import field
from envpredict.engine.tiled.parcel import Parcel, parcel_of, tile_of
from envpredict.engine.tiled.tile import TileResult

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from envpredict.scenario.types import Scenario

    Piece = tuple[int, NDArray[np.int64]]

AHEAD = 2
"""So many tiles wait for each process: enough to keep it busy, few enough to hold no results back."""
_MINE: list[Parcel] = []


def _begin(parcel: Parcel, threads: int) -> None:
    """Take the run's parcel in a new process, which shares the processors with the others."""
    _MINE[:] = [parcel]
    field.THREADS[0] = threads


def _work(number: int, rows: NDArray[np.int64]) -> tuple[int, TileResult]:
    return tile_of(_MINE[0], number, rows)


def in_processes(scenario: Scenario, wanted: Sequence[Piece], workers: int) -> Iterator[tuple[int, TileResult]]:
    """Yield number and result of tiles as processes finish them. Raises OutputFailure where a process is killed."""
    count = min(workers, len(wanted))
    threads = max((os.cpu_count() or 1) // count, 1)
    waiting = iter(wanted)
    with ProcessPoolExecutor(count, get_context("spawn"), _begin, (parcel_of(scenario, "here"), threads)) as pool:
        try:
            running: set[Future[tuple[int, TileResult]]] = set()
            for piece in waiting:
                running.add(pool.submit(_work, *piece))
                if len(running) >= AHEAD * count:
                    done, running = wait(running, return_when=FIRST_COMPLETED)
                    yield from (one.result() for one in done)
            while running:
                done, running = wait(running, return_when=FIRST_COMPLETED)
                yield from (one.result() for one in done)
        except BrokenProcessPool:
            raise OutputFailure("a process that computed tiles was ended from outside",
                                "if memory ran out, give a smaller --memory-gb or fewer --workers; with --resume "
                                "finished tiles are used again") from None
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise
