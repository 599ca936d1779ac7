"""Which receptors get a station, and which are judged at another one's."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from envpredict.core.quantities import QUANTITIES
from envpredict.monitoring.checks.coverage import near_its_limit, worst_of
from envpredict.monitoring.predicted import Predicted


@dataclass(frozen=True, slots=True)
class StandIn:
    """A receptor that is judged at another one's station; the transfer is None where no number is predicted."""

    receptor: str
    at: str
    transfer_db: float | None


@dataclass(frozen=True, slots=True)
class Cover:
    """The receptors with a station of one kind, the worst first, and those judged elsewhere."""

    kind: str
    measured: tuple[str, ...]
    stand_ins: tuple[StandIn, ...]


Spent = dict[str, float]
"""By effect, how far a receptor's limits are used up in dB; -inf where no number is predicted."""


def cover(predicted: Sequence[Predicted], kind: str, distance_m: Mapping[tuple[str, str], float],
          to_works_m: Mapping[str, float], nearest: Iterable[str], reach_m: float, within_db: float) -> Cover:
    """Return who is measured so that everybody who may exceed is covered and the worst are measured themselves.

    The worst of the kind and of each effect, and the receptors `nearest` to each part of the works, get a station of
    their own. Any other receptor that comes within `within_db` of a limit is judged at a station within `reach_m` whose
    own limits are used up at least as much under every effect; else it gets a station too.
    """
    mine = [one for one in predicted if one.kind == kind]
    spent = _spent(mine)
    need = {one.receptor for one in mine if near_its_limit(one, within_db)}
    order = sorted(spent, key=lambda name: (-max(spent[name].values()), to_works_m[name], name))
    forced = {*worst_of(mine, kind), *(name for name in nearest if name in spent)}
    for effect in sorted({one.effect for one in mine}):
        forced |= set(worst_of([one for one in mine if one.effect == effect], kind)) & need
    measured = [name for name in order if name in forced]
    stand_ins: list[StandIn] = []
    for name in order:
        if name not in need or name in measured:
            continue
        fit = [at for at in measured if distance_m[name, at] <= reach_m and _stands_for(spent, to_works_m, at, name)]
        if fit:
            at = min(fit, key=lambda one: (distance_m[name, one], one))
            stand_ins.append(StandIn(name, at, transfer_db(mine, name, at)))
        else:
            measured.append(name)
    return Cover(kind, tuple(measured), tuple(stand_ins))


def _spent(predicted: Iterable[Predicted]) -> dict[str, Spent]:
    found: dict[str, Spent] = {}
    for one in predicted:
        effects = found.setdefault(one.receptor, {})
        effects[one.effect] = max(effects.get(one.effect, -math.inf), one.spent)
    return found


def _stands_for(spent: Mapping[str, Spent], to_works_m: Mapping[str, float], at: str, name: str) -> bool:
    """Tell whether meeting the limits at one receptor means meeting them at another, by the prediction.

    Where the other's limits have no number, the station must at least stand nearer to the works.
    """
    for effect, used in spent[name].items():
        if effect not in spent[at]:
            return False
        if math.isinf(used):
            if to_works_m[at] > to_works_m[name]:
                return False
        elif spent[at][effect] < used:
            return False
    return True


def transfer_db(predicted: Sequence[Predicted], name: str, at: str) -> float | None:
    """Return the level at one receptor less that at another, in dB: the largest difference of medians; None without.

    20 lg of the ratio for linear quantities; compared method by method, quantity, position and period alike.
    """
    def medians(receptor: str) -> dict[tuple[str, ...], float]:
        return {(one.method, one.quantity, one.position, one.period): one.median for one in predicted
                if one.receptor == receptor and math.isfinite(one.median)}

    mine, theirs = medians(name), medians(at)
    differences = []
    for key in mine.keys() & theirs.keys():
        if QUANTITIES[key[1]].scale == "decibel":
            differences.append(mine[key] - theirs[key])
        elif mine[key] > 0 and theirs[key] > 0:
            differences.append(20.0 * math.log10(mine[key] / theirs[key]))
    return round(max(differences), 1) if differences else None
