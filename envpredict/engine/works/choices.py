"""The candidate methods of a run: the catalogue's entry with what the scenario states itself."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from envpredict.core.citation import Citation
from envpredict.engine.learned.read import site_law_of
from envpredict.engine.learned.use import SiteUse, with_site_law
from envpredict.engine.own_laws import laws_with_choice
from envpredict.engine.works.overrides import STATED, stated_method
from envpredict.engine.works.reductions import adopted, entry_with, reduced
from envpredict.engine.works.soil import Drives, drives, read_ground
from envpredict.engine.works.stated_plant import with_stated

if TYPE_CHECKING:
    from envpredict.engine.catalogue import Catalogue
    from envpredict.engine.works.shifts import Window
    from envpredict.methods.fields import Form, LawUse, PlantUse
    from envpredict.methods.schema import Method, Plant
    from envpredict.scenario.types import MethodEntry, Scenario


@dataclass(frozen=True, slots=True, eq=False)
class MethodChoice:
    """A candidate method as a run uses it.

    `energy_j`: nominal energy per blow or per cycle, None where the method has none; `laws`: the laws that may predict
    it, the preferred ones first; `plant`: what works, with its sound power; `stated`: the keys that the scenario gives;
    `hours`: hours of work that take the place of the programme's shift; `pause`: clock times of a daily pause in s;
    `start_stop_gain`: what reductions do to a vibrator's start and stop beside what they do to its running;
    `reductions`: those in force; `told`: what each does, rows of `reductions.REDUCTION_COLUMNS`; `site`: what trial
    records of the site have taught of it.
    """

    id: str
    title: str
    method: Method
    energy_j: float | None
    energy_source: Citation | None
    laws: tuple[LawUse, ...]
    plant: tuple[tuple[PlantUse, Plant], ...]
    sections: tuple[str, ...]
    stated: tuple[str, ...]
    hours: Window | None = None
    pause: tuple[float, float] | None = None
    start_stop_gain: float = 1.0
    reductions: tuple[str, ...] = ()
    told: tuple[tuple[str, ...], ...] = ()
    site: SiteUse = field(default_factory=SiteUse)

    @property
    def signal(self) -> str:
        """Return the signal: transient, continuous or quasi_static."""
        return self.method.signal

    def preferred(self, phase: str, stage: str) -> LawUse | None:
        """Return the law that predicts a phase of a stage, or None."""
        for law in self.laws:
            if law.role == "preferred" and law.phase == phase and law.stage == stage:
                return law
        return None


def choose(entry: MethodEntry, catalogue: Catalogue, form: Form, model: str | None = None,
           soils: Collection[str] = ()) -> MethodChoice:
    """Return the candidate that an entry of the scenario describes, for a form of pile in some ground classes.

    `model`: the law that the scenario chooses for it beside the entry.
    """
    stated = entry.overrides
    method = stated_method(catalogue.methods[entry.method], stated)
    energy = method.energy
    energy_j = None if energy is None else energy.default_kj * 1000.0
    source = None if energy is None else energy.citation
    if stated.get("energy_kj") is not None:
        energy_j, source = float(stated["energy_kj"]) * 1000.0, STATED
    energy_kj = None if energy_j is None else energy_j / 1000.0
    plant = [(use, catalogue.plant[use.plant]) for use in method.plant_for(form, energy_kj, soils)]
    return MethodChoice(
        id=entry.id,
        title=entry.title or method.title,
        method=method,
        energy_j=energy_j,
        energy_source=source,
        laws=laws_with_choice(method, stated.get("model") or model, catalogue.models, in_hard_ground=True),
        plant=with_stated(entry.id, method, plant, stated.get("plant") or (), catalogue.plant),
        sections=entry.sections,
        stated=tuple(sorted(key for key, value in stated.items() if value is not None)),
    )


def _of(entry: MethodEntry, scenario: Scenario, catalogue: Catalogue, drive: Drives) -> MethodChoice:
    """Return one candidate for the piles of its sections, with its reductions in force."""
    piles = scenario.piles
    mine = np.flatnonzero(piles["section"].isin(entry.sections)) if entry.sections else np.arange(len(piles))
    form = catalogue.pile_types[piles["pile_type"].iloc[mine].mode()[0]].form
    own = drive.take(mine)
    soils = frozenset(str(word) for word in np.unique(own.words("catalogue")[own.within]))
    found = adopted(entry, scenario.reductions, catalogue.reductions)
    changed = entry_with(entry, found, catalogue.methods)
    models = scenario.choice.get("models") or {}
    chosen = models.get(entry.id) or (models.get(entry.method) if changed.method == entry.method else None)
    return reduced(choose(changed, catalogue, form, chosen, soils), entry, found, catalogue.methods)


def choices(scenario: Scenario, catalogue: Catalogue) -> tuple[MethodChoice, ...]:
    """Return the scenario's candidates in its order, with what it states of them and the reductions that it adopts."""
    drive = drives(scenario, read_ground(scenario))
    site = site_law_of(scenario)
    return tuple(with_site_law(_of(entry, scenario, catalogue, drive), site, catalogue.models,
                               _types(entry, scenario)) for entry in scenario.methods)


def _types(entry: MethodEntry, scenario: Scenario) -> dict[str, float]:
    """Return the types of a candidate's piles, each with the greatest length in m."""
    piles = scenario.piles
    mine = piles[piles["section"].isin(entry.sections)] if entry.sections else piles
    return {str(name): float(length) for name, length in mine.groupby("pile_type")["length_m"].max().items()}
