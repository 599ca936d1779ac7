"""How far reductions may be added up: not further than their sources support."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from envpredict.core.citation import Citation
from envpredict.methods.schema import Method, Reduction

MOST_FACTORS = 2
LEAST_FACTOR = 0.25
STACKING = Citation("our judgement", None, "at most two factors on vibration, together no lower than 0.25 unless "
                    "measured; one loss per source and path", "estimate",
                    note="no source supports the product of several measures")


@dataclass(frozen=True, slots=True)
class Stacked:
    """What a set of reductions is credited with, likely value, and what was left out and why."""

    value: float
    used: tuple[str, ...]
    notes: tuple[str, ...]


def applies(reduction: Reduction, method: Method) -> bool:
    """Return whether a reduction can be used with a method."""
    by_family = not reduction.families or method.family in reduction.families
    return by_family and (not reduction.methods or method.id in reduction.methods)


def vibration_factor(reductions: Sequence[Reduction], method: Method, phase: str) -> Stacked:
    """Return the factor on velocity of the reductions together, for a phase (all, running or start_stop).

    Only the strongest two that apply count, and not below 0.25 together: `STACKING`. Settings that the calculation
    takes up itself (an energy, hours, another method) have no factor and aren't counted here; a zero-moment start is
    credited only to machines that don't have it already.
    """
    notes: list[str] = []
    found: list[tuple[float, str]] = []
    for reduction in reductions:
        effect = reduction.vibration
        if not applies(reduction, method):
            notes.append(f"{reduction.title}: not for {method.title}")
        elif effect is None:
            if reduction.unknown:
                notes.append(f"{reduction.title}: {reduction.unknown}")
        elif reduction.setting == "zero_moment" and method.zero_moment:
            notes.append(f"{reduction.title}: the machine has it already")
        elif effect.phase in ("all", phase):
            found.append((effect.factor, reduction.title))
    found.sort()
    notes += [f"{title}: left out, at most {MOST_FACTORS} factors are multiplied" for _, title in found[MOST_FACTORS:]]
    used = found[:MOST_FACTORS]
    product = math.prod(factor for factor, _ in used)
    if product < LEAST_FACTOR and len(used) > 1:
        notes.append(f"together held at {LEAST_FACTOR:g} instead of {product:.2f}")
        product = LEAST_FACTOR
    return Stacked(product, tuple(title for _, title in used), tuple(notes))


def insertion_loss_db(reductions: Sequence[Reduction], method: Method, on: str) -> Stacked:
    """Return the insertion loss in dB(A) of the reductions on one source or path: the largest, never a sum.

    on: pile_head, pack, all_plant, path or maximum.
    """
    found = sorted(((reduction.noise.insertion_loss_db, reduction.title) for reduction in reductions
                    if applies(reduction, method) and reduction.noise is not None and reduction.noise.on == on),
                   reverse=True)
    notes = tuple(f"{title}: left out, losses on one source aren't added" for _, title in found[1:])
    return Stacked(found[0][0] if found else 0.0, tuple(title for _, title in found[:1]), notes)
