"""Which ways of moving the ground a method may set off near a foundation, pipe or track."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal

from envpredict.core.registry import Registry
from envpredict.methods.schema import Method, MovementFlag, PileType

State = Literal["raised", "clear", "cannot_judge"]
UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class RaisedFlag:
    """A flag of ground movement with its state at an asset and the reason."""

    flag: MovementFlag
    state: State
    reason: str


def movement_flags(method: Method, flags: Registry[MovementFlag], soils: Collection[str], *, distance_m: float,
                   pile_length_m: float, pile_type: PileType | None = None) -> tuple[RaisedFlag, ...]:
    """Return the state of every flag that the method declares, for an asset at a plan distance.

    soils: the ground classes along the drive (`unknown` where it isn't known, empty without ground data); distance_m:
    from the pile to the nearest part of the asset, plan. A flag is raised within its multiple of the pile's length
    where its ground is met. Raises ValueError unless the length is positive and the distance isn't negative.
    """
    if not pile_length_m > 0 or not distance_m >= 0:
        raise ValueError("pile_length_m must be positive and distance_m must not be negative")
    return tuple(_state(flags[name], frozenset(soils), distance_m / pile_length_m, pile_type)
                 for name in method.movement)


def _state(flag: MovementFlag, soils: frozenset[str], lengths: float, pile_type: PileType | None) -> RaisedFlag:
    if lengths > flag.within_pile_lengths:
        return RaisedFlag(flag, "clear", f"{lengths:.1f} pile lengths away, beyond {flag.within_pile_lengths:g}")
    if flag.large_displacement_only and pile_type is not None and pile_type.displacement == "small":
        return RaisedFlag(flag, "clear", f"{pile_type.title} displaces little ground")
    met = sorted(soils & set(flag.soils))
    if met:
        return RaisedFlag(flag, "raised", f"in {', '.join(met)}, {lengths:.1f} pile lengths away: {flag.warning}")
    if not soils or UNKNOWN in soils:
        return RaisedFlag(flag, "cannot_judge", "the ground along the drive isn't known: " + flag.warning)
    return RaisedFlag(flag, "clear", "the ground that it acts in isn't met")
