"""Tiles shared out to the workers of a Dask scheduler, here or on other machines.

The workers need the same version of envpredict and of the packages that its numbers hang on; the run's own files travel
with it. A tile whose worker is lost is given to another one.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from envpredict.core.errors import EnvpredictError, InputProblems, OutputFailure, Problem
from envpredict.engine.tiled.fingerprint import fingerprint, program
from envpredict.engine.tiled.parcel import parcel_of, tile_of
from envpredict.engine.tiled.tile import TileResult

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from envpredict.scenario.types import Scenario

    Piece = tuple[int, NDArray[np.int64]]

WAIT_S = 20
AHEAD = 3
"""So many tiles are under way for each thread of the cluster; results wait here, not there."""
EXTRA = "pip install envpredict[cluster]"
AGAIN = "start it again and run once more; with --resume finished tiles are used again"


def _client(address: str) -> Any:
    """Return a client of the scheduler at an address. Raises InputProblems where there's none, or nobody works."""
    try:
        from distributed import Client
    except ImportError:
        raise InputProblems([Problem("--cluster", "the package distributed isn't installed", EXTRA)],
                            "the cluster") from None
    try:
        client = Client(address, timeout=WAIT_S, set_as_default=False, heartbeat_interval="2s")
    except (OSError, TimeoutError, ValueError) as error:
        raise InputProblems([Problem(f"--cluster {address}", f"no scheduler answers: {error}",
                                     "start `dask scheduler` and give the address that it prints")],
                            "the cluster") from None
    if not client.scheduler_info()["workers"]:
        try:
            client.wait_for_workers(1, timeout=WAIT_S)
        except TimeoutError:
            client.close()
            raise InputProblems([Problem(f"--cluster {address}", "the scheduler has no workers",
                                         f"start `dask worker {address}` on each machine")], "the cluster") from None
    return client


def _check_versions(client: Any, address: str) -> None:
    """Raise InputProblems unless every worker runs the very program that runs here."""
    other = sorted(name for name, mark in client.run(program).items() if mark != program())
    if other:
        client.close()
        raise InputProblems([Problem(f"--cluster {address}, worker {name}", "runs another envpredict than this one",
                                     "install the same version on all machines") for name in other], "the cluster")


def on_cluster(scenario: Scenario, wanted: Sequence[Piece], address: str) -> Iterator[tuple[int, TileResult]]:
    """Yield number and result of tiles as the cluster's workers finish them, each once.

    Raises InputProblems where there's no cluster to work on, OutputFailure where it's lost on the way.
    """
    client = _client(address)
    from distributed import as_completed

    # what its log tells of lost workers the run tells in its own words
    for name in [one for one in logging.root.manager.loggerDict if one.split(".")[0] == "distributed"]:
        logging.getLogger(name).setLevel(logging.CRITICAL + 1)
    _check_versions(client, address)
    try:
        # a parcel is held once by every worker; its tiles are told apart by their numbers
        parcel = client.scatter(parcel_of(scenario, fingerprint(scenario)), broadcast=True)
        threads = sum(one["nthreads"] for one in client.scheduler_info()["workers"].values())
        waiting = iter(wanted)
        first = [piece for _, piece in zip(range(AHEAD * max(threads, 1)), waiting, strict=False)]
        done = as_completed([_submitted(client, parcel, piece) for piece in first], loop=client.loop, with_results=True)
        for _future, result in done:
            if isinstance(result, BaseException):
                raise result
            piece = next(waiting, None)
            if piece is not None:
                done.add(_submitted(client, parcel, piece))
            yield result
    except EnvpredictError:
        raise
    except _lost() as error:
        raise OutputFailure(f"the cluster at {address} was lost: {type(error).__name__}", AGAIN) from None
    finally:
        client.close(timeout=2)


def _submitted(client: Any, parcel: Any, piece: Piece) -> Any:
    return client.submit(tile_of, parcel, *piece, pure=False, retries=3)


def _lost() -> tuple[type[Exception], ...]:
    """Return how distributed tells that a scheduler, or every worker that tried a tile, went away."""
    from concurrent.futures import CancelledError

    from distributed import KilledWorker
    from distributed.client import FutureCancelledError
    from distributed.comm import CommClosedError

    return (OSError, RuntimeError, TimeoutError, CancelledError, CommClosedError, KilledWorker, FutureCancelledError)
