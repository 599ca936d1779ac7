"""How the rows of a plan fit together: dates in order, units that belong to their quantities, positions that can be."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from envpredict.core.quantities import QUANTITIES
from envpredict.monitoring.plan_fields import MOVEMENTS, Part, Row

Fault = tuple[str, str, str]
"""Key, what is wrong there, how to mend it."""
Rows = Mapping[str, Mapping[int, Row]]

_ORDERED: dict[str, tuple[str, str]] = {"baseline": ("first", "last"), "phases": ("first", "last"),
                                        "surveys": ("before", "after"), "instruments": ("low_hz", "high_hz")}
"""Lists with two keys of which the first may not lie after the second."""


def unit_of(quantity: str) -> str:
    """Return the unit of a quantity of limits or of movement points."""
    return MOVEMENTS[quantity][0] if quantity in MOVEMENTS else QUANTITIES[quantity].unit


def kind_of(quantity: str) -> str:
    """Return the kind of station that measures a quantity."""
    return "movement" if quantity in MOVEMENTS else QUANTITIES[quantity].effect


def crs_fault(text: str) -> str | None:
    """Return what is wrong with a coordinate reference system, or None."""
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        crs = CRS.from_user_input(text)
    except CRSError:
        return f"'{text}' is no coordinate reference system"
    if not crs.is_projected or any(axis.unit_name != "metre" for axis in crs.axis_info[:2]):
        return f"'{text}' isn't a projected system in metres"
    return None


def line_fault(text: str) -> str | None:
    """Return what is wrong with the well-known text of a line, or None."""
    import shapely

    try:
        shape = shapely.from_wkt(text)
    except shapely.errors.ShapelyError:
        return "isn't well-known text"
    return None if shapely.get_dimensions(shape) in (0, 1) else f"is a {shape.geom_type}, not a line"


def fit_faults(rows: Rows, sections: Mapping[str, Part], head: Mapping[str, Any]) -> Iterator[Fault]:
    """Yield what doesn't fit together."""
    crs = head.get("crs")
    if isinstance(crs, str) and (what := crs_fault(crs)):
        yield "crs", what, "give the code of a projected system in metres, as EPSG:32631"
    works = sections.get("works")
    first, last = getattr(works, "first_piling", None), getattr(works, "last_piling", None)
    if first and last and first > last:
        yield "works.last_piling", f"{last} lies before the first day of piling, {first}", "correct one of the two"
    line = getattr(works, "line", None)
    if line and (what := line_fault(line)):
        yield "works.line", what, "write it as LINESTRING (x y, x y, ...)"
    for name, (low, high) in _ORDERED.items():
        for number, row in rows[name].items():
            below, above = getattr(row, low), getattr(row, high)
            if below is not None and above is not None and below > above:
                yield f"{name}[{number + 1}].{high}", f"{above} lies before {low} {below}", "correct one of the two"
    yield from _coordinates(rows)
    yield from _units(rows)
    yield from _judged(rows)


def _coordinates(rows: Rows) -> Iterator[Fault]:
    for name in ("stations", "receptors"):
        for number, row in rows[name].items():
            x, y = getattr(row, "x", None), getattr(row, "y", None)
            if (x is None) != (y is None):
                yield f"{name}[{number + 1}].{'y' if y is None else 'x'}", "x and y belong together", "give both"


def _units(rows: Rows) -> Iterator[Fault]:
    for number, row in rows["criteria"].items():
        quantity, unit = getattr(row, "quantity", None), getattr(row, "unit", None)
        if quantity and unit and unit != unit_of(quantity):
            yield (f"criteria[{number + 1}].unit", f"'{unit}' isn't the unit of {quantity}",
                   f"give the value in {unit_of(quantity)}, and unit = \"{unit_of(quantity)}\"")


def _judged(rows: Rows) -> Iterator[Fault]:
    """Yield the stations that can't measure what they're said to judge."""
    quantities = {getattr(row, "id", ""): getattr(row, "quantity", None) for row in rows["criteria"].values()}
    for number, station in rows["stations"].items():
        for name in getattr(station, "criteria", ()):
            quantity, kind = quantities.get(name), getattr(station, "kind", "")
            if quantity and kind != kind_of(quantity):
                yield (f"stations[{number + 1}].criteria", f"a {kind} station can't judge '{name}', which is "
                       f"stated in {quantity}", "name criteria of the station's own kind")
