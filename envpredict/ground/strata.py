"""Read a table of strata into arrays; every fault is found in one pass."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envpredict.core.errors import InputProblems, Problem
from envpredict.ground.describe import describe
from envpredict.ground.spt import HINT, read_spt

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Words = NDArray[np.str_]

REQUIRED = ("borehole", "x", "y", "top_m", "base_m")
NUMBERS = ("x", "y", "top_m", "base_m", "cu_kpa", "ucs_mpa", "vs_m_s", "cobble_m", "boulder_m", "water_m")
JOIN_TOLERANCE_M = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class Strata:
    """Strata (S) of all boreholes, sorted by borehole and depth; NaN where a number wasn't given.

    `borehole`: number of the borehole in `names`; `top_m`, `base_m`: depths below ground; `n`: converted SPT N;
    `kind`: cohesive, coarse, rock, organic, fill or unknown; `vs_m_s`: measured shear-wave speed; `gravel`, `cobbles`,
    `boulders`: present or not.
    """

    names: tuple[str, ...]
    x: Floats
    y: Floats
    water_m: Floats
    borehole: NDArray[np.intp]
    top_m: Floats
    base_m: Floats
    description: Words
    kind: Words
    n: Floats
    cu_kpa: Floats
    ucs_mpa: Floats
    vs_m_s: Floats
    cobble_m: Floats
    boulder_m: Floats
    gravel: Flags
    cobbles: Flags
    boulders: Flags


def read_strata(frame: pd.DataFrame, where: str = "strata", toe_depth_m: float | None = None) -> Strata:
    """Read a table of strata.

    Columns: borehole, x, y, top_m, base_m; where known description, spt_n, cu_kpa, ucs_mpa, vs_m_s, cobble_m,
    boulder_m, gravel (yes or no), water_m (or groundwater_m). Depths are in m below ground; `where` names the table in
    messages, rows are counted from 2 (the header is line 1). `toe_depth_m`: the deepest toe that the strata must reach.
    Raises InputProblems with every fault: missing columns, unreadable numbers and N, upside-down, overlapping and gappy
    strata, boreholes that move or end above the toe.
    """
    import pandas as pd

    missing = [name for name in REQUIRED if name not in frame.columns]
    if missing:
        raise InputProblems([Problem(where, f"column '{name}' is missing", f"needed: {', '.join(REQUIRED)}")
                             for name in missing], where)
    if frame.empty:
        raise InputProblems([Problem(where, "holds no strata", "give at least one")], where)
    problems = [Problem(f"{where}, line {row + 2}", "the borehole has no name", "give every stratum its borehole")
                for row in np.flatnonzero(frame["borehole"].isna())]
    table = frame.rename(columns={"groundwater_m": "water_m"}).reset_index(drop=True)
    columns: dict[str, Floats] = {}
    for name in NUMBERS:
        raw = table[name] if name in table else pd.Series(np.nan, index=table.index)
        numbers = pd.to_numeric(raw, errors="coerce")
        needed = name in REQUIRED
        for row in np.flatnonzero((numbers.isna() & (raw.notna() | needed)).to_numpy()):
            problems.append(Problem(f"{where}, line {row + 2}", f"{name} '{raw.iloc[row]}' isn't a number",
                                    "write a number" + ("" if needed else ", or leave it empty")))
        columns[name] = numbers.to_numpy(dtype=float)
    spt = _spt(table, where, problems)
    order = np.lexsort((columns["top_m"], table["borehole"].astype(str).to_numpy(dtype=str)))
    _check_order(table["borehole"].astype(str).to_numpy(dtype=str), columns, order, where, toe_depth_m, problems)
    if problems:
        raise InputProblems(problems, where)
    return _arrange(table, columns, spt)


def _spt(table: pd.DataFrame, where: str, problems: list[Problem]) -> Floats:
    """Return the converted N of each row; NaN where none is given."""
    counts = np.full(len(table), np.nan)
    if "spt_n" not in table:
        return counts
    for row, text in enumerate(table["spt_n"]):
        words = _text(text)
        if not words:
            continue
        try:
            test = read_spt(words)
            # N > 50 lies in the band above 50, not at its edge
            counts[row] = np.nextafter(test.converted_n, np.inf) if test.at_least else test.converted_n
        except ValueError as error:
            problems.append(Problem(f"{where}, line {row + 2}", f"spt_n {error}", HINT))
    return counts


def _check_order(names: Words, columns: dict[str, Floats], order: NDArray[np.intp], where: str,
                 toe_depth_m: float | None, problems: list[Problem]) -> None:
    """Note strata that are upside down, overlap or leave gaps, and boreholes that move or end too high."""
    top, base = columns["top_m"], columns["base_m"]
    for row in order:
        if base[row] <= top[row]:
            problems.append(Problem(f"{where}, line {row + 2}", f"base {base[row]:g} m isn't below top {top[row]:g} m",
                                    "depths are below ground and grow downwards"))
    for name in dict.fromkeys(names):
        rows = [int(row) for row in order if names[row] == name]
        if top[rows[0]] > JOIN_TOLERANCE_M:
            problems.append(Problem(f"{where}, line {rows[0] + 2}", f"borehole '{name}' begins {top[rows[0]]:g} m "
                                    "below ground", "let its first stratum begin at 0"))
        for upper, lower in itertools.pairwise(rows):
            step = top[lower] - base[upper]
            if abs(step) > JOIN_TOLERANCE_M:
                fault = f"leaves a gap of {step:.2f} m" if step > 0 else f"overlaps the one above by {-step:.2f} m"
                problems.append(Problem(f"{where}, line {lower + 2}", f"stratum of borehole '{name}' {fault}",
                                        "let each stratum begin where the last one ends"))
        if any(columns[axis][row] != columns[axis][rows[0]] for axis in ("x", "y") for row in rows):
            problems.append(Problem(f"{where}, line {rows[0] + 2}", f"borehole '{name}' has more than one place",
                                    "give every stratum of a borehole the same x and y"))
        if toe_depth_m is not None and base[rows[-1]] < toe_depth_m - JOIN_TOLERANCE_M:
            problems.append(Problem(f"{where}, line {rows[-1] + 2}", f"borehole '{name}' ends at {base[rows[-1]]:g} m, "
                                    f"above the toe at {toe_depth_m:g} m",
                                    "add what lies below as a stratum; leave its strength empty if unknown"))


def _text(value: Any) -> str:
    """Return the text of a cell; a missing one is empty."""
    import pandas as pd

    return "" if pd.isna(value) else str(value).strip()


def _truth(value: Any) -> bool | None:
    """Return what a cell says of gravel: yes, no, or nothing."""
    word = _text(value).casefold()
    return {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False,
            "1.0": True, "0.0": False}.get(word)


def _arrange(table: pd.DataFrame, columns: dict[str, Floats], spt: Floats) -> Strata:
    """Return the arrays, boreholes in the order of their first row, strata downwards."""
    ids = table["borehole"].astype(str).to_numpy(dtype=object)
    names = tuple(dict.fromkeys(ids))
    number = np.array([names.index(name) for name in ids], dtype=np.intp)
    order = np.lexsort((columns["top_m"], number))
    first = np.array([int(np.flatnonzero(number == hole)[0]) for hole in range(len(names))])
    texts = [_text(cell) for cell in table["description"]] if "description" in table else [""] * len(table)
    gravel: list[Any] = list(table["gravel"]) if "gravel" in table else [None] * len(table)
    said = [describe(text) for text in texts]
    water = [columns["water_m"][number == hole] for hole in range(len(names))]
    strength = {name: columns[name][order] for name in ("cu_kpa", "ucs_mpa", "vs_m_s", "cobble_m", "boulder_m")}
    kind = np.array([one.kind for one in said])
    stated = [_truth(cell) for cell in gravel]
    is_gravel = np.array([one.gravel if cell is None else cell for one, cell in zip(said, stated, strict=True)])
    # a stratum that only a strength speaks of is what the strength is measured on
    kind = np.where((kind == "unknown") & ~np.isnan(columns["cu_kpa"]), "cohesive", kind)
    kind = np.where((kind == "unknown") & ~np.isnan(columns["ucs_mpa"]), "rock", kind)
    kind = np.where((kind == "unknown") & is_gravel, "coarse", kind)
    return Strata(
        names=tuple(str(name) for name in names), x=columns["x"][first], y=columns["y"][first],
        water_m=np.array([np.nan if np.isnan(w).all() else np.nanmin(w) for w in water]),
        borehole=number[order], top_m=columns["top_m"][order], base_m=columns["base_m"][order],
        description=np.array(texts)[order],
        kind=kind[order], n=spt[order], **strength, gravel=is_gravel[order] & (kind[order] != "cohesive"),
        cobbles=np.array([one.cobbles for one in said])[order] | (strength["cobble_m"] > 0),
        boulders=np.array([one.boulders for one in said])[order] | (strength["boulder_m"] > 0),
    )
