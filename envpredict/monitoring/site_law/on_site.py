"""What a scenario knows of trial piles: the ground that they were driven through, as predictions take it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from envpredict.core.errors import InputProblems, Problem
from envpredict.core.words import suggestion
from envpredict.engine.vibration.field import evaluate
from envpredict.engine.works.choices import choose
from envpredict.engine.works.soil import UNKNOWN, drives, read_ground
from envpredict.monitoring.site_law.published import ground_option, law_for
from envpredict.monitoring.site_law.trial import Row, Trial, lines_said

if TYPE_CHECKING:
    from envpredict.engine.catalogue import Catalogue
    from envpredict.engine.works.soil import Drives
    from envpredict.scenario.types import Scenario


def placed(trial: Trial, scenario: Scenario, catalogue: Catalogue, model: str) -> Trial:
    """Return the trial with what the scenario's strata say of its piles, where the records don't say it themselves.

    Ground and toe depth are those of the drive's worst step, as a prediction takes them; type and length are the pile's
    own; `hard_stratum` tells whether the drive enters it. Raises InputProblems for piles that the scenario doesn't hold
    and that don't tell themselves.
    """
    ids = scenario.piles["id"].astype(str).tolist()
    number = {name: at for at, name in enumerate(ids)}
    strange = {row.pile: row.line for row in trial.rows if row.pile not in number and row.hard is None}
    if strange:
        raise InputProblems([Problem(f"{trial.name}, {lines_said((line,))}", f"no pile '{name}' in the scenario",
                                     f"{suggestion(name, ids)}; or state hard_stratum, ground and depth_m")
                             for name, line in strange.items()], trial.name)
    drive = drives(scenario, read_ground(scenario))
    words = np.where(drive.within, drive.words("hard_ground"), "")
    enters = [True if "hard" in one else None if UNKNOWN in one else False for one in words]
    types = scenario.piles["pile_type"].astype(str).tolist()
    lengths = scenario.piles["length_m"].astype(float).tolist()
    rows = []
    for row in trial.rows:
        at = number.get(row.pile)
        if at is None:
            rows.append(row)
            continue
        known = replace(row, hard=enters[at] if row.hard is None else row.hard,
                        pile_type=row.pile_type or types[at], length_m=row.length_m or lengths[at])
        rows.append(_worst_step(known, drive.take(np.array([at])), catalogue, model))
    return replace(trial, rows=tuple(rows))


def _worst_step(row: Row, drive: Drives, catalogue: Catalogue, model: str) -> Row:
    """Return the record with the ground and toe depth of the worst step that a prediction would take."""
    from envpredict.ground.schemes import SCHEMES
    from envpredict.scenario.types import MethodEntry

    if model not in catalogue.models or row.method not in catalogue.methods:
        return row
    spec, method = catalogue.models[model], catalogue.methods[row.method]
    law = law_for(catalogue, method, row.phase, model)
    needs_depth = row.depth_m is None and (spec.distance == "slope" or "depth_m" in spec.inputs)
    needs_ground = row.ground is None and ground_option(spec, law) is not None
    if not (needs_depth or needs_ground) or ("energy_j" in spec.inputs and row.energy_kj is None):
        return row
    stated = {} if row.energy_kj is None or method.energy is None else {"energy_kj": row.energy_kj}
    choice = choose(MethodEntry(method.id, method.id, None, stated), catalogue, method.forms[0])
    field = evaluate(spec, law, choice, drive, np.array([[row.distance_m]]), tuple(SCHEMES))
    depth, word = float(field.depth_m[0, 0]), str(field.word[0, 0])
    return replace(row, depth_m=depth if needs_depth and np.isfinite(depth) else row.depth_m,
                   ground=word if needs_ground and word else row.ground)
