"""Who computes the tiles: this process, several processes, or a cluster; their results come back in order."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from envpredict.engine.tiled.fingerprint import fingerprint
from envpredict.engine.tiled.kept import Kept
from envpredict.engine.tiled.means import Means, Progress, tile_size
from envpredict.engine.tiled.tile import Ready, TileResult, tile_result

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Rows = NDArray[np.int64]


def cut(count: int, size: int) -> list[Rows]:
    """Return the receptors of each tile, in order; one empty tile where there are none."""
    return [np.arange(start, min(start + size, count), dtype=np.int64) for start in range(0, max(count, 1), size)]


def tiles(shared: Ready, means: Means, tell: Progress) -> list[TileResult]:
    """Return the results of all tiles of a run, in the order of their receptors.

    Raises InputProblems for a cluster that isn't there or a folder that can't be used, OutputFailure for a tile that
    can't be kept.
    """
    pieces = cut(shared.run.receptor_count, tile_size(shared, means))
    keep = means.cache if means.resume or len(pieces) > 1 else None
    kept = Kept.of(keep, "" if keep is None else fingerprint(shared.run.scenario))
    found: dict[int, TileResult] = {}
    for number, rows in enumerate(pieces if means.resume else ()):
        tile = kept.get(*_ends(rows))
        if tile is not None:
            found[number] = tile
    missing = [number for number in range(len(pieces)) if number not in found]
    for number, tile in _computed(shared, pieces, missing, means, tell):
        kept.put(*_ends(pieces[number]), tile)
        found[number] = tile
    return [found[number] for number in range(len(pieces))]


def _ends(rows: Rows) -> tuple[int, int]:
    return (int(rows[0]), int(rows[-1])) if len(rows) else (0, -1)


def _computed(shared: Ready, pieces: list[Rows], missing: list[int], means: Means,
              tell: Progress) -> Iterator[tuple[int, TileResult]]:
    """Yield number and result of the missing tiles as they come."""
    wanted = [(number, pieces[number]) for number in missing]
    if means.cluster is not None and wanted:
        from envpredict.engine.tiled.cluster import on_cluster

        yield from _told(on_cluster(shared.run.scenario, wanted, means.cluster), pieces, missing, tell)
    elif means.workers > 1 and len(wanted) > 1:
        from envpredict.engine.tiled.processes import in_processes

        yield from _told(in_processes(shared.run.scenario, wanted, means.workers), pieces, missing, tell)
    else:
        yield from _here(shared, pieces, missing, tell)


def _told(found: Iterator[tuple[int, TileResult]], pieces: list[Rows], missing: list[int],
          tell: Progress) -> Iterator[tuple[int, TileResult]]:
    """Yield what comes, and tell how much has come."""
    done = len(pieces) - len(missing)
    tell(f"{done} of {len(pieces)} tiles", done / len(pieces))
    for one in found:
        done += 1
        tell(f"{done} of {len(pieces)} tiles", done / len(pieces))
        yield one


def _here(shared: Ready, pieces: list[Rows], missing: list[int], tell: Progress) -> Iterator[tuple[int, TileResult]]:
    """Yield the results of tiles computed in this process, one after the other."""
    steps = len(shared.methods)
    for turn, number in enumerate(missing, len(pieces) - len(missing)):
        rows = pieces[number]
        done = [turn * steps]

        def say(text: str, done: list[int] = done, rows: Rows = rows) -> None:
            where = "" if len(pieces) == 1 else f"receptors {rows[0] + 1} to {rows[-1] + 1}: "
            tell(f"{where}{text}", done[0] / (steps * len(pieces)))
            done[0] += 1

        yield number, tile_result(shared, rows, say)
