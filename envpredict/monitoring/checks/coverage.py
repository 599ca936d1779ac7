"""Checks of the places: measured where it matters, and as the limit is judged."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

from envpredict.monitoring.audit_checks import Evidence, Facts, broken, check, expected, idle, met, missing
from envpredict.monitoring.plan_rows import Station
from envpredict.monitoring.predicted import Predicted

NOTHING_PREDICTED = "nothing is predicted: state predictions in the plan, or audit it with its scenario"
ITS_PLACES = ("facade", "free_field", "boundary", "habitat", "indoors")


def measured_at(facts: Facts, receptor: str, kind: str) -> list[str]:
    """Return the stations of a kind that stand at a receptor."""
    return [station.id for station in facts.plan.stations if station.receptor == receptor and station.kind == kind]


def proxies_for(facts: Facts, receptor: str, kind: str) -> tuple[list[str], list[str]]:
    """Return the stations of a kind that stand for a receptor by an agreed proxy, and by one not yet agreed."""
    kinds = {station.id: station.kind for station in facts.plan.stations}
    found = [proxy for proxy in facts.plan.proxies if proxy.receptor == receptor and kinds.get(proxy.station) == kind]
    return ([proxy.station for proxy in found if proxy.agreed_on is not None],
            [proxy.station for proxy in found if proxy.agreed_on is None])


def near_its_limit(one: Predicted, within_db: float) -> bool:
    """Tell whether a receptor must be measured under a limit: above it, close below it, or not to be judged at all."""
    if math.isnan(one.margin_db):
        return one.likelihood in ("cannot_judge", "possible", "likely")
    return one.margin_db < within_db


@check("M04")
def receptors_covered(facts: Facts) -> Iterator[Evidence]:
    """Check that every receptor that may exceed has a station or an agreed proxy."""
    if facts.predicted is None:
        yield missing("predictions", NOTHING_PREDICTED)
        return
    need: dict[tuple[str, str], Predicted] = {}
    for one in facts.predicted:
        if near_its_limit(one, facts.number("within_db")):
            worst = need.get((one.receptor, one.kind))
            if worst is None or one.spent > worst.spent:
                need[one.receptor, one.kind] = one
    if not need:
        yield idle("predictions", f"no receptor comes within {facts.number('within_db'):g} dB of a limit")
    for (receptor, kind), one in need.items():
        agreed, open_ = proxies_for(facts, receptor, kind)
        why = ("no number can be given" if math.isnan(one.margin_db)
               else f"{one.design:.3g} against {one.limit:.3g}, margin {one.margin_db:.1f} dB")
        if stations := measured_at(facts, receptor, kind):
            yield met(f"receptor {receptor}", f"{kind} measured by {', '.join(stations)} ({why})")
        elif agreed:
            yield met(f"receptor {receptor}", f"{kind} judged at {', '.join(agreed)} by an agreed proxy ({why})")
        elif open_:
            yield missing(f"receptor {receptor}", f"{kind} proxy {', '.join(open_)}: agreement not stated ({why})")
        else:
            yield broken(f"receptor {receptor}", f"no {kind} station and no proxy ({why}; {one.where})")


def worst_of(predicted: Iterable[Predicted], kind: str) -> dict[str, Predicted]:
    """Return the worst predictions of a kind by receptor: the highest velocity or sound level, the most used limit."""
    mine = [one for one in predicted if one.kind == kind]
    plain = [one for one in mine if not math.isnan(one.median) and _plain_level(one.quantity)]
    found: dict[str, Predicted] = {}
    if plain:
        top = max(plain, key=lambda one: one.median)
        found[top.receptor] = top
    spent = [one for one in mine if not math.isnan(one.margin_db)]
    if spent:
        top = max(spent, key=lambda one: one.spent)
        found[top.receptor] = top
    return found


def _plain_level(quantity: str) -> bool:
    return quantity.startswith("ppv_") or quantity in ("laeq_db", "lar_db", "lafmax_db", "lasmax_db")


@check("M05")
def worst_measured(facts: Facts) -> Iterator[Evidence]:
    """Check that the worst receptor of each kind has a station of that kind."""
    if facts.predicted is None:
        yield missing("predictions", NOTHING_PREDICTED)
        return
    for kind in ("noise", "vibration"):
        worst = worst_of(facts.predicted, kind)
        if not worst:
            yield idle("predictions", f"no {kind} is predicted")
        for receptor, one in worst.items():
            stations = measured_at(facts, receptor, kind)
            text = f"worst for {kind}: median {one.median:.3g}, limit {one.limit:.3g} ({one.where})"
            yield (met(f"receptor {receptor}", f"{text}; measured by {', '.join(stations)}") if stations
                   else broken(f"receptor {receptor}", f"{text}; no {kind} station at it"))


@check("M06")
def position_agrees(facts: Facts) -> Iterator[Evidence]:
    """Check that the microphone stands where the limit is judged, or readings are corrected."""
    if (none := expected(facts, "noise")) is not None:
        yield none
    for number, station in facts.stations("noise"):
        where = facts.plan.at("stations", number, "position")
        if station.position is None:
            yield missing(where, "position: not stated")
            continue
        if station.position not in ITS_PLACES:
            yield broken(where, f"'{station.position}' is no position of a microphone: {', '.join(ITS_PLACES)}")
            continue
        yield _reflector(facts, number, station)
        for name in station.criteria:
            criterion = facts.criterion(name)
            if criterion is None or criterion.position in (None, station.position):
                continue
            if station.correction_db is None:
                yield broken(where, f"measured {station.position}, but {name} is judged {criterion.position}, and no "
                                    "correction is stated")
            else:
                yield met(where, f"measured {station.position}, {name} judged {criterion.position}: readings corrected "
                                 f"by {station.correction_db:+g} dB")


def _reflector(facts: Facts, number: int, station: Station) -> Evidence:
    """Return whether the distance to reflecting surfaces fits the position."""
    where = facts.plan.at("stations", number, "reflector_m")
    if station.position in ("boundary", "indoors"):
        return met(where, f"{station.position}")
    low, high = ((facts.number("facade_low_m"), facts.number("facade_high_m")) if station.position == "facade"
                 else (facts.number("free_field_m"), math.inf))
    wanted = f"{low:g} m or more" if math.isinf(high) else f"{low:g} to {high:g} m"
    if station.reflector_m is None:
        return missing(where, f"distance to reflecting surfaces: not stated ({wanted} for {station.position})")
    text = f"{station.reflector_m:g} m from a reflecting surface, {wanted} for {station.position}"
    return met(where, text) if low <= station.reflector_m <= high else broken(where, text)


@check("M07")
def station_near_receptor(facts: Facts) -> Iterator[Evidence]:
    """Check that a station stands near its receptor, and a proxy has a transfer."""
    if not facts.plan.stations:
        yield missing("stations", "no station is stated")
    for number, station in enumerate(facts.plan.stations):
        yield _near(facts, number, station)
    for number, proxy in enumerate(facts.plan.proxies):
        where = facts.plan.at("proxies", number)
        if proxy.transfer_db is None or proxy.transfer_basis is None:
            yield missing(where, "transfer in dB or its basis: not stated")
        else:
            yield met(where, f"transfer {proxy.transfer_db:+.1f} dB: {proxy.transfer_basis}")


def _near(facts: Facts, number: int, station: Station) -> Evidence:
    from shapely import Point

    where = facts.plan.at("stations", number, "x")
    if station.receptor is None:
        if station.position == "boundary":
            return met(where, "on the boundary")
        return missing(facts.plan.at("stations", number, "receptor"), "the receptor that it's for: not stated")
    shape = facts.shapes.get(station.receptor)
    if station.x is None or station.y is None or shape is None:
        what = "position" if station.x is None else f"position of {station.receptor}"
        return missing(where, f"{what}: not stated, so nobody can tell whether it stands near {station.receptor}")
    distance = float(shape.distance(Point(station.x, station.y)))
    if station.position == "boundary":
        return met(where, f"on the boundary, {distance:.0f} m from {station.receptor}")
    text = f"stands {distance:.1f} m from {station.receptor}, at most {facts.number('near_m'):g} m asked"
    return met(where, text) if distance <= facts.number("near_m") else broken(where, text)


@check("M08")
def microphone_found(facts: Facts) -> Iterator[Evidence]:
    """Check that a microphone's place is fully described."""
    if (none := expected(facts, "noise")) is not None:
        yield none
    elif facts.plan.crs is None:
        yield missing("crs", "coordinate reference system: not stated")
    for number, station in facts.stations("noise"):
        where = facts.plan.at("stations", number)
        lacking = [key for key in ("x", "y", "photo") if getattr(station, key) is None]
        if lacking:
            yield missing(where, f"not stated: {', '.join(lacking)}")
        low, high = facts.number("lowest_m"), facts.number("highest_m")
        height = station.height_m
        if station.floor is not None:
            yield met(where, f"storey {station.floor}")
        elif height is None:
            yield missing(where, "height of the microphone or storey: not stated")
        else:
            text = f"microphone {height:g} m high, {low:g} to {high:g} m asked where no storey is stated"
            yield met(where, text) if low <= height <= high else broken(where, text)


@check("M39")
def stations_follow_work(facts: Facts) -> Iterator[Evidence]:
    """Check that each phase is measured at its nearest receptor."""
    if not facts.plan.phases:
        yield missing("phases", "phases and their nearest receptors: not stated")
    at = {station.id: station.receptor for station in facts.plan.stations}
    for number, phase in enumerate(facts.plan.phases):
        where = facts.plan.at("phases", number)
        if phase.nearest_receptor is None or not phase.stations:
            yield missing(where, "nearest receptor or stations of the phase: not stated")
            continue
        direct = [name for name in phase.stations if at[name] == phase.nearest_receptor]
        stand_in = [proxy.station for proxy in facts.plan.proxies
                    if proxy.receptor == phase.nearest_receptor and proxy.station in phase.stations]
        if direct or stand_in:
            yield met(where, f"{phase.nearest_receptor} is measured by {', '.join(direct or stand_in)}")
        else:
            yield broken(where, f"its nearest receptor, {phase.nearest_receptor}, isn't measured in this phase")
