"""Puts a site law to use: shifts the median, takes the scatter between sites that is left, tells where it reaches.

The records of piles that entered the hard stratum speak for piles that will; those of the others for the others. Where
the ground isn't known, only records from the hard stratum speak. Beyond their reach the published law stands.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import Citation
from envpredict.engine.learned.read import law_of
from envpredict.engine.learned.site_law import ENERGY_ABOVE, FARTHEST, NEAREST, SiteFile, SiteLaw, StratumFit
from envpredict.engine.own_laws import laws_with_choice
from envpredict.engine.works.soil import UNKNOWN

if TYPE_CHECKING:
    from envpredict.engine.vibration.field import LawField
    from envpredict.engine.works.choices import MethodChoice
    from envpredict.engine.works.soil import Drives
    from envpredict.methods.fields import LawUse, PlantUse
    from envpredict.methods.schema import Method, Plant
    from envpredict.models.spec import ModelSpec

    Pair = tuple[PlantUse, Plant]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Codes = NDArray[np.int8]
SAME_DB = 0.05
HARD = "hard_ground"
"""The scheme that tells where the hard stratum is, and the role of a law that counts only there."""
NOT_MINE, UPDATED, PROVEN, BEYOND, NO_RECORDS, OTHER_ENERGY, DOUBLED, RAISED = range(8)
LONGER = 1.25
"""Piles of the works so much longer than any of the trial are told: an estimate."""
TOLD = {
    NOT_MINE: "", UPDATED: "updated by trial records of this site, provisional",
    PROVEN: "updated by trial records of this site",
    BEYOND: "the published law stands: the trial records don't reach to this distance, and the level jumps where their "
            "reach ends",
    NO_RECORDS: "the published law stands: the trial records are of piles in other ground than this pile's",
    OTHER_ENERGY: "the published law stands: the trial was at another energy",
    RAISED: "the published law stands: the trial records don't reach to this distance, though they raise the level "
            "where they do, and it jumps where their reach ends",
    DOUBLED: "twice the running level as trial records of this site have updated it",
}
SILENCED = ("where trial records of this site suffice, other published laws of the same phase and the rule of twice "
            "the running level give way to them")


@dataclass(frozen=True, slots=True)
class SiteUse:
    """What a site's records have taught of one candidate.

    `laws` of its method; `harder`: pile to what shows that its ground is harder than the borehole says; `notes` on the
    laws and `plant_notes` on measured plant, in words; `plant`: items whose sound power was updated; `unlike`: in what
    the works' piles differ from those of the trial, so that nothing is proven by it.
    """

    laws: tuple[SiteLaw, ...] = ()
    harder: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    plant: tuple[str, ...] = ()
    plant_notes: tuple[str, ...] = ()
    unlike: str = ""

    @property
    def all_notes(self) -> tuple[str, ...]:
        """Return everything that is to be said, ground proved harder than known included."""
        harder = [f"the ground proved harder than the boreholes show: {why}" for why in
                  dict.fromkeys(self.harder.values())]
        return (*self.notes, *self.plant_notes, *harder)


@dataclass(frozen=True, slots=True, eq=False)
class Trial:
    """What trial records do to one law at receptors (R) and piles (P).

    `code` (R, P), a key of `TOLD`; `shared`, `own` (R, P): the scatters that are left between sites and within the
    site; `published` (R, P): log10 of the median without the records; `suffices`: `unlikely` may rest on them
    somewhere within their reach.
    """

    law: SiteLaw
    code: Codes
    shared: Floats
    own: Floats
    published: Floats
    suffices: bool = False

    @property
    def proven(self) -> Flags:
        """Return where `unlikely` may rest on the records."""
        return np.asarray(self.code == PROVEN)

    def at_rows(self, rows: NDArray[np.intp]) -> Trial:
        """Return the same at some receptors, in their order."""
        return Trial(self.law, self.code[rows], self.shared[rows], self.own[rows], self.published[rows],
                     self.suffices)

    def doubled(self) -> Trial:
        """Return the same for the rule of twice the running level, which no record has shown."""
        shown = (self.code == PROVEN) | (self.code == UPDATED)
        return replace(self, code=np.where(shown, DOUBLED, self.code).astype(np.int8))


def with_site_law(choice: MethodChoice, site: SiteFile | None, models: Mapping[str, ModelSpec],
                  piles: Mapping[str, float] | None = None) -> MethodChoice:
    """Return the candidate with the site's laws of its method, its measured plant, and what is to be said of both.

    `piles`: the types of the candidate's piles, each with the greatest length in m; left out, they aren't compared.
    """
    if site is None:
        return choice
    mine = tuple(law for law in site.vibration if law.method == choice.method.id)
    laws = choice.laws
    for law in mine:
        laws = _governs(law, choice.method, laws, models)
    plant, changed, notes = _measured(choice.plant, site)
    harder = {pile: one.why for one in site.harder_ground for pile in one.piles}
    unlike, beside = _compared(mine, piles or {})
    enough = not unlike and any(not fit.lacks() for law in mine for fit in law.strata)
    rivals = any(law.role == HARD or law.phase == "start_stop" for law in laws)
    ends = [_ends(mine)] if mine else []
    use = SiteUse(mine, harder, (*map(said, mine), *([SILENCED] if enough and rivals else []), *beside, *ends),
                  tuple(changed), tuple(notes), unlike)
    return replace(choice, laws=laws, plant=plant, site=use)


def _compared(laws: Sequence[SiteLaw], piles: Mapping[str, float]) -> tuple[str, list[str]]:
    """Return in what the works' piles differ from the trial's, and everything that is to be said of that."""
    notes, unlike = [], ""
    for law in laws if piles else ():
        if not law.pile_types:
            notes.append(f"the trial of {law.model} doesn't state its type of pile: it must be the works'")
            continue
        other = sorted(set(piles) - set(law.pile_types))
        if other:
            unlike = (f"the trial was of {', '.join(law.pile_types)}, the works have {', '.join(other)} too: the "
                      "records stay provisional")
            notes.append(unlike)
        longest = max(piles.values())
        if law.longest_m is not None and longest > LONGER * law.longest_m:
            notes.append(f"the works' longest pile, {longest:g} m, is longer than any of the trial, {law.longest_m:g} "
                         "m")
    return unlike, list(dict.fromkeys(notes))


def _ends(laws: Sequence[SiteLaw]) -> str:
    """Return where the reach of the records ends, and what happens there."""
    reach = "; ".join(f"{law.model}, phase {law.phase}: {' and '.join(f'{end:.3g} m' for end in fit.reach_m)} "
                      f"({fit.ground})" for law in laws for fit in law.strata)
    return (f"the level jumps from the updated to the published law where the records' reach ends ({reach}): no ground "
            "does that, and no blend is published; every finding says on which side it lies")


def _governs(law: SiteLaw, method: Method, laws: tuple[LawUse, ...],
             models: Mapping[str, ModelSpec]) -> tuple[LawUse, ...]:
    """Return the laws with the updated one preferred in its phase; a law for hard ground keeps its role."""
    mine = law_of(law, laws)
    if mine is None:
        return laws_with_choice(method.model_copy(update={"laws": laws}), law.model, models)
    if mine.role != "alternative":
        return laws
    changed = []
    for one in laws:
        if one is mine:
            changed.append(one.model_copy(update={"role": "preferred", "why": "updated by trial records of this site"}))
        elif one.role == "preferred" and one.stage == mine.stage and mine.phase in ("all", one.phase):
            changed.append(one.model_copy(update={"role": "alternative"}))
        else:
            changed.append(one)
    return tuple(changed)


def _measured(plant: tuple[Pair, ...], site: SiteFile) -> tuple[tuple[Pair, ...], list[str], list[str]]:
    """Return the plant at its updated sound power, the ids of what was updated, and what is to be said.

    A level that the scenario states itself stands. Too few measurements may raise a sound power, but not lower it.
    """
    by_name = {item.plant: item for item in site.plant}
    found, changed, notes = [], [], []
    for use, item in plant:
        fit = by_name.get(item.id.partition("@")[0])
        found.append((use, item))
        if fit is None:
            continue
        few = fit.lacks()
        doubt = f" (provisional: {', '.join(few)})" if few else ""
        place = f"{len(fit.measured_db)} levels measured on this site{doubt}"
        if abs(item.lwa_db - fit.prior_db) > SAME_DB:
            notes.append(f"{item.title}: its sound power is stated otherwise, {item.lwa_db:g} dB; the site law, which "
                         f"set out from {fit.prior_db:g} dB, isn't used for it")
        elif few and fit.posterior_db < fit.prior_db:
            notes.append(f"{item.title}: {place} don't suffice to lower its sound power of {fit.prior_db:g} dB")
        else:
            citation = (replace(fit.prior_source, place=f"{fit.prior_source.place}; raised by {place}") if few
                        else Citation("trial records of this site", None, place, "read"))
            levelled = item.at_level(fit.posterior_db, citation, fit.posterior_u_db)
            found[-1] = use, levelled.model_copy(update={"level_type": "mean"})
            changed.append(item.id)
            notes.append(f"{item.title}: {fit.prior_db:g} dB (u {fit.prior_u_db:g} dB) becomes {fit.posterior_db:.1f} "
                         f"dB (u {fit.posterior_u_db:.1f} dB) by {place}")
    return tuple(found), changed, notes


def summary(use: SiteUse) -> dict[str, Any]:
    """Return prior, records and posterior of everything that a site's records changed, as plain data."""
    return {"said": list(use.all_notes), "harder_ground": dict(use.harder), "plant": list(use.plant),
            "laws": [law.model_dump(mode="json") for law in use.laws]}


def said(law: SiteLaw) -> str:
    """Return in one line what the records make of a law."""
    return f"site law of {law.model}, phase {law.phase}: " + "; ".join(_stratum_said(law, fit) for fit in law.strata)


def _stratum_said(law: SiteLaw, fit: StratumFit) -> str:
    records, piles, places = fit.counts
    levels = fit.data.levels_m
    more = len(fit.data.pile) - records
    ground = {"hard": "in the hard stratum", "other": "outside the hard stratum"}[fit.ground]
    bounds = f", and {more} that give only a bound," if more else ""
    lacks = fit.lacks()
    middle = np.asarray(fit.reference_m)
    return (f"{ground} {records} records{bounds} of {piles} piles at {places} distances, {levels[0]:.3g} to "
            f"{levels[-1]:.3g} m; median at {fit.reference_m:.3g} m times {10.0 ** float(fit.shift(middle)):.2g}, "
            f"exponent {fit.exponent:.2f}, scatter between sites {law.prior.between_site:.2f} becomes "
            f"{float(fit.between(middle)):.2f}, within the site {law.prior.within_site:.2f} "
            + (f"becomes {fit.within_site:.2f}" if fit.within_site > law.prior.within_site else "stays")
            + (f"; provisional: {', '.join(lacks)}" if lacks else ""))


def pile_ground(drive: Drives) -> NDArray[np.str_]:
    """Return (P,) `hard` for piles whose drive enters, or may enter, the hard stratum, else `other`."""
    words = drive.words(HARD)
    hard = (np.isin(words, ("hard", UNKNOWN)) & drive.within).any(axis=1)
    return np.where(hard | drive.proved_hard, "hard", "other")


def updated(found: LawField, choice: MethodChoice, drive: Drives, plan_m: Floats) -> LawField:
    """Return a law as trial records of the site change it; the same law where there are none. plan_m: (R, P)."""
    law = next((one for one in choice.site.laws if law_of(one, (found.law,)) is not None), None)
    if law is None:
        return found
    distance = np.hypot(plan_m, found.depth_m) if found.spec.distance == "slope" else plan_m
    ground = np.broadcast_to(pile_ground(drive), plan_m.shape)
    code = np.full(plan_m.shape, NO_RECORDS, dtype=np.int8)
    level = found.log_median.copy()
    shared, own = np.full(plan_m.shape, found.shared), np.full(plan_m.shape, found.own)
    near_enough, no_more = _energies(law, choice)
    firm = near_enough and no_more and not choice.site.unlike
    suffices = firm and any(not fit.lacks() and bool((pile_ground(drive) == fit.ground).any()) for fit in law.strata)
    for fit in law.strata:
        here = ground == fit.ground
        code[here] = BEYOND if near_enough else OTHER_ENERGY
        low, high = fit.reach_m
        with np.errstate(invalid="ignore"):
            inside = here & (distance >= low) & (distance <= high) & near_enough
        code[inside] = PROVEN if no_more and not fit.lacks() and not choice.site.unlike else UPDATED
        with np.errstate(invalid="ignore"):
            for end, out in ((low, distance < low), (high, distance > high)):
                at = np.asarray(end)
                if float(fit.shift(at)) > float(fit.between(at)):
                    code[here & out & near_enough] = RAISED
        level[inside] += fit.shift(distance[inside])
        shared[inside] = fit.between(distance[inside])
        own[inside] = fit.within_site
    code[np.isnan(found.log_median)] = NOT_MINE
    return replace(found, log_median=level, in_range=found.in_range | (code == PROVEN),
                   trial=Trial(law, code, shared, own, found.log_median, suffices))


def _energies(law: SiteLaw, choice: MethodChoice) -> tuple[bool, bool]:
    """Return whether the candidate's energy is near enough to the trial's, and whether it's no more than that."""
    if choice.energy_j is None:
        return True, True
    if law.energy_kj is None:
        return True, False
    energy = choice.energy_j / 1000.0
    low, high = law.energy_kj
    return NEAREST * low <= energy <= FARTHEST * high, energy <= ENERGY_ABOVE * high


def settled(fields: Sequence[LawField], twice: str) -> list[LawField]:
    """Return the laws with those silenced, place by place, that sufficient records have made needless.

    A record is the highest level of a pile's whole drive in its phase: where the records of one law suffice, other
    levels of the same stage and phase give way to it - the published law for hard ground or the one beside it, and the
    rule of twice the running level. `twice`: the note of that rule.
    """
    found = list(fields)
    for number, one in enumerate(fields):
        better = [other.trial.proven for other in fields if other is not one and other.trial is not None
                  and other.trial.suffices and twice not in other.notes
                  and (other.law.stage, other.law.phase) == (one.law.stage, one.law.phase)]
        if not better:
            continue
        own = np.zeros(one.log_median.shape, dtype=bool) if one.trial is None else one.trial.proven
        level = np.where(np.any(better, axis=0) & ~own, -np.inf, one.log_median)
        found[number] = replace(one, log_median=level, notes=(*one.notes, SILENCED))
    return found
