"""Drafts a monitoring plan from an assessment."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from envpredict.core.errors import EnvpredictError
from envpredict.core.words import suggestion
from envpredict.limits.load import load_limit_sets
from envpredict.monitoring.checks.coverage import near_its_limit
from envpredict.monitoring.checks.neighbours import in_survey_zone
from envpredict.monitoring.draft_baseline import baseline_rows
from envpredict.monitoring.draft_cover import Cover, cover
from envpredict.monitoring.draft_defaults import Defaults, load_defaults
from envpredict.monitoring.draft_limits import Limit, highest_alert, levels_of, limits_of, windows_of, without_room
from envpredict.monitoring.draft_open import open_points
from envpredict.monitoring.draft_stations import (
    Site,
    instruments,
    movement_stations,
    noise_stations,
    vibration_stations,
)
from envpredict.monitoring.draft_works import activities, first_and_last, permitted_hours, phases, trial_piles
from envpredict.monitoring.plan_rows import Levels, LimitSetUse, Method, Prediction, Proxy, Receptor, Station, Survey
from envpredict.monitoring.plan_schema import Plan
from envpredict.monitoring.predicted import Predicted, from_assessment, margin_db, of_methods, worked

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy as np
    from numpy.typing import NDArray

    from envpredict.engine.results import Assessment
    from envpredict.limits.schema import LimitSet


At = dict[str, set[str]]
"""By criterion, the receptors at which a station judges it."""


@dataclass(frozen=True, slots=True, eq=False)
class Basics:
    """What every part of a draft is made from."""

    assessment: Assessment
    register: Mapping[str, LimitSet]
    defaults: Defaults
    methods: tuple[str, ...]
    predicted: tuple[Predicted, ...]
    first: date
    last: date


def draft_plan(assessment: Assessment, *, methods: Sequence[str] | None = None,
               defaults: Defaults | None = None) -> Plan:
    """Return a draft of a monitoring plan for an assessed scenario.

    `methods`: the candidates that the plan is for; all that work anywhere by default. A method whose median prediction
    leaves no room for an alert level is given a condition that must be met before it starts. Levels follow from the
    limits; what nothing follows from is filled in from `defaults` and listed in the plan; what only people can settle
    stands in `open_points`. Raises EnvpredictError for an unknown method or if no event of the works is known.
    """
    basics = _basics(assessment, methods, load_defaults() if defaults is None else defaults)
    limits = limits_of(basics.predicted, basics.register)
    distances, to_works = _distances(assessment)
    parts = phases(assessment, basics.methods, {one.receptor for one in basics.predicted if one.kind == "vibration"})
    nearest = tuple(phase.nearest_receptor for phase in parts if phase.nearest_receptor is not None)
    covers = [cover(basics.predicted, kind, distances, to_works, nearest if kind == "vibration" else (),
                    basics.defaults.number(f"reach_{kind}_m"), basics.defaults.number("within_db"))
              for kind in ("noise", "vibration")]
    stations = _stations(basics, limits, covers, to_works)
    at: At = {}
    for station in stations:
        for name in station.criteria:
            at.setdefault(name, set()).add(str(station.receptor))
    kept = tuple(limit for limit in limits if limit.criterion.id in at)
    held = _conditions(kept, at, basics)
    plan = Plan(
        **_head(assessment), works=_works(basics), receptors=_receptors(assessment), methods=_methods(basics, held),
        activities=activities(assessment, basics.methods), permitted_hours=permitted_hours(assessment, basics.register),
        phases=tuple(phase.model_copy(update={"stations": tuple(one.id for one in stations)}) for phase in parts),
        limit_sets=_limit_sets(kept, basics), criteria=tuple(limit.criterion for limit in kept),
        predictions=_predictions(kept, at), stations=tuple(stations), proxies=_proxies(covers, stations),
        instruments=instruments(stations, _content_hz(basics), basics.defaults),
        baseline=baseline_rows(assessment, stations, kept, basics.first, basics.defaults),
        levels=tuple(_levels(limit, at, held, basics) for limit in kept),
        count_windows=tuple(window for limit in kept for window in windows_of(limit)),
        surveys=_surveys(basics), **_filled(basics, kept, stations))
    return _closed(plan, assessment, basics)


def _basics(assessment: Assessment, methods: Sequence[str] | None, defaults: Defaults) -> Basics:
    known = [choice.id for choice in assessment.methods]
    for name in methods or ():
        if name not in known:
            raise EnvpredictError(f"'{name}' isn't among the scenario's methods", suggestion(name, known))
    own = assessment.scenario.own.limits
    register = load_limit_sets(() if own is None else (own,))
    chosen = tuple(methods or (name for name in known if len(assessment.programme[name])))
    first, last = first_and_last(assessment, chosen)
    bare = Plan(title="hours", activities=activities(assessment, chosen))
    found = tuple(one for one in from_assessment(assessment) if one.method in chosen)
    return Basics(assessment, register, defaults, chosen, worked(found, bare, register), first, last)


def _distances(assessment: Assessment) -> tuple[dict[tuple[str, str], float], dict[str, float]]:
    """Return the distance between every two receptors, and from each to the nearest pile."""
    from envpredict.engine.geometry import plan_distance_m

    frame = assessment.receptors
    ids = frame["id"].astype(str).tolist()
    between: NDArray[np.float64] = plan_distance_m(frame.geometry, frame.geometry)
    works = plan_distance_m(frame.geometry, assessment.scenario.piles.geometry).min(axis=1)
    return ({(a, b): float(between[i, j]) for i, a in enumerate(ids) for j, b in enumerate(ids)},
            dict(zip(ids, (float(value) for value in works), strict=True)))


def _stations(basics: Basics, limits: Sequence[Limit], covers: Sequence[Cover],
              to_works: Mapping[str, float]) -> list[Station]:
    scenario, defaults = basics.assessment.scenario, basics.defaults
    site = Site.of(basics.assessment.receptors, scenario.piles.geometry, scenario.boundary)
    of_kind = {kind: [limit for limit in limits if limit.predicted[0].kind == kind]
               for kind in ("noise", "vibration", "movement")}
    noise, vibration = (one.measured for one in covers)
    reach = defaults.number("movement_pile_lengths") * float(scenario.piles["length_m"].max())
    within = defaults.number("within_db")
    moving = {one.receptor for one in basics.predicted if one.kind == "movement" and near_its_limit(one, within)}
    moving |= {name for name in _zone(basics) if to_works[name] <= reach}
    return [*noise_stations(site, noise, of_kind["noise"], defaults),
            *vibration_stations(site, vibration, of_kind["vibration"], defaults),
            *movement_stations(site, sorted(moving), of_kind["movement"], defaults)]


def _zone(basics: Basics) -> list[str]:
    """Return the receptors that are surveyed."""
    share = basics.defaults.number("survey_share")
    return sorted({one.receptor for one in basics.predicted if in_survey_zone(one, share)})


def _conditions(limits: Sequence[Limit], at: At, basics: Basics) -> dict[str, str]:
    """Return, by method, what must be met before it starts: its median leaves no room for an alert level somewhere."""
    worst: dict[str, list[tuple[float, str]]] = {}
    for limit in limits:
        bound = highest_alert(limit, basics.defaults)
        for one in limit.predicted:
            if one.receptor in at[limit.criterion.id] and math.isfinite(one.median) and one.median >= bound:
                text = (f"{limit.criterion.id}: median {one.median:.3g} {limit.criterion.unit} at {one.receptor}, less "
                        f"than {bound:.3g} leaves room for an alert below the limit of {limit.value:.3g}")
                worst.setdefault(one.method, []).append((-margin_db(one.quantity, bound, one.median), text))
    held = {}
    for method, reasons in worst.items():
        most = max(reasons)[1]
        more = f" (and {len(reasons) - 1} more)" if len(reasons) > 1 else ""
        held[method] = ("reduce the levels, or have a higher value agreed in writing by the authority and entered as "
                        f"consented_value; {most}{more}")
    return held


def _medians(limit: Limit, at: At, held: Mapping[str, str]) -> list[float]:
    """Return the medians that are expected at the stations from methods that may start."""
    return [one.median for one in limit.predicted
            if one.receptor in at[limit.criterion.id] and one.method not in held and math.isfinite(one.median)]


def _levels(limit: Limit, at: At, held: Mapping[str, str], basics: Basics) -> Levels:
    """Return the levels of a limit, with the methods that leave no room for them."""
    levels = levels_of(limit, _medians(limit, at, held), basics.defaults)
    crowded = without_room(limit, levels, at[limit.criterion.id])
    return levels.model_copy(update={"derived": f"{levels.derived}; {crowded}"}) if crowded else levels


def _head(assessment: Assessment) -> dict[str, Any]:
    scenario = assessment.scenario
    stated = scenario.submission
    return {"title": f"Monitoring plan: {scenario.title}", "revision": "draft", "invented": scenario.invented,
            "prepared_by": stated.get("competent_person"), "crs": _crs(scenario.crs)}


def _crs(crs: Any) -> str:
    authority = crs.to_authority()
    return ":".join(authority) if authority else str(crs.to_wkt())


def _works(basics: Basics) -> Any:
    scenario = basics.assessment.scenario
    types = ", ".join(sorted(scenario.piles["pile_type"].astype(str).unique()))
    return basics.defaults.section(
        "works", description=f"{len(scenario.piles)} piles ({types}) by {', '.join(basics.methods)}",
        first_piling=basics.first, last_piling=basics.last, line=_line(scenario.wall))


def _line(wall: gpd.GeoDataFrame) -> str | None:
    """Return the wall as one well-known text, to the decimetre."""
    import shapely

    if not len(wall):
        return None
    shape = wall.geometry.union_all()
    return str(shapely.to_wkt(shapely.line_merge(shape) if shape.geom_type == "MultiLineString" else shape,
                              rounding_precision=1))


def _receptors(assessment: Assessment) -> tuple[Receptor, ...]:
    from envpredict.engine.geometry import facing_point

    frame = assessment.receptors
    points = facing_point(frame.geometry, assessment.scenario.piles.geometry.union_all())
    fragile = (frame["structure"] == "historic") | (frame["condition"] == "cracked")
    return tuple(Receptor(id=str(name), name=str(title), use=str(use), x=round(float(x), 2), y=round(float(y), 2),
                          fragile=bool(weak))
                 for name, title, use, (x, y), weak in zip(frame["id"], frame["name"], frame["use"], points, fragile,
                                                           strict=True))


def _methods(basics: Basics, held: Mapping[str, str]) -> tuple[Method, ...]:
    titles = {choice.id: choice.title for choice in basics.assessment.methods}
    return tuple(Method(id=name, title=titles[name], condition=held.get(name)) for name in basics.methods)


def _limit_sets(limits: Sequence[Limit], basics: Basics) -> tuple[LimitSetUse, ...]:
    confirmed = basics.assessment.scenario.limits.confirmed
    found = []
    for name in dict.fromkeys(str(limit.criterion.limit_set) for limit in limits):
        known, who = basics.register[name], confirmed.get(name)
        found.append(LimitSetUse(id=name, title=known.title, edition=known.edition,
                                 checked_on=who.date if who else None, checked_by=who.by if who else None))
    return tuple(found)


def _predictions(limits: Sequence[Limit], at: At) -> tuple[Prediction, ...]:
    """Return what is predicted where something is measured."""
    return tuple(
        Prediction(receptor=one.receptor, criterion=limit.criterion.id, method=one.method, median=_finite(one.median),
                   design=_finite(one.design))
        for limit in limits for one in limit.predicted
        if one.receptor in at[limit.criterion.id] and math.isfinite(one.median))


def _finite(value: float) -> float | None:
    return float(f"{value:.4g}") if math.isfinite(value) else None


def _proxies(covers: Sequence[Cover], stations: Sequence[Station]) -> tuple[Proxy, ...]:
    first = {(str(station.kind), str(station.receptor)): station.id for station in reversed(stations)}
    basis = "largest difference of the predicted medians over the methods; to be measured at both during the trial"
    return tuple(Proxy(receptor=one.receptor, station=first[each.kind, one.at], transfer_db=one.transfer_db,
                       transfer_basis=None if one.transfer_db is None else basis)
                 for each in covers for one in each.stand_ins)


def _content_hz(basics: Basics) -> float | None:
    """Return the highest frequency of interest in the vibration of the plan's methods."""
    chosen = [choice.method.frequency.high_hz for choice in basics.assessment.methods if choice.id in basics.methods]
    return float(max(chosen)) if chosen else None


def _surveys(basics: Basics) -> tuple[Survey, ...]:
    before = basics.first - timedelta(days=int(basics.defaults.number("survey_days_before")))
    after = basics.last + timedelta(days=int(basics.defaults.number("survey_days_after")))
    return tuple(Survey(receptor=name, before=before, after=after) for name in _zone(basics))


def _filled(basics: Basics, limits: Sequence[Limit], stations: Sequence[Station]) -> dict[str, Any]:
    """Return the sections and lists that are filled from the scenario and the defaults."""
    scenario, defaults = basics.assessment.scenario, basics.defaults
    stated = scenario.submission
    people = [person.model_copy(update={"name": stated.get("site_manager"), "contact": stated.get("contact_24h")})
              if person.role == "site manager" else person for person in defaults.rows("people")]
    found = {name: defaults.section(name) for name in ("calibration", "weather", "data", "stop_work", "investigation",
                                                       "prediction_check", "works_log", "complaints", "review")}
    counted = any(limit.criterion.counts_days for limit in limits)
    return {
        **found, "people": tuple(people), "responses": defaults.rows("responses"), "reports": defaults.rows("reports"),
        "clock": defaults.section("clock", time_zone=scenario.programme.time_zone),
        "authority": defaults.section("authority", name=stated.get("authority")),
        "trial": defaults.section("trial", on=basics.first, piles=trial_piles(basics.assessment, defaults),
                                  stations=tuple(one.id for one in stations if one.kind != "movement")),
        "community": defaults.section("community"),
        **({"day_counting": defaults.section("day_counting")} if counted else {}),
    }


def _closed(plan: Plan, assessment: Assessment, basics: Basics) -> Plan:
    """Return the plan with letters, the list of defaults used and what is still open, as its own audit finds it."""
    from envpredict.monitoring.audit import audit
    from envpredict.monitoring.draft_open import letters_to

    predicted = of_methods(basics.predicted, plan)
    told = plan.community.model_copy(update={"letters_to": letters_to(plan, predicted)})
    listed = tuple(basics.defaults.used[key] for key in sorted(basics.defaults.used))
    full = plan.model_copy(update={"community": told, "defaults": listed})
    report = audit(full, assessment, limit_sets=basics.register)
    limited = {one.receptor for one in basics.predicted}
    return full.model_copy(update={"open_points": open_points(report, full, limited)})
