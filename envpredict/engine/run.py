"""What a run holds while findings are made: the scenario, the catalogue, and what is computed once and used often."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.applied import Classed, classed, receptor_facts
from envpredict.engine.geometry import plan_distance_m
from envpredict.engine.learned.use import SiteUse
from envpredict.engine.sound.method import MethodSound, method_sound, plant_by_screens
from envpredict.engine.sound.points import Neighbours
from envpredict.engine.sound.run_sound import Sound, quiet
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
Numbers = NDArray[np.int64]
T = TypeVar("T")


@dataclass(frozen=True, eq=False)
class Run:
    """A run: what no receptor changes, prepared once, and on demand what belongs to the receptors of `scenario`.

    `quiet`: the sound of the works before points are chosen; `around`: what stands near whom, of all receptors, also
    where `scenario` holds a part of them (`at`); `whole`: the run that this one is a part of, None for the whole one.
    """

    scenario: Scenario
    catalogue: Catalogue
    choices: tuple[MethodChoice, ...]
    drive: Drives
    site: Site
    quiet: Sound
    around: Neighbours
    schemes: tuple[str, ...]
    whole: Run | None = None
    _classed: dict[str, Classed] = field(default_factory=dict)

    @cached_property
    def plan_m(self) -> Floats:
        """Return (R, P) the plan distances from receptors to piles."""
        return plan_distance_m(self.scenario.receptors.geometry, self.scenario.piles.geometry)

    @cached_property
    def facts(self) -> list[tuple[tuple[str, str | None], ...]]:
        """Return the facts of every receptor that limit sets ask for."""
        return receptor_facts(self.scenario)

    @cached_property
    def sound(self) -> Sound:
        """Return the sound at the receptors: points chosen, and the plant of all candidates heard there."""
        found = self.quiet.before(self.scenario, self.around)
        for screens, plants in plant_by_screens(self.scenario, self.choices):
            found.fields(plants, screens)
        return found

    def at(self, rows: Numbers) -> Run:
        """Return the run for some of its receptors alone, in their order; all else is shared with this one."""
        if len(rows) == self.receptor_count and bool((rows == np.arange(len(rows))).all()):
            return self
        scenario = replace(self.scenario, receptors=self.scenario.receptors.iloc[rows].reset_index(drop=True))
        return replace(self, scenario=scenario, whole=self.whole or self, _classed={})

    @cached_property
    def first(self) -> Run:
        """Return the run for the first of its receptors alone, which all candidates' samples share."""
        return self.at(np.zeros(1, dtype=np.int64))

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

    @property
    def pile_count(self) -> int:
        """Return the number of piles."""
        return len(self.scenario.piles)


@dataclass(frozen=True, eq=False)
class MethodRun:
    """One candidate in a run: its programme, and on demand its ground vibration and its sound at the run's receptors.

    `passes`: the programme at the likely rates; `programmes`: those at the slow, likely and fast rates.
    `feasible`: whether it reaches the toe, pile by pile.
    """

    run: Run
    choice: MethodChoice
    passes: Passes
    programmes: Mapping[Speed, Passes]
    feasible: Feasibility
    notes: tuple[str, ...]
    _made: dict[str, Any] = field(default_factory=dict)

    def _once(self, name: str, make: Callable[[], T]) -> T:
        """Return what is made once, whichever of the candidate's programmes is asked for."""
        if name not in self._made:
            self._made[name] = make()
        found: T = self._made[name]
        return found

    def _vibration(self, choice: MethodChoice) -> GroundVibration:
        run = self.run
        return ground_vibration(choice, run.catalogue.models, run.drive, run.plan_m, run.schemes)

    @property
    def vibration(self) -> GroundVibration:
        """Return the ground vibration at every receptor."""
        return self._once("vibration", lambda: self._vibration(self.choice))

    @property
    def sound(self) -> MethodSound:
        """Return the sound at every receptor."""
        return self._once("sound", lambda: method_sound(self.run.sound, self.choice, self.run.drive))

    @property
    def without_trial(self) -> MethodRun | None:
        """Return the same candidate by the published laws alone, or None where no trial records change them."""
        if not self.choice.site.laws:
            return None
        plain = replace(self.choice, site=SiteUse())
        published = self._once("published", lambda: self._vibration(plain))
        return replace(self, choice=plain, _made={"vibration": published, "sound": self.sound})

    @property
    def sample(self) -> MethodRun:
        """Return the candidate at the first receptor alone: enough to tell what is the same at all of them."""
        return self._once("sample", lambda: self.at(self.run.first))

    def at(self, part: Run) -> MethodRun:
        """Return the candidate in a part of its run."""
        return self if part is self.run else replace(self, run=part, _made={})

    def heard_as(self, run: Run, sound: MethodSound) -> MethodRun:
        """Return the candidate in a part of its run, with another sound there."""
        return replace(self, run=run, _made={"sound": sound})

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
    """Return the run of a scenario: ground and site read; what belongs to receptors is made when it's asked for."""
    from envpredict.ground.schemes import SCHEMES

    return Run(scenario=scenario, catalogue=catalogue, choices=choices, drive=drives(scenario, read_ground(scenario)),
               site=read_site(scenario), quiet=quiet(scenario), around=Neighbours.of(scenario), schemes=tuple(SCHEMES))


def run_method(run: Run, choice: MethodChoice) -> MethodRun:
    """Return one candidate with its programme, ready to be asked for its vibration and its sound."""
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
    return MethodRun(run, choice, passes, programmes, feasibility(run, choice), tuple(notes))
