"""Levels of plant by the methods that fit on a sheet of paper: BS 5228-1 and the FTA manual."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import Citation
from envpredict.engine.sound.octave import Levels
from envpredict.engine.sound.paths import NEAREST_M, Ends, apart, past_obstacles, with_elevation
from envpredict.models.noise.bs5228_1_2009 import POWER_LESS_LEVEL_DB, Terms, activity_terms
from envpredict.models.noise.fta_2006 import GROUND, REFERENCE_DISTANCE_M, construction_leq, soft_ground_coefficient
from envpredict.models.spec import MODELS

if TYPE_CHECKING:
    from envpredict.engine.sound.scene import SoundScene
    from envpredict.methods.schema import Plant

Floats = NDArray[np.float64]
PARTLY_M = 1.0
PARTLY = Citation("our judgement", None, "partly hidden: the middle of the source is seen, 1 m below it isn't",
                  "estimate", note="the document says: the top of the plant is just visible over the screen")
SOFT_FROM = 0.5
SOFT_RULE = Citation("our judgement", None, "ground counts as soft where more than half of the path runs over it",
                     "estimate")


def soft_fraction(scene: SoundScene, ends: Ends) -> Floats:
    """Return the share (N) of each path over porous ground: the mean porosity along it."""
    whole = np.zeros((len(ends), 1)), np.ones((len(ends), 1))
    return np.clip(scene.porosity.means(apart(ends), ends.receptor_xy, *whole)[:, 0], 0.0, 1.0)


def hidden(scene: SoundScene, ends: Ends) -> NDArray[np.str_]:
    """Return how each source is hidden (N): none, partly_hidden or fully_hidden (see `PARTLY`)."""
    words = np.full(len(ends), "none", dtype="U13")
    if scene.empty and scene.terrain is None:
        return words
    source, receptor = with_elevation(scene, apart(ends), ends)
    lower = source - np.column_stack([np.zeros((len(ends), 2)), np.minimum(ends.source_height_m, PARTLY_M)])
    for word, at in (("partly_hidden", lower), ("fully_hidden", source)):
        words[past_obstacles(scene, at, receptor, ends.own, sides=False)[0].blocked] = word
    return words


def _u_db(model: str, count: int, paths: int) -> Floats:
    """Return the standard uncertainty (I, N) of a hand method's way: that of its published comparison on sites."""
    scatter = MODELS[model].scatter
    if scatter is None:
        raise ValueError(f"model '{model}' declares no scatter and can't predict a level")
    return np.full((count, paths), scatter.total)


class Bs5228Hand:
    """The activity method of BS 5228-1 Annex F: level at 10 m, distance over hard and soft ground, 5 or 10 dB."""

    id: str = "bs5228_hand"
    model: str = "bs5228_activity"
    models: tuple[str, ...] = ("bs5228_activity",)
    sources: tuple[Citation, ...] = (PARTLY,)
    title: str = "BS 5228-1:2009+A1:2014 Annex F, hand method"
    of_maxima: bool = False

    def terms(self, scene: SoundScene, ends: Ends, plant: Plant) -> Terms:
        """Return the terms of the sum for one item of plant, always at work, on paths (N)."""
        return activity_terms(np.full(len(ends), plant.lwa_db - POWER_LESS_LEVEL_DB), ends.plan_m, 1.0, 1.0,
                              soft_fraction=soft_fraction(scene, ends), screen=hidden(scene, ends))

    def levels(self, scene: SoundScene, ends: Ends, span_m: Floats, plants: Sequence[Plant]) -> Levels:
        """Return the levels of items of plant that stand at the sources of these paths."""
        soft, screen, plan = soft_fraction(scene, ends), hidden(scene, ends), ends.plan_m
        level = np.array([activity_terms(plant.lwa_db - POWER_LESS_LEVEL_DB, plan, 1.0, 1.0, soft_fraction=soft,
                                         screen=screen).level_db for plant in plants]).reshape(-1, len(ends))
        spec = MODELS[self.model]
        within = np.asarray(spec.validity["distance_m"].holds(plan)) & (plan > NEAREST_M)
        return Levels(10.0 ** (level / 10.0), _u_db(self.model, len(plants), len(ends)), within)


class FtaTerms(NamedTuple):
    """A sum of the FTA's equation for paths (N): level = emission - distance - ground, in dB."""

    emission_db: float
    ground_coefficient: Floats
    level_db: Floats


class FtaHand:
    """The equation of the FTA manual: emission at 50 ft, distance, ground; no screening."""

    id: str = "fta"
    model: str = "fta_noise"
    models: tuple[str, ...] = ("fta_noise",)
    sources: tuple[Citation, ...] = (GROUND, SOFT_RULE)
    title: str = "FTA, Transit Noise and Vibration Impact Assessment (2006), chapter 12, by hand"
    of_maxima: bool = True

    def emission_db(self, plant: Plant) -> float:
        """Return the level at 50 ft: the manual's typical maximum where it names the plant, else from its power."""
        if plant.fta_emission_db is not None:
            return plant.fta_emission_db
        return float(plant.lwa_db - POWER_LESS_LEVEL_DB - 20.0 * np.log10(REFERENCE_DISTANCE_M / 10.0))

    def terms(self, scene: SoundScene, ends: Ends, plant: Plant) -> FtaTerms:
        """Return the terms of the sum for one item of plant, always at full power, on paths (N)."""
        soft = soft_fraction(scene, ends) > SOFT_FROM
        mean_height = 0.5 * (ends.source_height_m + ends.receptor_height_m)
        coefficient = np.where(soft, soft_ground_coefficient(mean_height), 0.0)
        emission = self.emission_db(plant)
        return FtaTerms(emission, coefficient, construction_leq(emission, ends.plan_m, ground_coefficient=coefficient))

    def levels(self, scene: SoundScene, ends: Ends, span_m: Floats, plants: Sequence[Plant]) -> Levels:
        """Return the levels of items of plant that stand at the sources of these paths."""
        level = np.array([self.terms(scene, ends, plant).level_db for plant in plants]).reshape(-1, len(ends))
        return Levels(10.0 ** (level / 10.0), _u_db(self.model, len(plants), len(ends)), ends.plan_m > NEAREST_M)
