"""From the incident sound to the place that a rule names: before the facade, inside, on the boundary, at a habitat."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import Citation
from envpredict.core.quantities import POSITIONS
from envpredict.engine.boundary import NO_BOUNDARY, PLACE
from envpredict.limits.outcome import Missing
from envpredict.models.noise.facade_indoor import FACADE, WINDOWS, at_position_db, indoor_db

if TYPE_CHECKING:
    from envpredict.engine.sound.run_sound import Where
    from envpredict.scenario.types import Scenario

INCIDENT = frozenset({"free_field", "habitat"})
FACADE_DB = float(at_position_db(0.0, "free_field", "facade"))
WINDOW_U_DB = 4.0
WINDOW_U = Citation("our judgement", None, "single dwellings scatter by 4 dB about the median of a window's reduction",
                    "estimate", note="the study's abstract gives medians alone; it was made with road traffic")


@dataclass(frozen=True, slots=True, eq=False)
class PlaceStep:
    """The step from incident levels to a rule's place: `add_db`, added once, with its standard uncertainty.

    `where`: which points serve; `missing` (R): receptors without such a place, and `why`.
    """

    where: Where
    add_db: float
    u_db: float
    notes: tuple[str, ...]
    citations: tuple[Citation, ...]
    missing: NDArray[np.bool_]
    why: str = ""


def step_to_place(scenario: Scenario, place: str) -> PlaceStep | Missing:
    """Return the step to a place, or what is missing to take it.

    Facade: 3 dB by its reflection. Indoors: the level before the facade less the reduction of windows that stand as the
    scenario says, a median. On the boundary, at a habitat, in free field: nothing.
    """
    nobody = np.zeros(len(scenario.receptors), dtype=bool)
    if place in INCIDENT:
        return PlaceStep("receptors", 0.0, 0.0, (), (), nobody)
    if place == "facade":
        return PlaceStep("receptors", FACADE_DB, 0.0, (f"facade level: {FACADE_DB:g} dB added to the incident sound",),
                         (FACADE,), nobody)
    if place == "indoors":
        return _indoors(scenario)
    if place != PLACE:
        return Missing("place", f"sound {POSITIONS[place]} isn't predicted: judge it by measurement")
    if scenario.boundary is None or scenario.boundary.empty:
        return NO_BOUNDARY
    return PlaceStep("boundary", 0.0, 0.0, ("level at the loudest point of the site's boundary, incident",), (), nobody)


def _indoors(scenario: Scenario) -> PlaceStep | Missing:
    """Return the step into a room, or that nobody says how its windows stand."""
    window = scenario.choice.get("windows")
    if window is None:
        return Missing("windows", "how the windows stand: say windows = \"open\", \"tilted\" or \"closed\" under "
                       "[choice]")
    inside = float(indoor_db(FACADE_DB, window))
    outside = scenario.receptors["floors"].to_numpy(dtype=int) < 1
    return PlaceStep("receptors", inside, WINDOW_U_DB,
                     (f"indoors, windows {window}: {inside:+g} dB on the incident sound, a median of dwellings",),
                     (FACADE, WINDOWS, WINDOW_U), outside, "the receptor is no building: there is no indoors")
