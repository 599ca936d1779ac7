"""The chapters on the site: receptors, existing noise, ground."""

from __future__ import annotations

from typing import Any

import pandas as pd

from envpredict.outputs.report.blocks import Block, Bullets, Chapter, Column, Facts, Table, Text
from envpredict.outputs.report.context import Context
from envpredict.outputs.report.wording import NOTHING, given, number
from envpredict.outputs.texts import clean

MOST_RECEPTORS = 400
MOST_BASELINES = 250
SURVEY_KEYS = ("dates", "position", "instrument", "weather")


def said(value: Any, longest: int = 60) -> str:
    """Return a cell of the scenario as print shows it; a dash for what isn't given."""
    if value is None or (isinstance(value, float) and not given(value)):
        return NOTHING
    return clean(f"{value:g}" if isinstance(value, float) else value, longest).replace("_", " ")


def site_and_receptors(shown: Context) -> Chapter:
    """Return the place and the list of everybody and everything that may be affected."""
    scenario, receptors = shown.scenario, shown.assessment.receptors
    boundary = "given" if scenario.boundary is not None else "not given: limits at the boundary can't be judged"
    uses = ", ".join(f"{count} {str(use).replace('_', ' ')}" for use, count in receptors["use"].value_counts().items())
    blocks: list[Block] = [
        Facts((("Coordinate reference system", f"{scenario.crs.to_string()}, {scenario.crs.name}"),
               ("Site boundary", boundary), ("Receptors", f"{len(receptors)}: {uses}"))),
        Text("The plan to scale stands in the chapter of pictures. Distances are plan distances from a pile to the "
             "nearest part of the receptor."),
    ]
    blocks += [Text(note.replace("this page", "this report"), "note") for note in shown.view.discretion.notes()]
    blocks.append(_receptor_table(shown))
    if shown.assessment.warnings:
        blocks += [Text("What the scenario leaves open, and what was taken instead:"),
                   Bullets(tuple(clean(text, None) for text in shown.assessment.warnings))]
    return Chapter("site", "Site and receptors", tuple(blocks))


def _receptor_table(shown: Context) -> Table:
    receptors = shown.assessment.receptors
    hidden = shown.view.hidden_places()
    works = shown.scenario.piles.union_all()
    points = receptors.geometry.representative_point()
    nearest = receptors.geometry.distance(works)
    order = {name: number for number, name in enumerate(shown.view.receptors)}
    rows = []
    table = zip(receptors.to_dict("records"), points, nearest, strict=True)
    for record, point, distance in sorted(table, key=lambda one: order[str(one[0]["id"])])[:MOST_RECEPTORS]:
        name = str(record["id"])
        kept = name in hidden
        rows.append((clean(name, 24), shown.names.get(name, "") or NOTHING, said(record["use"]),
                     said(record["structure"]), said(record["condition"]), said(record["floors"]),
                     said(record["occupied_hours"], 24), NOTHING if kept else f"{point.x:.0f}",
                     NOTHING if kept else f"{point.y:.0f}",
                     NOTHING if kept else f"{distance:.1f}"))
    columns = (Column("Receptor", 17), Column("Name", 27), Column("Use", 20), Column("Structure", 18),
               Column("Condition", 17), Column("Floors", 11, "right"), Column("Occupied", 18),
               Column("East, m", 16, "right"), Column("North, m", 17, "right"), Column("Distance, m", 15, "right"))
    more = len(receptors) - len(rows)
    notes = ("From the most affected to the least. Occupied: a dash means at all hours. East and north: a point inside "
             "the receptor.",)
    return Table("Receptors", columns, tuple(rows),
                 (*notes, *((f"{more} more stand in the workbook, sheet Receptors.",) if more > 0 else ())))


def baseline(shown: Context) -> Chapter:
    """Return the measured existing noise."""
    table = shown.scenario.baseline
    if table is None or table.empty:
        return Chapter("baseline", "Baseline", (
            Text("No baseline was given: limits that rest on the existing sound can't be judged. Measure it at the "
                 "facades of the nearest homes, in every period in which work may happen, in valid weather, over at "
                 "least a week that holds a weekend.", "missing"),))
    missing = sorted(set(shown.assessment.receptors["id"].astype(str)) - set(table["receptor"].astype(str)))
    blocks: list[Block] = [
        Text("Existing sound as measured, the positions and instruments as the scenario states them. A facade level "
             "lies 3 dB above the free-field level; the difference is added or taken off where a rule asks for the "
             "other."),
        _surveys(table), _levels(table)]
    if missing:
        shown_ids = ", ".join(clean(name, 24) for name in missing[:30]) + (", ..." if len(missing) > 30 else "")
        blocks.append(Text(f"No baseline at {len(missing)} receptors: {shown_ids}. Limits that follow the existing "
                           "sound can't be judged there.", "missing"))
    lacking = [name for name in SURVEY_KEYS
               if name not in table or table[name].isna().any() or (table[name].astype(str) == "").any()]
    if lacking:
        blocks.append(Text(f"Not stated for every row: {', '.join(lacking)}.", "missing"))
    return Chapter("baseline", "Baseline", tuple(blocks))


def _surveys(table: pd.DataFrame) -> Table:
    """Return how the existing sound was measured, each way once."""
    keys = [name for name in SURVEY_KEYS if name in table]
    ways = table[keys].astype(object).where(table[keys].notna(), None).value_counts(sort=False, dropna=False)
    rows = []
    for way, count in ways.items():
        words = dict(zip(keys, way if isinstance(way, tuple) else (way,), strict=True))
        rows.append((*(said(words.get(name), 60) for name in SURVEY_KEYS), str(count)))
    columns = (Column("Dates", 46), Column("Position", 30), Column("Instrument", 30), Column("Weather", 48),
               Column("Rows", 16, "right"))
    return Table("How it was measured", columns, tuple(rows[:MOST_BASELINES]))


def _levels(table: pd.DataFrame) -> Table:
    """Return the levels, one row per receptor and one column per period."""
    periods = list(dict.fromkeys(table["period"].astype(str)))
    found: dict[str, dict[str, str]] = {}
    for record in table.to_dict("records"):
        pair = f"{number(record['laeq_db'])} / {number(record['la90_db'])}"
        found.setdefault(str(record["receptor"]), {})[str(record["period"])] = pair
    rows = [(clean(name, 24), *(by_period.get(period, NOTHING) for period in periods))
            for name, by_period in list(found.items())[:MOST_BASELINES]]
    width = 146.0 / max(len(periods), 1)
    columns = (Column("Receptor", 24), *(Column(f"{clean(period, 30)}: LAeq / LA90, dB", width, "right")
                                         for period in periods))
    more = len(found) - len(rows)
    return Table("Existing sound", columns, tuple(rows),
                 (f"{more} more receptors stand in the scenario's own table.",) if more > 0 else ())


def ground(shown: Context) -> Chapter:
    """Return the ground as given and the classes that it leads to."""
    scenario = shown.scenario
    told = scenario.ground_defaults
    water = "not stated" if told.groundwater_m is None else f"{told.groundwater_m:g} m below ground"
    facts = [("Groundwater", water),
             ("Class stated by the scenario", (told.ground_class or "none").replace("_", " "))]
    if scenario.strata is None:
        return Chapter("ground", "Ground", (
            Facts(tuple(facts)),
            Text("No boreholes were given: laws that ask for the ground's class use what their document gives for "
                 "unknown ground, or can't predict. Find out the strata to below the toe.", "missing")))
    return Chapter("ground", "Ground", (
        Facts(tuple(facts)),
        Text("Each pile takes the ground of the nearest borehole. A test that met refusal is converted to blows per "
             "300 mm where it is compared."),
        _strata(shown)))


def _strata(shown: Context) -> Table:
    from envpredict.ground.ground import Ground

    strata = shown.scenario.strata
    assert strata is not None
    holes = Ground.from_strata(strata)
    number_of = {str(name): at for at, name in enumerate(holes.boreholes["borehole"])}
    rows = []
    for record in strata.to_dict("records"):
        middle = 0.5 * (record["top_m"] + record["base_m"])
        word = holes.words("catalogue", number_of[str(record["borehole"])], [middle])[0]
        size = ", ".join(f"{key.removesuffix('_m')}s {record[key]:g} m" for key in ("cobble_m", "boulder_m")
                         if given(record[key]))
        strength = ", ".join(f"{record[key]:g} {unit}" for key, unit in (("cu_kpa", "kPa"), ("ucs_mpa", "MPa"))
                             if given(record[key]))
        rows.append((said(record["borehole"], 20), f"{record['top_m']:g}", f"{record['base_m']:g}",
                     said(record["description"], 80), said(record["spt_n"], 20), strength or NOTHING, size or NOTHING,
                     str(word).replace("_", " ")))
    columns = (Column("Borehole", 17), Column("Top, m", 12, "right"), Column("Base, m", 12, "right"),
               Column("Description", 52), Column("SPT N", 17), Column("cu or UCS", 18), Column("Sizes", 20),
               Column("Class", 22))
    return Table("Strata, depths below ground", columns, tuple(rows),
                 ("Class: of the catalogue, by which rates and suitability are looked up.",))
