"""The sound of one candidate: its plant at every point, with what is known of means, maxima and working times."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import Basis, Citation, weakest
from envpredict.engine.sound.field import HEAD_HEIGHT, PILE_HEAD, PlantField
from envpredict.engine.sound.points import EAR_HEIGHT, SoundPoints
from envpredict.engine.sound.run_sound import OTHER_SOURCE, OtherSource, Sound, Where
from envpredict.engine.sound.scene import Screens
from envpredict.engine.sound.times import PITCHING, OnTime, StageTimes
from envpredict.engine.works.programme import blow_counts
from envpredict.models.noise.impulse import sel_from_laeq, slow_maximum_less_mean_db

if TYPE_CHECKING:
    from envpredict.engine.works.choices import MethodChoice
    from envpredict.engine.works.programme import Passes
    from envpredict.engine.works.soil import Drives
    from envpredict.methods.fields import PlantUse
    from envpredict.methods.schema import Plant
    from envpredict.scenario.types import Scenario

Floats = NDArray[np.float64]
ON_TIME_RELATIVE_SD = 0.3
ON_TIME_SOURCE = Citation("envpredict", 2026, "spread of on-time from day to day: 30 %", "estimate")
SPREAD_OF_MAXIMUM = Citation("our judgement", None, "the stated span of maximum less mean holds 95 % of blows or "
                             "moments: four standard deviations", "estimate")
UNSTATED_ABOVE_DB, UNSTATED_ABOVE_U_DB = 8.0, 1.25
UNSTATED_ABOVE = Citation("our judgement", None, "maximum less mean of plant that states none: 8 dB, between the 3 and "
                          "10 dB of what does", "estimate")
BLOWS_STATED = frozenset({"blows_per_m", "blow_rate_per_min"})


@dataclass(frozen=True, slots=True, eq=False)
class ItemSound:
    """An item of plant of a candidate.

    `plant`: as catalogued or stated; `field`: with its mean level at work; `gain_db`: what the candidate's own blow
    rate adds to that mean. `cycle`: on for so many s of every so many s, where the scenario states it; `driven_s` (P):
    the time of driving of each pile where it follows from blows. `above_db`, `slow_above_db`: LAFmax and LASmax less
    the mean at work; `above_u_db`: how far single maxima scatter; `above_basis`: how that is known. `blow_above_db`:
    exposure of one blow less the catalogued mean at work, None for what gives no blows.
    """

    use: PlantUse
    plant: Plant
    field: PlantField
    gain_db: float
    cycle: tuple[float, float] | None
    driven_s: Floats | None
    above_db: float
    slow_above_db: float
    above_u_db: float
    above_basis: Basis
    blow_above_db: float | None = None

    def on_time(self, passes: Passes, times: StageTimes) -> OnTime:
        """Return when the item works in the passes."""
        driven = None if self.driven_s is None else self.driven_s[passes.pile]
        return OnTime.of(self.use, passes, times, self.field.parts, cycle=self.cycle, driven_s=driven)

    @property
    def factor(self) -> float:
        """Return by how much the energy of one item at its catalogued mean is multiplied: blow rate and count."""
        return float(10.0 ** (self.gain_db / 10.0)) * self.use.count


@dataclass(frozen=True, slots=True, eq=False)
class MethodSound:
    """The sound of one candidate at points (Q): the levels of its plant and of the other sources at work.

    `plan_m` (Q, P): plan distances to the piles; `screens`: the planned screens that stand for it.
    """

    items: tuple[ItemSound, ...]
    others: tuple[tuple[OtherSource, PlantField], ...]
    points: SoundPoints
    plan_m: Floats
    screens: Screens
    median_basis: Basis
    basis: Basis
    kept: dict[Any, Any] = field(default_factory=dict)


def mean_level(plant: Plant) -> Plant:
    """Return the plant with its mean level while it works; a maximum enters only through its declared difference."""
    if plant.level_type == "mean":
        return plant
    if plant.max_minus_mean_db is None or plant.max_minus_mean_citation is None:
        raise ValueError(f"plant '{plant.id}' states a maximum and no difference between maximum and mean")
    mean = plant.at_level(plant.lwa_db - plant.max_minus_mean_db, plant.max_minus_mean_citation, plant.u_db)
    return mean.model_copy(update={"level_type": "mean"})


def screens_of(scenario: Scenario, candidate: str) -> Screens:
    """Return the screens that a candidate's reductions build: id of the obstacle and height above ground.

    Without a height of its own in the reduction a screen stands as high as the obstacles' layer says.
    """
    if scenario.obstacles is None:
        return {}
    heights = dict(zip(scenario.obstacles["id"].astype(str), scenario.obstacles["height_m"].astype(float),
                       strict=True))
    found: dict[str, float] = {}
    for entry in scenario.reductions:
        name = entry.overrides.get("screen")
        if name is not None and (not entry.methods or candidate in entry.methods):
            found[str(name)] = float(entry.overrides.get("height_m") or heights[str(name)])
    return found


def plant_by_screens(scenario: Scenario,
                     choices: Sequence[MethodChoice]) -> list[tuple[Screens, list[Plant]]]:
    """Return the plant of all candidates, with mean levels, by the screens that stand for them: one transfer each."""
    groups: dict[tuple[tuple[str, float], ...], list[Plant]] = {}
    for choice in choices:
        key = tuple(sorted(screens_of(scenario, choice.id).items()))
        groups.setdefault(key, []).extend(mean_level(plant) for _, plant in choice.plant)
    return [(dict(key), plants) for key, plants in groups.items()]


def stated_cycles(scenario: Scenario, candidate: str) -> dict[str, tuple[float, float]]:
    """Return the working cycles that a scenario states for a candidate's plant: on for s, of s."""
    entry = next((one for one in scenario.methods if one.id == candidate), None)
    stated = entry.overrides.get("plant") or () if entry is not None else ()
    return {str(one["id"]): (float(one["on_s"]), float(one["cycle_s"])) for one in stated
            if one.get("on_s") is not None and one.get("cycle_s") is not None}


def cycles_of(scenario: Scenario, choice: MethodChoice) -> list[tuple[float, float] | None]:
    """Return the stated working cycle of each item of a candidate's plant, None where the scenario states none."""
    cycles = stated_cycles(scenario, choice.id)
    # an item answers to its own name and to that of the catalogue's item whose place it took
    listed = [use.plant for use in choice.method.plant]
    return [cycles.get(use.plant) or (cycles.get(listed[number]) if number < len(listed) else None)
            for number, (use, _) in enumerate(choice.plant)]


def driven_s(choice: MethodChoice, drive: Drives, use: PlantUse, plant: Plant,
             cycle: tuple[float, float] | None) -> Floats | None:
    """Return the time of driving of each pile (P) by blows that the scenario states; None where others decide it."""
    pace = choice.method.blow_rate_per_min
    if (pace is None or plant.sel_10m_db is None or plant.sel_blow_rate_per_min is None or cycle is not None
            or not BLOWS_STATED & set(choice.stated)):
        return None
    return _driven_s(choice, drive, use, pace.likely)


def method_sound(sound: Sound, choice: MethodChoice, drive: Drives, where: Where = "receptors",
                 screens: Screens | None = None) -> MethodSound:
    """Return the sound of a candidate at the receptors or along the site's boundary.

    `screens` stand instead of those that the scenario plans for it. Raises ValueError for a boundary that there isn't.
    """
    standing = screens_of(sound.scenario, choice.id) if screens is None else screens
    points = sound.points_at(where)
    if not isinstance(points, SoundPoints):
        raise ValueError(points.why)
    means = [mean_level(plant) for _, plant in choice.plant]
    fields = sound.fields(means, standing, where)
    cycles = cycles_of(sound.scenario, choice)
    items = tuple(_item(sound, choice, drive, use, plant, fields[mean], cycle)
                  for (use, plant), mean, cycle in zip(choice.plant, means, cycles, strict=True))
    others = tuple((source, sound.other_field(number, standing, where)) for number, source in enumerate(sound.others))
    apart = points.xy[:, None, :] - sound.positions.xy[None, :, :]
    # the item that gives most of the sound decides how well the median is known
    loudest = max(items, key=lambda item: item.field.plant.lwa_db + 10.0 * np.log10(item.use.on_time_fraction))
    return MethodSound(items, others, points, np.hypot(apart[..., 0], apart[..., 1]), standing,
                       loudest.field.plant.citation.basis, weakest(_bases(items, bool(others))))


def _bases(items: tuple[ItemSound, ...], others: bool) -> list[Basis]:
    """Return how everything is known that the levels rest on."""
    every: list[Basis] = [EAR_HEIGHT.basis, ON_TIME_SOURCE.basis, PITCHING.basis]
    for item in items:
        plant = item.plant
        every += [item.use.citation.basis, plant.citation.basis, plant.spectrum_citation.basis, plant.u_citation.basis]
        every += [HEAD_HEIGHT.basis] if plant.height == PILE_HEAD else []
    return [*every, OTHER_SOURCE.basis, "estimate"] if others else every


def _item(sound: Sound, choice: MethodChoice, drive: Drives, use: PlantUse, plant: Plant, found: PlantField,
          cycle: tuple[float, float] | None) -> ItemSound:
    pace = choice.method.blow_rate_per_min
    blows = plant.sel_10m_db is not None and plant.sel_blow_rate_per_min is not None and pace is not None
    gain, slow, single = 0.0, None, None
    driven = driven_s(choice, drive, use, plant, cycle)
    if blows and pace is not None and plant.sel_blow_rate_per_min is not None:
        single = float(sel_from_laeq(0.0, plant.sel_blow_rate_per_min))
        if "blow_rate_per_min" in choice.stated:
            # a blow's exposure is the item's own: more blows a minute raise the mean, not the single blow
            gain = 10.0 * float(np.log10(pace.likely / plant.sel_blow_rate_per_min))
        slow = float(slow_maximum_less_mean_db(pace.likely))
    if sound.method.of_maxima:
        return ItemSound(use, plant, found, 0.0, cycle, driven, 0.0, 0.0, 0.0, plant.citation.basis)
    above, spread, basis = _above(plant)
    # without blows nothing tells the slow maximum from the fast one, which it never exceeds
    slow = above - gain if slow is None else min(slow, above - gain)
    return ItemSound(use, plant, found, gain, cycle, driven, above - gain, slow, spread, basis, single)


def _above(plant: Plant) -> tuple[float, float, Basis]:
    """Return how far an item's maximum lies above its mean, how far single maxima scatter, and how that is known."""
    if plant.max_minus_mean_db is None or plant.max_minus_mean_citation is None:
        return UNSTATED_ABOVE_DB, UNSTATED_ABOVE_U_DB, UNSTATED_ABOVE.basis
    low, high = plant.max_minus_mean_low_db, plant.max_minus_mean_high_db
    spread = 0.0 if low is None or high is None else 0.25 * (high - low)
    return plant.max_minus_mean_db, spread, plant.max_minus_mean_citation.basis


def _driven_s(choice: MethodChoice, drive: Drives, use: PlantUse, blows_per_min: float) -> Floats | None:
    """Return the time of driving of each pile (P) by its blows; None where their number isn't known for all piles."""
    if use.part != "drive":
        return None
    seconds = blow_counts(choice, drive) * 60.0 / blows_per_min
    return seconds if np.isfinite(seconds).all() and (seconds > 0.0).all() else None
