"""The sound of a run: its scene, its points, and the levels of all plant, each computed once and kept."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import Citation
from envpredict.engine.boundary import boundary_points
from envpredict.engine.geometry import coordinates
from envpredict.engine.sound.by_hand import Bs5228Hand, FtaHand
from envpredict.engine.sound.field import NoiseMethod, PlantField, Positions, plant_fields
from envpredict.engine.sound.octave import OctaveMethod
from envpredict.engine.sound.points import FIRST_EAR_M, Neighbours, SoundPoints, sound_points
from envpredict.engine.sound.scene import Screens, SoundScene, sound_scene
from envpredict.engine.sound.sides import loudest_sides
from envpredict.engine.works.site import clock_s
from envpredict.limits.outcome import Missing

if TYPE_CHECKING:
    from envpredict.methods.schema import Plant
    from envpredict.scenario.types import Scenario

Floats = NDArray[np.float64]
Where = Literal["receptors", "boundary"]
NOISE_METHODS: dict[str, NoiseMethod] = {method.id: method for method in (OctaveMethod(), Bs5228Hand(), FtaHand())}
"""The ways to predict the level of plant, by the word of a scenario's [choice] noise."""
NOWHERE = SoundPoints.at(np.zeros((0, 2)), FIRST_EAR_M)
OTHER_SPECTRUM = "diesel_rig"
OTHER_U_DB = 5.0
OTHER_SOURCE = Citation("the scenario", None, "other sources: sound power stated by the user", "read",
                        note="their spectrum is taken to be that of diesel plant, an estimate")


@dataclass(frozen=True, slots=True)
class OtherSource:
    """Something else that sounds: its plant, its place in plan, and its clock times in s since midnight."""

    name: str
    plant: Plant
    x: float
    y: float
    from_s: float
    to_s: float


def other_sources(scenario: Scenario) -> tuple[OtherSource, ...]:
    """Return the scenario's other sources; their spectrum is that of diesel plant."""
    from envpredict.methods.load import load_spectra
    from envpredict.methods.schema import Plant

    if scenario.other_sources is None:
        return ()
    spectrum = load_spectra()[OTHER_SPECTRUM]
    found = []
    for number, row in enumerate(scenario.other_sources.to_dict("records")):
        lwa, height = float(row["lwa_db"]), float(row["height_m"])
        plant = Plant(
            id=f"other_{number}", title=str(row["name"] or row["id"]), lwa_db=lwa, lwa_low_db=lwa, lwa_high_db=lwa,
            octaves_db=spectrum.at(lwa), spectrum_citation=spectrum.citation, level_type="mean", height=height,
            height_low_m=height, height_high_m=height, height_citation=OTHER_SOURCE, u_db=OTHER_U_DB,
            u_citation=OTHER_SOURCE, citation=OTHER_SOURCE)
        found.append(OtherSource(str(row["id"]), plant, float(row["x"]), float(row["y"]), clock_s(str(row["from"])),
                                 clock_s(str(row["to"]))))
    return tuple(found)


@dataclass(frozen=True, slots=True, eq=False)
class Sound:
    """What a run knows of sound. `positions`: the piles; `points`: before the receptors; `others`: other sources.

    `kept`: what else is found once for these receptors (their background); `shared`: what parts of a run share (the
    sound along the site's boundary, limits that follow the background).
    """

    scenario: Scenario
    method: NoiseMethod
    positions: Positions
    points: SoundPoints
    others: tuple[OtherSource, ...]
    kept: dict[Any, Any] = field(default_factory=dict)
    shared: dict[Any, Any] = field(default_factory=dict)
    _scenes: dict[tuple[tuple[str, float], ...], SoundScene] = field(default_factory=dict)
    _fields: dict[tuple[Where, tuple[tuple[str, float], ...]], dict[Plant, PlantField]] = field(default_factory=dict)
    _edge: dict[Where, SoundPoints] = field(default_factory=dict)
    _edge_fields: dict[tuple[Where, tuple[tuple[str, float], ...]], dict[Plant, PlantField]] = field(
        default_factory=dict)

    def before(self, scenario: Scenario, around: Neighbours) -> Sound:
        """Return the same works' sound before the receptors of a scenario, or of a part of it; nothing is known yet."""
        points = loudest_sides(self.scene({}), sound_points(scenario.receptors, around), self.positions)
        return replace(self, scenario=scenario, points=points, kept={}, _fields={})

    def scene(self, screens: Screens) -> SoundScene:
        """Return the scene with these planned screens standing, built once."""
        key = tuple(sorted(screens.items()))
        if key not in self._scenes:
            self._scenes[key] = sound_scene(self.scenario, screens)
        return self._scenes[key]

    def points_at(self, where: Where) -> SoundPoints | Missing:
        """Return the points before the receptors, or along the site's boundary, or what is missing to have them."""
        if where == "receptors":
            return self.points
        if where not in self._edge:
            edge = boundary_points(self.scenario)
            if isinstance(edge, Missing):
                return edge
            self._edge[where] = SoundPoints.at(edge.xy, FIRST_EAR_M)
        return self._edge[where]

    def _known(self, where: Where, screens: Screens) -> dict[Plant, PlantField]:
        """Return what is known already: the boundary's is shared by all parts of a run."""
        fields = self._fields if where == "receptors" else self._edge_fields
        return fields.setdefault((where, tuple(sorted(screens.items()))), {})

    def fields(self, plants: Iterable[Plant], screens: Screens, where: Where = "receptors") -> dict[Plant, PlantField]:
        """Return the fields of items of plant at the points, from every pile; what is known already isn't made again.

        Raises ValueError for the boundary of a scenario that has none.
        """
        points = self.points_at(where)
        if isinstance(points, Missing):
            raise ValueError(points.why)
        known = self._known(where, screens)
        wanted = list(dict.fromkeys(plants))
        missing = [plant for plant in wanted if plant not in known]
        if missing:
            known |= plant_fields(self.scene(screens), self.method, points, self.positions, missing)
        return {plant: known[plant] for plant in wanted}

    def other_field(self, number: int, screens: Screens, where: Where = "receptors") -> PlantField:
        """Return the field of one of the other sources, from its only position."""
        source, points = self.others[number], self.points_at(where)
        if isinstance(points, Missing):
            raise ValueError(points.why)
        known = self._known(where, screens)
        if source.plant not in known:
            at = Positions(np.array([[source.x, source.y]]), np.array([np.nan]))
            known |= plant_fields(self.scene(screens), self.method, points, at, [source.plant])
        return known[source.plant]

    def moved(self, points: SoundPoints) -> Sound:
        """Return the same run's sound at other points, in the same scenes; nothing is known there yet."""
        return replace(self, points=points, kept={}, _fields={})


def quiet(scenario: Scenario) -> Sound:
    """Return the sound of a scenario's works before points are chosen."""
    positions = Positions(coordinates(scenario.piles.geometry), scenario.piles["length_m"].to_numpy(dtype=float))
    method = NOISE_METHODS[scenario.choice.get("noise", "octave")]
    return Sound(scenario, method, positions, NOWHERE, other_sources(scenario))
