"""ISO 9613-2 clauses 7.1 and 7.2, and the whole attenuation of a path over flat ground with nothing in the way."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from envpredict.core.citation import Citation
from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, positive
from envpredict.models.noise.arguments import BANDS, result
from envpredict.models.noise.iso9613_1_1993 import FORMULAS, REFERENCE_PRESSURE_KPA, octave_absorption_db_m
from envpredict.models.noise.iso9613_2_1996 import kernels
from envpredict.models.noise.iso9613_2_1996.ground import (
    DISTANCE_RANGE,
    GROUND_RANGES,
    MEAN_HEIGHT,
    checked,
    flat,
    flat_path,
)
from envpredict.models.noise.iso9613_2_1996.sources import AIR, CLARIFIED, DIVERGENCE, EDITION, GROUND, LEVEL
from envpredict.models.spec import Scatter, model

_AIR_RANGES = {
    "temperature_c": Range(-20.0, 50.0, "ISO 9613-1, scope"),
    "humidity_percent": Range(10.0, 100.0, "ISO 9613-1, scope"),
    "pressure_kpa": Range(0.0, 200.0, "ISO 9613-1, clause 7"),
}
_SCATTER = Scatter(3.0, 0.0, Citation(
    "ISO 9613-2", 1996, "9: +/-1 to +/-3 dB up to 1000 m", "estimate",
    note="+/-3 dB taken as one standard deviation, cautious within 100 m; the uncertainty budget has it by distance"))


@model("iso9613_divergence", title="Geometrical divergence", quantity="attenuation_db", statistic="deterministic",
       position="free_field", distance="slope", validity={"distance_m": DISTANCE_RANGE}, source=DIVERGENCE,
       falls_with_distance=False)
def divergence_db(distance_m: ArrayLike) -> Floats:
    """Return Adiv = 20 lg(d / 1 m) + 11 in dB, equation (7): a point source in free space.

    distance_m: slope distance d in m, any shape; the result has the same shape. Raises ValueError unless positive.

    >>> round(float(divergence_db(100.0)), 1)
    51.0
    """
    return result(20.0 * np.log10(positive(distance_m, "distance_m")) + 11.0)


@model("iso9613_air_attenuation", title="Attenuation by the air over a path", quantity="attenuation_db",
       statistic="deterministic", position="free_field", distance="slope",
       validity={"distance_m": DISTANCE_RANGE, **_AIR_RANGES}, source=AIR, sources=(FORMULAS,),
       falls_with_distance=False)
def air_attenuation_db(distance_m: ArrayLike, *, temperature_c: ArrayLike = 10.0, humidity_percent: ArrayLike = 70.0,
                       pressure_kpa: ArrayLike = REFERENCE_PRESSURE_KPA) -> Floats:
    """Return Aatm = alpha d of equation (8) in octave bands, dB: shape (..., 8).

    distance_m: slope distance d in m. The air's state is in degC, % and kPa. All broadcast to the leading axes. Raises
    ValueError that names the argument.

    >>> [round(float(a), 2) for a in air_attenuation_db(100.0)][4:]
    [0.37, 0.97, 3.28, 11.69]
    """
    alpha = octave_absorption_db_m(temperature_c=temperature_c, humidity_percent=humidity_percent,
                                   pressure_kpa=pressure_kpa)
    return result(alpha * positive(distance_m, "distance_m")[..., None])


@model("iso9613_flat", title=f"Attenuation over flat ground, nothing in the way ({EDITION})", quantity="attenuation_db",
       statistic="median", position="free_field", distance="plan", validity={**GROUND_RANGES, **_AIR_RANGES},
       derived=(MEAN_HEIGHT,), source=LEVEL, sources=(DIVERGENCE, AIR, GROUND, CLARIFIED, FORMULAS), scatter=_SCATTER,
       falls_with_distance=False)
def flat_attenuation(distance_m: ArrayLike, source_height_m: ArrayLike, receptor_height_m: ArrayLike, *,
                     source_porosity: ArrayLike, receptor_porosity: ArrayLike, middle_porosity: ArrayLike,
                     temperature_c: ArrayLike = 10.0, humidity_percent: ArrayLike = 70.0,
                     pressure_kpa: ArrayLike = REFERENCE_PRESSURE_KPA) -> Floats:
    """Return A = Adiv + Aatm + Agr in octave bands, dB: shape (..., 8). Level there = LW + Dc - A, downwind, incident.

    distance_m: plan distance dp in m; the slope distance follows from the heights. Heights are above ground in m,
    porosities 0 to 1 per region as in `ground_effect_db`, the air's state in degC, % and kPa. All broadcast; single
    values are cheap. Memory is the result's alone, so callers choose the tile. The same inputs give the same bits.
    Raises ValueError that names the argument.

    >>> a = flat_attenuation(100.0, 3.0, 4.0, source_porosity=0.5, receptor_porosity=0.5, middle_porosity=0.5)
    >>> [round(100.0 - float(band), 1) for band in a]
    [52.0, 48.5, 47.9, 50.2, 50.1, 49.5, 47.2, 38.8]
    """
    path = checked(distance_m, source_height_m, receptor_height_m, source_porosity, receptor_porosity, middle_porosity)
    alpha = octave_absorption_db_m(temperature_c=temperature_c, humidity_percent=humidity_percent,
                                   pressure_kpa=pressure_kpa)
    shape = np.broadcast_shapes(*(array.shape for array in path), alpha.shape[:-1])
    out = np.empty((int(np.prod(shape)), BANDS))
    kernels.flat_pairs(*flat_path(path, shape), *flat(alpha, shape, (BANDS,)), out)
    return out.reshape(*shape, BANDS)
