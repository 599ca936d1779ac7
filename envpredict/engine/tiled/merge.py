"""Tiles put together again, in the order of their receptors: what one run over all of them gives."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from envpredict.engine.noise.needs import in_order
from envpredict.engine.results import FINDING_COLUMNS
from envpredict.engine.tiled import table
from envpredict.engine.tiled.tile import TileResult, spread

if TYPE_CHECKING:
    import pandas as pd


def merged(parts: Sequence[TileResult]) -> tuple[pd.DataFrame, dict[str, Any]]:
    """Return the findings of tiles that follow one another, and what else they found.

    Findings come by method, then rule by rule in the order adopted, receptor by receptor.
    """
    import pandas as pd

    count = len(parts[0].blocks)
    findings = table.frame({name: table.joined([part.blocks[number][name] for number in range(count) for part in parts])
                            for name in FINDING_COLUMNS}) if count else pd.DataFrame(columns=list(FINDING_COLUMNS))
    days, daily = spread(parts)
    needs = table.frame({name: table.joined([part.needs[name] for part in parts]) for name in parts[0].needs})
    governs = {name: tuple(sorted({number for part in parts for number in part.governs[name]}))
               for name in parts[0].governs}
    return findings, {"days": days, "daily": daily, "noise_needs": in_order(needs, findings), "governs": governs}
