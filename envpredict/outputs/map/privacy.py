"""What stays out of a page that anybody may open, unless it is asked for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import pandas as pd

PUBLIC_USES: frozenset[str] = frozenset({"hospital", "school", "worship", "heritage", "railway", "bridge",
                                         "buried_pipe", "open_space"})
"""Uses whose name is that of a place, not of the people who live or work there."""
PROTECTED_USE = "habitat"


@dataclass(frozen=True, slots=True)
class Discretion:
    """Which receptors' names and places stay out; both arrays have one entry per receptor."""

    names: NDArray[np.bool_]
    places: NDArray[np.bool_]

    def notes(self) -> list[str]:
        """Return the sentences by which the page tells what it leaves out."""
        told = []
        if (self.names & ~self.places).any():
            told.append("Names of homes and workplaces are left out of this page.")
        if self.places.any():
            count = int(self.places.sum())
            told.append(f"The place of {count} protected habitat{'s' if count > 1 else ''} is left out of this page: "
                        "listed, not drawn, without name, governing pile and days.")
        return told


def discretion(receptors: pd.DataFrame, *, private_names: bool, show_protected: bool) -> Discretion:
    """Return what stays out: with `private_names` the names of homes and workplaces; places and names of habitats."""
    use = receptors["use"].astype(str)
    protected = use.eq(PROTECTED_USE).to_numpy() & (not show_protected)
    named = receptors["name"].notna() & receptors["name"].astype(str).ne(receptors["id"].astype(str))
    private = ~use.isin(PUBLIC_USES | {PROTECTED_USE}).to_numpy() & private_names
    return Discretion(named.to_numpy() & (private | protected), protected)
