"""A scenario as another process or machine can unpack it: with the files that it names, in case they aren't there."""

from __future__ import annotations

import atexit
import pickle
import shutil
import tempfile
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from envpredict.engine.catalogue import load_catalogue
from envpredict.engine.tiled.tile import Ready, TileResult, ready, tile_result

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from envpredict.scenario.types import Scenario


@dataclass(frozen=True, slots=True)
class Parcel:
    """A scenario in bytes, and the files that it names: path to content. `mark` tells one parcel from another."""

    mark: str
    scenario: bytes
    files: dict[str, bytes]


def parcel_of(scenario: Scenario, mark: str) -> Parcel:
    """Return the parcel of a scenario."""
    paths = _paths(scenario)
    return Parcel(mark, pickle.dumps(scenario), {str(path): path.read_bytes() for path in paths if path.is_file()})


def _paths(scenario: Scenario) -> list[Path]:
    own = [getattr(scenario.own, one.name) for one in fields(scenario.own)]
    every: list[Any] = [*own, scenario.surface, scenario.site_law, scenario.limits.own]
    return [path for one in every for path in (one if isinstance(one, tuple) else (one,)) if path is not None]


def _moved(scenario: Scenario, files: dict[str, bytes], folder: Path) -> Scenario:
    """Return a scenario with its files written to a folder of this machine, under their own names."""
    places: dict[str, Path] = {}
    for number, (name, content) in enumerate(files.items()):
        place = folder / str(number) / Path(name).name
        place.parent.mkdir(parents=True)
        place.write_bytes(content)
        places[name] = place

    def at(one: Any) -> Any:
        if isinstance(one, tuple):
            return tuple(at(path) for path in one)
        return None if one is None else places.get(str(one), one)

    own = replace(scenario.own, **{one.name: at(getattr(scenario.own, one.name)) for one in fields(scenario.own)})
    return replace(scenario, own=own, surface=at(scenario.surface), site_law=at(scenario.site_law),
                   limits=replace(scenario.limits, own=at(scenario.limits.own)))


_UNPACKED: dict[str, Ready] = {}


def unpacked(parcel: Parcel) -> Ready:
    """Return what a parcel's tiles share, prepared once in a process; what another parcel left is forgotten."""
    if parcel.mark not in _UNPACKED:
        _UNPACKED.clear()
        scenario: Scenario = pickle.loads(parcel.scenario)
        if any(not Path(name).is_file() or Path(name).read_bytes() != content
               for name, content in parcel.files.items()):
            folder = Path(tempfile.mkdtemp(prefix="envpredict_"))
            atexit.register(shutil.rmtree, folder, ignore_errors=True)
            scenario = _moved(scenario, parcel.files, folder)
        _UNPACKED[parcel.mark] = ready(scenario, load_catalogue(scenario.own))
    return _UNPACKED[parcel.mark]


def tile_of(parcel: Parcel, number: int, rows: NDArray[np.int64]) -> tuple[int, TileResult]:
    """Return a tile of a parcel's run with its number, computed in this process."""
    return number, tile_result(unpacked(parcel), rows)
