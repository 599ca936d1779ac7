"""Trial records out of a folder of monitoring records: the highest reading of each station while a pile was driven."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from envpredict.core.errors import InputProblems, Problem, UnknownName
from envpredict.core.words import suggestion
from envpredict.engine.learned.site_law import speaks_for
from envpredict.monitoring.records.columns import AXES
from envpredict.monitoring.records.flags import AT_LEAST, usable
from envpredict.monitoring.records.read import Records, read_records
from envpredict.monitoring.site_law.trial import LeftOut, Row, Trial

if TYPE_CHECKING:
    from envpredict.models.spec import ModelSpec
    from envpredict.monitoring.records.rows import Rows
    from envpredict.scenario.types import Scenario

ON_THE_GROUND = ("ground", "boundary", "free_field", "structure")
"""Positions of stations whose readings are the ground's: what stands in a building isn't compared with the law."""
COLUMNS = {"ppv_resultant": ("pvs_mm_s",), "ppv_component": tuple(f"ppv_{axis}_mm_s" for axis in AXES),
           "ppv_unspecified": tuple(f"ppv_{axis}_mm_s" for axis in AXES), "ppv_vertical": ("ppv_z_mm_s",),
           "ppv_horizontal": ("ppv_x_mm_s", "ppv_y_mm_s")}
"""Quantity to the columns of the records whose highest it is; z is vertical."""


@dataclass(frozen=True, slots=True)
class Pass:
    """A pile's drive by the works diary: spans in ms since 1970 UTC with the toe's depth at their end."""

    pile: str
    method: str
    line: int
    spans: tuple[tuple[int, int, float | None], ...]
    energy_kj: float | None
    x: float
    y: float


def trial_of(folder: Path, scenario: Scenario, models: Mapping[str, ModelSpec], model: str, phase: str) -> Trial:
    """Return the trial records of a folder of monitoring records for a law, placed by the scenario's piles.

    `phase`: what the diary doesn't tell. Lines are those of the works diary. Raises UnknownName for an unknown model,
    InputProblems where diary or stations are missing or lie outside the scenario.
    """
    if model not in models:
        raise UnknownName(f"unknown model '{model}'", suggestion(model, models))
    records = read_records(folder)
    quantity = _quantity(records, models[model].quantity)
    problems: list[Problem] = []
    passes = _passes(records, scenario, problems)
    stations = _stations(records, scenario, problems)
    if problems:
        raise InputProblems(problems, f"records {folder.name}")
    rows: list[Row] = []
    silent: list[int] = []
    clash = {one.line for one in passes for other in passes if one is not other and _overlap(one, other)}
    triggers = {str(row["station_id"]): row["trigger_mm_s"] for row in records.stations.rows}
    for name, (x, y) in stations.items():
        readings = records.rows("vibration", name)
        for one in passes:
            found = _highest(readings, quantity, one) or _untriggered(readings, triggers[name], quantity, one)
            if one.line in clash:
                continue
            if found is None or not found[0] > 0.0:
                silent.append(one.line)
                continue
            level, reads, depth = found
            rows.append(Row(one.line, one.pile, one.method, phase, float(np.hypot(x - one.x, y - one.y)), level, reads,
                            quantity, station=name, energy_kj=one.energy_kj, depth_m=depth))
    left = [LeftOut(tuple(sorted(set(lines))), why) for lines, why in (
        (clash, "two piles were driven at once: a level can't be given to one of them"),
        (silent, "a station has no usable reading while the pile was driven: an unreached trigger counts where "
                 "stations.csv states trigger_mm_s and the logger stored something on that day, before or after; or "
                 "state it in a file of trial records, as `below`")) if lines]
    hashes = dict(records.digests)
    return Trial(records.works.file, tuple(rows), hashes, tuple(left))


def _passes(records: Records, scenario: Scenario, problems: list[Problem]) -> list[Pass]:
    if not len(records.works):
        problems.append(Problem(records.works.file, "isn't there or is empty",
                                "a trial needs the works diary: which pile, which method, from when to when"))
        return []
    places = {str(name): (point.x, point.y) for name, point in
              zip(scenario.piles["id"], scenario.piles.geometry, strict=True)}
    drives: dict[tuple[str, str], list[Mapping[str, Any]]] = {}
    for row in records.works.rows:
        if row["pile_id"] is not None and row["method"] is not None:
            drives.setdefault((str(row["pile_id"]), str(row["method"])), []).append(row)
    found = []
    for (pile, method), rows in drives.items():
        if pile not in places:
            problems.append(Problem(records.works.where(rows[0]), f"no pile '{pile}' in the scenario",
                                    "name piles as the scenario's layer does"))
            continue
        energies = [row["energy_kj"] for row in rows if row["energy_kj"] is not None]
        spans = tuple((int(row["t_start"]), int(row["t_end"]), row["depth_to_m"]) for row in rows)
        found.append(Pass(pile, method, int(rows[0]["line"]), spans, max(energies, default=None), *places[pile]))
    return found


def _stations(records: Records, scenario: Scenario, problems: list[Problem]) -> dict[str, tuple[float, float]]:
    """Return the places, in the scenario's system, of the stations that measure the ground's vibration."""
    from pyproj import CRS, Transformer
    from pyproj.exceptions import CRSError

    found = {}
    for row in records.stations.rows:
        name = row["station_id"]
        if row["kind"] != "vibration" or (row["position"] or "ground") not in ON_THE_GROUND:
            continue
        if row["x"] is None or row["y"] is None:
            problems.append(Problem(records.stations.where(row), f"station '{name}' has no place", "give x and y"))
            continue
        x, y = float(row["x"]), float(row["y"])
        if row["crs"] is not None:
            try:
                change = Transformer.from_crs(CRS.from_user_input(row["crs"]), scenario.crs, always_xy=True)
            except CRSError as error:
                problems.append(Problem(records.stations.where(row), f"unknown crs '{row['crs']}': {error}",
                                        "write it as EPSG:32631"))
                continue
            x, y = change.transform(x, y)
        found[str(name)] = (x, y)
    if not found and not problems:
        problems.append(Problem(records.stations.file, "names no vibration station on the ground",
                                "give station_id, kind, x, y and position of every station"))
    return found


def _overlap(one: Pass, other: Pass) -> bool:
    return one.pile != other.pile and any(a < d and c < b for a, b, _ in one.spans for c, d, _ in other.spans)


DAY_MS = 86_400_000


def _untriggered(rows: Rows, trigger_mm_s: float | None, quantity: str,
                 drive: Pass) -> tuple[float, str, float | None] | None:
    """Return the trigger that a level stayed below, where a logger that stores triggers alone was at work.

    The trigger is that of any axis: the resultant may lie above it by the root of three. That the logger was at work is
    shown by something that it stored within a day before or after the drive; a row that says of itself that it doesn't
    measure (off, at fault, under range) shows nothing.
    """
    if trigger_mm_s is None or not trigger_mm_s > 0.0 or not len(rows):
        return None
    begin, end = min(start for start, _, _ in drive.spans), max(stop for _, stop, _ in drive.spans)
    near = (rows.start < end + DAY_MS) & (rows.end > begin - DAY_MS)
    down = near & (rows.start < end) & (rows.end > begin)
    alive = near & usable(rows.flags)
    if down.any() or not alive.any():
        return None
    return float(trigger_mm_s) * (math.sqrt(3.0) if quantity == "ppv_resultant" else 1.0), "below", None


def _highest(rows: Rows, quantity: str, drive: Pass) -> tuple[float, str, float | None] | None:
    """Return the highest reading while a pile was driven, how it reads, and the toe's depth then."""
    there = [rows.values[name] for name in COLUMNS[quantity] if name in rows.values]
    if not there or not len(rows):
        return None
    level = np.where(usable(rows.flags), np.fmax.reduce(there), np.nan)
    best: tuple[float, str, float | None] | None = None
    for start, end, depth in drive.spans:
        here = np.flatnonzero((rows.start < end) & (rows.end > start) & np.isfinite(level))
        if here.size:
            top = int(here[level[here].argmax()])
            if best is None or level[top] > best[0]:
                best = float(level[top]), "above" if rows.flags[top] & AT_LEAST else "level", depth
    return best


def _quantity(records: Records, wanted: str) -> str:
    """Return the peak velocity to take for a law: one that is never below the law's own and that the loggers stored.

    The largest component comes first, since most limits are stated in it.
    """
    stored = {name for station in records.station_ids("vibration")
              for name in records.rows("vibration", station).values}
    fitting = [name for name in ("ppv_component", "ppv_resultant", wanted) if speaks_for(name, wanted)]
    return next((name for name in fitting if stored.issuperset(COLUMNS.get(name, (name,)))), wanted)
