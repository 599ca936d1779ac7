"""Reads a plan from TOML or from a spreadsheet, and writes it as files."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from envpredict.core.errors import EnvpredictError, InputProblems, Problem
from envpredict.monitoring.plan_build import Source, build, key_of
from envpredict.monitoring.plan_layer import STATIONS_FILE, stations_geojson, with_positions
from envpredict.monitoring.plan_schema import Plan
from envpredict.monitoring.plan_sections import Layers
from envpredict.monitoring.plan_sheet import sheet_source
from envpredict.monitoring.plan_toml import to_toml
from envpredict.scenario.problems import key_lines

PLAN_FILE = "plan.toml"


def read_plan(path: str | Path) -> Plan:
    """Return the plan in a TOML file, a spreadsheet (.xlsx) or a folder that holds plan.toml.

    Raises InputProblems with everything that is wrong, each with its line or cell and key.
    """
    file = Path(path)
    if file.is_dir():
        file = file / PLAN_FILE
    if not file.is_file():
        raise EnvpredictError(f"no plan at {path}",
                              "name a plan.toml, a spreadsheet (.xlsx) or a folder with plan.toml")
    if file.suffix.lower() == ".xlsx":
        return build(sheet_source(file))
    if file.suffix.lower() != ".toml":
        raise EnvpredictError(f"{file.name} is no plan: its name ends neither in .toml nor in .xlsx",
                              "save the spreadsheet as .xlsx, or give a plan.toml")
    return build(_toml_source(file))


def _toml_source(file: Path) -> Source:
    try:
        text = file.read_text(encoding="utf-8")
        tables: Mapping[str, Any] = tomllib.loads(text)
    except UnicodeDecodeError as error:
        raise InputProblems([Problem(file.name, f"isn't UTF-8 text: {error.reason} at byte {error.start}",
                                     "save it as UTF-8")], file.name) from None
    except tomllib.TOMLDecodeError as error:
        raise InputProblems([Problem(file.name, f"isn't TOML: {error}", "correct the line named")], file.name) from None
    places = {key_of(place): f"line {line}" for place, line in key_lines(text).items()}
    layers = tables.get("layers")
    problems: list[Problem] = []
    if isinstance(layers, Mapping) and isinstance(layers.get("stations"), str):
        tables, problems = with_positions(tables, file.parent / layers["stations"], file.name)
    return Source(file.name, tables, places, problems)


def plan_files(plan: Plan) -> dict[str, str]:
    """Return the plan's files by name: plan.toml and, where stations have positions, the layer that holds them.

    A position stands in one file only, so that moving a station in a GIS moves it in the plan.
    """
    if not any(station.x is not None for station in plan.stations):
        return {PLAN_FILE: to_toml(plan)}
    bare = tuple(station.model_copy(update={"x": None, "y": None}) for station in plan.stations)
    split = plan.model_copy(update={"stations": bare, "layers": Layers(stations=STATIONS_FILE)})
    return {PLAN_FILE: to_toml(split), STATIONS_FILE: stations_geojson(plan)}
