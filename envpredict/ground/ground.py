"""The ground model: boreholes with their strata, the nearest one for any place, its words and strengths by depth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from envpredict.ground.schemes import SCHEMES, UNKNOWN, clay_strength_kpa, strength_is_from_n
from envpredict.ground.strata import Flags, Floats, Strata, Words, read_strata

if TYPE_CHECKING:
    import pandas as pd

INTERPOLATION = "the nearest borehole stands for the ground: nothing is interpolated between boreholes"


@dataclass(frozen=True, slots=True, eq=False)
class Profile:
    """What the strata hold at depths (D): strengths as NaN where unknown, beyond the borehole's end too.

    `n`: SPT N converted to 300 mm; `cu_kpa`: undrained strength of cohesive strata, from N where it wasn't given;
    `below_water`: NaN-safe: False where the water level isn't known, see `water_known`.
    """

    depth_m: Floats
    description: Words
    kind: Words
    n: Floats
    cu_kpa: Floats
    ucs_mpa: Floats
    cobble_m: Floats
    boulder_m: Floats
    below_water: Flags
    water_known: bool


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """Boreholes and their strata; boreholes are numbered from 0 in the order of the table."""

    strata: Strata

    @classmethod
    def from_strata(cls, frame: pd.DataFrame, where: str = "strata", toe_depth_m: float | None = None) -> Ground:
        """Return the ground of a table of strata (columns and faults: `strata.read_strata`). Raises InputProblems."""
        return cls(read_strata(frame, where, toe_depth_m))

    @property
    def boreholes(self) -> pd.DataFrame:
        """Return the boreholes: borehole, x, y, base_m (depth of the deepest stratum), water_m (NaN if unknown)."""
        import pandas as pd

        base = np.zeros(len(self.strata.names))
        np.maximum.at(base, self.strata.borehole, self.strata.base_m)
        return pd.DataFrame({"borehole": self.strata.names, "x": self.strata.x, "y": self.strata.y, "base_m": base,
                             "water_m": self.strata.water_m})

    @property
    def notes(self) -> tuple[str, ...]:
        """Return what was assumed in reading the strata, in words."""
        rows = np.flatnonzero(strength_is_from_n(self.strata))
        found = [f"{self._place(row)}: undrained strength taken as 4.5 N" for row in rows]
        found += [f"{self._place(row)}: fill counts as coarse soil" for row in
                  np.flatnonzero(self.strata.kind == "fill")]
        found += [f"{self._place(row)}: the description '{self.strata.description[row]}' names no ground that is known"
                  for row in np.flatnonzero(self.strata.kind == UNKNOWN)]
        return (INTERPOLATION, *found)

    def missing(self, borehole: int) -> tuple[str, ...]:
        """Return what to find out in a borehole, so that the catalogue's class is known throughout."""
        words = SCHEMES["catalogue"](self.strata)
        wanted = {"coarse": "SPT N", "fill": "SPT N", "cohesive": "undrained strength or SPT N",
                  "rock": "unconfined strength", UNKNOWN: "what the ground is, and its strength"}
        return tuple(f"{self._place(row)}: {wanted[str(self.strata.kind[row])]}" for row in
                     np.flatnonzero((self.strata.borehole == borehole) & (words == UNKNOWN)))

    def nearest(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.intp]:
        """Return the number of the nearest borehole of each place (N,) in plan; of equally near ones the first."""
        from scipy.spatial import cKDTree

        places = np.column_stack([np.atleast_1d(np.asarray(x, dtype=float)), np.atleast_1d(np.asarray(y, dtype=float))])
        if not np.isfinite(places).all():
            raise ValueError("x and y must be finite")
        _, index = cKDTree(np.column_stack([self.strata.x, self.strata.y])).query(places)
        return np.asarray(index, dtype=np.intp)

    def words(self, scheme: str, borehole: int, depth_m: ArrayLike) -> Words:
        """Return the scheme's word at each depth; `unknown` where strength is missing and below the borehole's end.

        depth_m: depth below ground in m, any shape; a depth on a boundary belongs to the stratum above. Raises
        UnknownName for a scheme that isn't declared, ValueError for a negative depth or an unknown borehole.
        """
        row, inside = self._rows(borehole, depth_m)
        words: Words = np.where(inside, SCHEMES[scheme](self.strata)[row], UNKNOWN)
        return words

    def profile(self, borehole: int, depth_m: ArrayLike) -> Profile:
        """Return what the strata of a borehole hold at each depth (any shape). Raises as `words` does."""
        row, inside = self._rows(borehole, depth_m)
        depth = np.asarray(depth_m, dtype=float)

        def at(values: Floats) -> Floats:
            return np.where(inside, values[row], np.nan)

        water = float(self.strata.water_m[borehole])
        return Profile(
            depth, np.where(inside, self.strata.description[row], ""), np.where(inside, self.strata.kind[row], UNKNOWN),
            at(self.strata.n), at(clay_strength_kpa(self.strata)), at(self.strata.ucs_mpa), at(self.strata.cobble_m),
            at(self.strata.boulder_m), depth > water, bool(np.isfinite(water)))

    def _place(self, row: np.integer[Any]) -> str:
        s = self.strata
        return f"borehole '{s.names[s.borehole[row]]}', {s.top_m[row]:g} to {s.base_m[row]:g} m"

    def _rows(self, borehole: int, depth_m: ArrayLike) -> tuple[NDArray[np.intp], Flags]:
        """Return the stratum's row at each depth, and whether the borehole goes that deep."""
        if not 0 <= borehole < len(self.strata.names):
            raise ValueError(f"no borehole {borehole}: there are {len(self.strata.names)}, numbered from 0")
        depth = np.asarray(depth_m, dtype=float)
        if (depth < 0).any():
            raise ValueError("depth_m must not be negative")
        rows = np.flatnonzero(self.strata.borehole == borehole)
        at = np.searchsorted(self.strata.base_m[rows], depth, side="left")
        return rows[np.minimum(at, len(rows) - 1)], (at < len(rows)) & ~np.isnan(depth)
