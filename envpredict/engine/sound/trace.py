"""The level of one item of plant on one path, term by term in words: by octaves, or as on a sheet of paper."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.sound.by_hand import PARTLY, Bs5228Hand, FtaHand, hidden, soft_fraction
from envpredict.engine.sound.octave import OctaveMethod, cut, passed, weighted_power
from envpredict.engine.sound.paths import air_db, ground_db
from envpredict.models.noise.fta_2006 import FOOT_M
from envpredict.models.noise.iso9613_2_1996 import divergence_db

if TYPE_CHECKING:
    from envpredict.engine.sound.field import NoiseMethod
    from envpredict.engine.sound.paths import Ends, Way
    from envpredict.engine.sound.scene import SoundScene
    from envpredict.methods.schema import Plant

Floats = NDArray[np.float64]
BANDS = "63 Hz to 8 kHz"


def _row(values: Floats) -> str:
    return " ".join(f"{value:6.1f}" for value in np.atleast_1d(values))


def trace(method: NoiseMethod, scene: SoundScene, ends: Ends, span_m: Floats, plant: Plant) -> list[str]:
    """Return the lines that lead to an item's level at work on a single path; the last one gives that level."""
    return TRACES[method.id](scene, ends, span_m, plant)


def _octaves(scene: SoundScene, ends: Ends, span_m: Floats, plant: Plant) -> list[str]:
    parts = cut(ends, span_m)
    through, ways = passed(scene, parts)
    power = weighted_power([plant])[0]
    loudest = int((np.exp(-np.log(10.0) / 10.0 * ways.attenuation_db) @ power).argmax())
    lines = [f"octaves {BANDS}, LW      {_row(np.asarray(plant.octaves_db))}"]
    if len(parts.path) > 1:
        height = parts.ends.source_height_m[loudest]
        lines.append(f"too near to be one point: cut into {len(parts.path)} parts, each with its share of the power; "
                     f"terms of the loudest, {height:.1f} m above ground")
    lines += _terms(scene, parts.ends, ways, loudest)
    direct, mirrored = float(through.direct[0] @ power), float(through.mirrored[0] @ power)
    if mirrored > 0.0:
        lines.append(f"{int(through.reflections[0])} reflections from walls (ISO 9613-2 7.5) bring "
                     f"{10.0 * np.log10(1.0 + mirrored / direct):+.2f} dB to the direct "
                     f"{10.0 * np.log10(direct):.2f} dB")
    return [*lines, f"level while it works, A-weighted: {10.0 * np.log10(direct + mirrored):.2f} dB"]


def _terms(scene: SoundScene, ends: Ends, way: Way, n: int) -> list[str]:
    """Return the terms of one direct way."""
    near, far, middle = way.porosity[n]
    one = np.array([n])
    ground = ground_db(ends.take(one), way.plan_m[one], way.porosity[one])[0]
    lines = [
        f"divergence over {way.slope_m[n]:.1f} m, all bands     {float(divergence_db(way.slope_m[n])):6.1f}",
        f"air                               {_row(air_db(scene, way.slope_m[one])[0])}",
        f"ground, porosity {near:.2f} {middle:.2f} {far:.2f}   {_row(ground)}"
        "   (near the source, between, near the receptor)",
    ]
    paths = way.screens
    if paths is not None and paths.path_difference_m[n] > -np.inf:
        over = (f"z {paths.path_difference_m[n]:.3f} m, dss {paths.source_edge_m[n]:.2f}, "
                f"dsr {paths.receptor_edge_m[n]:.2f}, e {paths.edge_separation_m[n]:.2f} m")
        sides = [f"{detour:.2f} m" for detour in (paths.left_difference_m[n], paths.right_difference_m[n])
                 if np.isfinite(detour)]
        beside = f"; round the sides {' and '.join(sides)} longer" if sides else "; no way round a side"
        lines += [f"obstacles, Abar                   {_row(way.screen_db[n])}", f"  over the top: {over}{beside}"]
    if way.houses_db[n] > 0.0:
        lines.append(f"houses of unknown height: Ahous {way.houses_db[n]:.1f} dB, of which beyond ground and obstacles "
                     f"{_row(way.beyond_db[n])}")
    if way.weather_db[n] > 0.0:
        lines.append(f"long-term correction for weather, Cmet: {way.weather_db[n]:.2f} dB")
    return lines


def _bs5228(scene: SoundScene, ends: Ends, _span_m: Floats, plant: Plant) -> list[str]:
    terms = Bs5228Hand().terms(scene, ends, plant)
    word = str(hidden(scene, ends)[0]).replace("_", " ")
    soft = float(soft_fraction(scene, ends)[0])
    explained = f" ({PARTLY.place})" if "partly" in word else ""
    return [
        f"level at 10 m, LWA - 28 dB                    {float(terms.reference_db[0]):7.2f} dB",
        f"distance {ends.plan_m[0]:.1f} m, {100 * soft:.0f} % over soft ground - {float(terms.distance_db[0]):7.2f} dB",
        f"screening, {word}{explained} - {float(terms.screening_db[0]):7.2f} dB"
        + ("" if terms.screening_db[0] or word == "none" else " (soft ground takes off more: not added)"),
        f"level while it works, A-weighted: {float(terms.level_db[0]):.2f} dB",
    ]


def _fta(scene: SoundScene, ends: Ends, _span_m: Floats, plant: Plant) -> list[str]:
    terms = FtaHand().terms(scene, ends, plant)
    feet = float(ends.plan_m[0] / FOOT_M)
    ratio, g = float(np.log10(feet / 50.0)), float(terms.ground_coefficient[0])
    source = "Table 12-1" if plant.fta_emission_db is not None else "from its sound power"
    return [
        f"E.L. at 50 ft ({source})                      {terms.emission_db:7.2f} dB",
        f"- 20 lg(D / 50 ft), D = {feet:.0f} ft                - {20.0 * ratio:7.2f} dB",
        f"- 10 G lg(D / 50 ft), G = {g:.2f}                  - {10.0 * g * ratio:7.2f} dB",
        f"level at full power, A-weighted: {float(terms.level_db[0]):.2f} dB",
    ]


TRACES: dict[str, Callable[[SoundScene, Ends, Floats, Plant], list[str]]] = {
    OctaveMethod.id: _octaves, Bs5228Hand.id: _bs5228, FtaHand.id: _fta}
"""The trace of each method, by its id."""
