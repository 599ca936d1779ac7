"""What a scenario states of plant takes the place of the catalogue's: level, spectrum, height, working time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from envpredict.core.citation import Citation
from envpredict.core.errors import Problem
from envpredict.engine.works.overrides import STATED
from envpredict.methods.fields import PlantUse
from envpredict.methods.measured import measured_plant
from envpredict.methods.schema import a_weighted_sum_db

if TYPE_CHECKING:
    from envpredict.core.registry import Registry
    from envpredict.methods.schema import Method, Plant

Pair = tuple[PlantUse, "Plant"]
GROUND_WORD = {"hard": "hard", "porous": "soft"}
LEVEL_KEYS = frozenset({"lwa_db", "octaves_db", "measured"})


def working_share(stated: Mapping[str, Any]) -> float | None:
    """Return the share of a pile's cycle for which an item works, or None where the scenario states none."""
    if stated.get("on_s") is not None and stated.get("cycle_s") is not None:
        return float(stated["on_s"]) / float(stated["cycle_s"])
    share = stated.get("on_time_fraction")
    return None if share is None else float(share)


def _levelled(plant: Plant, stated: Mapping[str, Any]) -> Plant:
    """Return the item with the level, spectrum and height that are stated."""
    measured, octaves, lwa = stated.get("measured"), stated.get("octaves_db"), stated.get("lwa_db")
    changes: dict[str, Any] = {}
    if measured is not None:
        by = f" by {measured['by']}" if measured.get("by") else ""
        place = f"{measured['level_db']:g} dB measured at {measured['distance_m']:g} m, {measured['position']}{by}"
        plant = measured_plant(plant, measured["level_db"], measured["distance_m"], position=measured["position"],
                               ground=GROUND_WORD[measured.get("ground", "hard")],  # type: ignore[arg-type]
                               citation=Citation("the scenario", None, place, "read"))
        changes["level_type"] = measured.get("level_type", "mean")
    if octaves is not None:
        changes |= {"octaves_db": tuple(float(level) for level in octaves), "spectrum_citation": STATED}
        plant = plant.at_level(a_weighted_sum_db(changes["octaves_db"]), STATED).model_copy(update=changes)
    if lwa is not None:
        plant = plant.at_level(float(lwa), STATED)
    if stated.get("level_type") is not None:
        changes["level_type"] = stated["level_type"]
    elif lwa is not None or octaves is not None:
        changes["level_type"] = "mean"
    if stated.get("height_m") is not None:
        changes |= {"height": float(stated["height_m"]), "height_citation": STATED}
    changes.pop("octaves_db", None)
    return plant.model_copy(update=changes)


def _worked(use: PlantUse, stated: Mapping[str, Any]) -> PlantUse:
    """Return the use with the working time and the number of items that are stated."""
    changes: dict[str, Any] = {}
    share = working_share(stated)
    if share is not None:
        changes |= {"on_time_fraction": share, "on_time_low": share, "on_time_high": share, "citation": STATED}
    if stated.get("count") is not None:
        changes["count"] = int(stated["count"])
    return use.model_copy(update=changes)


def with_stated(candidate: str, method: Method, plant: Sequence[Pair], stated: Sequence[Mapping[str, Any]],
                catalogue: Registry[Plant]) -> tuple[Pair, ...]:
    """Return a candidate's plant with what the scenario states of it; an item that the method doesn't use is added.

    `plant`: in the order of the method's own list, swaps made. An item answers to its own name and to the name of the
    one whose place it took. What is stated makes an item the candidate's own: its id carries the candidate's name.
    """
    found = list(plant)
    for entry in stated:
        name = str(entry["id"])
        at = next((number for number, (use, _) in enumerate(found)
                   if name in (use.plant, method.plant[number].plant if number < len(method.plant) else use.plant)),
                  None)
        if at is None:
            share = working_share(entry) or 1.0
            stage = method.stages[-1].id if method.stages else "drive"
            found.append((PlantUse(plant=name, on_time_fraction=share, on_time_low=share, on_time_high=share,
                                   part="cycle", stage=stage, citation=STATED), catalogue[name]))
            at = len(found) - 1
        use, item = found[at]
        levelled = _levelled(item, entry)
        if levelled != item:
            levelled = levelled.model_copy(update={"id": f"{item.id}@{candidate}"})
        found[at] = (_worked(use, entry), levelled)
    return tuple(found)


def plant_problems(where: str, method: Method, stated: Sequence[Mapping[str, Any]],
                   catalogue: Registry[Plant]) -> list[Problem]:
    """Return what is wrong with the plant that a scenario states of a method."""
    used = {use.plant for use in method.plant} | {swap.plant for swap in method.plant_swaps}
    found: list[Problem] = []
    for entry in stated:
        name = str(entry["id"])
        place = f"{where}, plant '{name}'"
        if name not in catalogue:
            continue
        if name not in used and working_share(entry) is None:
            found.append(Problem(place, f"'{method.id}' doesn't use this plant, and how long it works isn't stated",
                                 f"give on_time_fraction, or on_s and cycle_s; it uses: {', '.join(sorted(used))}"))
        kind = (entry.get("measured") or {}).get("level_type") or entry.get("level_type")
        if kind == "maximum" and catalogue[name].max_minus_mean_db is None:
            found.append(Problem(place, "a maximum level is stated, but how far it lies above the mean isn't known",
                                 "give the mean level while the machine works"))
        if working_share(entry) == 0.0:
            found.append(Problem(place, "works for no time at all", "leave the plant out, or give a share above 0"))
        found += [Problem(place, f"key '{key}' says nothing without a level", "give lwa_db, octaves_db or measured")
                  for key in ("level_type",) if key in entry and not LEVEL_KEYS & set(entry)]
    return found
