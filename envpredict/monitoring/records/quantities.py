"""From the columns of records to the quantities that limits are stated in; what isn't recorded isn't made up."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.monitoring.plan_fields import MOVEMENTS
from envpredict.monitoring.records.columns import AXES

if TYPE_CHECKING:
    from envpredict.monitoring.plan_rows import Station

Floats = NDArray[np.float64]
Values = Mapping[str, Floats]
UP = ("vertical", "z", "up", "v")
"""Words by which a plan may name the vertical axis among a station's axes."""
DOSES = ("vdv",)
"""Quantities that add up over time by their fourth powers."""
MEANS = ("laeq_db", "lar_db")
"""Levels that are energy means over an averaging time."""
LONG_MEANS = ("lnight_db", "ldn_db", "lden_db")
"""Levels that are energy means over certain hours of many days."""
STRENGTHS = ("kb_ftr",)
"""Strengths that add up by their squares over intervals of 30 s, each at its maximum."""


def vertical_axis(station: Station) -> str:
    """Return the column axis (x, y or z) of the vertical: the place at which the plan lists it, z where it doesn't."""
    named = [number for number, name in enumerate(station.axes[:3]) if name.strip().casefold() in UP]
    return AXES[named[0]] if named else "z"


@dataclass(frozen=True, slots=True)
class Source:
    """The columns that a quantity is taken from, and what is done with them."""

    columns: tuple[str, ...]
    take: Callable[[list[Floats]], Floats]
    said: str = ""


def _largest(columns: list[Floats]) -> Floats:
    return np.asarray(np.fmax.reduce(columns))


def _size(columns: list[Floats]) -> Floats:
    return np.asarray(np.abs(columns[0]))


def source_of(quantity: str, station: Station) -> Source | None:
    """Return where a quantity stands in the records of a station; None where no column holds it.

    A limit on a resultant needs the recorded vector sum: it can't be had from the peaks of the axes, which needn't
    fall together, and the largest axis may lie below it by a factor of up to the root of three.
    """
    if quantity in MOVEMENTS:
        return Source((quantity,), _size, "size of the movement, whichever way")
    up = vertical_axis(station)
    level = [axis for axis in AXES if axis != up]
    known = {
        "laeq_db": Source(("laeq_db",), _largest), "lafmax_db": Source(("lafmax_db",), _largest),
        "lasmax_db": Source(("lasmax_db",), _largest), "la90_db": Source(("la90_db",), _largest),
        "lar_db": Source(("laeq_db",), _largest, "LAeq with the rule's adjustments"),
        "ppv_component": Source(tuple(f"ppv_{axis}_mm_s" for axis in AXES), _largest, "largest axis"),
        "ppv_unspecified": Source(tuple(f"ppv_{axis}_mm_s" for axis in AXES), _largest,
                                  "largest axis: the document names no component"),
        "ppv_vertical": Source((f"ppv_{up}_mm_s",), _largest, f"axis {up}"),
        "ppv_horizontal": Source(tuple(f"ppv_{axis}_mm_s" for axis in level), _largest, "larger horizontal axis"),
        "ppv_resultant": Source(("pvs_mm_s",), _largest, "recorded vector sum"),
        "velocity_rms": Source(tuple(f"rms_{axis}_mm_s" for axis in AXES), _largest, "largest axis"),
        **{name: Source(("laeq_db",), _largest) for name in LONG_MEANS},
        "kb_fmax": Source(("kb_fmax",), _largest), "kb_ftr": Source(("kb_fmax",), _largest),
        "vdv": Source(tuple(f"vdv_{axis}_m_s1_75" for axis in AXES), _largest, "largest axis of each interval"),
    }
    return known.get(quantity)


def values_of(quantity: str, station: Station, values: Values) -> Floats | None:
    """Return a quantity of each row (N,), NaN where its cells are empty; None where its columns aren't there."""
    source = source_of(quantity, station)
    if source is None:
        return None
    columns = [values[name] for name in source.columns if name in values]
    if not columns:
        return None
    return source.take(columns)
