"""What a run holds while findings are made: the scenario, the catalogue, and what is computed once and used often."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.applied import Classed, classed, receptor_facts
from envpredict.engine.geometry import plan_distance_m
from envpredict.engine.learned.use import SiteUse
from envpredict.engine.sound.method import MethodSound, method_sound, plant_by_screens
from envpredict.engine.sound.run_sound import Sound, sound_of
from envpredict.engine.vibration.field import GroundVibration, ground_vibration
from envpredict.engine.works.feasibility import Feasibility, feasibility
from envpredict.engine.works.programme import SPEEDS, Passes, Speed, plan_work
from envpredict.engine.works.site import Site, read_site
from envpredict.engine.works.soil import Drives, drives, read_ground

if TYPE_CHECKING:
    from envpredict.engine.catalogue import Catalogue
    from envpredict.engine.works.choices import MethodChoice
    from envpredict.scenario.types import Scenario

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """The fixed parts of a run: one scenario with its ground, distances and sound paths."""

    scenario: Scenario
    catalogue: Catalogue
    choices: tuple[MethodChoice, ...]
    drive: Drives
    site: Site
    plan_m: Floats
    sound: Sound
    facts: list[tuple[tuple[str, str | None], ...]]
    schemes: tuple[str, ...]
    _classed: dict[str, Classed]

    def classed(self, set_id: str) -> Classed:
        """Return the receptors' classes under a limit set, found once."""
        if set_id not in self._classed:
            self._classed[set_id] = classed(self.catalogue.limit_sets[set_id], self.facts)
        return self._classed[set_id]

    @property
    def design_exceedance(self) -> float:
        """Return the exceedance that verdicts are made for."""
        return self.scenario.design_exceedance

    @property
    def receptor_count(self) -> int:
        """Return the number of receptors."""
        return len(self.scenario.receptors)


@dataclass(frozen=True, slots=True, eq=False)
class MethodRun:
    """One candidate in a run: its programme, its ground vibration and its sound.

    `passes`: the programme at the likely rates; `programmes`: those at the slow, likely and fast rates.
    `feasible`: whether it reaches the toe, pile by pile. `published`: the vibration without trial records of the site,
    None where there are none.
    """

    choice: MethodChoice
    passes: Passes
    programmes: Mapping[Speed, Passes]
    vibration: GroundVibration
    sound: MethodSound
    feasible: Feasibility
    notes: tuple[str, ...]
    published: GroundVibration | None = None

    @property
    def without_trial(self) -> MethodRun | None:
        """Return the same candidate by the published laws alone, or None where no trial records change them."""
        if self.published is None:
            return None
        return replace(self, choice=replace(self.choice, site=SiteUse()), vibration=self.published, published=None)

    @property
    def shift_s(self) -> float:
        """Return the time in s for which a rig works on its longest day."""
        passes = self.passes
        _, day = np.unique(np.stack([passes.day.astype(np.int64), passes.rig]), axis=1, return_inverse=True)
        return float(np.bincount(np.ravel(day), weights=passes.end_s - passes.start_s).max())

    @property
    def works_days(self) -> int:
        """Return the calendar days from the first to the last day of work, both included."""
        return self.passes.calendar_days


def prepare(scenario: Scenario, catalogue: Catalogue, choices: tuple[MethodChoice, ...]) -> Run:
    """Return the run of a scenario: ground read, distances measured, sound paths laid."""
    from envpredict.ground.schemes import SCHEMES

    sound = sound_of(scenario)
    for screens, plants in plant_by_screens(scenario, choices):
        sound.fields(plants, screens)
    return Run(
        scenario=scenario, catalogue=catalogue, choices=choices, drive=drives(scenario, read_ground(scenario)),
        site=read_site(scenario),
        plan_m=plan_distance_m(scenario.receptors.geometry, scenario.piles.geometry),
        sound=sound, facts=receptor_facts(scenario),
        schemes=tuple(SCHEMES),
        _classed={},
    )


def run_method(run: Run, choice: MethodChoice) -> MethodRun:
    """Return one candidate with its programme, vibration and sound."""
    programmes = {speed: plan_work(run.scenario, choice, run.drive, run.site, speed) for speed in SPEEDS}
    passes = programmes["likely"]
    notes = []
    if passes.beyond_rates.any():
        notes.append("the drive meets ground for which the catalogue has no rate of this method: days and hours assume "
                     "its slowest rate there")
    if choice.reductions:
        notes.append(f"with reductions: {', '.join(choice.reductions)}")
    if passes.unknown_ground.any():
        notes.append("the ground's class isn't known along the whole drive: days and hours assume the slowest rate "
                     "there")
    def vibration(candidate: MethodChoice) -> GroundVibration:
        return ground_vibration(candidate, run.catalogue.models, run.drive, run.plan_m, run.schemes)

    return MethodRun(choice, passes, programmes, vibration(choice), method_sound(run.sound, choice, run.drive),
                     feasibility(run, choice), tuple(notes),
                     vibration(replace(choice, site=SiteUse())) if choice.site.laws else None)
