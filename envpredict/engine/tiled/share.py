"""Who computes the tiles: this process, several processes, or a cluster; their results come back in order."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from envpredict.engine.tiled.means import Means, Progress, tile_size
from envpredict.engine.tiled.tile import Ready, TileResult, tile_result

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Rows = NDArray[np.int64]


def cut(count: int, size: int) -> list[Rows]:
    """Return the receptors of each tile, in order; one empty tile where there are none."""
    return [np.arange(start, min(start + size, count), dtype=np.int64) for start in range(0, max(count, 1), size)]


def tiles(shared: Ready, means: Means, tell: Progress) -> list[TileResult]:
    """Return the results of all tiles of a run, in the order of their receptors."""
    pieces = cut(shared.run.receptor_count, tile_size(shared, means))
    return list(_here(shared, pieces, tell))


def _here(shared: Ready, pieces: list[Rows], tell: Progress) -> Iterator[TileResult]:
    """Yield the results of tiles computed in this process, one after the other."""
    steps = len(shared.methods)
    for number, rows in enumerate(pieces):
        done = [number * steps]

        def say(text: str, done: list[int] = done, rows: Rows = rows) -> None:
            where = "" if len(pieces) == 1 else f"receptors {rows[0] + 1} to {rows[-1] + 1}: "
            tell(f"{where}{text}", done[0] / (steps * len(pieces)))
            done[0] += 1

        yield tile_result(shared, rows, say)
