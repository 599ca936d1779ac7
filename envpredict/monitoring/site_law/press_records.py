"""Press records: force, torque and rate of penetration by depth, each beside what the nearest borehole shows there.

They come from the works diary (`works.csv`), one row per depth step of a pile: pile_id, depth_from_m, depth_to_m,
press_force_kn, torque_kn_m, penetration_m_min.
"""

from __future__ import annotations

import csv
import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.errors import InputProblems, Problem
from envpredict.core.words import suggestion
from envpredict.engine.works.soil import drives, read_ground
from envpredict.monitoring.records.faults import Faults
from envpredict.monitoring.records.small import small_table

if TYPE_CHECKING:
    from envpredict.monitoring.records.small import SmallTable
    from envpredict.scenario.types import Scenario

Floats = NDArray[np.float64]
MEASURES: dict[str, tuple[str, str, bool]] = {
    "press_force_kn": ("press force", "kN", True),
    "torque_kn_m": ("torque", "kN m", True),
    "penetration_m_min": ("rate of penetration", "m/min", False),
}
"""Column to its name, its unit, and whether more of it means harder ground."""


@dataclass(frozen=True, slots=True, eq=False)
class Press:
    """Steps (S) of pressed piles, pile by pile downwards.

    `pile` names; `number` (S): of the pile in the scenario; `from_m`, `to_m` depths of the toe; `values`: measure to
    (S,), NaN where not recorded; `word` (S): hard, other or unknown by the nearest borehole; `stratum` (S): its
    description there; `borehole` (S).
    """

    pile: NDArray[np.str_]
    number: NDArray[np.intp]
    from_m: Floats
    to_m: Floats
    values: dict[str, Floats]
    word: NDArray[np.str_]
    stratum: NDArray[np.str_]
    borehole: NDArray[np.str_]

    @property
    def piles(self) -> list[str]:
        """Return the pressed piles in the order of the records."""
        return list(dict.fromkeys(self.pile.tolist()))

    @property
    def measured(self) -> list[str]:
        """Return the measures that were recorded at all."""
        return [name for name, values in self.values.items() if np.isfinite(values).any()]


def read_works(path: Path) -> tuple[SmallTable, dict[str, str]]:
    """Return a works diary and its name with its SHA-256. Raises InputProblems with every fault and its line."""
    faults = Faults()
    try:
        data = path.read_bytes()
        reader = csv.reader(data.decode("utf-8-sig").splitlines())
        lines = [(reader.line_num, cells) for cells in reader if any(cell.strip() for cell in cells)]
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise InputProblems([Problem(str(path), f"can't be read: {error}", "name a works diary, CSV in UTF-8")],
                            path.name) from None
    table = small_table("works", path.name, lines, faults)
    if faults:
        raise InputProblems(faults.problems(), path.name)
    return table, {path.name: hashlib.sha256(data).hexdigest()}


def press_of(works: SmallTable, scenario: Scenario) -> Press | None:
    """Return the press records of a diary beside the scenario's strata; None where it holds none.

    Raises InputProblems for piles that the scenario doesn't hold, steps without depths, and a scenario without strata.
    """
    rows = [row for row in works.rows if any(row[name] is not None for name in MEASURES)]
    if not rows:
        return None
    ids = scenario.piles["id"].astype(str).tolist()
    problems = []
    for row in rows:
        if row["pile_id"] not in ids:
            problems.append(Problem(works.where(row), f"no pile '{row['pile_id']}' in the scenario",
                                    suggestion(str(row["pile_id"]), ids)))
        elif row["depth_from_m"] is None or row["depth_to_m"] is None or row["depth_to_m"] <= row["depth_from_m"]:
            problems.append(Problem(works.where(row), "press records without the depths between which they were taken",
                                    "give depth_from_m and the greater depth_to_m"))
    ground = read_ground(scenario)
    if ground is None:
        problems.append(Problem(works.file, "press records are held against strata, and the scenario brings none",
                                "add [ground] strata"))
    if problems or ground is None:
        raise InputProblems(problems, works.file)
    rows.sort(key=lambda row: (ids.index(row["pile_id"]), row["depth_from_m"]))
    number = np.array([ids.index(row["pile_id"]) for row in rows], dtype=np.intp)
    top, base = (np.array([float(row[name]) for row in rows]) for name in ("depth_from_m", "depth_to_m"))
    hole = drives(scenario, ground).borehole[number]
    middle = 0.5 * (top + base)
    word, stratum = np.full(len(rows), "unknown", dtype="U16"), np.full(len(rows), "", dtype=object)
    for one in np.unique(hole):
        here = hole == one
        word[here] = ground.words("hard_ground", int(one), middle[here])
        stratum[here] = ground.profile(int(one), middle[here]).description
    names = ground.boreholes["borehole"].to_numpy(dtype=str)
    values = {name: np.array([np.nan if row[name] is None else float(row[name]) for row in rows]) for name in MEASURES}
    return Press(np.array([row["pile_id"] for row in rows]), number, top, base, values, word,
                 stratum.astype(np.str_), names[hole])


def by_stratum(press: Press) -> list[str]:
    """Return, for each stratum as the boreholes describe it, what was recorded in it, in words."""
    lines = []
    keys = list(dict.fromkeys(zip(press.borehole.tolist(), press.stratum.tolist(), press.word.tolist(), strict=True)))
    for hole, stratum, word in keys:
        here = (press.borehole == hole) & (press.stratum == stratum) & (press.word == word)
        parts = []
        for name in press.measured:
            values = press.values[name][here]
            values = values[np.isfinite(values)]
            if len(values):
                title, unit, _ = MEASURES[name]
                parts.append(f"{title} {np.median(values):.3g} ({values.min():.3g} to {values.max():.3g}) {unit}")
        lines.append(f"borehole {hole}, {press.from_m[here].min():g} to {press.to_m[here].max():g} m, "
                     f"{stratum or 'below its end'} ({word}): {int(here.sum())} steps; {'; '.join(parts)}")
    return lines
