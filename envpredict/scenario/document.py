"""Reads scenario.toml: finds the folder, parses the text, checks every table so that no fault hides another."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from envpredict.core.errors import Problem, ScenarioProblems
from envpredict.core.words import nearest, suggestion
from envpredict.scenario.problems import SCENARIO_FILE, Findings, key_lines, validated
from envpredict.scenario.schema import (
    LAYER_NAMES,
    LISTS,
    REQUIRED,
    TABLES,
    FileTable,
    HeadTable,
    LayerTable,
    MethodTable,
    ReductionTable,
    Table,
)


@dataclass(slots=True)
class Document:
    """The tables of a scenario.toml; what was faulty is None or left out, its faults are already told."""

    folder: Path
    head: HeadTable | None = None
    layers: dict[str, LayerTable] = field(default_factory=dict)
    surface: FileTable | None = None
    tables: dict[str, Any] = field(default_factory=dict)
    methods: dict[int, MethodTable] = field(default_factory=dict)
    reductions: dict[int, ReductionTable] = field(default_factory=dict)
    stated: frozenset[str] = frozenset()
    files: dict[str, Path] = field(default_factory=dict)

    def table(self, name: str) -> Any | None:
        """Return a table, or None where it was faulty or, if it has no defaults, absent."""
        return self.tables.get(name)

    def path(self, name: str) -> Path:
        """Return a file's path, relative names from the folder, and remember that it was used."""
        path = self.folder / name
        self.files[Path(name).name if Path(name).is_absolute() else Path(name).as_posix()] = path
        return path

    def hashes(self) -> tuple[tuple[str, str], ...]:
        """Return name and SHA-256 of every file used, a Shapefile's companions included."""
        found: dict[str, str] = {}
        for name, path in self.files.items():
            for part in _with_companions(path):
                shown = Path(name).with_name(part.name).as_posix()
                found[shown] = hashlib.sha256(part.read_bytes()).hexdigest()
        return tuple(sorted(found.items()))


def _with_companions(path: Path) -> Iterable[Path]:
    if path.is_dir():
        return sorted(part for part in path.iterdir() if part.is_file())
    if path.suffix.lower() != ".shp":
        return [path]
    names = (path.with_suffix(ending) for ending in (".shp", ".shx", ".dbf", ".prj", ".cpg"))
    return [name for name in names if name.is_file()]


def scenario_file(folder: Path) -> Path:
    """Return the path of the folder's scenario.toml. Raises ScenarioProblems if folder or file isn't there."""
    def refuse(what: str, hint: str) -> ScenarioProblems:
        return ScenarioProblems([Problem(str(folder), what, hint)], f"scenario {folder}")

    if folder.is_file():
        inside = f"give the folder that holds it: {folder.parent}" if folder.name == SCENARIO_FILE else ""
        raise refuse("is a file, not a folder", inside or f"a scenario is a folder that holds {SCENARIO_FILE}")
    if not folder.is_dir():
        near = nearest(folder.name, _neighbours(folder))
        raise refuse("there is no such folder", (f"did you mean '{near}'? " if near else "")
                     + "`envpredict new FOLDER` writes a starter scenario")
    path = folder / SCENARIO_FILE
    if not path.is_file():
        near = nearest(SCENARIO_FILE, [file.name for file in folder.iterdir() if file.suffix == ".toml"])
        raise refuse(f"the folder holds no {SCENARIO_FILE}", (f"is it '{near}'? rename it; " if near else "")
                     + "`envpredict new FOLDER` writes a starter scenario")
    return path


def _neighbours(folder: Path) -> list[str]:
    parent = folder.parent
    return [path.name for path in parent.iterdir() if path.is_dir()] if parent.is_dir() else []


def parsed(folder: Path, found: Findings) -> dict[str, Any]:
    """Return the parsed scenario.toml. Raises ScenarioProblems if it can't be read at all."""
    path = scenario_file(folder)
    try:
        text = path.read_text(encoding="utf-8")
        found.lines = key_lines(text)
        return tomllib.loads(text)
    except UnicodeDecodeError as error:
        problem = Problem(SCENARIO_FILE, f"is not UTF-8 text ({error.reason} at byte {error.start})",
                          "save it as UTF-8")
    except tomllib.TOMLDecodeError as error:
        problem = Problem(SCENARIO_FILE, f"is not valid TOML: {error}", "mend that line; texts stand in quotes, "
                          "times as \"08:00\", tables in [brackets], each key once")
    except OSError as error:
        problem = Problem(SCENARIO_FILE, f"can't be read: {error.strerror}", "check the file's permissions")
    raise ScenarioProblems([problem], f"scenario {folder.name}")


def read_document(folder: Path, found: Findings) -> Document:
    """Read scenario.toml and check each table by itself."""
    data = parsed(folder, found)
    document = Document(folder, stated=frozenset(data))
    document.path(SCENARIO_FILE)
    known = {*HeadTable.model_fields, *TABLES, *LISTS, "layers"}
    for name in data:
        if name not in known:
            found.key([name], f"unknown key or table '{name}'", suggestion(name, known, limit=20))
    for name in REQUIRED:
        if name not in data:
            found.add(SCENARIO_FILE, f"there is no [{name}]", "add it; `envpredict new FOLDER` writes an example")
    head = {name: data[name] for name in HeadTable.model_fields if name in data}
    document.head = validated(HeadTable, head, (), found)
    for name, model in TABLES.items():
        if name in data or name not in (*REQUIRED, "site_law"):
            document.tables[name] = validated(model, data.get(name, {}), (name,), found)
    document.methods = _entries(data, "methods", MethodTable, found)
    document.reductions = _entries(data, "reductions", ReductionTable, found)
    _layers(document, data.get("layers", {}), found)
    return document


def _entries(data: Mapping[str, Any], name: str, model: type[Table], found: Findings) -> dict[int, Any]:
    """Return the sound entries of a table that may stand several times, by their number from 0."""
    entries = data.get(name, [])
    if not isinstance(entries, list):
        found.key([name], "must stand in double brackets, once per entry", f"write [[{name}]]")
        return {}
    if name in data and not entries and name in REQUIRED:
        found.key([name], "is empty", "give at least one")
    checked = {n: validated(model, entry, (name, n), found) for n, entry in enumerate(entries)}
    return {n: entry for n, entry in checked.items() if entry is not None}


def _layers(document: Document, data: Any, found: Findings) -> None:
    """Check the [layers] table, one layer at a time."""
    if not isinstance(data, dict):
        found.key(["layers"], "must be a table", "write [layers] and below it one line per layer")
        return
    for name, entry in data.items():
        if name == "surface":
            document.surface = validated(FileTable, entry, ("layers", name), found)
        elif name not in LAYER_NAMES:
            found.unknown(["layers", name], "layer", name, (*LAYER_NAMES, "surface"))
        elif (layer := validated(LayerTable, entry, ("layers", name), found)) is not None:
            document.layers[name] = layer
    for name in ("piles", "receptors"):
        if "layers" in document.stated and name not in data:
            found.key(["layers"], f"there is no layer '{name}'", f'add {name} = "{name}.gpkg" below [layers]')
