"""Reads a scenario folder in one pass: either a sound scenario comes out, or every problem with it."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from envpredict.core.errors import Problem, ScenarioProblems
from envpredict.scenario import nearby, tables
from envpredict.scenario.crs import checked_crs, site_of
from envpredict.scenario.document import Document, read_document, scenario_file
from envpredict.scenario.layers import LINES, POINTS, POLYGONS, Layer, file_there, in_crs, looks_like, open_layer
from envpredict.scenario.piles import Piles, read_piles
from envpredict.scenario.problems import Findings
from envpredict.scenario.programme import read_programme
from envpredict.scenario.receptors import read_receptors
from envpredict.scenario.schema import FileTable, LimitsTable, OwnTable
from envpredict.scenario.surface import check_surface
from envpredict.scenario.surroundings import KINDS, read_surroundings
from envpredict.scenario.types import (
    Acoustic,
    CombinedEntry,
    Confirmation,
    GroundDefaults,
    Known,
    LimitsEntry,
    MethodEntry,
    OwnFiles,
    ReductionEntry,
    Scenario,
)
from envpredict.scenario.vocabulary import check_sections, check_words

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd
    from pyproj import CRS

OWN_KINDS = tuple(OwnTable.model_fields)


def own_files(folder: Path) -> OwnFiles:
    """Return the files of own declarations that a scenario names, before anything is checked.

    What isn't there or can't be read is left out: `load_scenario` tells. Raises ScenarioProblems only if there is no
    scenario.toml.
    """
    path = scenario_file(Path(folder))
    try:
        data: dict[str, Any] = tomllib.loads(path.read_text(encoding="utf-8"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, OSError):
        return OwnFiles()

    def there(names: Any) -> tuple[Path, ...]:
        names = [names] if isinstance(names, str) else names
        paths = [folder / name for name in names if isinstance(name, str)] if isinstance(names, list) else []
        return tuple(path for path in paths if path.is_file())

    own, limits = data.get("own"), data.get("limits")
    kinds = {kind: there(own.get(kind)) for kind in OWN_KINDS} if isinstance(own, dict) else {}
    named = limits.get("own") if isinstance(limits, dict) else None
    set_file = there(named.get("file") if isinstance(named, dict) else named)
    return OwnFiles(limits=set_file[0] if set_file else None, **kinds)


def load_scenario(folder: Path, known: Known) -> Scenario:
    """Read the scenario in `folder`; `known` holds the words that it may use.

    Raises ScenarioProblems with every fault that was found.
    """
    folder = Path(folder)
    found = Findings()
    document = read_document(folder, found)
    reader = _Reader(document, known, found)
    scenario = reader.read()
    if scenario is None or found.problems:
        raise ScenarioProblems(_in_order(found.problems), f"scenario {folder.name}")
    return scenario


def _in_order(problems: list[Problem]) -> list[Problem]:
    """Return the problems file by file, scenario.toml first, each file's in the order found."""
    files = dict.fromkeys(problem.where.partition(",")[0] for problem in problems)
    order = {name: n for n, name in enumerate(sorted(files, key=lambda name: name != "scenario.toml"))}
    return sorted(problems, key=lambda problem: order[problem.where.partition(",")[0]])


class _Reader:
    """One pass over a scenario: each step goes on as far as the steps before it allow."""

    def __init__(self, document: Document, known: Known, found: Findings) -> None:
        self.document = document
        self.known = known
        self.found = found
        self.layers: dict[str, Layer] = {}
        self.others: dict[str, gpd.GeoDataFrame | None] = {}

    def read(self) -> Scenario | None:
        """Return the scenario, or None if a fault has kept a part of it from being read."""
        document, found = self.document, self.found
        check_words(document, self.known, found)
        table = document.table("programme")
        programme = read_programme(table, found) if table is not None else None
        crs = self._open_layers()
        piles, receptors = self._piles(crs, reverse=table is not None and table.direction == "reverse"), None
        if "receptors" in self.layers:
            layer = self.layers["receptors"]
            receptors = read_receptors(layer, self._moved("receptors", crs), self.known, found)
        for name in KINDS:
            if name in self.layers:
                self.others[name] = read_surroundings(name, self.layers[name], self._moved(name, crs), found)
        strata, baseline, sources = self._tables(receptors)
        self._compare(piles, receptors, strata, sources)
        for layer in self.layers.values():
            layer.faults.tell()
        surface = self._surface(crs, [frame for frame in (piles.piles if piles else None, receptors,
                                                          self.others.get("obstacles")) if frame is not None])
        own, site_law = self._own(), self._named("site_law", document.table("site_law"))
        head, limits = document.head, document.table("limits")
        if (found.problems or head is None or crs is None or piles is None or receptors is None or programme is None
                or limits is None):
            return None
        return Scenario(
            document.folder, head.title, head.invented, crs, piles.piles, piles.wall, receptors, programme,
            self._methods(), self._limits(limits), **self.others, surface=surface, strata=strata, baseline=baseline,
            other_sources=sources, reductions=self._reductions(),
            design_exceedance=document.tables["design"].exceedance, choice=document.tables["choice"].stated(),
            submission=document.tables["submission"].stated(), ground_defaults=self._ground(),
            acoustic=self._acoustic(), own=own, site_law=site_law, combined=self._combined(),
            inputs=document.hashes(), notes=self._notes())

    def _open_layers(self) -> CRS | None:
        """Open every layer; return the scenario's system, checked at the site that the layers show."""
        kinds = {"piles": POINTS | LINES, "receptors": POINTS | LINES | POLYGONS, **KINDS}
        for name in self.document.layers:
            layer = open_layer(self.document, name, kinds[name], self.found)
            if layer is not None:
                self.layers[name] = layer
        shown = (site_of(self.layers[name].frame) for name in kinds if name in self.layers)
        site = next((place for place in shown if place is not None), None)
        head = self.document.head
        return checked_crs(head.crs, site, self.found) if head is not None else None

    def _moved(self, name: str, crs: CRS | None) -> gpd.GeoDataFrame | None:
        return in_crs(self.layers[name], crs) if crs is not None else None

    def _piles(self, crs: CRS | None, *, reverse: bool) -> Piles | None:
        if "piles" not in self.layers:
            return None
        piles = read_piles(self.layers["piles"], self._moved("piles", crs), self.known, self.found, reverse=reverse)
        if piles is not None:
            check_sections(self.document, piles.sections, self.found)
        return piles

    def _tables(self, receptors: gpd.GeoDataFrame | None
                ) -> tuple[pd.DataFrame | None, pd.DataFrame | None, pd.DataFrame | None]:
        """Return strata, baseline and other sources."""
        ground, background = self.document.table("ground"), self.document.table("background")
        ids = frozenset(receptors["id"]) - {None} if receptors is not None else frozenset()

        def read(owner: Any, section: str, name: str, wanted: Any, check: Any) -> pd.DataFrame | None:
            table: FileTable | None = getattr(owner, name) if owner is not None else None
            return None if table is None else tables.read_table(self.document, table, (section, name), wanted, check,
                                                                self.found)

        return (read(ground, "ground", "strata", tables.STRATA, tables.check_strata(self.known)),
                read(background, "background", "baseline", tables.BASELINE, tables.check_baseline(ids)),
                read(background, "background", "other_sources", tables.OTHER_SOURCES, tables.check_other_sources))

    def _compare(self, piles: Piles | None, receptors: gpd.GeoDataFrame | None, strata: pd.DataFrame | None,
                 sources: pd.DataFrame | None) -> None:
        """Check what was read against one another, as far as it was read."""
        if piles is None:
            return
        if receptors is not None:
            nearby.check_distances(piles.piles, receptors, self.layers["receptors"], self.found)
        obstacles = self.others.get("obstacles")
        if obstacles is not None:
            nearby.check_obstacles(piles.piles, obstacles, self.layers["obstacles"])
            if receptors is not None:
                nearby.check_inside(receptors, self.layers["receptors"], obstacles, self.layers["obstacles"])
            if sources is not None:
                name = self.document.tables["background"].other_sources.file
                nearby.check_sources(sources, obstacles, self.layers["obstacles"], name, self.found)
        if strata is not None:
            name = self.document.tables["ground"].strata.file
            nearby.check_strata_reach(piles.piles, strata, name, self.found)

    def _surface(self, crs: CRS | None, frames: list[gpd.GeoDataFrame]) -> Path | None:
        """Return the raster of ground elevations, told everything that is wrong with it."""
        table, acoustic = self.document.surface, self.document.table("acoustic")
        flat = acoustic is None or acoustic.terrain == "flat"
        if table is None:
            if not flat:
                self.found.key(("acoustic", "terrain"), "terrain is 'surface', but [layers] names no surface",
                               'name the raster: surface = "ground.tif" under [layers], or say terrain = "flat"')
            return None
        if flat:
            self.found.key(("layers", "surface"), "isn't used while terrain is 'flat'",
                           'say terrain = "surface" under [acoustic], or take the layer out')
        path = file_there(self.document, table.file, ("layers", "surface"), self.found)
        if path is not None and looks_like(path) != "a TIFF raster":
            self.found.add(table.file, f"isn't a GeoTIFF raster: it looks like {looks_like(path)}",
                           "export the ground elevation as GeoTIFF")
        elif path is not None and crs is not None and frames:
            check_surface(path, table.file, crs, frames, self.found)
        return path

    def _named(self, place: str, table: FileTable | None) -> Path | None:
        return file_there(self.document, table.file, (place, "file"), self.found) if table is not None else None

    def _own(self) -> OwnFiles:
        """Return the user's own files, each of which must be there."""
        own, limits = self.document.table("own"), self.document.table("limits")
        kinds: dict[str, tuple[Path, ...]] = {}
        for kind in OWN_KINDS if own is not None else ():
            paths = [file_there(self.document, name, ("own", kind), self.found) for name in getattr(own, kind)]
            kinds[kind] = tuple(path for path in paths if path is not None)
        table = limits.own if limits is not None else None
        set_file = file_there(self.document, table.file, ("limits", "own"), self.found) if table is not None else None
        return OwnFiles(limits=set_file, **kinds)

    def _methods(self) -> tuple[MethodEntry, ...]:
        return tuple(MethodEntry(entry.id, entry.method or entry.id, entry.title,
                                 entry.stated("id", "method", "title", "sections"), tuple(entry.sections))
                     for entry in self.document.methods.values() if entry.parts is None)

    def _combined(self) -> tuple[CombinedEntry, ...]:
        return tuple(CombinedEntry(entry.id, tuple(entry.parts), entry.title)
                     for entry in self.document.methods.values() if entry.parts is not None)

    def _reductions(self) -> tuple[ReductionEntry, ...]:
        return tuple(ReductionEntry(entry.id, tuple(entry.methods), entry.stated("id", "methods"))
                     for entry in self.document.reductions.values())

    def _limits(self, table: LimitsTable) -> LimitsEntry:
        named = {name: tuple(getattr(table, name)) for name in LimitsTable.model_fields if name not in
                 ("own", "confirmed")}
        confirmed = {name: Confirmation(entry.by, entry.date, entry.edition, entry.values)
                     for name, entry in table.confirmed.items()}
        own = self.document.folder / table.own.file if table.own is not None else None
        return LimitsEntry(**named, own=own, confirmed=confirmed)

    def _ground(self) -> GroundDefaults:
        table = self.document.tables["ground"]
        return GroundDefaults(table.ground_class, table.groundwater_m, table.piling_ground)

    def _acoustic(self) -> Acoustic:
        return Acoustic(**self.document.tables["acoustic"].model_dump())

    def _notes(self) -> tuple[str, ...]:
        """Return everything that was assumed."""
        for name, default in (("design", "exceedance 0.05"), ("choice", "noise in octave bands"),
                              ("acoustic", "10 degC, 70 % humidity, hard ground where no polygon says otherwise")):
            if name not in self.document.stated:
                self.found.note(f"{name}: not stated; {default}")
        if "boundary" not in self.layers:
            self.found.note("layers: no boundary; limits at the site's boundary can't be judged")
        if self.document.tables["background"].baseline is None:
            self.found.note("background: no baseline; limits that rest on the existing level can't be judged")
        return tuple(self.found.notes)
