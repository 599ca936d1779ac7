"""A tile: some receptors of a run with all that is found at them, whatever the other receptors are."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.findings import Block, by_day
from envpredict.engine.findings import frame as findings_frame
from envpredict.engine.judging import method_findings
from envpredict.engine.noise.needs import noise_needs
from envpredict.engine.run import MethodRun, prepare, run_method
from envpredict.engine.tiled.table import Column, packed

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.catalogue import Catalogue
    from envpredict.engine.run import Run
    from envpredict.scenario.types import Scenario

Key = tuple[str, str]


@dataclass(frozen=True, slots=True, eq=False)
class Ready:
    """What is prepared once for all tiles of a run: the run itself, and its candidates with their programmes."""

    run: Run
    methods: tuple[MethodRun, ...]


@dataclass(frozen=True, slots=True, eq=False)
class TileResult:
    """What a tile of receptors (R) comes to.

    `blocks`: for every rule, method and period in the order adopted, the columns of its findings; `days` (D,) the
    dates worked and `daily`, method and effect to the highest chance by day (R, D); `needs`: columns of the table of
    what would comply with the limits on noise; `governs`: per candidate, the numbers of the laws that govern anywhere.
    """

    blocks: tuple[dict[str, Column], ...]
    days: NDArray[np.datetime64]
    daily: dict[Key, NDArray[np.float32]]
    needs: dict[str, Column]
    governs: dict[str, tuple[int, ...]]


def ready(scenario: Scenario, catalogue: Catalogue) -> Ready:
    """Return what all tiles of a scenario share. Raises InputProblems for faults in files that the scenario brings."""
    from envpredict.engine.works.choices import choices

    run = prepare(scenario, catalogue, choices(scenario, catalogue))
    return Ready(run, tuple(run_method(run, choice) for choice in run.choices))


def tile_result(shared: Ready, rows: NDArray[np.int64], tell: Callable[[str], None] | None = None) -> TileResult:
    """Return what some receptors of a run, by their numbers, come to.

    A receptor's results don't depend on which others are in its tile. `tell` is called before each candidate.
    """
    import pandas as pd

    part = shared.run.at(rows)
    blocks: list[Block] = []
    needs: list[pd.DataFrame] = []
    governs: dict[str, tuple[int, ...]] = {}
    for whole in shared.methods:
        if tell is not None:
            tell(whole.choice.title)
        method = whole.at(part)
        found = method_findings(part, method)
        needs.append(noise_needs(part, [method], findings_frame(found)))
        worked = np.unique(method.passes.pile)
        governs[method.choice.id] = tuple(np.unique(method.vibration.field[:, worked]).tolist())
        blocks += found
    days, daily = by_day(blocks)
    wanted = pd.concat(needs, ignore_index=True)
    return TileResult(tuple({name: packed(values, len(rows)) for name, values in block.columns.items()}
                            for block in blocks), days, daily,
                      {str(name): packed(wanted[name].to_numpy(), len(wanted)) for name in wanted}, governs)


def spread(parts: Sequence[TileResult]) -> tuple[NDArray[np.datetime64], dict[Key, NDArray[np.float32]]]:
    """Return the dates worked (D,) and the chances by day (R, D) of tiles that follow one another."""
    days = np.unique(np.concatenate([part.days for part in parts]))
    found: dict[Key, NDArray[np.float32]] = {}
    for key in parts[0].daily:
        rows = []
        for part in parts:
            wide = np.zeros((part.daily[key].shape[0], len(days)), dtype=np.float32)
            wide[:, np.searchsorted(days, part.days)] = part.daily[key]
            wide[np.isnan(part.daily[key]).all(axis=1)] = np.nan
            rows.append(wide)
        found[key] = np.concatenate(rows)
    return days, found
