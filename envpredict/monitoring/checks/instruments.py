"""Checks of the instruments: class, certificates, field checks, range, fixing."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

import numpy as np

from envpredict.limits.persistence import after_months
from envpredict.monitoring.audit_checks import Evidence, Facts, broken, check, expected, met, missing
from envpredict.monitoring.plan_fit import kind_of
from envpredict.monitoring.plan_rows import Criterion, Instrument, Station

WEIGHTED = ("kb_fmax", "kb_ftr", "vdv")
"""Values that need no dominant frequency beside them."""
ALIKE = {"structure": ("foundation", "structure", "ground"), "foundation": ("foundation",),
         "floor": ("floor", "slab"), "slab": ("slab", "floor"), "ground": ("ground", "foundation")}
"""Position at which a limit is judged, to the positions at which it may be measured."""


def instrument_of(facts: Facts, station: Station) -> tuple[int, Instrument] | None:
    """Return a station's instrument and its number."""
    rows = enumerate(facts.plan.instruments)
    return next(((number, one) for number, one in rows if one.id == station.instrument), None)


@check("M09")
def meter_class(facts: Facts) -> Iterator[Evidence]:
    """Check that limits on noise are judged with class 1 meters."""
    if (none := expected(facts, "noise")) is not None:
        yield none
    for number, station in facts.stations("noise"):
        found = instrument_of(facts, station)
        if found is None:
            yield missing(facts.plan.at("stations", number, "instrument"), "instrument: not stated")
            continue
        row, meter = found
        where = facts.plan.at("instruments", row, "accuracy_class")
        if meter.accuracy_class is None or meter.standard is None:
            yield missing(where, "class or standard: not stated")
        elif "61672" not in meter.standard:
            yield broken(where, f"'{meter.standard}' isn't IEC 61672")
        elif meter.accuracy_class == 1 or station.indicative:
            yield met(where, f"class {meter.accuracy_class} at {station.id}"
                             + (", indicative only" if meter.accuracy_class > 1 else ""))
        else:
            yield broken(where, f"class {meter.accuracy_class} judges limits at {station.id}; class 1 is asked")


@check("M10")
def certificates(facts: Facts) -> Iterator[Evidence]:
    """Check that certificates are young enough on every day of measurement."""
    used = {station.instrument for station in facts.plan.stations if station.kind != "movement"}
    kept = [(number, one) for number, one in enumerate(facts.plan.instruments)
            if one.id in used or one.kind == "sound_calibrator"]
    if not kept:
        yield missing("instruments", "no instrument is stated")
    noise = any(station.kind == "noise" for station in facts.plan.stations)
    if noise and all(one.kind != "sound_calibrator" for one in facts.plan.instruments):
        yield missing("instruments", "no sound calibrator is stated")
    for number, one in kept:
        name = "calibrator_months" if one.kind == "sound_calibrator" else "meter_months"
        months = facts.number(name)
        renewed = facts.value(f"calibration.{name}")
        where = facts.plan.at("instruments", number, "certificate_date")
        if isinstance(renewed, float) and renewed > months:
            yield broken(facts.plan.place(f"calibration.{name}"), f"{renewed:g} months, at most {months:g} asked")
        elif one.certificate_date is None:
            yield missing(where, "date of the certificate: not stated, and no records show it")
        else:
            yield _young(facts, one.certificate_date, months, where, renewed=isinstance(renewed, float))


def _young(facts: Facts, certified: date, months: float, where: str, *, renewed: bool) -> Evidence:
    """Return whether a certificate holds from the first to the last day of piling."""
    first, last = facts.plan.works.first_piling, facts.plan.works.last_piling
    if first is None or last is None:
        return missing("works.first_piling", "first or last day of piling: not stated")
    ends = after_months(np.array([np.datetime64(certified.isoformat(), "D")]), int(months))[0].astype(object)
    if certified > first:
        return broken(where, f"certified on {certified}, after the first day of piling, {first}")
    if ends < first:
        return broken(where, f"certified on {certified}: older than {months:g} months by the first day of piling")
    if ends < last and not renewed:
        return broken(where, f"certified on {certified}: older than {months:g} months by the last day of piling, and "
                             "no renewal is stated")
    return met(where, f"certified on {certified}, holds until {ends}" + ("" if ends >= last else ", then renewed"))


@check("M11")
def field_checks(facts: Facts) -> Iterator[Evidence]:
    """Check that the calibrator is applied before and after."""
    if (none := expected(facts, "noise")) is not None and none.verdict == "idle":
        yield none
        return
    how = facts.plan.calibration.field_check
    where = facts.plan.place("calibration.field_check")
    if how is None:
        yield missing(where, "field checks: not stated")
    elif how != "before_and_after":
        yield broken(where, f"field checks: {how}; before and after is asked")
    else:
        yield met(where, "before and after")
    yield facts.at_most("calibration.tolerance_db", facts.number("tolerance_db"), "drift", "dB")
    yield facts.given("calibration.drift_rule", "what happens to data that drifted")


@check("M12")
def weather(facts: Facts) -> Iterator[Evidence]:
    """Check that wind and rain void readings by numbers."""
    if (none := expected(facts, "noise")) is not None and none.verdict == "idle":
        yield none
        return
    stated = facts.plan.weather
    for key, bad in (("recorded", "none"), ("rain", "kept")):
        value, where = getattr(stated, key), facts.plan.place(f"weather.{key}")
        if value is None:
            yield missing(where, f"{key}: not stated")
        else:
            yield broken(where, f"{key}: {value}") if value == bad else met(where, f"{key}: {value}")
    yield facts.at_most("weather.max_wind_m_s", facts.number("max_wind_m_s"), "wind", "m/s")
    yield facts.at_most("weather.max_gust_m_s", facts.number("max_gust_m_s"), "gusts", "m/s")


@check("M15")
def axes_logged(facts: Facts) -> Iterator[Evidence]:
    """Check that there are three axes, each with its peak and frequency."""
    if (none := expected(facts, "vibration")) is not None:
        yield none
    for number, station in facts.stations("vibration"):
        where = facts.plan.at("stations", number, "axes")
        if not station.axes:
            yield missing(where, "axes: not stated")
        else:
            text = f"{len(set(station.axes))} axes: {', '.join(station.axes)}"
            yield met(where, text) if len(set(station.axes)) == 3 else broken(where, f"{text}; three are asked")
        yield _logged(facts, number, station)


def _logged(facts: Facts, number: int, station: Station) -> Evidence:
    where = facts.plan.at("stations", number, "quantities")
    logged = ", ".join(station.quantities)
    if not logged:
        return missing(where, "what is logged: not stated")
    if any(name in WEIGHTED for name in station.quantities):
        return met(where, f"weighted value logged: {logged}")
    faults = {
        f"neither a peak velocity nor a weighted value is logged: {logged}":
            not any(name.startswith("ppv") for name in station.quantities),
        "peaks are logged as a vector sum only": station.per_axis is False,
        "peaks are logged without their dominant frequency": "dominant_frequency_hz" not in station.quantities,
    }
    for fault, there in faults.items():
        if there:
            return broken(where, fault)
    if station.per_axis is None:
        return missing(where, "whether peaks are logged per axis: not stated")
    return met(where, f"peak per axis with frequency: {logged}")


@check("M16")
def vibration_meter(facts: Facts) -> Iterator[Evidence]:
    """Check the meter's standard, range and sampling."""
    if (none := expected(facts, "vibration")) is not None:
        yield none
    for number, station in facts.stations("vibration"):
        found = instrument_of(facts, station)
        if found is None:
            yield missing(facts.plan.at("stations", number, "instrument"), "instrument: not stated")
            continue
        row, meter = found
        yield _standard(facts, row, meter)
        top = max(facts.number("high_hz"), facts.number("content_ratio") * (meter.source_content_hz or 0.0))
        yield _reaches(facts, row, "low_hz", facts.number("low_hz"), highest=True)
        yield _reaches(facts, row, "high_hz", top, highest=False)
        yield _reaches(facts, row, "sampling_hz", facts.number("sampling_hz"), highest=False)
        if meter.source_content_hz is None:
            yield missing(facts.plan.at("instruments", row, "source_content_hz"),
                          "highest frequency of interest in the source: not stated")


def _standard(facts: Facts, row: int, meter: Instrument) -> Evidence:
    where = facts.plan.at("instruments", row, "standard")
    if meter.standard is None:
        return missing(where, "standard: not stated")
    plain = meter.standard.replace(" ", "").replace("-", "").casefold()
    known = any(name.replace(" ", "").replace("-", "").casefold() in plain for name in facts.words("standards"))
    return met(where, meter.standard) if known else broken(
        where, f"'{meter.standard}' isn't a known standard of vibration meters")


def _reaches(facts: Facts, row: int, key: str, bound: float, *, highest: bool) -> Evidence:
    value, where = getattr(facts.plan.instruments[row], key), facts.plan.at("instruments", row, key)
    if value is None:
        return missing(where, f"{key}: not stated")
    text = f"{key} {value:g} Hz, {'at most' if highest else 'at least'} {bound:g} Hz asked"
    return met(where, text) if (value <= bound if highest else value >= bound) else broken(where, text)


@check("M17")
def vibration_position(facts: Facts) -> Iterator[Evidence]:
    """Check that damage is measured on the foundation, what people feel on their floor."""
    if (none := expected(facts, "vibration")) is not None:
        yield none
    for number, station in facts.stations("vibration"):
        where = facts.plan.at("stations", number, "position")
        if station.position is None:
            yield missing(where, "position: not stated")
            continue
        for name in station.criteria:
            criterion = facts.criterion(name)
            if criterion is None or criterion.position is None:
                continue
            fits = station.position in ALIKE.get(criterion.position, (criterion.position,))
            yield (met(where, f"{name} judged {criterion.position}, measured {station.position}") if fits
                   else broken(where, f"{name} is judged {criterion.position}, but measured {station.position}"))
    for criterion in _unjudged(facts):
        yield broken(f"criteria {criterion.id}", "limits vibration at a receptor with a vibration station, but no "
                                                 "station judges it")


def _unjudged(facts: Facts) -> Iterator[Criterion]:
    """Yield the limits on vibration that no station judges, though one stands at a receptor that they protect."""
    judged = {name for _, station in facts.stations("vibration") for name in station.criteria}
    places = {station.receptor for _, station in facts.stations("vibration")}
    for criterion in facts.plan.criteria:
        vibration = criterion.quantity is not None and kind_of(criterion.quantity) == "vibration"
        if vibration and criterion.id not in judged and (not criterion.receptors or places & set(criterion.receptors)):
            yield criterion


@check("M18")
def sensor_fixed(facts: Facts) -> Iterator[Evidence]:
    """Check that the sensor moves with what it measures."""
    if (none := expected(facts, "vibration")) is not None:
        yield none
    for number, station in facts.stations("vibration"):
        where = facts.plan.at("stations", number, "coupling")
        lacking = [key for key in ("coupling", "surface", "level_within_deg") if getattr(station, key) is None]
        if lacking:
            yield missing(where, f"not stated: {', '.join(lacking)}")
        if station.coupling is not None and station.coupling not in facts.words("couplings"):
            yield broken(where, f"fixed by {station.coupling}; {', '.join(facts.words('couplings'))} hold")
        elif station.surface == "loose_slab":
            yield broken(where, "stands on a loose slab")
        elif (station.level_within_deg or 0.0) > facts.number("level_within_deg"):
            yield broken(where, f"level within {station.level_within_deg:g} degrees, at most "
                                f"{facts.number('level_within_deg'):g} asked")
        elif not lacking:
            yield met(where, f"{station.coupling} on {station.surface}, within {station.level_within_deg:g} degrees")


@check("M19")
def traces_kept(facts: Facts) -> Iterator[Evidence]:
    """Check that raw traces are kept."""
    if (none := expected(facts, "vibration")) is not None:
        yield none
    for number, station in facts.stations("vibration"):
        where = facts.plan.at("stations", number, "waveform")
        if station.waveform is None:
            yield missing(where, "raw trace: not stated")
        else:
            kept = station.waveform != "none"
            yield met(where, f"raw trace: {station.waveform}") if kept else broken(where, "no raw trace is kept")
