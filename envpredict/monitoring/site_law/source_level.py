"""The sound power of an item of plant, updated by levels measured beside it on this site.

Records: CSV with `*` needed: plant*, laeq_db* (while it works), distance_m*, position* (free_field or facade), ground*
(hard or soft, between machine and microphone), background_db, date, remark.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from envpredict.core.citation import Citation
from envpredict.core.errors import InputProblems, Problem, UnknownName
from envpredict.core.words import suggestion
from envpredict.engine.learned.site_law import PlantFit
from envpredict.methods.measured import sound_power_db
from envpredict.monitoring.site_law.trial import LeftOut, lines_said, read_cells
from envpredict.scenario.columns import METRES, Column
from envpredict.scenario.problems import Findings

if TYPE_CHECKING:
    from envpredict.core.registry import Registry
    from envpredict.methods.schema import Plant

COLUMNS: tuple[Column, ...] = (
    Column("plant", required=True),
    Column("laeq_db", "number", above=15.0, high=140.0, required=True, hint="an A-weighted level in dB while it works; "
           "0 dB is a filler and no level"),
    Column("distance_m", "number", above=0.0, high=1000.0, required=True, hint=METRES),
    Column("position", "word", ("free_field", "facade"), required=True),
    Column("ground", "word", ("hard", "soft"), required=True),
    Column("background_db", "number", low=0.0, high=140.0, hint="LAeq with the machine silent, in dB"),
    Column("date"), Column("remark"),
)
FORMULA = Citation("standard statistics", None, "L_post = (L0 / u0^2 + n Lm / sm^2) / (1 / u0^2 + n / sm^2), "
                   "u_post^2 = 1 / (1 / u0^2 + n / sm^2)", "memory", note="normal update of a mean level")
SEPARABLE_DB = 3.0
SEPARABLE = Citation("common practice", None, "a level less than 3 dB above the background can't be told from it",
                     "practice")
LEAST_SD_DB = 2.0
LEAST_SD = Citation("our judgement", None, f"levels of one machine scatter by {LEAST_SD_DB:g} dB at least: few alike "
                    "ones don't prove a steady source", "estimate")
SAME_RIG_U_DB = 2.0
SAME_RIG = Citation("our judgement", None, f"a level measured on the same machine and ground is known to "
                    f"{SAME_RIG_U_DB:g} dB at best", "estimate")
FARTHEST_M = 50.0
NEARBY = Citation("our judgement", None,
                  f"beyond {FARTHEST_M:g} m air and ground take more than distance alone explains", "estimate")
LEAST_TO_FIT = 3


@dataclass(frozen=True, slots=True)
class MeasuredPlant:
    """The update of one item of plant, and what was left out."""

    plant: Plant
    fit: PlantFit
    left_out: tuple[LeftOut, ...]
    name: str
    hashes: dict[str, str]


def posterior_level(prior_db: float, prior_u_db: float, mean_db: float, sd_db: float,
                    count: int) -> tuple[float, float]:
    """Return the updated level and its standard uncertainty in dB (FORMULA).

    prior: level and uncertainty; mean and standard deviation of `count` measured levels. Raises ValueError for an
    uncertainty or a deviation that isn't positive, or no measurement.

    >>> [round(x, 2) for x in posterior_level(118.0, 5.0, 112.0, 2.0, 4)]
    [112.23, 0.98]
    """
    if not (prior_u_db > 0 and sd_db > 0 and count > 0):
        raise ValueError("prior_u_db and sd_db must be positive, count at least 1")
    weight = 1.0 / prior_u_db**2 + count / sd_db**2
    return (prior_db / prior_u_db**2 + count * mean_db / sd_db**2) / weight, weight**-0.5


def fit_plant(path: Path, plants: Registry[Plant], wanted: str) -> MeasuredPlant:
    """Return the update of an item of plant by the records of a CSV file.

    Raises UnknownName for plant that nobody declares, InputProblems for faulty records or too few of them.
    """
    if wanted not in plants:
        raise UnknownName(f"unknown plant '{wanted}'", suggestion(wanted, plants))
    item = plants[wanted]
    found = Findings()
    lines, cells = read_cells(path, COLUMNS, found)
    if found.problems:
        raise InputProblems(found.problems, path.name)
    left: dict[str, list[int]] = {}
    powers = []
    for number, line in enumerate(lines):
        at = {name: values[number] for name, values in cells.items()}
        why = _unfit(at, wanted)
        if why:
            left.setdefault(why, []).append(line)
            continue
        level = at["laeq_db"]
        if at["background_db"] is not None:
            level = 10.0 * np.log10(10.0 ** (level / 10.0) - 10.0 ** (at["background_db"] / 10.0))
        powers.append(sound_power_db(float(level), at["distance_m"], position=at["position"], ground=at["ground"]))
    out = tuple(LeftOut(tuple(numbers), why) for why, numbers in left.items())
    if len(powers) < LEAST_TO_FIT:
        told = [Problem(f"{path.name}, {lines_said(one.lines)}", one.why) for one in out]
        raise InputProblems([Problem(path.name, f"{len(powers)} level(s) of '{wanted}' can be used; an update needs "
                                     f"{LEAST_TO_FIT}", "measure again"), *told], path.name)
    return MeasuredPlant(item, updated(item, powers), out, path.name,
                         {path.name: hashlib.sha256(path.read_bytes()).hexdigest()})


def _unfit(at: dict[str, Any], wanted: str) -> str:
    """Return why a record can't be used, or an empty text."""
    level, background, distance = at["laeq_db"], at["background_db"], at["distance_m"]
    if at["plant"] != wanted:
        return f"of other plant than '{wanted}'"
    if distance > FARTHEST_M:
        return f"farther than {FARTHEST_M:g} m"
    if background is not None and level - background < SEPARABLE_DB:
        return f"less than {SEPARABLE_DB:g} dB above the background"
    return ""


def updated(item: Plant, powers_db: list[float]) -> PlantFit:
    """Return the update of an item by sound powers in dB; what the engine takes as mean level is the prior."""
    from envpredict.engine.sound.method import mean_level

    prior = mean_level(item)
    sd = max(float(np.std(powers_db, ddof=1)), LEAST_SD_DB)
    level, u = posterior_level(prior.lwa_db, item.u_db, float(np.mean(powers_db)), sd, len(powers_db))
    return PlantFit(plant=item.id, prior_db=item.lwa_db, prior_u_db=item.u_db, prior_source=item.citation,
                    measured_db=tuple(float(f"{power:.6g}") for power in powers_db), measured_sd_db=sd,
                    posterior_db=round(level, 2), posterior_u_db=round(max(u, min(SAME_RIG_U_DB, item.u_db)), 2),
                    formula=FORMULA)
