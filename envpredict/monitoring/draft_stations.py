"""The stations of a drafted plan: where each stands, what it measures with what, and which limits it judges."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from envpredict.monitoring.plan_fields import Coupling, Surface
from envpredict.monitoring.plan_rows import Instrument, Station

if TYPE_CHECKING:
    import geopandas as gpd

    from envpredict.monitoring.draft_defaults import Defaults
    from envpredict.monitoring.draft_limits import Limit

MEASURED_AT: dict[str, str] = {"structure": "foundation", "ground": "ground", "instrument": "instrument"}
"""Position at which a limit on vibration is judged, to the one at which it's measured where that is another."""
FIXING: dict[str, tuple[Coupling, Surface]] = {
    "foundation": ("bolt", "foundation_wall"), "ground": ("spike", "soil"), "pipe": ("resin", "pipe"),
    "floor": ("plaster", "floor"), "slab": ("plaster", "floor"), "top_floor": ("plaster", "floor"),
    "instrument": ("plaster", "floor"),
}
"""How a vibration sensor is fixed at each position; elsewhere as on a foundation."""
STOREY: dict[str, str] = {
    "floor": "lowest occupied storey", "slab": "lowest occupied storey, middle of the largest floor",
    "top_floor": "topmost storey, beside an outer wall", "instrument": "storey of the instrument",
}
NOISE_LOGGED = ("laeq_db", "lafmax_db", "la10_db", "la90_db")
WORKED_OUT = {"lar_db": "laeq_db", "lnight_db": "laeq_db", "ldn_db": "laeq_db", "lden_db": "laeq_db",
              "kb_ftr": "kb_fmax", "shear_strain": "ppv_component"}
"""Quantities that no instrument logs, and what they're worked out from."""
AXES = ("radial", "transverse", "vertical")
MOVES: dict[str, tuple[str, ...]] = {
    "railway": ("track_level_mm", "track_twist_mm_per_m"), "buried_pipe": ("settlement_mm",),
    "bridge": ("settlement_mm", "tilt_mm_per_m", "displacement_mm"),
}
"""What movement points read at each use; at a building settlement, tilt and crack width."""


@dataclass(frozen=True, slots=True, eq=False)
class Site:
    """The receptors as the stations see them: facing points, direction to the works, boundary."""

    facing: Mapping[str, tuple[float, float]]
    works: Any
    boundary: Any | None
    uses: Mapping[str, str]

    @classmethod
    def of(cls, receptors: gpd.GeoDataFrame, piles: gpd.GeoSeries, boundary: gpd.GeoDataFrame | None) -> Site:
        """Return the site of a scenario."""
        from envpredict.engine.geometry import facing_point

        works = piles.union_all()
        ids = receptors["id"].astype(str)
        points = facing_point(receptors.geometry, works)
        return cls({name: (float(x), float(y)) for name, (x, y) in zip(ids, points, strict=True)}, works,
                   None if boundary is None else boundary.boundary.union_all(),
                   dict(zip(ids, receptors["use"].astype(str), strict=True)))

    def towards(self, receptor: str, metres: float) -> tuple[float, float, float]:
        """Return the point so many metres from a receptor's face towards the works, and how far it really stands off.

        Where the works are nearer than twice that, it stands half-way.
        """
        import shapely

        start = shapely.Point(self.facing[receptor])
        line = shapely.shortest_line(start, self.works)
        off = min(metres, line.length / 2)
        point = line.interpolate(off)
        return float(point.x), float(point.y), float(off)

    def on_boundary(self, receptor: str) -> tuple[float, float]:
        """Return the point of the site's boundary that is nearest to a receptor; its face where none is known."""
        import shapely

        start = shapely.Point(self.facing[receptor])
        if self.boundary is None:
            return self.facing[receptor]
        point = shapely.get_point(shapely.shortest_line(start, self.boundary), 1)
        return float(point.x), float(point.y)


def _placed(point: Sequence[float]) -> dict[str, Any]:
    return {"x": round(point[0], 2), "y": round(point[1], 2)}


def interval_s(limits: Sequence[Limit], longest: float) -> float:
    """Return a logging interval that divides every averaging time: the longest allowed, or a divisor of it."""
    averaging = [limit.criterion.averaging_s for limit in limits if limit.criterion.averaging_s is not None]
    tried = [longest, *(step for step in (900.0, 300.0, 60.0, 30.0, 10.0, 5.0, 1.0) if step < longest)]
    return next((step for step in tried if all(math.isclose(time % step, 0.0) for time in averaging)), tried[-1])


def noise_stations(site: Site, measured: Sequence[str], limits: Sequence[Limit], defaults: Defaults) -> list[Station]:
    """Return the noise stations of the measured receptors: one per receptor, a further one on the boundary."""
    found: list[Station] = []
    for receptor in measured:
        mine = _protecting(limits, receptor)
        outside = [limit for limit in mine if limit.criterion.position != "boundary"]
        for chosen, on_boundary in ((outside, False), ([one for one in mine if one not in outside], True)):
            if chosen or (not mine and not on_boundary):
                found.append(_noise_station(site, receptor, chosen, len(found) + 1, defaults, on_boundary=on_boundary))
    return found


def _noise_station(site: Site, receptor: str, limits: Sequence[Limit], number: int, defaults: Defaults, *,
                   on_boundary: bool) -> Station:
    places = {limit.criterion.position for limit in limits}
    stated: dict[str, Any] = {}
    if on_boundary:
        position = "boundary"
        stated |= _placed(site.on_boundary(receptor))
    else:
        position = "facade" if "facade" in places or not places else str(sorted(map(str, places))[0])
        off = defaults.number("facade_m" if position == "facade" else "free_field_m")
        x, y, stands_off = site.towards(receptor, off)
        stated |= {**_placed((x, y)), "reflector_m": round(stands_off, 1)}
    if position == "facade" and places - {"facade"}:
        stated["correction_db"] = -defaults.number("facade_db")
    quantities = dict.fromkeys([*_asked(limits), *NOISE_LOGGED])
    return Station(id=f"N{number}", kind="noise", receptor=receptor, position=position,
                   height_m=defaults.number("microphone_m"), quantities=tuple(quantities),
                   interval_s=interval_s(limits, defaults.number("noise_interval_s")), instrument=f"meter-N{number}",
                   criteria=tuple(limit.criterion.id for limit in limits), **stated)


def vibration_stations(site: Site, measured: Sequence[str], limits: Sequence[Limit],
                       defaults: Defaults) -> list[Station]:
    """Return the vibration stations of the measured receptors: one per position with a limit that may be exceeded.

    The foundation is always measured where a limit speaks of it; floor and slab share the sensor in mid-floor.
    """
    found: list[Station] = []
    for number, receptor in enumerate(measured, 1):
        by_place: dict[str, list[Limit]] = {}
        for limit in _protecting(limits, receptor):
            place = str(limit.criterion.position)
            by_place.setdefault(MEASURED_AT.get(place, place), []).append(limit)
        if "slab" in by_place and "floor" in by_place:
            by_place["slab"] += by_place.pop("floor")
        within = defaults.number("within_db")
        wanted = {place: chosen for place, chosen in by_place.items()
                  if place == "foundation" or any(limit.near(receptor, within) for limit in chosen)}
        for place, chosen in (wanted or by_place or {"foundation": []}).items():
            name = f"V{number}" if place == "foundation" else f"V{number}-{place}"
            coupling, surface = FIXING.get(place, FIXING["foundation"])
            quantities = dict.fromkeys(["ppv_component", "dominant_frequency_hz", *_asked(chosen)])
            found.append(Station(
                id=name, kind="vibration", receptor=receptor, position=place, floor=STOREY.get(place),
                coupling=coupling, surface="rail_structure" if site.uses[receptor] == "railway" else surface,
                level_within_deg=defaults.number("level_within_deg"), axes=AXES, per_axis=True,
                quantities=tuple(quantities), waveform="on_trigger", instrument=f"meter-{name}",
                interval_s=interval_s(chosen, defaults.number("vibration_interval_s")),
                criteria=tuple(limit.criterion.id for limit in chosen), **_placed(site.facing[receptor])))
    return found


def movement_stations(site: Site, receptors: Sequence[str], limits: Sequence[Limit],
                      defaults: Defaults) -> list[Station]:
    """Return the movement points; their thresholds are the user's unless a limit set states one."""
    building = ("settlement_mm", "tilt_mm_per_m", "crack_width_mm")
    found = []
    for number, receptor in enumerate(receptors, 1):
        mine = _protecting(limits, receptor)
        quantities = dict.fromkeys([*_asked(mine), *MOVES.get(site.uses[receptor], building)])
        found.append(Station(
            id=f"M{number}", kind="movement", receptor=receptor, position="structure", quantities=tuple(quantities),
            interval_s=defaults.number("movement_interval_s"), instrument=f"sensor-M{number}",
            criteria=tuple(limit.criterion.id for limit in mine), **_placed(site.facing[receptor])))
    return found


def _asked(limits: Sequence[Limit]) -> list[str]:
    """Return the quantities that an instrument must log for limits to be judged."""
    names = (str(limit.criterion.quantity) for limit in limits)
    return list(dict.fromkeys(WORKED_OUT.get(name, name) for name in names))


def _protecting(limits: Sequence[Limit], receptor: str) -> list[Limit]:
    return [limit for limit in limits if receptor in limit.criterion.receptors]


def instruments(stations: Sequence[Station], content_hz: float | None, defaults: Defaults) -> tuple[Instrument, ...]:
    """Return one instrument per station and a sound calibrator; certificates are for the user to fill in."""
    found: list[Instrument] = []
    for station in stations:
        name = str(station.instrument)
        if station.kind == "noise":
            found.append(Instrument(id=name, kind="sound_level_meter", standard="IEC 61672-1", accuracy_class=1))
        elif station.kind == "vibration":
            high = max(defaults.number("high_hz"), 2.0 * (content_hz or 0.0))
            found.append(Instrument(
                id=name, kind="vibration_meter", standard="DIN 45669-1", accuracy_class=1,
                low_hz=defaults.number("low_hz"), high_hz=high, source_content_hz=content_hz,
                sampling_hz=max(defaults.number("sampling_hz"), 5.0 * high)))
        else:
            found.append(Instrument(id=name, kind="movement_sensor"))
    if any(station.kind == "noise" for station in stations):
        found.append(Instrument(id="calibrator", kind="sound_calibrator", standard="IEC 60942", accuracy_class=1))
        found.append(Instrument(id="weather", kind="weather_station"))
    return tuple(found)
