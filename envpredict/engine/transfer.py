"""From what a law predicts to what a rule limits: another place in the building, another quantity.

Every step is declared: a place without a step, or a quantity without a conversion, can't be judged.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import Basis, weakest
from envpredict.engine.applied import rank
from envpredict.engine.convert import Conversion, conversion
from envpredict.engine.overrides import STATED
from envpredict.limits.outcome import Missing

if TYPE_CHECKING:
    from envpredict.engine.run import MethodRun, Run
    from envpredict.models.vibration.building_response import Transfer as Step

Floats = NDArray[np.float64]

ON_THE_GROUND = frozenset({"ground", "structure", "boundary", "habitat", "pipe"})
"""Places where the ground's own motion is judged; a pipe is taken to move with the ground."""
STEP_TO = {"foundation": "as_ground", "floor": "light_house_floor", "slab": "light_house_floor",
           "top_floor": "light_house_floor", "instrument": "light_house_floor"}
"""The step from the ground to each place in a building, where the scenario chooses none."""
STANDS_IN = {"top_floor": "the vertical gain of a floor stands in for the horizontal one of the topmost floor, for "
                          "which no published factor was seen",
             "instrument": "the gain of a house's floor stands in for that of the instrument's floor"}
BUILDING_PLACES = frozenset(STEP_TO)


@dataclass(frozen=True, slots=True, eq=False)
class Transfer:
    """The way from the ground's PPV to a rule's quantity at its place, for receptors (R).

    `shift` (R) is added to log10 of the PPV in mm/s, `offset_db` to the level of decibel quantities; `scatter` (R) in
    log10 units, shared by all piles; `basis` (R) rank for the median; `missing` (R) where there's no way, `note` (R)
    why; `notes` hold for all.
    """

    shift: Floats
    scatter: Floats
    offset_db: float
    basis: NDArray[np.int64]
    missing: NDArray[np.bool_]
    note: NDArray[np.object_]
    notes: tuple[str, ...]

    @classmethod
    def nothing(cls, count: int) -> Transfer:
        """Return the way that changes nothing."""
        return cls(np.zeros(count), np.zeros(count), 0.0, np.zeros(count, dtype=np.int64), np.zeros(count, dtype=bool),
                   np.full(count, "", dtype=object), ())


CHOSEN = {"foundation": "ground_to_foundation", "floor": "ground_to_floor", "slab": "ground_to_floor",
          "top_floor": "ground_to_floor", "instrument": "ground_to_floor"}
"""The key of a scenario's [choice] that replaces the factor of a step."""


def step_to(place: str, choice: Mapping[str, Any]) -> Step | None:
    """Return the declared step from the ground to a place in a building, or None on the ground.

    A factor that the scenario states takes the place of the declared one and keeps the scatter of such steps.
    """
    from envpredict.models.vibration.building_response import FLOOR_SD, FOUNDATION_SD, TRANSFERS

    if place not in STEP_TO:
        return None
    step, stated = TRANSFERS[STEP_TO[place]], choice.get(CHOSEN[place])
    if stated is None:
        return step
    return replace(step, title=f"factor {stated:g} from the ground, stated by the scenario", factor=float(stated),
                   scatter=FOUNDATION_SD if place == "foundation" else FLOOR_SD, source=STATED)


def transfer(run: Run, method: MethodRun, quantity: str, place: str, effect: str) -> Transfer | Missing:
    """Return the way to a rule's quantity and place for every receptor, or what is missing for all of them."""
    if place not in ON_THE_GROUND and place not in BUILDING_PLACES:
        return Missing("place", f"vibration {place} isn't predicted: judge it by measurement")
    converted = conversion(run.catalogue.models, method.vibration.quantity, quantity, method.choice)
    if isinstance(converted, Missing):
        return converted
    count = run.receptor_count
    way = Transfer.nothing(count)
    step = step_to(place, run.scenario.choice)
    gain, scatter, notes = 0.0, 0.0, [*converted.notes]
    bases: list[Basis] = [converted.basis]
    missing, note = way.missing, way.note
    if step is not None:
        gain, scatter = float(np.log10(step.factor)), step.scatter
        if step.factor != 1.0 or scatter > 0.0:
            bases.append("estimate" if place in STANDS_IN and step.source != STATED else step.source.basis)
        notes.append(_said(step.title, step.gain_db, scatter, place))
        missing = run.scenario.receptors["floors"].to_numpy(dtype=float) < 1
        note = np.where(missing, f"the receptor is no building: there is no {place.replace('_', ' ')} to judge",
                        "").astype(object)
    return Transfer(np.full(count, gain + converted.shift), np.full(count, scatter), converted.offset_db,
                    np.full(count, rank(weakest(bases))), missing, note, tuple(text for text in notes if text))


def _said(title: str, gain_db: float, scatter: float, place: str) -> str:
    spread = f", scatter {scatter:g} in log10 units" if scatter else ""
    stand_in = f"; {STANDS_IN[place]}" if place in STANDS_IN else ""
    return f"{title}: {gain_db:+.0f} dB{spread}{stand_in}"


__all__ = ["Conversion", "Transfer", "step_to", "transfer"]
